"""Sharp outer edges: where the stream has to let go of a wall, whatever slips along it.

A wall with the wall law lets air slip, and slipping air that is held to one cell of thickness
follows a wall round an edge that no real stream could follow: behind a square cylinder nothing is
shed and half of the drag is missing. A real layer holds the air on the wall at the very edge, so
the stream leaves there. So cells within ``REACH`` of an edge that turns by more than ``SHARP`` have
no slip, as have those along the rim of a plate.
Edges along the stream are left alone: it does not cross them.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tuftwork.flow.corner import hold_cells
from tuftwork.flow.setup import Floats, WallLinks

SHARP = np.radians(24.0)
"""Turn of the wall from which an edge is sharp. A turbulent layer follows less; facets of a round
shape with 16 sides or more stay below. Of 20°, 24° and 50° on the slanted-tail body, with 50° the
stream followed the 35° slant that it leaves in measurements, with the others it let go. [rad]"""
REACH = 2.0
"""Cells whose centre lies this close to a sharp edge have no slip. [cells]"""
ALONG = np.radians(20.0)
"""An edge that makes less than this angle with the stream is left alone. [rad]"""
_SPACING = 0.5
_SAME = 1e-6


def sharp_edges(
    vertices: Floats, faces: npt.NDArray[np.int64], *, turn: float = SHARP
) -> npt.NDArray[np.float64]:
    """Return the edges of a surface at which it turns outwards by more than ``turn``.

    Parameters
    ----------
    vertices, faces
        Triangles, normals outwards. Shapes (n, 3) and (m, 3).
    turn
        Least angle between the normals of two faces. [rad]

    Returns
    -------
    ends : (n_edge, 2, 3)
        Ends of each edge; rims of a plate are edges too.
    """
    size = max(float(np.ptp(vertices, axis=0).max()), 1e-30)
    _, same = np.unique(np.round(vertices / (_SAME * size)), axis=0, return_inverse=True)
    corner = same.reshape(-1)[faces]
    place = np.zeros((int(same.max()) + 1, 3))
    place[same.reshape(-1)] = vertices
    tri = place[corner]
    normal = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    length = np.linalg.norm(normal, axis=1)
    sound = length > 0
    corner, normal = corner[sound], normal[sound] / length[sound, None]
    pair = np.sort(np.concatenate([corner[:, [0, 1]], corner[:, [1, 2]], corner[:, [2, 0]]]))
    face = np.tile(np.arange(len(corner)), 3)
    apex = np.concatenate([corner[:, 2], corner[:, 0], corner[:, 1]])
    edge, count = np.unique(pair, axis=0, return_counts=True)
    order = np.lexsort(pair.T[::-1])  # the same order as the edges'
    begin = np.cumsum(count) - count
    sharp = count != 2
    two = np.flatnonzero(~sharp)
    one, other = order[begin[two]], order[begin[two] + 1]
    cosine = np.einsum("ij,ij->i", normal[face[one]], normal[face[other]])
    below = np.einsum("ij,ij->i", place[apex[other]] - place[edge[two, 0]], normal[face[one]])
    sharp[two] = (cosine < np.cos(turn)) & (below < 0)
    return np.asarray(place[edge[sharp]])


def edge_points(
    ends: Floats, stream: Sequence[float] | None = None, spacing: float = _SPACING
) -> Floats:
    """Return points along edges, those along the stream left out. Shape (n, 3).

    Parameters
    ----------
    ends : (n_edge, 2, 3)
        In cells.
    stream
        Direction of the stream; None keeps every edge. Shape (3,).
    spacing
        Largest distance of the points. [cells]
    """
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    kept = length > 0
    if stream is not None:
        unit = np.asarray(stream, float) / max(float(np.linalg.norm(stream)), 1e-30)
        kept &= np.abs(along @ unit) < np.cos(ALONG) * length
    ends, along, length = ends[kept], along[kept], length[kept]
    count = np.maximum(np.ceil(length / spacing).astype(int), 1) + 1
    number = np.repeat(np.arange(len(ends)), count)
    step = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)
    share = step / (count[number] - 1)
    return np.asarray(ends[number, 0] + share[:, None] * along[number])


def hold_edges(
    links: WallLinks, shape: tuple[int, int, int], points: Floats, *, reach: float = REACH
) -> tuple[WallLinks, int]:
    """Return wall links without slip beside sharp edges, and how many cells that are.

    Parameters
    ----------
    links
        The wall links.
    shape
        Cells along x, y, z.
    points : (n, 3)
        Points along the edges, from ``edge_points``. [cells]
    reach
        Largest distance of a held cell's centre. [cells]
    """
    from scipy.spatial import cKDTree

    if not len(points) or not links.cell.size:
        return links, 0
    lx, ly, _ = shape
    n = links.cell
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)], axis=1)
    far, _ = cKDTree(points).query(at, distance_upper_bound=reach)
    return hold_cells(links, np.asarray(far <= reach), "edges")
