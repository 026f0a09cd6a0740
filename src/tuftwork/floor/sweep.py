"""Downforce against ride height: rise, peak, fall; two states where hysteresis is measured."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.quantity import Array

Regime = Literal["rising", "near the peak", "falling", "fallen"]
_NEAR = 0.97  # [-] of the peak that counts as being there
_FALLEN = 0.75  # [-] of the peak below which the force has fallen
# ramps with and without hysteresis in ride height, seen in the abstract of Ruhrmann and Zhang 2003
HYSTERESIS = ((5.0, False), (10.0, False), (15.0, True), (17.0, True), (20.0, True))


@dataclass(frozen=True, slots=True, kw_only=True)
class RideSweep:
    """A floor over ride heights, highest first as it was solved, sorted rising.

    Attributes
    ----------
    height : (n,)
        As asked, see :func:`ride_sweep`. [m]
    downforce, centre, shape_factor, exit_flow
        CzS, station of its centre, greatest H of the layer, flow out over the road speed.
        [m²], [m], [-], [m²]
    peak_height, peak
        Where it is greatest and how much. [m], [m²]
    has_peak
        Whether the peak lies inside the sweep.
    """

    height: Array
    downforce: Array
    centre: Array
    shape_factor: Array
    exit_flow: Array
    peak_height: float
    peak: float
    has_peak: bool

    def regime(self, height: float) -> Regime:
        """Return where a height lies against the peak; words of our own for measured regimes."""
        share = float(np.interp(height, self.height, self.downforce)) / self.peak
        if share >= _NEAR:
            return "near the peak"
        if not self.has_peak or height > self.peak_height:
            return "rising"
        return "fallen" if share < _FALLEN else "falling"

    def share_left(self, factor: float) -> float:
        """Return the load at a share of the peak's height over the peak's [-]."""
        return float(np.interp(factor * self.peak_height, self.height, self.downforce)) / self.peak


def ride_sweep(
    shape: FloorShape,
    stand: Stand,
    closure: FloorClosure,
    heights: Array,
    *,
    in_plan: bool = True,
    n_x: int = 40,
    n_y: int = 6,
) -> RideSweep:
    """Return a floor lowered level by level; both axles move by the same from ``stand``.

    Parameters
    ----------
    shape, stand, closure
        As for :func:`tuftwork.floor.plan.solve_plan`.
    heights : (n,)
        Rear ride heights to go through; the front follows at the same rake. [m]
    in_plan
        In plan, or averaged over the width.

    Raises
    ------
    NotConverged
        If fewer than three heights have an answer.
    """
    line: LineResult | None = None
    plan: PlanResult | None = None
    rows: list[tuple[float, float, float, float, float]] = []
    for height in sorted(np.asarray(heights, float), reverse=True):
        lowered = float(height) - stand.rear
        here = Stand(
            front=stand.front + lowered, rear=float(height), wheelbase=stand.wheelbase,
            roll=stand.roll,
        )  # fmt: skip
        try:
            if in_plan:
                plan = solve_plan(shape, here, closure, n_x=n_x, n_y=n_y, near=plan)
                line = plan.line
                row = (plan.downforce, plan.centre, plan.exit_flow)
            else:
                line = solve_line(shape, here, closure, start=line)
                row = (line.downforce, line.moment / line.downforce, float(line.flow[-1]))
        except (NotConverged, InputError):
            break  # lower down there is no answer either
        rows.append((float(height), row[0], row[1], float(line.shape_factor.max()), row[2]))
    if len(rows) < 3:
        raise NotConverged("the sweep of ride heights: fewer than three heights have an answer")
    table = np.array(rows[::-1])
    k = int(np.argmax(table[:, 1]))
    peak_height, peak, inside = table[k, 0], table[k, 1], 0 < k < table.shape[0] - 1
    if inside:
        peak_height, peak = _parabola(table[k - 1 : k + 2, 0], table[k - 1 : k + 2, 1])
    return RideSweep(
        height=table[:, 0], downforce=table[:, 1], centre=table[:, 2], shape_factor=table[:, 3],
        exit_flow=table[:, 4], peak_height=float(peak_height), peak=float(peak), has_peak=inside,
    )  # fmt: skip


def _parabola(x: Array, y: Array) -> tuple[float, float]:
    """Return top and height of the parabola through three points."""
    a, b, c = np.polyfit(x - x[1], y, 2)
    if not a < 0:
        return float(x[1]), float(y[1])
    at = float(np.clip(-b / (2 * a), x[0] - x[1], x[2] - x[1]))
    return float(x[1] + at), float(a * at**2 + b * at + c)


def has_hysteresis(angle: float) -> bool | None:
    """Return whether a ramp of this angle [rad] was measured to have hysteresis in ride height.

    None between 10° and 15°, where nothing was published. Empirical: a steady symmetric model is
    single-valued and does not produce it.

    References
    ----------
    [ruhrmann2003] abstract.
    """
    degrees = np.degrees(angle)
    without = max(a for a, yes in HYSTERESIS if not yes)
    having = min(a for a, yes in HYSTERESIS if yes)
    if degrees <= without + 1e-9:
        return False
    return True if degrees >= having - 1e-9 else None


def two_state_path(
    heights: Array, whole: Array, fallen: Array, *, falls_at: float, returns_at: float,
    is_fallen: bool = False,
) -> Array:  # fmt: skip
    """Return the load along a history of heights with a vortex pair that is whole or burst.

    Parameters
    ----------
    heights : (n,)
        In the order in which they are met. [m]
    whole, fallen : (n,)
        Load in either state at each of them.
    falls_at, returns_at
        Height below which it bursts, and above which it is whole again: inputs, empirical. [m]
    is_fallen
        State at the start.

    Raises
    ------
    InputError
        If it would return below where it falls.
    """
    if not returns_at >= falls_at:
        raise InputError("returns_at", returns_at, "m", "must not lie below where it falls")
    out = np.empty(len(heights))
    state = is_fallen
    for k, height in enumerate(heights):
        if height < falls_at:
            state = True
        elif height > returns_at:
            state = False
        out[k] = fallen[k] if state else whole[k]
    return out
