"""A layer of cells next to the wall cells that mixes as turbulence near a wall does.

Between the wall and a few cells from it eddies are smaller than the cells, so nothing carries the
wall's stress outwards there: in a plane channel the speed jumps by twenty friction velocities from
cell to cell. Cells of the layer get the viscosity κ u_τ y of the logarithmic layer, damped at the
wall and fading outwards, with u_τ from the wall law at their own distance and speed.
They stand in the list of wall cells without a cut link, their distance with a minus sign.

A layer deeper than the air's own is wrong, and none at all leaves the stream unbraked where a wall
bends. So unless told otherwise a part has one as deep as a turbulent layer at the end of a plate of
its length, and none where that is under two cells; the road, wheels and tunnel walls have none.

References
----------
[schlichting1979] thickness of a turbulent layer on a plate, 0.37 x Re_x^(-1/5).
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.case import FlowCase
from tuftwork.flow.lattice import N_LINK
from tuftwork.flow.setup import PLAIN, WALL, WallLinks

LEAST, MOST = 2, 5
"""Depths that a part gets by itself: under the first there is no cell to mix in, the second was
right for plate and channels. [cells]"""
_SLANT = 0.5
"""A cell whose way from the wall makes less than 60° with the wall's normal belongs to it. [-]"""
_NEAREST = 0.9
"""Nearer cells that no link of the wall cuts lie round an edge and are left alone. [cells]"""


def own_depths(case: FlowCase) -> npt.NDArray[np.int64]:
    """Return the depth of the layer on each surface of a case. Shape (parts + 2,). [cells].

    Parameters
    ----------
    case
        What was asked; its surfaces are the road, the parts and the still surroundings.
    """
    depth = np.zeros(len(case.parts) + 2, np.int64)
    for n, part in enumerate(case.parts, start=1):
        if part.spin is not None or part.porous is not None:
            continue
        length = max(float(np.ptp(part.vertices[:, 0])), 1e-9)
        thick = 0.37 * length * (case.speed * length / case.viscosity) ** -0.2
        cells = round(thick / case.cell)
        depth[n] = min(cells, MOST) if cells >= LEAST else 0
    return depth


def layer_depths(case: FlowCase) -> npt.NDArray[np.int64]:
    """Return the depth of the layer on each surface of a case, asked for or its own. [cells]."""
    if case.layer is None:
        return own_depths(case)
    return np.full(len(case.parts) + 2, case.layer, np.int64)


def add_layer(
    mark: npt.NDArray[np.uint8],
    links: WallLinks,
    depth: int | npt.NDArray[np.int64],
    *,
    shear_only: bool = False,
) -> tuple[npt.NDArray[np.uint8], WallLinks]:
    """Return marks and wall links with a mixing layer on every wall that has the wall law.

    Parameters
    ----------
    mark : (lz, ly, lx)
        Marks of the cells.
    links
        The wall links.
    depth
        Distance at which the layer has faded, for all surfaces or the first of them; 0 adds none.
        Shape () or (n,). [cells]
    shear_only
        It mixes the shear along the wall and no other stress, so that eddies live on in it.
    """
    deep = np.zeros(len(links.surfaces))
    given = np.broadcast_to(depth, len(deep)) if np.ndim(depth) == 0 else np.asarray(depth)
    deep[: len(given)] = given
    has_law = np.array([s.has_wall_law for s in links.surfaces])
    deep[~has_law] = 0.0
    if not deep[links.main].any():
        return mark, links
    cell, wall, distance = _layer_cells(mark, links, has_law[links.main], deep[links.main])
    out = mark.copy()
    out.reshape(-1)[cell] = WALL
    geometry = np.concatenate([links.geometry[:3, wall], -distance[None]])
    count = cell.size
    order = np.argsort(np.concatenate([links.cell, cell]), kind="stable")
    none = np.zeros((N_LINK, count))

    def joined(one: npt.NDArray[np.generic], two: npt.NDArray[np.generic]) -> npt.NDArray:  # type: ignore[type-arg]
        both = np.concatenate([one, two.astype(one.dtype)], axis=-1)
        return np.ascontiguousarray(both[..., order])

    surfaces = tuple(
        replace(s, layer=float(d), mixes_shear_only=shear_only) if d else s
        for s, d in zip(links.surfaces, deep, strict=True)
    )
    return out, replace(
        links,
        cell=joined(links.cell, cell),
        cut=joined(links.cut, none),
        surface_of=joined(links.surface_of, none),
        main=joined(links.main, links.main[wall]),
        geometry=joined(links.geometry, geometry),
        bend=None if links.bend is None else joined(links.bend, none[:7]),
        facing=None if links.facing is None else joined(links.facing, none[:3]),
        zone=None if links.zone is None else joined(links.zone, none[0]),
        fill=None if links.fill is None else joined(links.fill, none[0]),
        surfaces=surfaces,
    )


def _layer_cells(
    mark: npt.NDArray[np.uint8],
    links: WallLinks,
    law: npt.NDArray[np.bool_],
    depth: npt.NDArray[np.float64],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Cells of the layer, the wall cell under each, and the distance from the wall.

    A cell belongs to the wall that is nearest, whether that has a layer or not.
    """
    from scipy import ndimage

    foot = np.ones(mark.shape, bool)
    foot.reshape(-1)[links.cell[law]] = False
    far, index = ndimage.distance_transform_edt(foot, return_indices=True)
    cell = np.flatnonzero((mark == PLAIN) & (far < depth.max()))
    number = np.full(mark.size, -1, np.int64)
    number[links.cell] = np.arange(links.cell.size)
    under = np.ravel_multi_index(tuple(i.reshape(-1)[cell] for i in index), mark.shape)
    wall = number[under]
    here, there = (np.stack(np.unravel_index(n, mark.shape)[::-1]) for n in (cell, under))
    away = np.einsum("an,an->n", here - there, links.geometry[:3, wall].astype(float))
    distance = np.maximum(links.geometry[3, wall], 0.3) + away
    kept = (distance > _NEAREST) & (distance < depth[wall])
    kept &= away > _SLANT * far.reshape(-1)[cell]
    return cell[kept], wall[kept], distance[kept]
