"""Why a floor loses load as it is lowered: rival readings, each undone alone and solved again.

Between a higher and a lower stand each reading is held as it was higher up, the rest left as the
channel finds it lower down. What comes back of the load is what that reading takes; the greatest
is the cause. Nothing here knows which reading is meant to win.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import NotConverged
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import FloorShape, Stand, kinks
from tuftwork.floor.trail import strake_trails
from tuftwork.quantity import Array

Reading = Literal["choking", "stall", "burst", "leak", "strake burst"]
_DRIVES = 0.8  # [-] of what the stall takes, from which on the burst behind it is named instead
_SEEN = 0.003  # [-] of the load, below which nothing is called a cause


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """One reading.

    Attributes
    ----------
    returned
        Load that comes back without it. [m²]
    higher, lower
        What it hangs on at the two stands: share of the gap that the layers fill ahead of the kick
        line (choking) and behind it (stall), swirl over the swirl that breaks a vortex down
        (burst), share of the exit's flow that leaked in (leak), share of strakes whose vortex
        breaks down (strake burst). [-]
    """

    reading: Reading
    returned: float
    higher: float
    lower: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FallCause:
    """What a floor's load does between two stands, and why.

    Attributes
    ----------
    higher, lower
        CzS at the two stands. [m²]
    throat : (2,)
        Gap at the throat, higher and lower. [m]
    flow : (2,)
        Through the exit over the road speed. [m²]
    readings
        Rivals, the one that takes most first.
    cause
        The one that stands; None where the load does not fall or none is seen in it.
    stalled_from
        Station from which on the layer has separated at the lower stand. [m]
    """

    higher: float
    lower: float
    throat: tuple[float, float]
    flow: tuple[float, float]
    readings: tuple[Undone, ...]
    cause: Reading | None
    stalled_from: float | None

    def of(self, reading: Reading) -> Undone:
        """Return one of the readings."""
        return next(r for r in self.readings if r.reading == reading)


def fall_cause(
    shape: FloorShape, high: Stand, low: Stand, closure: FloorClosure, *,
    n_x: int = 40, n_y: int = 10,
) -> FallCause:  # fmt: skip
    """Return what takes a floor's load between two stands.

    Parameters
    ----------
    shape, closure
        As for :func:`tuftwork.floor.plan.solve_plan`.
    high, low
        How it stands before and after it is lowered.

    Raises
    ------
    InputError
        What :func:`tuftwork.floor.shape.check_shape` refuses.
    NotConverged
        If either stand is left unsolved.
    """
    up = solve_plan(shape, high, closure, n_x=n_x, n_y=n_y)
    down = solve_plan(shape, low, closure, n_x=n_x, n_y=n_y, near=up)
    turned = kinks(shape)
    kick = turned[-1] if turned else shape.exit

    def again(layer: LineResult, own: FloorClosure = closure) -> float:
        try:
            found = solve_plan(shape, low, own, n_x=n_x, n_y=n_y, layer=layer, near=down)
        except NotConverged:
            return 0.0
        return found.downforce - down.downforce

    ahead, ramp = down.line.x <= kick, down.line.x > kick
    # a reading's evidence stands where it is strongest lower down
    at = int(np.argmax(np.where(ahead, down.line.blocked / down.line.gap, -1.0)))
    back = int(np.argmax(np.where(ramp, down.line.blocked / down.line.gap, -1.0)))
    filled = _share(up.line, down.line.x), down.line.blocked / down.line.gap
    swirl = _swirl(up.line), _swirl(down.line)
    share = up.leak_flow / up.exit_flow, down.leak_flow / down.exit_flow
    rows = [
        Undone(reading="choking", returned=again(_held(up.line, down.line, ahead)),
               higher=float(filled[0][at]), lower=float(filled[1][at])),
        Undone(reading="stall", returned=again(_held(up.line, down.line, ramp)),
               higher=float(filled[0][back]), lower=float(filled[1][back])),
        Undone(reading="burst", returned=_unburst(shape, low, closure, down, swirl, again),
               higher=swirl[0] / closure.vortex_limit, lower=swirl[1] / closure.vortex_limit),
        Undone(reading="leak", returned=_sealed(closure, down, share, again),
               higher=share[0], lower=share[1]),
    ]  # fmt: skip
    if shape.strakes:
        rows.append(_strakes(shape, (high, up), (low, down)))
    rows.sort(key=lambda r: -r.returned)
    return FallCause(
        higher=up.downforce, lower=down.downforce,
        throat=(_throat(up.line, kick), _throat(down.line, kick)),
        flow=(up.exit_flow, down.exit_flow), readings=tuple(rows),
        cause=_named(rows, up.downforce, down.downforce), stalled_from=down.line.stalled_from,
    )  # fmt: skip


def _named(rows: list[Undone], higher: float, lower: float) -> Reading | None:
    """Return the reading that stands: the greatest, or what drives it."""
    first = rows[0]
    if not (lower < higher and first.returned > _SEEN * higher):
        return None
    burst = next(r for r in rows if r.reading == "burst")
    if first.reading == "stall" and burst.returned >= _DRIVES * first.returned:
        return "burst"
    return first.reading


def _share(line: LineResult, x: Array) -> Array:
    return np.asarray(np.interp(x, line.x, line.blocked / line.gap))


def _held(up: LineResult, down: LineResult, where: NDArray[np.bool_]) -> LineResult:
    """Return the lower stand's layers with the higher one's share of the gap at some stations."""
    gap = down.gap

    def mixed(name: str) -> Array:
        own = np.interp(down.x, up.x, getattr(up, name) / up.gap) * gap
        return np.asarray(np.where(where, own, getattr(down, name)))

    friction = np.where(where, np.interp(down.x, up.x, up.friction), down.friction)
    return replace(
        down, displacement=mixed("displacement"), road_displacement=mixed("road_displacement"),
        friction=friction,
    )  # fmt: skip


def _swirl(line: LineResult) -> float:
    """Return the greatest swirl of an edge vortex, Γ/(π h u) [-]."""
    return float(np.max(line.vortex / (np.pi * line.gap * np.maximum(line.speed, 0.05))))


def _unburst(
    shape: FloorShape, low: Stand, closure: FloorClosure, down: PlanResult,
    swirl: tuple[float, float], again: Callable[..., float],
) -> float:  # fmt: skip
    """Return what comes back where the edge vortices hold as they did higher up."""
    limit = closure.vortex_limit * max(swirl[1] / max(swirl[0], 1e-6), 1.0)
    try:
        line = solve_line(shape, low, replace(closure, vortex_limit=limit), start=down.line)
    except NotConverged:
        return 0.0
    return float(again(line))


def _sealed(
    closure: FloorClosure, down: PlanResult, share: tuple[float, float], again: Callable[..., float]
) -> float:
    """Return what comes back where no more leaks in, of what leaves, than did higher up."""
    if share[1] <= share[0]:
        return 0.0
    # of a small change the leak's share goes with the discharge as share (1 − share)
    less = 1 - (share[1] - share[0]) / max(share[1] * (1 - share[1]), 0.05)
    own = replace(closure, discharge=closure.discharge * float(np.clip(less, 0.3, 1.0)))
    return float(again(down.line, own))


def _strakes(shape: FloorShape, *states: tuple[Stand, PlanResult]) -> Undone:
    """Return the load strakes' vortices lose by breaking down, against the higher stand."""
    lost, where = [], []
    for stand, plan in states:
        trails = [s.trail for s in strake_trails(shape, stand, plan) if s.trail is not None]
        lost.append(2 * sum(t.whole - t.downforce for t in trails))
        where.append(sum(t.breaks_at is not None for t in trails) / max(len(trails), 1))
    return Undone(
        reading="strake burst", returned=lost[1] - lost[0], higher=where[0], lower=where[1]
    )


def _throat(line: LineResult, kick: float) -> float:
    return float(np.interp(kick, line.x, line.gap))
