"""Does the demo's story stand with its floor solved in plan? Truth beside answer.

The invented car's floor is a channel table with the empirical fall on top; seven measured passes of
one setting tie it. Three states at four speeds stand beside what was planted, two of them never
measured. The last line is how many of the 36 numbers lie within their 80 % ranges.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tuftwork.demo import write_demo
from tuftwork.demo.truth import true_ride
from tuftwork.quantity import summarise
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.job import FLOOR_TABLES, FRONT_TABLES, TABLES, Job
from tuftwork.study.job_step import job_steps
from tuftwork.study.step import run_steps

STATES = (
    ("as raced", 8.0, 0.058, 0.071),
    ("more wing", 12.0, 0.058, 0.071),
    ("rear up, wing 9", 9.0, 0.056, 0.082),
)
SPEEDS = (140.0, 180.0, 200.0, 220.0)
FIELDS = ("total", "share", "drag")


def answers_of(bench: Bench) -> Answers:
    """Return maps and ride heights of the project; no lap, no cooling."""
    job = Job.of(bench.opened.project, folder=bench.folder)
    own = [s for s in job_steps(job) if s.name in _MAIN or s.name.startswith(("map ", "ride "))]
    results = run_steps(own, bench.store, bench.ledger, what="channel", version="example")
    return Answers(job=job, results=results)


_MAIN = (TABLES, FLOOR_TABLES, FRONT_TABLES, "draws", "tie", "axes")


def main() -> int:
    """Print answer and truth side by side and return how many answers hold the truth."""
    held = []
    with TemporaryDirectory() as place:
        answers = answers_of(Bench(write_demo(Path(place) / "halyard")))
    for state, wing, front, rear in STATES:
        for kmh in SPEEDS:
            _, _, truth = true_ride(kmh / 3.6, np.radians(wing), front, rear)
            line = f"{state:16s} {kmh:3.0f} km/h"
            for name in FIELDS:
                said = summarise(answers.draws(state, name, kmh / 3.6))
                planted = getattr(truth, name)
                held.append(said.low <= planted <= said.high)
                mark = " " if held[-1] else "*"
                line += (
                    f"  {name} {said.best:.3f} ({said.low:.3f} to {said.high:.3f})"
                    f" planted {planted:.3f}{mark}"
                )
            print(line)
    print(f"of {len(held)} numbers within their ranges: {sum(held)}")
    return sum(held)


if __name__ == "__main__":
    main()
