"""From surfaces to cells: which cells stay, which links a wall cuts, and where on the link.

The wall's place on each link is found by cutting the link with the triangles themselves, which is
exact; a distance field only says which cells lie closer to a wall than ``skin``, if one is asked.
Those are taken out.
Nothing is taken out for a surface without thickness: links through it are cut from both ends.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.lattice import N_LINK, VELOCITY
from tuftwork.flow.setup import SOLID, THIN, WALL, Floats, Surface, WallLinks
from tuftwork.flow.smooth import grounds
from tuftwork.flow.thin import find_thin, turned_at_tips, with_thin
from tuftwork.flow.tip import turned_at_knives

REACH = 2.0
"""A link is followed this many times its length in search of its wall. [-]"""
ON = 1e-4
"""A cell whose centre lies this close to a surface lies on it, and is taken out on every side of a
body alike: left to rounding, one side of it would lose a row of cells and the other not. [cells]"""
Marks = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A triangulated surface in cell units.

    Attributes
    ----------
    triangles
        Corners. Shape (n_triangle, 3, 3). [cells]
    surface
        Number of its surface in the table, at least 1.
    is_closed
        A closed surface fills its inside; an open one is a plate.
    """

    triangles: Floats
    surface: int
    is_closed: bool = True


def split_long(triangles: Floats, longest: float = 4.0) -> Floats:
    """Return triangles with no edge above ``longest`` cells, split at their longest edge."""
    done: list[Floats] = []
    todo = np.asarray(triangles, dtype=float)
    while todo.size:
        edge = np.linalg.norm(np.roll(todo, -1, axis=1) - todo, axis=2)
        long = edge.max(axis=1) > longest
        done.append(todo[~long])
        todo = todo[long]
        if not todo.size:
            break
        first = edge[long].argmax(axis=1)
        row = np.arange(len(todo))
        a, b, c = (todo[row, (first + s) % 3] for s in range(3))
        mid = 0.5 * (a + b)
        todo = np.concatenate([np.stack([a, mid, c], axis=1), np.stack([mid, b, c], axis=1)])
    return np.concatenate(done) if done else np.zeros((0, 3, 3))


def staircase(removed: Marks, label: Marks, surfaces: Sequence[Surface]) -> tuple[Marks, WallLinks]:
    """Return marks and wall links with every wall half way along its link.

    Parameters
    ----------
    removed : (lz, ly, lx)
        Non-zero where a cell is not computed.
    label : (lz, ly, lx)
        Surface number of each removed cell.
    surfaces
        Surface table; number 0 is the surroundings.

    Returns
    -------
    mark : (lz, ly, lx)
        Plain, solid or beside a wall.
    links
        The wall links.
    """
    from tuftwork.flow._cut_kernel import list_wall_cells, touch_wall_cells

    touched = np.zeros_like(removed)
    total = touch_wall_cells(removed, VELOCITY, touched)
    cell = np.zeros(total, np.int64)
    cut = np.zeros((N_LINK, total), np.float32)
    sid = np.zeros((N_LINK, total), np.uint8)
    list_wall_cells(removed, touched, label, VELOCITY, cell, cut, sid)
    mark = np.where(removed > 0, SOLID, 0).astype(np.uint8)
    mark.reshape(-1)[cell] = WALL
    geometry = _mean_normal(cut)
    links = WallLinks(
        cell=cell,
        cut=cut,
        surface_of=sid,
        main=_main_surface(cut, sid),
        geometry=geometry,
        surfaces=tuple(surfaces),
    )
    return mark, links


def _main_surface(cut: npt.NDArray[np.float32], sid: Marks) -> Marks:
    """Surface number cut by most links of a cell, parts before surroundings."""
    best = np.zeros(cut.shape[1], np.uint8)
    most = np.zeros(cut.shape[1], np.int64)
    for n in range(1, int(sid.max(initial=0)) + 1):
        count = ((sid == n) & (cut > 0)).sum(axis=0)
        better = count > most
        best[better] = n
        most[better] = count[better]
    return best


