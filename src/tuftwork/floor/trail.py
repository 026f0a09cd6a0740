"""The vortices that a floor's own strakes shed, where the channel in plan says what meets them."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor.plan import PlanResult
from tuftwork.floor.shape import FloorShape, Stand, Strake
from tuftwork.floor.vortex import Fence, VortexTrail, vortex_trail

_LEAST_ANGLE = np.radians(0.2)  # [rad] met by the air, below which nothing is shed


@dataclass(frozen=True, slots=True, kw_only=True)
class StrakeTrail:
    """A strake and the vortex it sheds, on the right side; the left is its image.

    Attributes
    ----------
    strake
    angle
        At which the air meets it; outboard at its front positive. [rad]
    height
        Of the fence. [m]
    trail
        None where it sheds nothing.
    """

    strake: Strake
    angle: float
    height: float
    trail: VortexTrail | None


def strake_trails(
    shape: FloorShape, stand: Stand, plan: PlanResult, *, toe: float = 0.0
) -> tuple[StrakeTrail, ...]:
    """Return the vortices of a floor's strakes in a solved state.

    Parameters
    ----------
    shape, stand, plan
        The floor, how it stands, its channel in plan.
    toe
        Of all strakes, outboard at the front positive; the plan itself takes them as straight.
        [rad]

    Raises
    ------
    InputError
        If a strake leaves no room under the floor.
    """
    return tuple(_of(strake, shape, stand, plan, toe) for strake in shape.strakes)


def _of(
    strake: Strake, shape: FloorShape, stand: Stand, plan: PlanResult, toe: float
) -> StrakeTrail:
    along = (plan.x >= strake.start) & (plan.x <= strake.end)
    if not along.any():
        raise InputError("strake", strake.start, "m", "is shorter than a cell of the grid")
    row = int(np.argmin(np.abs(plan.y - strake.offset)))
    beside = [row, min(row + 1, plan.y.size - 1)]
    u = float(np.nanmean(plan.speed[along][:, beside]))
    v = float(np.nanmean(plan.cross[along][:, beside]))
    plane = float(np.mean(stand.plane(plan.x[along], np.full(along.sum(), strake.offset))))
    depth = float(np.mean(plan.gap[along, row]))
    gap = strake.gap * plane
    height = depth - gap
    if not height > 0.02 * depth:
        raise InputError("strake gap", strake.gap, "", "leaves no fence under the floor")
    # air that goes towards the middle meets a straight fence from outboard: its front lies inboard
    angle = float(np.arctan2(v, max(u, 0.1))) + toe
    if abs(angle) < _LEAST_ANGLE:
        return StrakeTrail(strake=strake, angle=angle, height=height, trail=None)
    behind = np.linspace(strake.start, shape.exit, 80)
    speed = np.interp(behind, plan.x, np.nan_to_num(plan.speed[:, row], nan=u))
    fence = Fence(height=height, length=strake.end - strake.start,
                  angle=float(np.clip(angle, -0.75, 0.75)))  # fmt: skip
    trail = vortex_trail(
        fence, gap=gap, depth=depth, length=shape.exit - strake.start,
        speed=np.maximum(speed, 0.1), shed_over=fence.length,
    )  # fmt: skip
    return StrakeTrail(strake=strake, angle=angle, height=height, trail=trail)
