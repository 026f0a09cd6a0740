"""Parts thinner than a cell: links between two kept cells that a body crosses.

Where a closed body is thinner than a cell, such as the tail of a wing, no cell's centre lies in it.
Nothing is taken out there, and air would pass through the last hundredths of the chord.
So a link between two kept cells that goes in at one side of a body and out at the other is cut from
both of its ends, each with its own place on the wall.
What is sent back along it stays in the cell's own place, for the place behind belongs to a cell
that is used as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.lattice import N_LINK, OPPOSITE, VELOCITY
from tuftwork.flow.setup import THIN, WALL, Floats, Setup, WallLinks

_PLACES = np.stack(np.meshgrid(*[[-1, 0, 1]] * 3, indexing="ij"), axis=-1).reshape(27, 3)
"""The 27 cells round one, along z, y, x."""
Marks = npt.NDArray[np.uint8]
NEAR = 1.75
"""Both ends of a link that a thin part crosses lie this close to it: a link is √3 long. [cells]"""
ALIKE = 0.5
"""Ends whose feet lie on sides with a cosine above this are on one side of the body. [-]"""
OPPOSED = -0.3
"""Largest cosine of the two sides that a link crosses. Along a bulging wall they are alike, and
such a link only grazes it; at a corner they are square to each other. [-]"""
TIP = 0.9
"""Cosine of a cell's normal with the sides that it meets below which its foot is a tip. [-]"""


@dataclass(frozen=True, slots=True)
class ThinLinks:
    """Kept cells with links that a thin part crosses.

    Attributes
    ----------
    cell
        Flat index of each cell, x fastest, in order. Shape (n,).
    is_cut
        Shape (26, n).
    surface_of
        Surface number per link. Shape (26, n).
    normal, distance
        Mean unit normal of the sides that the links meet, and the way to them along it.
        Shapes (3, n), (n,). [-], [cells]
    """

    cell: npt.NDArray[np.int64]
    is_cut: npt.NDArray[np.bool_]
    surface_of: Marks
    normal: Floats
    distance: Floats


def find_thin(
    removed: Marks,
    block: tuple[slice, slice, slice],
    tri: Floats,
    part: npt.NDArray[np.int64],
    field: tuple[Floats, npt.NDArray[np.int32]],
    is_open: npt.NDArray[np.bool_],
) -> ThinLinks:
    """Return the links between kept cells that cross a part from one side to the other.

    Parameters
    ----------
    removed : (lz, ly, lx)
        Non-zero where a cell is not computed.
    block
        Cells around the bodies, over z, y, x.
    tri, part
        Triangles in cells of the block, and the surface number of each. Shapes (n, 3, 3), (n,).
    field
        Distance to the nearest triangle and its number in the block.
    is_open
        Whether a surface number is that of a plate. Shape (256,).
    """
    from tuftwork.flow._cut_kernel import cut_links

    distance, nearest = field
    near = (removed[block] == 0) & (distance < NEAR) & (nearest >= 0)
    at = np.argwhere(near)
    index = np.full(near.shape, -1, np.int64)
    index[near] = np.arange(len(at))
    away = _away(tri, nearest[near], at)
    wanted = np.zeros((N_LINK, len(at)), bool)
    for q in range(N_LINK):  # one at a time: there are millions of cells near a car
        to = _neighbour(at, index, block, removed.shape, q + 1)
        wanted[q] = (to >= 0) & (np.einsum("na,na->n", away, away[to]) < ALIKE)
    kept = wanted.any(axis=0)
    at, wanted = at[kept], wanted[:, kept]
    index[near] = -1
    index[tuple(at.T)] = np.arange(len(at))
    ahead = np.stack([_neighbour(at, index, block, removed.shape, q + 1) for q in range(N_LINK)])
    hit = np.full(wanted.shape, 9.0, np.float32)
    side = np.full(wanted.shape, -1, np.int32)
    every = np.arange(len(tri))
    cut_links(tri, every, 1.0, VELOCITY, index, wanted.astype(np.float32), hit, side)
    crossed = _both_ways(ahead, side, normals_of(tri), is_open[part])
    found = np.flatnonzero(crossed.any(axis=0))
    normal, distance, _ = sides_met(
        crossed[:, found], side[:, found], hit[:, found], normals_of(tri)
    )
    start = np.array([s.start for s in block])
    cell = np.ravel_multi_index(tuple((at[found] + start).T), removed.shape)
    number = part[np.maximum(side[:, found], 0)]
    return ThinLinks(
        cell=cell.astype(np.int64),
        is_cut=crossed[:, found],
        surface_of=np.where(crossed[:, found], number, 0).astype(np.uint8),
        normal=normal,
        distance=distance,
    )


