"""What the planted car gains on the demo's circuit: the truth's own aero under the lap room."""

from functools import cache

import numpy as np

from tuftwork.demo.truth import true_loads
from tuftwork.lap import AeroTable, solve_lap
from tuftwork.lap.demo import brackenholt, halyard

SETTINGS = {
    "as raced": (8.0, 0.058, 0.071),
    "more wing": (12.0, 0.058, 0.071),
    "rear up, wing 9": (9.0, 0.056, 0.082),
    "rear up, wing 11": (11.0, 0.053, 0.084),
}
"""State → wing [deg], ride heights at rest [m], as the demo plants them."""


@cache
def _seconds(state: str) -> float:
    wing, front, rear = SETTINGS[state]
    hf, hr = np.linspace(0.016, 0.085, 24), np.linspace(0.034, 0.115, 60)
    loads = [[true_loads(f, r, float(np.radians(wing))) for r in hr] for f in hf]
    aero = AeroTable(
        ride_height_front=hf, ride_height_rear=hr, roll_loss_front=60.0, roll_loss_rear=60.0,
        **{
            name: np.array([[[getattr(load, key) for load in row] for row in loads]])
            for name, key in (
                ("downforce_front", "front"), ("downforce_rear", "rear"), ("drag", "drag"))
        },
    )  # fmt: skip
    car = halyard(ride_height_front=front, ride_height_rear=rear)
    return solve_lap(brackenholt(), car, aero, n_point=1500).time


def true_seconds(state: str) -> float:
    """Return what a state gains over the baseline in the planted truth. [s]"""
    return _seconds(state) - _seconds("as raced")
