"""The cells of a floor in plan: faces, depths, barriers, losses, and what stands outside."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tuftwork.floor.line import FloorClosure, LineResult
from tuftwork.floor.shape import FloorShape, Stand, gap_at, kinks
from tuftwork.quantity import Array

_LEAST_DEPTH = 0.1  # [-] depth left by the layer, over the gap
_NARROWING = 1.5  # [-] power by which rows narrow towards a side edge or a step
_LEAST_ROWS = 1  # between two walls
_STEP = 1e-3  # [-] of the depth: difference of both sides that makes a side face a step
OPEN, STEP = -1.0, -2.0  # side faces without a barrier


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanGrid:
    """Cells of a floor; half of it where both sides are alike.

    Attributes
    ----------
    x, y
        Faces ``(nx + 1,)`` and ``(ny + 1,)``. [m]
    barrier
        Cd g of side faces; ``OPEN`` or ``STEP`` where nothing stands. [m]
    depth, gap
        Effective depth on u-faces and gap in cells ``(nx, ny)``. [m]
    is_half
        Only the right half is solved; y runs from the middle.
    """

    x: Array
    y: Array
    depth_u: Array
    depth_v: Array
    gap: Array
    barrier: Array
    active: NDArray[np.bool_]
    outside: Array
    loss: Array
    left: Array
    right: Array
    is_half: bool


def plan_grid(
    shape: FloorShape, stand: Stand, closure: FloorClosure, displacement: LineResult | None,
    *, n_x: int = 60, n_y: int = 10,
) -> PlanGrid:  # fmt: skip
    """Return the cells of a floor with everything that does not change while solving."""
    is_half = bool(stand.roll == 0.0)
    x = _faces(shape, n_x)
    y = _rows(shape, max(n_y // 2, 1))
    y = y if is_half else np.concatenate([-y[:0:-1], y])
    xc, yc = 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])

    def depth(xs: Array, ys: Array) -> Array:
        gap = gap_at(shape, stand, xs[:, None], ys[None, :])
        gap = gap * _open_share(shape, xs[:, None], ys[None, :])
        if displacement is None:
            return np.asarray(gap)
        layer, mean = (
            np.interp(xs, displacement.x, of)[:, None]
            for of in (displacement.blocked, displacement.gap)
        )
        # of a shallower part of the width the layers fill no greater share than of the mean
        layer = layer * np.minimum(gap / mean, 1.0)
        return np.asarray(np.maximum(gap - layer, _LEAST_DEPTH * gap))

    shift = 1e-6 * shape.width
    hu = depth(x, yc)
    active = np.ones((xc.size, yc.size), dtype=bool)
    if shape.tail is not None:
        active = ~((xc[:, None] > shape.tail) & (np.abs(yc)[None, :] > shape.tail_half))
    beside = depth(xc, y - shift), depth(xc, y + shift)
    hv = _side_depths(*beside, active)
    outside = np.broadcast_to(0.5 * closure.outside_at(xc)[:, None], active.shape).copy()
    plane = stand.plane(xc[:, None], y[None, :])
    # what stands in the channel at its edge closes the same share of the gap there
    within = np.sign(y) * np.maximum(np.abs(y) - shift, 0.0)
    edge = closure.discharge * shape.edge(plane) * _open_share(shape, xc[:, None], within[None, :])
    is_step = np.abs(beside[1] - beside[0]) > _STEP * hv
    barrier = np.where(is_step, STEP, OPEN)
    _put_strakes(shape, closure, barrier, xc, y, plane)
    solid = active[:, 1:] != active[:, :-1]
    barrier[:, 1:-1] = np.where(solid, edge[:, 1:-1], barrier[:, 1:-1])
    both = ~active[:, 1:] & ~active[:, :-1]
    barrier[:, 1:-1] = np.where(both, 0.0, barrier[:, 1:-1])
    barrier[:, -1] = np.where(active[:, -1], edge[:, -1], 0.0)
    barrier[:, 0] = 0.0 if is_half else np.where(active[:, 0], edge[:, 0], 0.0)
    loss = _losses(shape, xc, yc)
    if displacement is not None:
        loss = loss + np.interp(xc, displacement.x, displacement.friction)[:, None]
    return PlanGrid(
        x=x, y=y, depth_u=hu, depth_v=hv, gap=gap_at(shape, stand, xc[:, None], yc[None, :]),
        barrier=barrier, active=active, outside=outside, loss=loss,
        left=outside[:, 0].copy(), right=outside[:, -1].copy(), is_half=is_half,
    )  # fmt: skip


def _faces(shape: FloorShape, n_x: int) -> Array:
    """Return stations of faces, some twice as dense about kinks and at the leading edge."""
    fine = np.linspace(shape.front, shape.exit, 2001)
    length = shape.exit - shape.front
    density = np.full_like(fine, 1.0)
    for kink in kinks(shape):
        density += 1.2 * np.exp(-np.square((fine - kink) / (0.08 * length)))
    grown = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    return np.interp(np.linspace(0, grown[-1], n_x + 1), grown, fine)


def _rows(shape: FloorShape, n: int) -> Array:
    """Return faces from the middle to the edge, one at each wall and strake, ``n`` or more rows.

    Rows narrow towards side edges and steps, where leaked air mixes over a few gaps' width.
    """
    half = 0.5 * shape.width
    sides = {side for strip in shape.strips for side in (strip.inner, strip.outer)}
    ends = {half, shape.tail_half} | sides
    walls = ends | {s.offset for s in shape.strakes}
    marks = [0.0, *sorted(w for w in walls if 1e-6 < w < half - 1e-6), half]
    parts = []
    for a, b in pairwise(marks):
        t = np.linspace(0.0, 1.0, max(_LEAST_ROWS, round(n * (b - a) / half)) + 1)[:-1]
        parts.append(b - (b - a) * (1 - t) ** (_NARROWING if b in ends else 1.0))
    return np.append(np.concatenate(parts), half)


def _side_depths(inner: Array, outer: Array, active: NDArray[np.bool_]) -> Array:
    """Return depths on side faces: the mean of both sides, the floor's own where it ends."""
    ends = np.zeros((active.shape[0], 1), dtype=bool)
    before, behind = np.hstack([ends, active]), np.hstack([active, ends])
    mean = 0.5 * (inner + outer)
    return np.asarray(np.where(before == behind, mean, np.where(before, inner, outer)))


