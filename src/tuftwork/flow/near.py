"""Parts that come nearer to each other than their cells can tell, and parts that no cell sees."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from tuftwork.flow.case import FlowCase, FlowPart
from tuftwork.flow.parts import FEWEST_GAP_CELLS, cells_across
from tuftwork.flow.setup import Setup
from tuftwork.flow.walls import split_long

Floats = npt.NDArray[np.float64]
Gap = tuple[int | None, tuple[str, str] | None, tuple[float, float, float] | None]
"""Fewest cells, between which surfaces, and where. [-], [m]"""
_TOUCH = 0.02
"""Parts nearer than this, or one in the other by more, meet. [cells]"""
_POINTS = 4_000
"""Triangles that a part's side is split into, about."""
_NAMED = 4
"""Pairs that are told. [-]"""
_NEAREST, _REFINED = 8, 10_000
"""Triangles tried for a point, and points for which the distance is worked out. [-]"""
_ASKED = 100
"""Points for which it is worked out whether they lie inside. [-]"""
_ALIKE = 1e-6
"""Distances that differ by less of themselves are one: two faces meet at the foot. [-]"""
_HOVERS = 0.005
"""A wheel that stands higher does not touch the road. [m]"""
_ASIDE = 1e-5
"""A line that counts crossings passes edges by so much. [cells]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """Two parts with a gap between them.

    Attributes
    ----------
    between
        Their names.
    gap
        [m]
    at
        Place. Shape (3,). [m]
    """

    between: tuple[str, str]
    gap: float
    at: tuple[float, float, float]


def near_parts(case: FlowCase) -> tuple[Near, ...]:
    """Return pairs of parts that do not meet but stand closer than two cells, the closest first.

    Where less than a cell of air is between two parts, no line of cells sees a gap: it would be
    closed without a word. So the surfaces themselves are asked.

    Parameters
    ----------
    case
        With the parts.
    """
    reach = FEWEST_GAP_CELLS * case.finest
    walls = [part for part in case.parts if part.porous is None]
    found = []
    for one, two in combinations(walls, 2):
        near = _between(one, two, reach, case.finest)
        if near is not None:
            found.append(near)
    return tuple(sorted(found, key=lambda near: near.gap))


def _between(one: FlowPart, two: FlowPart, reach: float, cell: float) -> Near | None:
    """Return the gap between two parts; None where they meet or are far from each other."""
    sides = [_close_to(a, b, reach) for a, b in ((one, two), (two, one))]
    if not all(len(side) for side in sides):
        return None
    cut = [_split(side, cell) for side in sides]
    ways = []
    for mine, other, part in ((0, 1, two), (1, 0, one)):
        gap, place, deep = _least(cut[mine], cut[other], reach, _TOUCH * cell)
        if gap <= _TOUCH * cell:
            return None  # they meet
        if part.is_closed and len(deep) and _has_inside(part.triangles(), deep, _ASIDE * cell):
            return None  # a corner of one lies in the other
        ways.append((gap, place))
    gap, place = min(ways, key=lambda way: way[0])
    if not gap < reach:
        return None
    at = (float(place[0]), float(place[1]), float(place[2]))
    return Near(between=(one.name, two.name), gap=gap, at=at)


def _close_to(part: FlowPart, other: FlowPart, reach: float) -> Floats:
    """Triangles of a part near the box round another. Shape (n, 3, 3)."""
    low, high = other.vertices.min(axis=0) - reach, other.vertices.max(axis=0) + reach
    corner = part.triangles()
    return corner[np.all((corner.max(axis=1) >= low) & (corner.min(axis=1) <= high), axis=1)]


def _split(corner: Floats, cell: float) -> Floats:
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = 0.5 * float(np.linalg.norm(across, axis=1).sum())
    return split_long(corner, max(cell, 2.0 * np.sqrt(area / _POINTS)))


def _least(mine: Floats, face: Floats, reach: float, touch: float) -> tuple[float, Floats, Floats]:
    """Return the least distance of corners to triangles, where, and corners that look inside.

    At an edge two faces are equally near, and behind a sharp one a corner lies behind one of them:
    the face that it stands off more says on which side it is. Where that face is not among those
    tried the corner looks inside and is not, so it has to be asked.
    """
    from scipy.spatial import cKDTree

    nothing = np.zeros((0, 3))
    low, high = face.min(axis=(0, 1)) - reach, face.max(axis=(0, 1)) + reach
    point = mine.reshape(-1, 3)
    point = np.unique(point[np.all((point >= low) & (point <= high), axis=1)], axis=0)
    if not len(point):
        return np.inf, np.zeros(3), nothing
    size = np.linalg.norm(face - face.mean(axis=1, keepdims=True), axis=2).max()
    tree = cKDTree(face.mean(axis=1))
    apart = np.asarray(tree.query(point, distance_upper_bound=reach + size)[0])
    chosen = np.argsort(apart)[:_REFINED]
    chosen = chosen[np.isfinite(apart[chosen])]
    if not chosen.size:
        return np.inf, np.zeros(3), nothing
    point = point[chosen]
    _, near = tree.query(point, k=min(_NEAREST, len(face)))
    corner = face[np.asarray(near).reshape(len(point), -1)]
    foot = _foot(point[:, None], corner)
    away = point[:, None] - foot
    distance = np.linalg.norm(away, axis=2)
    normal = np.cross(corner[..., 1, :] - corner[..., 0, :], corner[..., 2, :] - corner[..., 0, :])
    normal /= np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-300)
    height = np.einsum("nkd,nkd->nk", away, normal)
    least = distance.min(axis=1)
    tied = distance <= (1.0 + _ALIKE) * least[:, None]
    stands = np.where(tied, np.abs(height) + _ALIKE * height, -1.0).argmax(axis=1)
    depth = height[np.arange(len(point)), stands]
    deep = np.argsort(depth)[:_ASKED]
    n = int(least.argmin())
    middle = 0.5 * (point[n] + foot[n, distance[n].argmin()])
    return float(least[n]), middle, point[deep[depth[deep] < -touch]]


def _has_inside(corner: Floats, point: Floats, aside: float) -> bool:
    """Return whether a closed surface (n, 3, 3) holds one of some points: a line up crosses oddly.

    The line passes ``aside`` of a point, for points often lie in line with edges.
    """
    low, high = corner[..., :2].min(axis=1), corner[..., :2].max(axis=1)
    for x, y, z in point + np.array([aside, 0.37 * aside, 0.0]):
        own = corner[np.all((low <= [x, y]) & (high >= [x, y]), axis=1)]
        a, u, v = own[:, 0], own[:, 1] - own[:, 0], own[:, 2] - own[:, 0]
        area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        area = np.where(area == 0, np.inf, area)  # upright: not crossed
        s = ((x - a[:, 0]) * v[:, 1] - (y - a[:, 1]) * v[:, 0]) / area
        t = (u[:, 0] * (y - a[:, 1]) - u[:, 1] * (x - a[:, 0])) / area
        above = a[:, 2] + s * u[:, 2] + t * v[:, 2] > z
        if ((s >= 0) & (t >= 0) & (s + t <= 1) & above & np.isfinite(area)).sum() % 2:
            return True
    return False


def _foot(point: Floats, corner: Floats) -> Floats:
    """Nearest place on triangles (…, 3, 3) to points (…, 3): on the face, or on an edge."""
    a, b, c = (corner[..., k, :] for k in range(3))
    u, v, w = b - a, c - a, point - a
    uu, uv, vv = (np.einsum("...i,...i", x, y) for x, y in ((u, u), (u, v), (v, v)))
    wu, wv = (np.einsum("...i,...i", w, x) for x in (u, v))
    area = np.maximum(uu * vv - uv * uv, 1e-300)
    s, t = (vv * wu - uv * wv) / area, (uu * wv - uv * wu) / area
    out = a + s[..., None] * u + t[..., None] * v
    inside = (s >= 0) & (t >= 0) & (s + t <= 1)
    best = np.where(inside, 0.0, np.inf)
    for p, q in ((a, b), (b, c), (c, a)):
        edge = q - p
        share = np.einsum("...i,...i", point - p, edge)
        share = np.clip(share / np.maximum(np.einsum("...i,...i", edge, edge), 1e-300), 0, 1)
        place = p + share[..., None] * edge
        square = np.square(point - place).sum(axis=-1)
        closer = square < best
        out = np.where(closer[..., None], place, out)
        best = np.where(closer, square, best)
    return np.asarray(out, dtype=float)


def narrowest_of(case: FlowCase, gaps: Sequence[Gap], near: Sequence[Near]) -> Gap:
    """Return the narrowest of the gaps that cells see and of those that they do not.

    Parameters
    ----------
    case
        What is run.
    gaps
        What lines of cells see in every box.
    near
        From ``near_parts``.
    """
    least: Gap = (None, None, None)
    for gap in (*gaps, *((int(n.gap / case.finest), n.between, n.at) for n in near[:1])):
        if gap[0] is not None and (least[0] is None or gap[0] < least[0]):
            least = gap
    return least


def of_one_cell(
    case: FlowCase, setup: Setup, origin: Sequence[float], touching: npt.NDArray[np.bool_]
) -> Near:
    """Return the narrowest gap that a single cell bridges along a line of cells.

    Parameters
    ----------
    case
        With the cell of the box.
    setup, origin
        The box, in which there is such a gap, and the place of its first cell. Shape (3,). [m]
    touching
        Pairs of surfaces that meet. Shape (n_surface, n_surface).
    """
    walls = setup.walls
    share = walls.shares()
    width, cell, axis = np.inf, 0, 0
    for a in range(3):
        ahead, back = (walls.surface_of[n] for n in (2 * a, 2 * a + 1))
        own = np.flatnonzero((walls.cut[2 * a] > 0) & (walls.cut[2 * a + 1] > 0) & (ahead != back))
        own = own[~touching[ahead[own], back[own]]]
        across = share[2 * a, own] + share[2 * a + 1, own]
        if own.size and across.min() < width:
            width, cell, axis = float(across.min()), int(own[across.argmin()]), a
    names = [walls.surfaces[int(walls.surface_of[2 * axis + n, cell])].name for n in (1, 0)]
    at = np.array(np.unravel_index(int(walls.cell[cell]), setup.mark.shape))[::-1] * case.cell
    x, y, z = (float(v) for v in at + origin)
    return Near(between=(names[0], names[1]), gap=max(width, _TOUCH) * case.cell, at=(x, y, z))


def _hovering(case: FlowCase) -> Iterator[str]:
    """Yield which wheels stand clear of the road; a rim does within a tyre that touches it."""
    if case.road == "none":
        return
    wheels = [(part, part.spin) for part in case.parts if part.spin is not None]
    for part, spin in wheels:
        clear = float(part.vertices[:, 2].min())
        if clear <= _HOVERS:
            continue
        here = [other for other, its in wheels
                if np.hypot(its.centre[0] - spin.centre[0], its.centre[2] - spin.centre[2]) < clear
                and its.centre[1] * spin.centre[1] >= 0]  # fmt: skip
        if all(float(other.vertices[:, 2].min()) > _HOVERS for other in here):
            yield (
                f"'{part.name}' is a wheel and hangs {1e3 * clear:.3g} mm above the road: look at "
                "where the road lies in the file."
            )


def near_notices(case: FlowCase, near: Sequence[Near], setups: Sequence[Setup]) -> list[str]:
    """Return in words which gaps are lost between cells, and which parts no cell sees.

    Parameters
    ----------
    case
        What is run.
    near
        From ``near_parts``.
    setups
        Every box of cells.
    """
    out = []
    if len(near) > _NAMED:
        out.append(f"{len(near)} pairs of parts stand closer than {FEWEST_GAP_CELLS} cells; the "
                   f"{_NAMED} closest:")  # fmt: skip
    for one in near[:_NAMED]:
        place = ", ".join(f"{a} {v:.3f}" for a, v in zip("xyz", one.at, strict=True))
        place = place.replace("-", "\u2212")  # in numbers only: a part's name keeps its hyphens
        out.append(
            f"'{one.between[0]}' and '{one.between[1]}' stand {1e3 * one.gap:.3g} mm apart at "
            f"{place} m, {one.gap / case.finest:.2g} cells: such a gap is closed or not resolved. "
            f"{cells_across(one.gap)}"
        )
    out += _hovering(case)
    seen = {int(n) for setup in setups for n in np.unique(setup.walls.counted())}
    for n, part in enumerate(case.parts, start=1):
        if n not in seen and part.porous is None:
            out.append(
                f"No air touches '{part.name}': it lies inside other parts or falls between the "
                "cells; its loads are nought."
            )
    return out
