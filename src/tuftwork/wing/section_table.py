"""Section polars as tables over incidence and height, the form a wing needs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array
from tuftwork.section import Condition, Stack, over_ground, polar


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionTable:
    """Polars of one section at several heights on one even grid of incidence.

    Attributes
    ----------
    alpha : (n_alpha,)
        Even grid of incidence towards more downforce. [rad]
    height : (n_height,)
        Lowest point over the chord, increasing; the last is free air (inf). [-]
    lift, drag, moment : (n_height, n_alpha)
        On the total chord; held constant past the last trusted point. [-]
    stall : (n_height,)
        Incidence of maximum lift or of nose stall, whichever comes first. [rad]
    trusted : (n_height, 2)
        First and last incidence that converged within the promise. [rad]
    drop : (n_alpha,)
        Quarter chord to lowest point of the inverted section, over the chord. [-]
    """

    alpha: Array
    height: Array
    lift: Array
    drag: Array
    moment: Array
    stall: Array
    trusted: Array
    drop: Array
    name: str
    notices: tuple[str, ...] = ()


def section_table(
    stack: Stack,
    condition: Condition,
    *,
    alphas: Sequence[float] | Array | None = None,
    heights: Sequence[float] = (),
    lift_shift: float = 0.0,
    drag_shift: float = 0.0,
    moment_shift: float = 0.0,
    n_panel: int | None = None,
) -> SectionTable:
    """Return the table of a section, one polar per height and one in free air.

    Parameters
    ----------
    stack, condition
        Section and air.
    alphas : (n,)
        Incidences of the polar; by default -6 to 20 degrees in steps of 1. [rad]
    heights
        Heights of the lowest point over the chord, besides free air. [-]
    lift_shift, drag_shift, moment_shift
        Published increments, for example of a gurney (``section.gurney``). [-]
    n_panel
        Panels per element.

    Raises
    ------
    NotConverged
        If fewer than four points of the polar in free air converge; a height at which they do
        not is left out and said so.
    """
    grid = np.deg2rad(np.arange(-6.0, 20.01, 1.0)) if alphas is None else np.asarray(alphas, float)
    if grid.size < 4 or not np.allclose(np.diff(grid), grid[1] - grid[0]):
        raise InputError("alphas", grid.size, "points", "must be four or more, evenly spaced")
    levels: list[float] = []
    rows: dict[str, list[Array]] = {"lift": [], "drag": [], "moment": []}
    stall, trusted, notices = [], [], []
    for level in [*sorted(heights), np.inf]:
        p = polar(
            stack, condition, grid, height=None if np.isinf(level) else level, n_panel=n_panel
        )
        good = np.array([s in ("converged", "settled", "separated") for s in p.state])
        good &= p.nose_suction <= 1.0
        if good.sum() < 4 and np.isfinite(level):
            notices.append(f"no polar at a height of {level:.2f} chords")
            continue
        levels.append(level)
        if good.sum() < 4:
            raise NotConverged(f"{stack.name}: only {int(good.sum())} points at height {level:g}")
        for name, values in rows.items():
            values.append(_filled(grid, getattr(p, name), good))
        top = np.flatnonzero(good)[int(np.argmax(p.lift[good]))]
        stall.append(float(grid[top]))
        trusted.append((float(grid[good][0]), float(grid[good][-1])))
        notices += [f"{level:g} c: {n}" for n in p.notices if n.startswith("not converged")]
    return SectionTable(
        alpha=grid,
        height=np.array(levels),
        lift=np.array(rows["lift"]) + lift_shift,
        drag=np.array(rows["drag"]) + drag_shift,
        moment=np.array(rows["moment"]) + moment_shift,
        stall=np.array(stall),
        trusted=np.array(trusted),
        drop=np.array([drop_of(stack, float(a)) for a in grid]),
        name=stack.name,
        notices=tuple(notices),
    )


def _filled(grid: Array, values: Array, good: NDArray[np.bool_]) -> Array:
    """Values where trusted, interpolated between, held outside."""
    return np.asarray(np.interp(grid, grid[good], values[good]))


def drop_of(stack: Stack, alpha: float) -> float:
    """Height of the quarter chord over the lowest point of the inverted section."""
    placed = over_ground(stack, alpha, 1.0)
    nose, tail = placed[0], placed[-1].trailing_edge
    k = int(np.argmax(np.hypot(nose.x - tail[0], nose.y - tail[1])))
    return float(nose.y[k] + 0.25 * (tail[1] - nose.y[k])) - 1.0


def linear_table(
    *,
    slope: float = 2.0 * np.pi,
    zero_lift: float = 0.0,
    maximum: float | None = None,
    drag: float = 0.0,
    name: str = "linear",
) -> SectionTable:
    """Return a table of an ideal section: straight lift line, rounded off at ``maximum``.

    For checks against theory and for first estimates where no section is known.
    """
    grid = np.deg2rad(np.arange(-20.0, 30.01, 0.5))
    lift = slope * (grid - zero_lift)
    stall = grid[-1]
    if maximum is not None:
        stall = zero_lift + 1.15 * maximum / slope
        top = np.clip((grid - zero_lift) / (stall - zero_lift), None, 1.0)
        rounded = maximum * (1.15 * top - 0.15 * np.sign(top) * np.abs(top) ** 7.667)
        lift = np.where(grid > zero_lift, rounded, lift)
    return SectionTable(
        alpha=grid,
        height=np.array([np.inf]),
        lift=lift[None],
        drag=np.full((1, grid.size), drag),
        moment=np.zeros((1, grid.size)),
        stall=np.array([stall]),
        trusted=np.array([[grid[0], stall]]),
        drop=np.zeros(grid.size),
        name=name,
    )


@dataclass(frozen=True, slots=True)
class StripPolars:
    """Polars of all strips on one even grid of incidence, at the strips' own heights."""

    first: float
    step: float
    lift: Array
    drag: Array
    moment: Array
    stall: Array
    low: Array
    high: Array


