"""Loads a wing puts on its mounts and actuator, and what its mounts cost."""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.wing.coupling import WingResult

Mount = Literal["none", "bottom", "top"]

# Share of downforce lost by the mounts, low and high end; common practice, no source: mounts on
# the suction side cost 1 to 3 % more than mounts from above.
_MOUNT_LOSS: dict[str, tuple[float, float]] = {
    "none": (0.0, 0.0),
    "top": (0.0, 0.01),
    "bottom": (0.01, 0.04),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceLoad:
    """Forces at one speed, road axes: desk estimate, verify by proof load.

    Attributes
    ----------
    downforce, drag
        On the wing. [N]
    hinge_moment
        About the hinge, positive where the air turns the wing towards more incidence. [N m]
    actuator_force
        At the lever that holds it, 0 where no lever is given. [N]
    """

    downforce: float
    drag: float
    hinge_moment: float
    actuator_force: float


def service_load(
    result: WingResult,
    dynamic_pressure: float,
    *,
    hinge_x: float,
    lever: float | None = None,
    surface: int | None = None,
) -> ServiceLoad:
    """Return forces, hinge moment and actuator force.

    Parameters
    ----------
    result
        Solved wing.
    dynamic_pressure
        Of the road speed. [Pa]
    hinge_x
        Hinge axis, x rearward. [m]
    lever
        Arm of the actuator about the hinge. [m]
    surface
        Only this surface; None: all.
    """
    if not dynamic_pressure > 0.0:
        raise InputError("dynamic_pressure", dynamic_pressure, "Pa", "must be above 0")
    pick = np.ones(result.y.size, bool) if surface is None else result.surface == surface
    q = dynamic_pressure * result.speed[pick] ** 2
    strip = q * result.chord[pick] * result.width[pick]
    down, drag = strip * result.lift[pick], strip * result.drag[pick]
    # downforce ahead of the hinge pushes the nose down: more incidence of an inverted wing
    moment = float(
        (down * (hinge_x - result.x_quarter[pick])).sum()
        + (strip * result.moment[pick] * result.chord[pick]).sum()
    )
    share = (
        1.0
        if surface is None
        else float(down.sum()) / max(dynamic_pressure * result.downforce_area, 1e-9)
    )
    total_drag = float(drag.sum()) + share * dynamic_pressure * (
        result.induced_area + result.plate_area + result.onset_area
    )
    return ServiceLoad(
        downforce=float(down.sum()),
        drag=total_drag,
        hinge_moment=moment,
        actuator_force=abs(moment) / lever if lever else 0.0,
    )


def mount_factor(mount: Mount) -> tuple[float, float, float]:
    """Return what is left of the downforce with mounts: best, low, high (common practice). [-]"""
    if mount not in get_args(Mount):
        raise UnknownName("mount", mount, get_args(Mount))
    low, high = _MOUNT_LOSS[mount]
    return 1.0 - 0.5 * (low + high), 1.0 - high, 1.0 - low
