"""Cells at a knife edge of a closed part, such as the tail of a wing.

Behind the edge the way from it to a cell points along the stream: slip square to that way would
lead air round the edge. Beside the edge a cell's foot jumps from a side to the edge, and from one
side to the other, with where the edge lies among the cells, and with it the way the stream leaves.
So such a cell slips along the side that its links meet where it lies ahead of the edge, and along
the plane midway between the two sides where it lies behind, over a cell from one to the other.

The rim of a shallow step or groove that leans may be as sharp as a tail, but air wedges into the
body right beside it: an edge as sharp that turns inwards. Such a rim is no tail and is left alone.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.blunt import blunt_tails
from tuftwork.flow.edge import KNIFE, SHARP, points_along, sharp_edges
from tuftwork.flow.lattice import N_LINK, VELOCITY
from tuftwork.flow.setup import Floats, WallLinks
from tuftwork.flow.thin import normals_of, sides_met

NEAR = 2.0
"""A cell this close to a knife edge may have a link that meets it: a link is √3 long. [cells]"""
FOOT = 0.75
"""A cell is at the edge if its foot lies this close to it. [cells]"""
HALF = 0.5
"""From here ahead of the edge to here behind it the sides' plane turns to the midplane. [cells]"""
STEP = 0.05
"""A knife edge that lies this close to one that turns inwards is the rim of a step. [cells]"""
_SPACING = 0.5
_SAME = 1e-9
"""Both sides of a cusp lie close together: only what is one point is taken as one. [-]"""
_BESIDE = 8
"""Points of edges that turn inwards that are looked at beside one of a knife edge."""
_STRIP = 0.7
"""A face that looks along the way out of the edge by more than this is the strip of a blunt one."""
_LEAST = 0.3
"""Length of the sum of the unit normals that links meet below which they have no side. [-]"""


