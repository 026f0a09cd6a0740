"""Circles for the demo car, and what its planted tyres give on them by textbook formulas.

The planted limits are solved here by halving, with the aero of the demo's truth at rest; they
share no code with what is tested. Tyres as given are wide: 1.40 with a doubt of 0.06 at 3 kN.
"""

import tomllib
from importlib.resources import files
from typing import Any

import numpy as np

from tuftwork.demo.truth import true_loads

GRAVITY, DENSITY = 9.80665, 1.18
MASS, FRONT, HEIGHT = 1285.0, 0.475, 0.47
TRACK = {"front": 1.64, "rear": 1.60}
ROLL = {"front": 0.52, "rear": 0.48}
ROLLING = 0.015
PLANTED = {"front": (1.335, 3.2e-5), "rear": (1.475, 3.2e-5)}
"""Axle → friction at 3 kN on a wheel, and the share of it lost for each newton more."""
GIVEN = {"grip": "1.40 ± 0.06", "grip_loss": "3.2 % ± 1.6 %", "wheel_load": "3000 N"}


def planted_lateral(
    axle: str, radius: float, *, wing: float = 8.0, mass: float = MASS, grip: float = 1.0,
    loss: float | None = None,
) -> float:  # fmt: skip
    """Return v²/R at which an axle of the planted car runs out on a flat circle [m/s²]."""
    friction, own = PLANTED[axle]
    fall = own if loss is None else loss
    air = true_loads(0.055, 0.067, float(np.radians(wing)))
    area = {"front": air.front, "rear": air.rear}[axle]
    share = {"front": FRONT, "rear": 1.0 - FRONT}[axle]

    def left(lateral: float) -> float:
        q = 0.5 * DENSITY * lateral * radius
        load = mass * GRAVITY * share + q * area
        moved = ROLL[axle] * mass * lateral * HEIGHT / TRACK[axle]
        able = sum(
            friction * grip * (1.0 - fall * (n - 3000.0)) * n
            for n in (0.5 * load + moved, 0.5 * load - moved)
        )
        push = q * air.drag + ROLLING * (mass * GRAVITY + q * (air.front + air.rear))
        along = push if axle == "rear" else 0.0  # the rear axle drives
        return 1.0 - (mass * share * lateral / able) ** 2 - (along / able) ** 2

    low, high = 1.0, 60.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if left(middle) > 0.0 else (low, middle)
    return low


def planted_speed(axle: str, radius: float, **more: float) -> str:
    """Return the planted speed as a person writes it down, one standard deviation 0.4 %."""
    speed = 3.6 * float(np.sqrt(radius * planted_lateral(axle, radius, **more)))
    return f"{speed:.2f} km/h ± {0.005 * speed:.2f} km/h"


def pad(id: str = "G1", axle: str = "front", radius: float = 20.0, **more: Any) -> dict[str, Any]:
    """Return a skid pad the planted car drove."""
    return {
        "id": id, "kind": "skid pad", "at": f"pad {radius:g}", "radius": f"{radius:g} m ± 0.1 m",
        "speed": {"value": planted_speed(axle, radius), "origin": "measured", "from": "both ways"},
        "gave_up": axle, **more,
    }  # fmt: skip


def lap_tables(*runs: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return the demo's project as tables, its tyres wide, with these circles."""
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8")
    tables: dict[str, Any] = tomllib.loads(text)
    lap = tables["lap"]
    lap["front"] = dict(GIVEN)
    lap["rear"] = {**GIVEN, "margin": "3 % ± 1 %"}
    lap["cornering"] = {"runs": list(runs), **more}
    return tables
