"""What the page "Lap" draws as planes: where on the map the lap is spent, and equal lap time."""

from typing import Any

import numpy as np

from tuftwork.study.lap_answer import Laps
from tuftwork.study.number import json_ready

Page = dict[str, Any]
_KMH = 3.6


def occupancy_page(laps: Laps, state: str) -> Page:
    """Return seconds of the lap over both ride heights, rear downforce beneath. [mm], [s], [m²]"""
    found = laps.result(state)["occupancy"]
    tree: Page = json_ready(
        {
            **{k: np.round(1e3 * np.asarray(found[k]), 3)
               for k in ("edges_front", "edges_rear", "axis_front", "axis_rear")},
            "seconds": np.round(found["seconds"], 4),
            "speed_kmh": np.round(_KMH * np.asarray(found["speed"]), 1),
            "downforce_rear": np.round(found["downforce_rear"], 5),
        }
    )  # fmt: skip
    return tree


def plane_page(laps: Laps, state: str) -> Page:
    """Return lap time over drag and downforce at the car's own balance, against here. [m²], [s]"""
    found = laps.result(state)["plane"]
    drag, force = (np.asarray(found[k], dtype=float) for k in ("drag", "downforce"))
    time = np.asarray(found["time"], dtype=float)
    here = [float(v) for v in found["here"]]
    tree: Page = json_ready(
        {
            "drag": np.round(here[0] + drag, 5), "downforce": np.round(here[1] + force, 5),
            "change": np.round(time - time[drag.size // 2, force.size // 2], 5),
        }
    )  # fmt: skip
    return {**tree, "here": here}


def line_of(laps: Laps) -> str:
    """Return which line is driven, in words."""
    lap = laps.answers.project.lap
    assert lap is not None
    return next(c.line for c in lap.circuits if c.name == laps.circuit)
