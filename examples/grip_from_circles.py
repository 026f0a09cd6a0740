"""What can one skid pad tell of the tyres, and what do a second pad and a corner add?

The demo car with tyres known to a few per cent only, and circles that it is said to have driven.
Friction at the load driven becomes sharp with the first pad, how grip falls with load with none of
them. The last number is what is left of the range of the front friction after all three, in %.
"""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tuftwork.car import Project
from tuftwork.demo import write_demo
from tuftwork.study import Bench
from tuftwork.study.job import GRIP, TABLES, Job
from tuftwork.study.job_step import job_steps
from tuftwork.study.step import run_steps

PAD = {"id": "G1", "kind": "skid pad", "at": "small pad", "radius": "20 m ± 0.1 m",
       "speed": "56.9 km/h ± 0.3 km/h", "gave_up": "front"}  # fmt: skip
WIDE = {"id": "G2", "kind": "skid pad", "at": "wide pad", "radius": "60 m ± 0.2 m",
        "speed": "104.8 km/h ± 0.5 km/h", "gave_up": "rear"}  # fmt: skip
CORNER = {"id": "G3", "kind": "corner", "at": "Gallows", "radius": "190 m ± 3 m",
          "speed": "196 km/h ± 2 km/h", "gave_up": "rear"}  # fmt: skip
TYRES = {"grip": "1.40 ± 0.06", "grip_loss": "3.2 % ± 1.6 %"}


def driven(project: Project, circles: list[dict[str, Any]]) -> Project:
    """Return the car with wide tyres and these circles."""
    assert project.lap is not None
    lap = project.lap.with_values(
        {"front": TYRES, "rear": TYRES | {"margin": "3 % ± 1 %"}, "cornering": {"runs": circles}}
    )
    return project.model_copy(update={"lap": lap})


def main() -> None:
    """Print, circle by circle, what is left of the ranges."""
    with TemporaryDirectory() as place:
        bench = Bench(write_demo(Path(place) / "halyard"))
        for circles in ([PAD], [PAD, WIDE], [PAD, WIDE, CORNER]):
            job = Job.of(driven(bench.opened.project, circles), folder=bench.folder)
            own = [s for s in job_steps(job) if s.name in _MAIN or s.name.startswith("map ")]
            results = run_steps(own, bench.store, bench.ledger, what="circles", version="example")
            found = results[GRIP]
            print(", ".join(c["id"] for c in circles))
            for axle, row in found["axles"].items():
                told = "told" if row["alone"] < 1.0 else "not told"
                print(
                    f"  {axle} friction at {row['load'] / 1e3:.1f} kN"
                    f" {row['posterior'][0]:.3f} ({row['posterior'][1]:.3f} to"
                    f" {row['posterior'][2]:.3f}), {100 * row['left']:.0f} % of its range left;"
                    f" its fall with load is {told}"
                )
    print(f"front friction: {100 * found['axles']['front']['left']:.0f} % of its range")


_MAIN = (TABLES, "floor tables", "front tables", "draws", "tie", "axes", GRIP)

if __name__ == "__main__":
    main()