def turned_at_knives(
    links: WallLinks,
    shape: Sequence[int],
    block: tuple[slice, slice, slice],
    closed: Sequence[Floats],
    tri: Floats,
    stream: Sequence[float] | None = None,
) -> WallLinks:
    """Return wall links in which cells at knife edges slip along their side or midway.

    Parameters
    ----------
    links
        The wall links, with true normals.
    shape
        Cells along z, y, x.
    block
        Cells around the bodies, over z, y, x.
    closed
        Triangles of each closed part in cells of the block, not split. Shapes (n, 3, 3).
    tri
        All triangles in cells of the block. Shape (n, 3, 3).
    stream : (3,)
        Its direction, which tells the tails; None: thin cut tails are not looked for.
    """
    from scipy.spatial import cKDTree

    size = np.array([s.stop - s.start for s in block[::-1]]) + NEAR
    here = [t[np.all((t.max(axis=1) > -NEAR) & (t.min(axis=1) < size), axis=1)] for t in closed]
    place, ends, into, width = _knives([t for t in here if len(t)], stream)
    if not len(place) or not links.cell.size:
        return links
    at = np.stack(np.unravel_index(links.cell, shape), axis=1)[:, ::-1]
    at = at - np.array([s.start for s in block[::-1]])
    far, nearest = cKDTree(place).query(at, distance_upper_bound=NEAR)
    cell = np.flatnonzero((far <= NEAR) & (links.cut > 0).any(axis=0))
    edge = ends[np.asarray(nearest)[cell]]
    inwards, wide = (of[np.asarray(nearest)[cell]] for of in (into, width))
    along = edge[:, 1] - edge[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    own, deep = links.geometry[:3, cell].T.astype(float), links.geometry[3, cell].astype(float)
    behind = -np.einsum("na,na->n", at[cell] - edge[:, 0], inwards)
    foot = at[cell] - deep[:, None] * own - edge[:, 0]
    foot -= np.einsum("na,na->n", foot, along)[:, None] * along
    kept = (np.linalg.norm(foot, axis=1) < FOOT + 0.5 * wide) & (behind > -HALF)
    cell, along, inwards, edge = cell[kept], along[kept], inwards[kept], edge[kept]
    behind, wide = (behind - wide)[kept], wide[kept]
    side, way, found = _met(links, cell, at[cell], block, tri, inwards)
    middle = side - np.einsum("na,na->n", side, inwards)[:, None] * inwards
    middle -= np.einsum("na,na->n", middle, along)[:, None] * along
    # a cell that meets the strip of a cut tail alone lies behind it: the midplane, on its own side
    plane = np.cross(along, inwards)
    own_side = np.einsum("na,na->n", plane, at[cell] - edge[:, 0]) < 0
    plane[own_side] *= -1.0
    lone = ~found & (wide > 0)
    middle[lone], side[lone], way[lone] = plane[lone], plane[lone], HALF
    found |= lone
    share = np.clip(HALF + behind, 0.0, 1.0)[:, None]
    unit = (1.0 - share) * side + share * middle / _length(middle)
    found &= np.linalg.norm(middle, axis=1) > 0.5
    geometry = links.geometry.copy()
    geometry[:3, cell[found]] = (unit / _length(unit))[found].T
    geometry[3, cell[found]] = way[found]
    return replace(links, geometry=geometry)


def _knives(
    closed: Sequence[Floats], stream: Sequence[float] | None
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return points along knife edges, the edge's ends, the way into its body, and how blunt."""
    ends, into, width = [np.zeros((0, 2, 3))], [np.zeros((0, 3))], [np.zeros(0)]
    for tri in closed:
        edge, inwards = _as_sharp(tri)
        if len(edge):
            kept = ~_is_rim(edge, _as_sharp(tri[:, ::-1])[0])
            ends.append(edge[kept])
            into.append(inwards[kept])
            width.append(np.zeros(int(kept.sum())))
        if stream is not None:
            edge, inwards, wide = _as_blunt(tri, stream)
            ends.append(edge)
            into.append(inwards)
            width.append(wide)
    end, inwards, wide = (np.concatenate(each) for each in (ends, into, width))
    place, number = points_along(end)
    return place, end[number], inwards[number], wide[number]


def _as_sharp(tri: Floats) -> tuple[Floats, Floats]:
    """Return the knife edges of a part, and the way from each into its body."""
    faces = np.arange(3 * len(tri)).reshape(-1, 3)
    edges = sharp_edges(tri.reshape(-1, 3), faces, turn=KNIFE, close=_SAME)
    if edges.into is None:
        return np.zeros((0, 2, 3)), np.zeros((0, 3))
    is_knife = edges.into.any(axis=1)
    return edges.ends[is_knife], edges.into[is_knife]


def _as_blunt(tri: Floats, stream: Sequence[float]) -> tuple[Floats, Floats, Floats]:
    """Return the middle lines of a part's thin cut tails, the way inwards, and their width."""
    faces = np.arange(3 * len(tri)).reshape(-1, 3)
    return blunt_tails(sharp_edges(tri.reshape(-1, 3), faces, turn=SHARP, close=_SAME), stream)


def _is_rim(edge: Floats, inner: Floats) -> npt.NDArray[np.bool_]:
    """Say which edges lie within ``STEP`` of edges that turn inwards, over their whole length."""
    from scipy.spatial import cKDTree

    if not len(inner):
        return np.zeros(len(edge), bool)
    place, number = points_along(edge)
    other, whose = points_along(inner)
    _, nearest = cKDTree(other).query(place, k=_BESIDE, distance_upper_bound=_SPACING)
    found = nearest < len(other)
    start, end = np.moveaxis(inner[whose[np.where(found, nearest, 0)]], 2, 0)
    along = end - start
    share = np.einsum("nka,nka->nk", place[:, None] - start, along)
    share = np.clip(share / np.maximum(np.einsum("nka,nka->nk", along, along), 1e-30), 0.0, 1.0)
    far = np.linalg.norm(start + share[..., None] * along - place[:, None], axis=2)
    is_apart = np.where(found, far, np.inf).min(axis=1) > STEP
    return np.asarray(np.bincount(number[is_apart], minlength=len(edge)) == 0)


def _met(
    links: WallLinks,
    cell: npt.NDArray[np.int64],
    at: npt.NDArray[np.int64],
    block: tuple[slice, slice, slice],
    tri: Floats,
    inwards: Floats,
) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Return the mean normal of the sides that links meet, the way to them, and whether any.

    The strip of a blunt edge, which looks away from the part, is no side.
    """
    from tuftwork.flow._cut_kernel import cut_links

    size = np.array([s.stop - s.start for s in block])
    inside = np.flatnonzero(np.all((at >= 0) & (at < size[::-1]), axis=1))
    index = np.full(size, -1, np.int64)
    index[tuple(at[inside, ::-1].T)] = inside
    hit = np.full((N_LINK, cell.size), 9.0, np.float32)
    met = np.full((N_LINK, cell.size), -1, np.int32)
    wanted = (links.cut[:, cell] > 0).astype(np.float32)
    cut_links(tri, np.arange(len(tri)), NEAR, VELOCITY, index, wanted, hit, met)
    normals = normals_of(tri)
    is_side = np.einsum("qna,na->qn", normals[np.maximum(met, 0)], inwards) > -_STRIP
    unit, way, length = sides_met((met >= 0) & is_side, met, hit, normals)
    return unit.T, way, length > _LEAST


def _length(v: Floats) -> Floats:
    """Return lengths of vectors, none of them zero. Shape (n, 1)."""
    return np.asarray(np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-30))
