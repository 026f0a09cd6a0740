"""A search for the section that makes most of its drag, robust over height and onset."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from time import monotonic

import numpy as np
from scipy.optimize import Bounds, differential_evolution, minimize

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array
from tuftwork.section.condition import Condition
from tuftwork.section.design import Design, Handle, Score, get_handle, score, scored, set_handle
from tuftwork.section.point import SectionPoint

_PANELS = 70  # per element while searching; the answer is worked out again on a finer mesh
_KEPT = 0.95  # [-] share of the design's lift that must be there at the stall margin


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A handle and how far it may move. [rad] or [chord]"""

    handle: Handle
    low: float
    high: float
    flap: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What a search found.

    Attributes
    ----------
    best, start
        The design found and the one it began with, both on the finer mesh.
    worst
        The least of lift minus price times drag over heights and onsets: found, began with (nan
        where that does not keep to the limits). [-]
    tried
        Designs tried.
    is_cut
        Time ran out before the search had settled.
    """

    best: Score
    start: Score
    worst: tuple[float, float]
    tried: int
    is_cut: bool


@dataclass(frozen=True, slots=True)
class _Judge:
    """What a design is worth at its worst height and onset; above 5 where it does not work."""

    condition: Condition
    price: float
    levels: tuple[float | None, ...]
    onsets: tuple[float, ...]
    margin: float
    near: dict[tuple[float | None, float], SectionPoint] = field(default_factory=dict)

    def _score(self, design: Design, place: tuple[float | None, float]) -> Score:
        one, point = scored(
            design, self.condition, price=self.price, n_panel=_PANELS, near=self.near.get(place)
        )
        if point is not None:
            self.near[place] = point
        return one

    def __call__(self, design: Design) -> float:
        value, first = np.inf, None
        for height in self.levels:
            for onset in self.onsets:
                here = replace(design, height=height, incidence=design.incidence + onset)
                one = self._score(here, (height, onset))
                if one.reason:
                    return 10.0
                first = first or one
                value = min(value, one.value)
        assert first is not None
        steep = design.incidence + max(self.onsets) + self.margin
        far = replace(design, height=self.levels[0], incidence=steep)
        beyond = self._score(far, (self.levels[0], np.inf))
        if np.isnan(beyond.lift) or beyond.nose_suction > 1.0:
            return 9.0
        return -value if beyond.lift > _KEPT * first.lift else 8.0


def search(
    design: Design,
    condition: Condition,
    ranges: Sequence[Range],
    *,
    price: float = 10.0,
    heights: Sequence[float] = (),
    onsets: Sequence[float] = (0.0,),
    stall_margin: float = np.deg2rad(2.0),
    n_call: int = 120,
    most_s: float | None = None,
    seed: int = 1,
    on_progress: Callable[[int], None] | None = None,
) -> Search:
    """Return the design with the best worst case over heights and onset angles.

    The stall margin is kept by asking that the section also works, with more than 95 % of the lift
    it has at its setting, at an incidence higher by the margin.

    Parameters
    ----------
    design, condition
        Start and air.
    ranges
        Handles to move.
    price
        Lift worth giving up per unit of drag. [-]
    heights
        Ride heights to be robust over; none: the design's own. [chord]
    onsets
        Onset angles to be robust over. [rad]
    stall_margin
        Incidence that must be left. [rad]
    n_call
        About how many designs are tried.
    most_s
        Time after which the best so far is taken. [s]
    seed
        Of the search.
    on_progress
        Told how many designs were tried.

    Raises
    ------
    InputError
        If no range is given, or one is empty.
    NotConverged
        If no design in the ranges works.
    """
    _require(ranges)
    judge = _Judge(condition, price, tuple(heights) or (design.height,), tuple(onsets),
                   stall_margin)  # fmt: skip
    end = np.inf if most_s is None else monotonic() + most_s
    tried = 0

    def build(x: Array) -> Design:
        d = design
        for r, v in zip(ranges, x, strict=True):
            d = set_handle(d, r.handle, float(v), flap=r.flap)
        return d

    def cost(x: Array) -> float:
        nonlocal tried
        if monotonic() > end:
            return 11.0  # the rest is not looked at any more
        tried += 1
        if on_progress is not None:
            on_progress(tried)
        return judge(build(x))

    low = np.array([r.low for r in ranges])
    high = np.array([r.high for r in ranges])
    now = np.array([get_handle(design, r.handle, flap=r.flap) for r in ranges])
    at, value = np.clip(now, low, high), 10.0
    begun = judge(design)
    if begun > 5.0:
        # nowhere to climb from: look about first
        size = max(5, n_call // (8 * len(ranges)))
        spread = differential_evolution(
            cost, Bounds(low, high), maxiter=2, popsize=max(2, size // len(ranges) + 1), seed=seed,
            polish=False, x0=at,
        )  # fmt: skip
        at, value = spread.x, float(spread.fun)
    climbed = minimize(
        cost, at, method="Nelder-Mead", bounds=Bounds(low, high),
        options={"maxfev": n_call, "xatol": 1e-4, "fatol": 1e-3, "adaptive": True,
                 "initial_simplex": _simplex(at, low, high)},
    )  # fmt: skip
    if climbed.fun < value:
        at, value = climbed.x, float(climbed.fun)
    if value > 5.0:
        raise NotConverged("no design in the ranges keeps slots open and the stall margin")
    best = score(build(at), condition, price=price)
    start = score(design, condition, price=price)
    return Search(
        best=best, start=start, worst=(-value, -begun if begun < 5.0 else np.nan), tried=tried,
        is_cut=monotonic() > end,
    )  # fmt: skip


def _simplex(at: Array, low: Array, high: Array) -> Array:
    """Return a start and one step of a quarter of its range along each handle, inwards."""
    step = 0.25 * (high - low)
    rows = [at]
    for k in range(at.size):
        other = at.copy()
        other[k] += step[k] if at[k] + step[k] <= high[k] else -step[k]
        rows.append(other)
    return np.array(rows)


def optimise(
    design: Design, condition: Condition, ranges: Sequence[Range], **more: object
) -> Score:
    """Return the best design of :func:`search`, which names the arguments."""
    return search(design, condition, ranges, **more).best  # type: ignore[arg-type]


def _require(ranges: Sequence[Range]) -> None:
    if not ranges:
        raise InputError("ranges", 0, "", "must name at least one handle")
    for r in ranges:
        if not r.low < r.high:
            raise InputError(
                f"range of {r.handle}", f"{r.low:g} to {r.high:g}", "", "must rise",
                "Give the lower end first.",
            )  # fmt: skip
