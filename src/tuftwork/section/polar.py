"""Polars: a section over incidence, height or both, by continuation, with the band of constants."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tuftwork.errors import NotConverged
from tuftwork.quantity import Array
from tuftwork.section.condition import Condition, ConstantSet
from tuftwork.section.ease import EASES, walk_from_ease
from tuftwork.section.point import Case, SectionPoint, prepare, solve_point
from tuftwork.section.stack import Stack
from tuftwork.section.station import Layers

State = Literal["converged", "settled", "separated", "beyond", "failed"]
_FINER = (1.2, 1.55)  # [-] meshes tried where several elements do not converge on the first
_BEYOND = np.deg2rad(2.0)  # nothing is promised further beyond maximum lift
_JUMP = 0.12  # lift off the line between neighbours one or two degrees away


@dataclass(frozen=True, slots=True, kw_only=True)
class Polar:
    """A section over incidence.

    Attributes
    ----------
    alpha : (n,)
        Incidence. [rad]
    lift, drag, moment : (n,)
        On the total chord; nan where a point failed. [-]
    lift_low, lift_high : (n,)
        Band between the constant sets; equal to ``lift`` where it was not asked for. [-]
    state : (n,)
        ``"converged"``, ``"settled"`` (small limit cycle), ``"separated"`` (trend only),
        ``"beyond"`` (more than 2 degrees past maximum lift: no promise), ``"failed"``.
    nose_suction : (n,)
        Over its limit; above 1 the nose stalls abruptly. [-]
    height
        Over the total chord, None in free air. [-]
    points
        Full answers; None where failed.
    """

    alpha: Array
    lift: Array
    drag: Array
    moment: Array
    lift_low: Array
    lift_high: Array
    state: tuple[State, ...]
    nose_suction: Array
    height: float | None
    condition: Condition
    points: tuple[SectionPoint | None, ...]
    notices: tuple[str, ...]

    @property
    def maximum(self) -> tuple[float, float]:
        """Maximum lift and its incidence among the points, nose stall counted. [-], [rad]"""
        lift = np.where(self.nose_suction <= 1.0, self.lift, np.nan)
        if np.isnan(lift).all():
            raise NotConverged("no point of the polar converged below nose stall")
        k = int(np.nanargmax(lift))
        return float(lift[k]), float(self.alpha[k])


def analyse(
    stack: Stack,
    condition: Condition,
    alpha: float,
    *,
    height: float | None = None,
    is_inverted: bool = True,
    n_panel: int | None = None,
) -> SectionPoint:
    """Return one point of a section from a cold start.

    Parameters
    ----------
    stack
        Elements, suction side up.
    condition
        Reynolds number on the total chord, air, trips, constants.
    alpha
        Incidence towards more lift. [rad]
    height
        Lowest point above a moving ground, over the total chord; None: free air. [-]
    is_inverted
        With a ground: suction side towards the road.
    n_panel
        Panels per element.

    Returns
    -------
    point : SectionPoint

    Raises
    ------
    InputError
        If the shape or the height is impossible.
    NotConverged
        If neither a direct start nor continuation from easier states converges.

    References
    ----------
    [drela1987], [green1977]
    """
    case = prepare(stack, condition, height=height, is_inverted=is_inverted, n_panel=n_panel)
    return solve_cold(case, alpha)


def solve_cold(case: Case, alpha: float) -> SectionPoint:
    """Solve directly, else walk in incidence, else come down from a greater height."""
    try:
        point = solve_point(case, alpha)
        if not point.is_settled:
            return point
    except NotConverged:
        pass
    if len(case.stack.elements) > 1:
        # the iteration may go round in a ring on one mesh and settle on the next
        for gain in _FINER:
            count = min(600, int(gain * case.n_panel))
            finer = prepare(
                case.stack, case.condition, height=case.height, is_inverted=case.is_inverted,
                n_panel=count,
            )  # fmt: skip
            try:
                point = solve_point(finer, alpha)
                if not point.is_settled:
                    return point
            except NotConverged:
                continue
    shifts = np.deg2rad([-3.0, 3.0, -6.0, 6.0, -10.0])
    for shift in shifts:
        try:
            first = solve_point(case, alpha + shift)
            return _walk(lambda a, s: solve_point(case, a, s), alpha + shift, alpha, first.layers)
        except NotConverged:
            continue
    if case.height is not None and case.height < 1.5:

        def lower(inverse: float, start: Layers | None) -> SectionPoint:
            return solve_point(replace(case, height=1.0 / inverse), alpha, start)

        for far in (3.0, 1.0):
            try:
                first = lower(1.0 / far, None)
                return _walk(lower, 1.0 / far, 1.0 / case.height, first.layers)
            except NotConverged:
                continue
    if len(case.stack.elements) > 1:
        for ease in EASES:
            try:
                return walk_from_ease(case, alpha, ease)
            except NotConverged:
                continue
    return solve_point(case, alpha)


def _walk(
    solve: Callable[[float, Layers | None], SectionPoint],
    begin: float,
    end: float,
    start: Layers,
    *,
    n_step: int = 3,
    most: int = 24,
) -> SectionPoint:
    """Follow a solution from ``begin`` to ``end`` with steps halved where they fail."""
    at, step, state = begin, (end - begin) / n_step, start
    for _ in range(most):
        to = end if abs(end - at) <= abs(step) * 1.001 else at + step
        try:
            point = solve(to, state)
        except NotConverged:
            step *= 0.5
            if abs(step) < abs(end - begin) / 64.0:
                raise
            continue
        at, state = to, point.layers
        if to == end:
            return point
        step *= 1.5
    raise NotConverged("continuation did not arrive")


def polar(
    stack: Stack,
    condition: Condition,
    alphas: Sequence[float] | Array,
    *,
    height: float | None = None,
    is_inverted: bool = True,
    n_panel: int | None = None,
    has_band: bool = False,
) -> Polar:
    """Return a section over incidence; a point that fails says so and the rest goes on.

    Parameters
    ----------
    stack, condition, height, is_inverted, n_panel
        As for :func:`analyse`.
    alphas : (n,)
        Incidences, any order. [rad]
    has_band
        True: also run the other set of lag constants and give the band between the two.

    Returns
    -------
    polar : Polar
    """
    alpha = np.sort(np.asarray(alphas, float))
    case = prepare(stack, condition, height=height, is_inverted=is_inverted, n_panel=n_panel)
    points = _sweep(case, alpha)
    pick = {
        name: np.array([getattr(p, name) if p is not None else np.nan for p in points])
        for name in ("lift", "drag", "moment", "nose_suction")
    }
    low = high = pick["lift"]
    if has_band:
        other: ConstantSet = "pessimistic" if condition.constants == "default" else "default"
        rival = _sweep(replace(case, condition=replace(condition, constants=other)), alpha)
        lift = np.array([p.lift if p is not None else np.nan for p in rival])
        low, high = np.fmin(low, lift), np.fmax(high, lift)
    states = _states(points, alpha, pick["lift"])
    failed = [f"{np.rad2deg(a):.1f}" for a, s in zip(alpha, states, strict=True) if s == "failed"]
    notices = tuple(dict.fromkeys(n for p in points if p is not None for n in p.notices))
    if failed:
        notices = (f"not converged at {', '.join(failed)} deg", *notices)
    return Polar(
        alpha=alpha,
        lift=pick["lift"],
        drag=pick["drag"],
        moment=pick["moment"],
        lift_low=low,
        lift_high=high,
        state=states,
        nose_suction=np.nan_to_num(pick["nose_suction"], nan=np.inf),
        height=height,
        condition=condition,
        points=tuple(points),
        notices=notices,
    )


def _states(points: Sequence[SectionPoint | None], alpha: Array, lift: Array) -> tuple[State, ...]:
    top = alpha[int(np.nanargmax(lift))] if not np.isnan(lift).all() else np.inf
    out: list[State] = []
    for a, p in zip(alpha, points, strict=True):
        if p is None:
            out.append("failed")
        elif a > top + _BEYOND + 1e-9:
            out.append("beyond")
        elif p.is_separated:
            out.append("separated")
        else:
            out.append("settled" if p.is_settled else "converged")
    return tuple(out)


def _sweep(case: Case, alpha: Array) -> list[SectionPoint | None]:
    """Outward from the incidence nearest 3 degrees, each point from its neighbour."""
    points: list[SectionPoint | None] = [None] * alpha.size
    near = np.argsort(np.abs(alpha - np.deg2rad(3.0)), kind="stable")
    middle = int(near[0])
    for k in near[:3]:  # where the first has no answer its neighbours may start the walk
        try:
            points[k] = solve_cold(case, float(alpha[k]))
        except NotConverged:
            continue
        middle = int(k)
        break
    for order in (range(middle + 1, alpha.size), range(middle - 1, -1, -1)):
        last = points[middle]
        for k in order:
            points[k] = _next(case, float(alpha[k]), last)
            last = points[k] or last
    return _repair(case, alpha, points)


def _repair(
    case: Case, alpha: Array, points: list[SectionPoint | None]
) -> list[SectionPoint | None]:
    """Solve again what jumps off its neighbours; drop it if it stays there.

    The equations have false roots; they lie off the smooth curve, the true ones on it.
    """
    for k in range(1, alpha.size - 1):
        left, here, right = points[k - 1 : k + 2]
        if left is None or here is None or right is None:
            continue
        f = (alpha[k] - alpha[k - 1]) / (alpha[k + 1] - alpha[k - 1])
        expected = (1.0 - f) * left.lift + f * right.lift
        if abs(here.lift - expected) < _JUMP:
            continue
        best: SectionPoint | None = None
        for start in (left, right):
            try:
                trial = solve_point(case, float(alpha[k]), start.layers)
            except NotConverged:
                continue
            if abs(trial.lift - expected) < _JUMP:
                best = trial
        points[k] = best
    return points


def _next(case: Case, alpha: float, last: SectionPoint | None) -> SectionPoint | None:
    """From the neighbour directly, by smaller steps, or cold."""
    if last is not None:
        try:
            point = solve_point(case, alpha, last.layers)
            if not point.is_settled:
                return point
        except NotConverged:
            pass
        try:
            return _walk(
                lambda a, s: solve_point(case, a, s), last.alpha, alpha, last.layers, n_step=2
            )
        except NotConverged:
            pass
    try:
        return solve_cold(case, alpha)
    except NotConverged:
        return None


def over_height(
    stack: Stack,
    condition: Condition,
    alpha: float,
    heights: Sequence[float] | Array,
    *,
    is_inverted: bool = True,
    n_panel: int | None = None,
) -> list[SectionPoint | None]:
    """Return points over ride height, from high to low by continuation, in the order given."""
    wanted = np.asarray(heights, float)
    order = np.argsort(-wanted)
    out: list[SectionPoint | None] = [None] * wanted.size
    last: SectionPoint | None = None
    for k in order:
        case = prepare(
            stack, condition, height=float(wanted[k]), is_inverted=is_inverted, n_panel=n_panel
        )
        try:
            out[k] = solve_point(case, alpha, last.layers if last is not None else None)
        except NotConverged:
            try:
                out[k] = solve_cold(case, alpha)
            except NotConverged:
                out[k] = None
        last = out[k] or last
    return out