def at_heights(table: SectionTable, height: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Polars interpolated to heights (n,): lift, drag, moment (n, n_alpha), stall, trusted.

    Linear in 1/h, where free air is 0; below the lowest height the lowest polar holds.
    """
    inverse = 1.0 / table.height[::-1]
    want = 1.0 / np.maximum(height, 1e-9)
    k = np.clip(np.searchsorted(inverse, want) - 1, 0, max(inverse.size - 2, 0))
    if inverse.size == 1:
        one = np.zeros(want.size, int)
        f = np.zeros(want.size)
        nxt = one
    else:
        f = np.clip((want - inverse[k]) / (inverse[k + 1] - inverse[k]), 0.0, 1.0)
        one, nxt = k, k + 1

    def mix(values: Array) -> Array:
        v = values[::-1]
        w = f.reshape(-1, *([1] * (v.ndim - 1)))
        return np.asarray(v[one] * (1.0 - w) + v[nxt] * w)

    return mix(table.lift), mix(table.drag), mix(table.moment), mix(table.stall), mix(table.trusted)


def look_up(polars: StripPolars, values: Array, alpha: Array) -> tuple[Array, Array]:
    """Value and slope at incidences (..., n_strip) by cubic pieces through each strip's table."""
    n = values.shape[1]
    t = (alpha - polars.first) / polars.step
    k = np.clip(np.floor(t).astype(int), 0, n - 2)
    f = t - k
    strip = np.arange(values.shape[0])
    slope = np.gradient(values, axis=1)
    a, b = values[strip, k], values[strip, k + 1]
    sa, sb = slope[strip, k], slope[strip, k + 1]
    inside = (f >= 0.0) & (f <= 1.0)
    g = np.clip(f, 0.0, 1.0)
    c2, c3 = 3 * (b - a) - 2 * sa - sb, 2 * (a - b) + sa + sb
    value = a + g * (sa + g * (c2 + g * c3))
    rate = (sa + g * (2 * c2 + 3 * g * c3)) / polars.step
    # a little slope outside the table keeps the wing equations regular
    outside = 0.05
    value = value + np.where(inside, 0.0, outside * (f - g) * polars.step)
    return value, np.where(inside, rate, outside)
