"""Test days of the invented car, with and without planted faults."""

from dataclasses import replace

import numpy as np

from tuftwork.demo.day import EMPTY, RACE, car
from tuftwork.demo.truth import true_loads
from tuftwork.trial.fault import Suspects
from tuftwork.trial.passes import Run
from tuftwork.trial.setup import Setup
from tuftwork.trial.synthetic import Day, MadeDay, Planted, make_day

SPEEDS = [kmh / 3.6 for kmh in (100, 140, 170, 190, 205, 220, 232)]
INCIDENCE = {"as raced": 8.0, "more wing": 12.0}
Z80 = 1.2815515655446004
RANGES = {
    "wheel_rate_front": 0.03, "wheel_rate_rear": 0.03, "tyre_rate_front": 0.06,
    "tyre_rate_rear": 0.06, "pot_ratio_front": 0.01, "pot_ratio_rear": 0.01, "density": 0.003,
}  # fmt: skip
DRIVER = {"zero_front": RACE.front - EMPTY.front, "zero_rear": RACE.rear - EMPTY.rear}


def truth(front: float, rear: float, state: str) -> tuple[float, float, float]:
    loads = true_loads(front, rear, float(np.radians(INCIDENCE[state])))
    return loads.front, loads.rear, loads.drag


def made(planted: Planted, seed: int, **given: object) -> MadeDay:
    day = Day(truth=truth, setup=car(), speeds=SPEEDS, runs=("as raced", "more wing", "as raced"),
              planted=planted)  # fmt: skip
    return make_day(replace(day, **given), seed)


def random_day(planted: Planted, seed: int) -> MadeDay:
    """Return a day whose car and instruments lie anywhere within what is known of them."""
    noise = np.random.default_rng(seed)
    own = replace(car(), **{k: float(getattr(car(), k) * (1 + v / Z80 * noise.standard_normal()))
                            for k, v in RANGES.items()})  # fmt: skip
    air = planted.gains.get("air speed", 1.0) * (1 + 0.004 * noise.standard_normal())
    zeros = 8.0 * noise.standard_normal(2)
    spoiled = replace(
        planted, gains={**planted.gains, "air speed": float(air)},
        zero_front=planted.zero_front + float(zeros[0]),
        zero_rear=planted.zero_rear + float(zeros[1]),
    )  # fmt: skip
    return made(spoiled, seed, setup=own, wind=float(noise.normal(0, 1.5)),
                grade=float(noise.normal(0, 0.001)))  # fmt: skip


def known_setup(seed: int, size: int = 256) -> Setup:
    """Return draws of what the tester knows of the car."""
    noise = np.random.default_rng(seed + 77)
    return replace(car(), **{k: getattr(car(), k) * (1 + v / Z80 * noise.standard_normal(size))
                             for k, v in RANGES.items()})  # fmt: skip


def runs_of(day: MadeDay) -> list[Run]:
    return [Run(state=r.state, start=r.start, end=r.end) for r in day.runs]


def suspects(day: MadeDay) -> Suspects:
    return Suspects(setup=car(), race=RACE, others=(EMPTY,), runs=runs_of(day))
