"""Vortices of strakes for the page "Floor": way, core, footprint, where they burst, load ±40 %."""

from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor.plan import PlanResult
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.floor.trail import StrakeTrail, strake_trails
from tuftwork.floor.vortex import SPREAD
from tuftwork.study.floor_number import ranged_number

_MM, _EVERY = 1e3, 2
_PLACES = 4


def trails_of(
    shape: FloorShape, stand: Stand, plan: PlanResult, *, coverage: float, toe: float, at: str
) -> list[dict[str, Any]]:
    """Return the right side's trails as the page draws them; the left is their image.

    Parameters
    ----------
    shape, stand, plan
        The floor with its strakes, solved.
    coverage
        Load of this car's floor over a clean plate's. [-]
    toe
        Of all strakes. [rad]
    at
        Ride heights in words.
    """
    try:
        found = strake_trails(shape, stand, plan, toe=toe)
    except InputError as why:
        return [{"refused": str(why)}]
    return [_tree(strake, coverage, at) for strake in found]


def _tree(found: StrakeTrail, coverage: float, at: str) -> dict[str, Any]:
    strake, trail = found.strake, found.trail
    head: dict[str, Any] = {
        "start_m": strake.start, "end_m": strake.end, "offset_m": strake.offset,
        "angle_deg": round(float(np.degrees(found.angle)), 1),
        "height_mm": round(_MM * found.height, 1),
    }  # fmt: skip
    if trail is None:
        return head | {"text": "The air runs along this strake: it sheds nothing.", "x": []}
    x = strake.start + trail.x
    breaks = None if trail.breaks_at is None else round(float(strake.start + trail.breaks_at), 3)
    # the suction over a vortex spreads on the floor about as wide as it lies below it
    deep = found.height
    return head | {
        "x": _listed(x), "y": _listed(strake.offset + trail.y), "core": _listed(trail.core),
        "suction": _listed(trail.suction / max(float(trail.suction.max()), 1e-9)),
        "reach_m": round(deep, _PLACES), "breaks_m": breaks, "washes": trail.washes,
        "load": ranged_number(2 * coverage * trail.downforce, SPREAD, "area", "m²", at),
        "text": _said(found, breaks),
    }  # fmt: skip


def _said(found: StrakeTrail, breaks: float | None) -> str:
    trail = found.trail
    assert trail is not None
    way = "outwards" if trail.washes == "out" else "inwards"
    if breaks is None:
        state = "its core holds to the exit"
    elif breaks <= found.strake.start + 0.01:
        state = "it bursts where it is shed: the angle is too steep for this gap"
    else:
        state = f"it bursts {breaks:.2f}\u202fm behind the front axle"
    return (
        f"Met at {abs(np.degrees(found.angle)):.1f}°, {_MM * found.strake.offset:.0f}\u202fmm from "
        f"the middle: washes {way}, core {_MM * float(trail.core[-1]):.0f}\u202fmm at the exit; "
        f"{state}."
    )


def _listed(values: np.ndarray) -> list[float]:
    return [round(float(v), _PLACES) for v in values[::_EVERY]]
