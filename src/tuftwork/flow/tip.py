"""Cells at a knife edge of a closed part, such as the tail of a wing.

Behind the edge the way from it to a cell points along the stream: slip square to that way would
lead air round the edge. Beside the edge a cell's foot jumps from a side to the edge, and from one
side to the other, with where the edge lies among the cells, and with it the way the stream leaves.
So such a cell slips along the side that its links meet where it lies ahead of the edge, and along
the plane midway between the two sides where it lies behind, over a cell from one to the other.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.edge import KNIFE, sharp_edges
from tuftwork.flow.lattice import N_LINK, VELOCITY
from tuftwork.flow.setup import Floats, WallLinks

NEAR = 2.0
"""A cell this close to a knife edge may have a link that meets it: a link is √3 long. [cells]"""
FOOT = 0.75
"""A cell is at the edge if its foot lies this close to it. [cells]"""
HALF = 0.5
"""From here ahead of the edge to here behind it the sides' plane turns to the midplane. [cells]"""
_SPACING = 0.5
_SAME = 1e-9
"""Both sides of a cusp lie close together: only what is one point is taken as one. [-]"""
_LEAST = 0.3
"""Length of the sum of the unit normals that links meet below which they have no side. [-]"""


def turned_at_knives(
    links: WallLinks,
    shape: Sequence[int],
    block: tuple[slice, slice, slice],
    closed: Sequence[Floats],
    tri: Floats,
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
    """
    from scipy.spatial import cKDTree

    size = np.array([s.stop - s.start for s in block[::-1]]) + NEAR
    here = [t[np.all((t.max(axis=1) > -NEAR) & (t.min(axis=1) < size), axis=1)] for t in closed]
    place, ends, into = _knives([t for t in here if len(t)])
    if not len(place) or not links.cell.size:
        return links
    at = np.stack(np.unravel_index(links.cell, shape), axis=1)[:, ::-1]
    at = at - np.array([s.start for s in block[::-1]])
    far, nearest = cKDTree(place).query(at, distance_upper_bound=NEAR)
    cell = np.flatnonzero((far <= NEAR) & (links.cut > 0).any(axis=0))
    edge = ends[np.asarray(nearest)[cell]]
    inwards = into[np.asarray(nearest)[cell]]
    along = edge[:, 1] - edge[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    own, deep = links.geometry[:3, cell].T.astype(float), links.geometry[3, cell].astype(float)
    behind = -np.einsum("na,na->n", at[cell] - edge[:, 0], inwards)
    foot = at[cell] - deep[:, None] * own - edge[:, 0]
    foot -= np.einsum("na,na->n", foot, along)[:, None] * along
    kept = (np.linalg.norm(foot, axis=1) < FOOT) & (behind > -HALF)
    cell, along, inwards, behind = cell[kept], along[kept], inwards[kept], behind[kept]
    side, way, found = _met(links, cell, at[cell], block, tri)
    middle = side - np.einsum("na,na->n", side, inwards)[:, None] * inwards
    middle -= np.einsum("na,na->n", middle, along)[:, None] * along
    share = np.clip(HALF + behind, 0.0, 1.0)[:, None]
    unit = (1.0 - share) * side + share * middle / _length(middle)
    found &= np.linalg.norm(middle, axis=1) > 0.5
    geometry = links.geometry.copy()
    geometry[:3, cell[found]] = (unit / _length(unit))[found].T
    geometry[3, cell[found]] = way[found]
    return replace(links, geometry=geometry)


def _knives(closed: Sequence[Floats]) -> tuple[Floats, Floats, Floats]:
    """Return points along knife edges, the edge's ends, and the way from it into its body."""
    ends, into = [np.zeros((0, 2, 3))], [np.zeros((0, 3))]
    for tri in closed:
        faces = np.arange(3 * len(tri)).reshape(-1, 3)
        edges = sharp_edges(tri.reshape(-1, 3), faces, turn=KNIFE, close=_SAME)
        if edges.into is not None:
            is_knife = edges.into.any(axis=1)
            ends.append(edges.ends[is_knife])
            into.append(edges.into[is_knife])
    end, inwards = np.concatenate(ends), np.concatenate(into)
    length = np.linalg.norm(end[:, 1] - end[:, 0], axis=1)
    count = np.maximum(np.ceil(length / _SPACING).astype(int), 1) + 1
    number = np.repeat(np.arange(len(end)), count)
    step = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)
    share = (step / (count[number] - 1))[:, None]
    place = (1.0 - share) * end[number, 0] + share * end[number, 1]
    return np.asarray(place), end[number], inwards[number]


def _met(
    links: WallLinks,
    cell: npt.NDArray[np.int64],
    at: npt.NDArray[np.int64],
    block: tuple[slice, slice, slice],
    tri: Floats,
) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Return the mean normal of the sides that links meet, the way to them, and whether any."""
    from tuftwork.flow._cut_kernel import cut_links

    size = np.array([s.stop - s.start for s in block])
    inside = np.flatnonzero(np.all((at >= 0) & (at < size[::-1]), axis=1))
    index = np.full(size, -1, np.int64)
    index[tuple(at[inside, ::-1].T)] = inside
    hit = np.full((N_LINK, cell.size), 9.0, np.float32)
    met = np.full((N_LINK, cell.size), -1, np.int32)
    wanted = (links.cut[:, cell] > 0).astype(np.float32)
    cut_links(tri, np.arange(len(tri)), NEAR, VELOCITY, index, wanted, hit, met)
    normal = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    normal = normal / _length(normal)
    total, way = np.zeros((cell.size, 3)), np.zeros(cell.size)
    for q, e in enumerate(VELOCITY[1:].astype(float)):
        own = normal[met[q]]
        steep = own @ e
        is_met = met[q] >= 0
        total += np.where(is_met[:, None], -np.sign(steep)[:, None] * own, 0.0)
        way += np.where(is_met, hit[q] * np.abs(steep), 0.0)
    found = np.linalg.norm(total, axis=1) > _LEAST
    return total / _length(total), way / np.maximum((met >= 0).sum(axis=0), 1), found


def _length(v: Floats) -> Floats:
    """Return lengths of vectors, none of them zero. Shape (n, 1)."""
    return np.asarray(np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-30))