def _open_share(shape: FloorShape, x: Array, y: Array) -> Array:
    out = np.ones(np.broadcast(x, y).shape)
    for b in shape.blocks:
        inside = (x >= b.start) & (x <= b.end) & (np.abs(y) >= b.inner) & (np.abs(y) <= b.outer)
        out = np.where(inside, out * (1.0 - min(b.share, 0.95)), out)
    return out


def _losses(shape: FloorShape, x: Array, y: Array) -> Array:
    out = np.zeros((x.size, y.size))
    for b in shape.blocks:
        inside = (
            (x[:, None] >= b.start) & (x[:, None] <= b.end)
            & (np.abs(y)[None, :] >= b.inner) & (np.abs(y)[None, :] <= b.outer)
        )  # fmt: skip
        out += inside * b.loss / max(b.end - b.start, 1e-6)
    return out


def _put_strakes(
    shape: FloorShape, closure: FloorClosure, barrier: Array, x: Array, y: Array, plane: Array
) -> None:
    """Close side faces by strakes and by the walls of strips."""
    walls = [(s.start, s.end, s.offset, s.gap) for s in shape.strakes]
    for strip in shape.strips:
        if strip.has_walls:
            ends = (strip.profile[0][0], strip.profile[-1][0])
            # a wall that reaches the reference plane leaves its height over the road
            walls += [
                (*_risen(strip.profile, ends), side, 1.0)
                for side in (strip.inner, strip.outer)
                if 1e-9 < side < 0.5 * shape.width - 1e-9
            ]
    for start, end, offset, gap in walls:
        along = (x >= start) & (x <= end)
        for side in (-1.0, 1.0):
            at = int(np.argmin(np.abs(y - side * offset)))
            if abs(y[at] - side * offset) > 1e-6 or not 0 < at < y.size - 1:
                continue
            fresh = closure.discharge * gap * plane[:, at]
            barrier[along, at] = fresh[along]


def _risen(
    profile: tuple[tuple[float, float], ...], ends: tuple[float, float]
) -> tuple[float, float]:
    """Return from where to where an underside stands above the reference plane."""
    first = ends[1]
    for (x0, z0), (_, z1) in pairwise(profile):
        if max(z0, z1) > 1e-6:
            first = x0
            break
    return first, ends[1]