def with_thin(mark: Marks, links: WallLinks, thin: ThinLinks) -> tuple[Marks, WallLinks]:
    """Return marks and wall links with the links across thin parts cut half way.

    Parameters
    ----------
    mark : (lz, ly, lx)
        Marks of the cells.
    links
        The wall links.
    thin
        From ``find_thin``.
    """
    if not thin.cell.size:
        return mark, links
    cell = np.union1d(links.cell, thin.cell)
    old, new = np.searchsorted(cell, links.cell), np.searchsorted(cell, thin.cell)

    cut = np.zeros((N_LINK, cell.size), np.float32)
    sid = np.zeros((N_LINK, cell.size), np.uint8)
    cut[:, old], sid[:, old] = links.cut, links.surface_of
    fresh = thin.is_cut & (cut[:, new] == 0)
    cut[:, new] = np.where(fresh, THIN + 0.5, cut[:, new])
    sid[:, new] = np.where(fresh, thin.surface_of, sid[:, new])
    geometry = np.zeros((4, cell.size), np.float32)
    main = np.zeros(cell.size, np.uint8)
    geometry[:, old], main[old] = links.geometry, links.main
    out = mark.copy()
    out.reshape(-1)[cell] = WALL
    return out, replace(links, cell=cell, cut=cut, surface_of=sid, main=main, geometry=geometry)


