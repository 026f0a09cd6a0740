"""Sharp outer edges: where the stream has to let go of a wall, whatever slips along it.

A wall with the wall law lets air slip, and slipping air that is held to one cell of thickness
follows a wall round an edge that no real stream could follow: behind a square cylinder nothing is
shed and half of the drag is missing. A real layer leaves along the face that it comes from, and
the air behind the edge hardly moves. So on the face that lies further from the stream cells within
``REACH`` of an edge that turns by more than ``SHARP`` have no slip; on the face that the stream
comes along they keep the wall law, for a cell held there is a lip in the stream.
Both sides are held where one lies against the stream, which races out along it as no layer does;
so too at the rim of a plate and at a knife edge where the thin part lies against the stream.
Where it lies along the stream they are free: air does not slip round an edge without thickness, and
held cells would be a lip there. With them, and a layer of cells taken out, a plate along the stream
had five times the drag and a delta plate at 20° two thirds of its lift; see the model's page.
A knife edge that the stream leaves, the tail of a wing, is free at any angle: both sides are cut
there to the tip (``thin``), and held cells would take lift away.
Edges along the stream and swept ones are left alone, and those whose faces lie alike to it: it does
not cross them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.flow.corner import hold_cells
from tuftwork.flow.setup import Floats, WallLinks

SHARP = np.radians(32.0)
"""Turn of the wall from which an edge is sharp. A turbulent layer follows less; facets of a round
shape with 12 sides or more stay below. Chosen on the slanted-tail body, of which it is printed that
the stream follows slants of 25° and 30° and leaves that of 35° (Ahmed 1984, memory). With cells of
4 mm it let go of all three with 24°, followed that of 35° too with 50°, and does as printed with
32°. No other body with edges between 24° and 50° has been held against a measurement. [rad]"""
KNIFE = np.radians(120.0)
"""Turn from which an edge is a knife's, such as the tail of a wing. [rad]"""
TAIL = -0.5
"""Cosine with the stream of the way from a knife edge into its body up to which it is a tail: the
body lies ahead of it. [-]"""
REACH = 2.0
"""Cells whose centre lies this close to a sharp edge have no slip. [cells]"""
ALONG = np.radians(45.0)
"""An edge that makes less than this angle with the stream is left alone: over an edge swept by more
than 45° a vortex rolls up (common practice, no source), which air that is held beside it feeds no
more. Seen on rims at 14° to 24° and on the sides of the slanted tail at 25° to 35°; with 20°, as it
stood before, its slant of 30° had no side vortices. [rad]"""
ALIKE = 0.1
"""Faces whose normals differ by less than this along the stream lie alike to it. [-]"""
FACING = -0.5
"""A face whose normal has less than this along the stream lies against it; a thin part does where
either of its faces does. Plates were held against print along the stream and at 10° and 20° to it,
the front of a square cylinder across it; from 20° to 90° this is a choice. [-]"""
_SPACING = 0.5
_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class Edges:
    """Edges of a surface.

    Attributes
    ----------
    ends
        Shape (n, 2, 3).
    normals
        Normals of the two faces; zero on the rim of a plate and on a knife edge. Shape (n, 2, 3).
    into
        Unit vector from a knife edge or a rim into its body or plate; zero on others; None: none of
        them. Shape (n, 3).
    """

    ends: Floats
    normals: Floats
    into: Floats | None = None

    def __len__(self) -> int:
        return len(self.ends)


@dataclass(frozen=True, slots=True)
class EdgePoints:
    """Points along edges that a stream crosses.

    Attributes
    ----------
    place
        Shape (n, 3). [cells]
    turn
        From the normal of the face that the stream comes along to that of the face behind;
        0: both are held. Shape (n, 3).
    """

    place: Floats
    turn: Floats

    def __len__(self) -> int:
        return len(self.place)