def _mean_normal(cut: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Take the normal from the cut links and half a cell as distance, right along the grid."""
    normal = -np.einsum("qa,qm->am", VELOCITY[1:].astype(float), (cut > 0).astype(float))
    size = np.linalg.norm(normal, axis=0)
    size[size == 0] = 1.0
    return np.concatenate([normal / size, np.full((1, cut.shape[1]), 0.5)]).astype(np.float32)


def wrap_bodies(
    shape: tuple[int, int, int],
    bodies: Sequence[Body],
    surfaces: Sequence[Surface],
    *,
    skin: float,
    surroundings: Marks | None = None,
    around_label: Marks | None = None,
    stream: Sequence[float] | None = None,
) -> tuple[Marks, WallLinks]:
    """Return marks and wall links of bodies in a box.

    Parameters
    ----------
    shape
        Cells along x, y, z.
    bodies
        The surfaces, in cell units.
    surfaces
        Surface table; number 0 is the surroundings.
    skin
        Cells closer to a surface than this are taken out; 0 keeps every cell outside. [cells]
    surroundings : (lz, ly, lx)
        Non-zero in cells of road, floor and tunnel walls.
    around_label : (lz, ly, lx)
        Surface number of those cells; all 0 if left out.
    stream : (3,)
        Its direction, which tells the tails of parts; None: thin cut tails are not looked for.

    Returns
    -------
    mark : (lz, ly, lx)
        Plain, solid or beside a wall.
    links
        The wall links with true distances and normals.
    """
    removed = np.zeros(shape[::-1], np.uint8) if surroundings is None else surroundings.copy()
    removed = (removed > 0).astype(np.uint8)
    label = np.zeros(shape[::-1], np.uint8) if around_label is None else around_label.copy()
    part_numbers = np.zeros(256, bool)
    part_numbers[[b.surface for b in bodies]] = True
    block = _block(shape, bodies)
    tri = [split_long(b.triangles - np.array([s.start for s in block[::-1]])) for b in bodies]
    part = np.concatenate(
        [np.full(len(t), b.surface, np.int64) for t, b in zip(tri, bodies, strict=True)]
    )
    every = np.concatenate(tri)
    distance, nearest = _distances(every, block)
    inside = _fill(bodies, tri, block, label)
    # a face just half way between two layers must not be torn by rounding
    open_parts = np.zeros(256, bool)
    open_parts[[b.surface for b in bodies if not b.is_closed]] = True
    near = distance < max(skin - 1e-4, ON)
    label[block][near & (inside == 0)] = part[nearest[near & (inside == 0)]]
    removed[block] |= ((inside > 0) | near).astype(np.uint8)
    _fill_pockets(removed, label, block)
    mark, links = staircase(removed, label, surfaces)
    thin = find_thin(removed, block, every, part, (distance, nearest), open_parts)
    mark, links = with_thin(mark, links, thin)
    field = (distance, nearest, part_numbers)
    links = _true_cuts(links, mark.shape, block, every, part, field)
    links = turned_at_tips(links, thin)
    start = np.array([s.start for s in block[::-1]])
    closed = [b.triangles - start for b in bodies if b.is_closed]
    links = turned_at_knives(links, mark.shape, block, closed, every, stream)
    every_part = [b.triangles for b in bodies]
    return mark, replace(links, bend=grounds(links, mark.shape, every_part, stream))


def _block(shape: tuple[int, int, int], bodies: Sequence[Body]) -> tuple[slice, slice, slice]:
    """Block of cells (z, y, x) around the bodies."""
    corner = np.concatenate([b.triangles.reshape(-1, 3) for b in bodies])
    low = np.maximum(np.floor(corner.min(axis=0)).astype(int) - 4, 0)
    high = np.minimum(np.ceil(corner.max(axis=0)).astype(int) + 5, shape)
    x, y, z = (slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    return z, y, x


def _distances(
    tri: Floats, block: tuple[slice, slice, slice]
) -> tuple[Floats, npt.NDArray[np.int32]]:
    """Distance to the nearest triangle and its number in a block."""
    from tuftwork.flow._cut_kernel import nearest_triangle

    shape = tuple(s.stop - s.start for s in block)
    distance = np.full(shape, 9.0)
    nearest = np.full(shape, -1, np.int32)
    nearest_triangle(tri, 2.0, distance, nearest)
    return distance, nearest


def _fill(
    bodies: Sequence[Body],
    tri: Sequence[Floats],
    block: tuple[slice, slice, slice],
    label: Marks,
) -> Marks:
    """Mark what lies inside closed bodies and label it."""
    from tuftwork.flow._cut_kernel import mark_inside

    shape = tuple(s.stop - s.start for s in block)
    inside = np.zeros(shape, np.uint8)
    for body, t in zip(bodies, tri, strict=True):
        if body.is_closed:
            toggle = np.zeros(shape, np.uint8)
            mark_inside(t, toggle)
            inside |= toggle
            label[block][toggle > 0] = body.surface
    return inside


FEWEST_OPEN = 9
"""A cell with fewer open links to its 26 neighbours is taken out: air there cannot move on."""


def _fill_pockets(removed: Marks, label: Marks, block: tuple[slice, slice, slice]) -> None:
    """Take out air that is shut in, and cells with too few open neighbours, such as tyre wedges."""
    from scipy import ndimage

    view, names = removed[block], label[block]
    for _ in range(8):
        count = ndimage.convolve(
            (view == 0).astype(np.int16), np.ones((3, 3, 3), np.int16), mode="nearest"
        )
        shut = (view == 0) & (count - 1 < FEWEST_OPEN)
        pools, n_pool = ndimage.label(view == 0)
        if n_pool > 1:
            size = np.bincount(pools.ravel())
            size[0] = 0
            is_open = np.zeros(n_pool + 1, bool)
            is_open[[0, size.argmax(), *_cut_off(pools, block, removed.shape)]] = True
            shut |= (view == 0) & ~is_open[pools]
        if not shut.any():
            return
        near = ndimage.grey_dilation(np.where(view > 0, names, 0), size=(3, 3, 3))
        names[shut] = near[shut]
        view[shut] = 1


def _cut_off(
    pools: npt.NDArray[np.signedinteger], block: tuple[slice, slice, slice], shape: tuple[int, ...]
) -> npt.NDArray[np.int64]:
    """Pools that go on beyond the array: where it ends amid a body, air is not shut in."""
    faces = [np.zeros(0, np.int64)]
    for axis, side in enumerate(block):
        if side.start == 0:
            faces.append(np.take(pools, 0, axis=axis).ravel())
        if side.stop == shape[axis]:
            faces.append(np.take(pools, -1, axis=axis).ravel())
    return np.unique(np.concatenate(faces).astype(np.int64))


def _true_cuts(
    links: WallLinks,
    shape: tuple[int, ...],
    block: tuple[slice, slice, slice],
    tri: Floats,
    part: npt.NDArray[np.int64],
    field: tuple[Floats, npt.NDArray[np.int32], npt.NDArray[np.bool_]],
) -> WallLinks:
    """Replace half-way cuts by cuts with the triangles, and normals by true ones."""
    from tuftwork.flow._cut_kernel import cut_links

    distance, nearest, part_numbers = field
    at = np.stack(np.unravel_index(links.cell, shape))
    start = np.array([s.start for s in block])[:, None]
    size = np.array(distance.shape)[:, None]
    local = at - start
    here = np.flatnonzero(np.all((local >= 0) & (local < size), axis=0))
    local = local[:, here]
    index = np.full(distance.shape, -1, np.int64)
    index[tuple(local)] = here
    belongs = (links.cut > 0) & part_numbers[links.surface_of]
    hit = np.full(links.cut.shape, 9.0, np.float32)
    sid = links.surface_of.copy()
    cut_links(tri, part, REACH, VELOCITY, index, belongs.astype(np.float32), hit, sid)
    geometry = links.geometry.copy()
    close = (nearest[tuple(local)] >= 0) & np.any(belongs[:, here], axis=0)
    where, near_cells = here[close], local[:, close]
    geometry[:, where] = _true_normals(tri[nearest[tuple(near_cells)]], near_cells[::-1].T)
    steep = -np.einsum("qa,am->qm", VELOCITY[1:].astype(np.float32), geometry[:3])
    plane = np.where(steep > 1e-6, geometry[3] / np.maximum(steep, 1e-6), REACH)
    found = np.where(hit < 9.0, hit, np.clip(plane, 0.25, REACH))
    thin = np.where(links.cut > THIN, np.float32(THIN), 0)
    cut = np.where(belongs, np.maximum(found, 1e-3) + thin, links.cut).astype(np.float32)
    return WallLinks(
        cell=links.cell,
        cut=cut,
        surface_of=sid,
        main=_main_surface(cut, sid),
        geometry=geometry,
        surfaces=links.surfaces,
    )


def _true_normals(tri: Floats, centre: npt.NDArray[np.int64]) -> Floats:
    """Return the unit vector from the foot on the surface and its length. Shape (4, n)."""
    from tuftwork.flow._cut_kernel import feet

    foot = np.zeros((len(tri), 3))
    feet(np.ascontiguousarray(tri), np.arange(len(tri)), centre, foot)
    away = centre - foot
    length = np.linalg.norm(away, axis=1)
    face = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    face /= np.maximum(np.linalg.norm(face, axis=1, keepdims=True), 1e-30)
    unit = np.where(length[:, None] > 1e-3, away / np.maximum(length[:, None], 1e-3), face)
    return np.concatenate([unit.T, length[None]])