def turned_at_tips(links: WallLinks, thin: ThinLinks) -> WallLinks:
    """Return wall links in which cells behind a tip have the normal of the side that they meet.

    The way from the tip to a cell behind it points along the stream; slip square to it would lead
    air round the tip.

    Parameters
    ----------
    links
        The wall links, with true normals.
    thin
        From ``find_thin``.
    """
    if not thin.cell.size:
        return links
    geometry = links.geometry.copy()
    at = np.searchsorted(links.cell, thin.cell)
    off = np.einsum("an,an->n", geometry[:3, at].astype(float), thin.normal) < TIP
    geometry[:3, at[off]] = thin.normal[:, off]
    geometry[3, at[off]] = thin.distance[off]
    return replace(links, geometry=geometry)


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinSides:
    """On which side of a thin part things lie, for what two levels of cells tell each other.

    Attributes
    ----------
    cell
        Cells with links across a thin part, sorted. Shape (n,).
    across
        Which of the 27 cells round each lie on the other side. Shape (n, 27).
    plane
        Normal and distance of its wall. Shape (4, n). [-], [cells]
    """

    cell: npt.NDArray[np.int64]
    across: npt.NDArray[np.bool_]
    plane: Floats

    def _at(self, cell: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], ...]:
        """Return which of some cells are among these, and where they stand."""
        place = np.searchsorted(self.cell, cell)
        place = np.minimum(place, max(self.cell.size - 1, 0))
        found = self.cell[place] == cell if self.cell.size else np.zeros(cell.shape, bool)
        return np.flatnonzero(found), place[found]

    def own_places(self, cell: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Return bit q for each population q that stands in the cell's own place. Shape (n,)."""
        out = np.zeros(cell.size, np.int64)
        found, place = self._at(cell)
        for q in range(1, N_LINK + 1):
            # population q comes from where the opposite link leads
            out[found] |= self.across[place, _number(-VELOCITY[q])].astype(np.int64) << q
        return out

    def beyond(self, cell: npt.NDArray[np.int64], way: Floats) -> npt.NDArray[np.bool_]:
        """Return which points, ``way`` (z, y, x) (n, 3) from cells, lie behind their walls."""
        out = np.zeros(cell.size, bool)
        found, place = self._at(cell)
        plane = self.plane[:, place]
        out[found] = np.einsum("na,an->n", way[found, ::-1], plane[:3]) < -plane[3]
        return out

    def seen_from(self, cell: npt.NDArray[np.int64], way: Floats) -> npt.NDArray[np.bool_]:
        """Return which of the 27 cells round each lie on the side of a point. Shape (n, 27)."""
        out = np.ones((cell.size, 27), bool)
        found, place = self._at(cell)
        far = self.beyond(cell, way)[found]
        out[found] = self.across[place] == far[:, None]
        return out

    def between(self, cells: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Return which pairs of 27 cells (n, 27) a thin part lies between. Shape (n, 27, 27)."""
        out = np.zeros((*cells.shape, 27), bool)
        for s in range(27):
            found, place = self._at(cells[:, s])
            at = _PLACES[s] + _PLACES
            inside = np.flatnonzero(np.all(np.abs(at) <= 1, axis=1))
            to = (at[inside] + 1) @ np.array([9, 3, 1])
            out[found[:, None], s, to[None]] = self.across[place][:, inside]
        return out


def thin_sides(setup: Setup) -> ThinSides:
    """Return on which sides of thin parts the cells of a box lie.

    Parameters
    ----------
    setup
        The box.
    """
    walls = setup.walls
    thin = walls.cut > THIN
    has = np.flatnonzero(thin.any(axis=0))
    has = has[np.argsort(walls.cell[has])]
    across = np.zeros((has.size, 27), bool)
    for q, e in enumerate(VELOCITY[1:]):
        across[:, _number(e)] = thin[q, has]
    plane = walls.geometry[:, has].astype(float)
    return ThinSides(cell=walls.cell[has], across=across, plane=plane)


def _number(e: npt.NDArray[np.int64]) -> int:
    """Return the place of a neighbour among 27, along z, y, x."""
    return int((e[2] + 1) * 9 + (e[1] + 1) * 3 + e[0] + 1)


def sides_met(
    is_met: npt.NDArray[np.bool_],
    side: npt.NDArray[np.int32],
    hit: npt.NDArray[np.float32],
    normal: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Return the mean unit normal of the sides that links meet, and the mean way to them.

    Parameters
    ----------
    is_met, side, hit : (26, n)
        Which links of each cell meet a side, the number of its triangle, and where on the link.
    normal : (n_triangle, 3)
        Unit normals, whichever way they look.

    Returns
    -------
    unit : (3, n)
        Towards the cell. [-]
    way : (n,)
        Along it. [cells]
    length : (n,)
        Of the sum of the normals; small where the sides look against each other. [-]
    """
    total, way = np.zeros((3, is_met.shape[1])), np.zeros(is_met.shape[1])
    for q, e in enumerate(VELOCITY[1:].astype(float)):
        own = normal[side[q]]
        steep = own @ e
        facing = -np.sign(steep)[:, None] * own
        total += np.where(is_met[q], facing.T, 0.0)
        way += np.where(is_met[q], hit[q] * np.abs(steep), 0.0)
    length = np.linalg.norm(total, axis=0)
    return total / np.maximum(length, 1e-9), way / np.maximum(is_met.sum(axis=0), 1), length


def _neighbour(
    at: npt.NDArray[np.int64],
    index: npt.NDArray[np.int64],
    block: Sequence[slice],
    shape: Sequence[int],
    q: int,
) -> npt.NDArray[np.int64]:
    """Return the number of the cell at the other end of link ``q`` of each, or −1. Shape (n,)."""
    start, size = np.array([s.start for s in block]), np.array(index.shape)
    to = (at + start + VELOCITY[q][::-1]) % np.array(shape) - start
    here = np.flatnonzero(np.all((to >= 0) & (to < size), axis=1))
    out = np.full(len(at), -1, np.int64)
    out[here] = index[tuple(to[here].T)]
    return out


def _away(tri: Floats, nearest: npt.NDArray[np.int32], at: npt.NDArray[np.int64]) -> Floats:
    """Return unit vectors from the foot on the surface to each cell. Shape (n, 3)."""
    from tuftwork.flow._cut_kernel import feet

    own, centre = np.ascontiguousarray(tri[nearest]), np.ascontiguousarray(at[:, ::-1])
    foot = np.zeros((len(own), 3))
    feet(own, np.arange(len(own)), centre, foot)
    away = centre - foot
    return np.asarray(away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9))


def _both_ways(
    ahead: npt.NDArray[np.int64],
    side: npt.NDArray[np.int32],
    normal: Floats,
    is_open: npt.NDArray[np.bool_],
) -> npt.NDArray[np.bool_]:
    """Return which links meet one side from one end, the opposed from the other. Shape (26, n).

    A side looks to the end that meets it: a plate has two. A closed part has two faces there, one
    that looks to each end; a link that meets one and the same from both ends only touches an edge
    to the last bit, and rounding would say which of its two faces each end meets.
    """
    out = np.zeros(ahead.shape, bool)
    for q, to in enumerate(ahead):
        other = side[OPPOSITE[q + 1] - 1, to]
        met = (to >= 0) & (side[q] >= 0) & (other >= 0)
        along = VELOCITY[q + 1].astype(float)
        one, two = normal[side[q]], normal[other]
        turned = -np.sign(one @ along) * np.sign(two @ along)
        met &= (turned > 0) | is_open[side[q]] | is_open[other]
        out[q] = met & (turned * np.einsum("na,na->n", one, two) < OPPOSED)
    return out


def normals_of(tri: Floats) -> Floats:
    """Return unit normals of triangles (n, 3, 3). Shape (n, 3). [-]."""
    normal = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30))