def sharp_edges(
    vertices: Floats, faces: npt.NDArray[np.int64], *, turn: float = SHARP, close: float = _SAME
) -> Edges:
    """Return the edges of a surface at which it turns outwards by more than ``turn``.

    Parameters
    ----------
    vertices, faces
        Triangles, normals outwards. Shapes (n, 3) and (m, 3).
    turn
        Least angle between the normals of two faces. [rad]
    close
        Points this close, over the size of the surface, are one. At a cusp they are close. [-]

    Returns
    -------
    edges
        Rims of a plate are edges too.
    """
    size = max(float(np.ptp(vertices, axis=0).max()), 1e-30)
    _, same = np.unique(np.round(vertices / (close * size)), axis=0, return_inverse=True)
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
    normals = np.zeros((len(edge), 2, 3))
    blunt = cosine > np.cos(KNIFE)
    normals[two[blunt]] = np.stack([normal[face[one]], normal[face[other]]], axis=1)[blunt]
    into = np.zeros((len(edge), 3))
    into[two[~blunt]] = _into(place[edge[two]], place[apex[one]], place[apex[other]])[~blunt]
    rim = np.flatnonzero(count == 1)
    beside = place[apex[order[begin[rim]]]]
    into[rim] = _into(place[edge[rim]], beside, beside)
    return Edges(np.asarray(place[edge[sharp]]), normals[sharp], into[sharp])


def _into(ends: Floats, one: Floats, other: Floats) -> Floats:
    """Return unit vectors from edges, square to them, to midway between two points. (n, 3)."""
    along = ends[:, 1] - ends[:, 0]
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-30)

    def square(point: Floats) -> Floats:
        way = point - ends[:, 0]
        way = way - np.einsum("na,na->n", way, along)[:, None] * along
        return np.asarray(way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-30))

    mid = square(one) + square(other)
    return np.asarray(mid / np.maximum(np.linalg.norm(mid, axis=1, keepdims=True), 1e-30))


def edge_points(
    edges: Edges, stream: Sequence[float] | None = None, spacing: float = _SPACING
) -> EdgePoints:
    """Return points along edges, those that the stream does not cross left out.

    Parameters
    ----------
    edges
        Ends in cells.
    stream
        Direction of the stream; None keeps every edge, and both sides of it. Shape (3,).
    spacing
        Largest distance of the points. [cells]
    """
    ends, normals = edges.ends, edges.normals
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    kept = length > 0
    turn = np.zeros((len(ends), 3))
    if stream is not None:
        unit = np.asarray(stream, float) / max(float(np.linalg.norm(stream)), 1e-30)
        kept &= np.abs(along @ unit) < np.cos(ALONG) * length
        one, other = (normals @ unit).T
        kept &= (np.abs(other - one) > ALIKE) | ~normals.any(axis=(1, 2))
        if edges.into is not None:
            broad = np.abs(np.cross(along, edges.into) @ unit)
            meets = (broad > -FACING * length) & (edges.into @ unit > TAIL)
            kept &= meets | ~edges.into.any(axis=1)
        towards = np.where(np.minimum(one, other) < FACING, 0.0, np.sign(other - one))
        turn = towards[:, None] * (normals[:, 1] - normals[:, 0])
    ends, along, length, turn = ends[kept], along[kept], length[kept], turn[kept]
    number, share = _shares(length, spacing)
    return EdgePoints(np.asarray(ends[number, 0] + share[:, None] * along[number]), turn[number])


def points_along(ends: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return points along edges (n, 2, 3), half a cell apart or less, and the edge of each."""
    number, share = _shares(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), _SPACING)
    start, end = ends[number, 0], ends[number, 1]
    return np.asarray((1.0 - share)[:, None] * start + share[:, None] * end), number


def _shares(length: Floats, spacing: float) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return the edge of each point, both ends with it, and its share of the way along."""
    count = np.maximum(np.ceil(length / spacing).astype(int), 1) + 1
    number = np.repeat(np.arange(len(length)), count)
    step = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)
    return number, step / (count[number] - 1)


def hold_edges(
    links: WallLinks, shape: tuple[int, int, int], points: EdgePoints, *, reach: float = REACH
) -> tuple[WallLinks, int]:
    """Return wall links without slip beside sharp edges, and how many cells that are.

    Parameters
    ----------
    links
        The wall links.
    shape
        Cells along x, y, z.
    points
        Points along the edges, from ``edge_points``, in cells.
    reach
        Largest distance of a held cell's centre. [cells]
    """
    from scipy.spatial import cKDTree

    if not len(points) or not links.cell.size:
        return links, 0
    lx, ly, _ = shape
    n = links.cell
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)], axis=1)
    far, nearest = cKDTree(points.place).query(at, distance_upper_bound=reach)
    near = np.flatnonzero(far <= reach)
    turn = points.turn[np.asarray(nearest)[near]]
    behind = np.einsum("na,an->n", turn, links.geometry[:3, near].astype(float)) > 0
    which = np.zeros(n.size, bool)
    which[near] = behind | ~turn.any(axis=1)
    return hold_cells(links, which, "edges")
