"""What does a splitter's air do to the radiator that breathes out through the same wheel wells?

The demo car gets ramps under its splitter that climb into the front wells. Its channels and its air
net are settled together: the wells fill, the ramps lose pull, the radiator loses air, and the
pressure in the wells lifts the front. Best values at one place; the last number is that lift in
points of CzSf.
"""

import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import ChannelSplitter, fronted, inputs_of, part_models
from tuftwork.car import Project
from tuftwork.demo import write_demo
from tuftwork.floor.front_pair import strip_tables

SPEED, FRONT, REAR = 200.0, 47.0, 58.0  # km/h, mm, mm
CHANNEL = {
    "handover": "-0.35 m",
    "ramps": {
        "inner": "0.22 m", "outer": "0.84 m", "start": "-0.84 m", "end": "-0.36 m",
        "rise": "48 mm ± 3 mm", "into": "front wells",
    },
}  # fmt: skip


def car() -> Project:
    """Return the demo car with channels under its splitter, its floor in closed form."""
    with TemporaryDirectory() as place:
        text = (write_demo(Path(place) / "halyard") / "project.toml").read_text("utf-8")
    tree = tomllib.loads(text)
    for part in tree["parts"]:
        part.pop("channel", None)
        if part["kind"] == "splitter":
            part["channel"] = CHANNEL
    return Project.model_validate(tree)


def main() -> float:
    """Print what the two give each other; return the change of CzSf by the wells [m²]."""
    models = part_models(car())
    own = next(m for m in models if isinstance(m, ChannelSplitter))
    models = fronted(models, {own.spec.key: strip_tables(own.spec, gaps=4)})
    draws = {name: np.array([q.best]) for name, q in inputs_of(models).items()}
    place = PlatformState(
        ride_height_front=np.array([FRONT / 1e3]), ride_height_rear=np.array([REAR / 1e3]),
        speed=np.array([SPEED / 3.6]), density=np.array([1.18]), viscosity=np.array([1.83e-5]),
    )  # fmt: skip
    around: dict[str, np.ndarray] = {}
    taken = 0.0
    for model in models:
        load = model.load(place, draws, around)
        if isinstance(model, ChannelSplitter):
            found = model.read(place, draws, around)
            break
        if model.kind == "air net" and load.mass_flow is not None:
            taken = float(load.mass_flow[0])
        for channel, effect in load.effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    middle = found.loads.strips[0]
    (flow,) = (float(q[0]) for q in model.fed(found, draws, around).values())
    (front, _, drag), lost = load.within["splitter → air through the car"], load.mass_flow
    assert lost is not None
    print(f"Splitter: CzS {found.downforce[0]:.3f} m², of it ramps "
          f"{found.gain[0] * found.loads.strips[1].under[0]:.3f} m²")  # fmt: skip
    print(f"Its ramps bring {flow * SPEED / 3.6:.2f} m³/s into the wells, "
          f"Cp there {around['pressure of front wells'][0]:.2f} before, "
          f"{found.loads.strips[1].pressure[0]:.2f} with it")  # fmt: skip
    print(
        f"Of the middle's air {100 * middle.passed[0] / (middle.flow[0] + middle.passed[0]):.0f} % "
        "crosses to the ramps"
    )
    print(f"Air through the net: {taken:.2f} kg/s without, {lost[0]:+.2f} kg/s with it")
    print(f"CxS of the net's own air {drag[0]:+.4f} m²")
    print(f"The wells' pressure at the front axle, points of CzSf: {100 * front[0]:.2f}")
    return float(front[0])


if __name__ == "__main__":
    main()
