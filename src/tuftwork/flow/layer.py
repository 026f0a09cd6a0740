"""A layer of cells next to the wall cells that mixes as turbulence near a wall does.

Between the wall and a few cells from it eddies are smaller than the cells, so nothing carries the
wall's stress outwards there: in a plane channel the speed jumps by twenty friction velocities from
cell to cell. Cells of the layer get the viscosity κ u_τ y of the logarithmic layer, damped at the
wall and fading outwards, with u_τ from the wall law at their own distance and speed.
They stand in the list of wall cells without a cut link, their distance with a minus sign.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tuftwork.flow.lattice import N_LINK
from tuftwork.flow.setup import PLAIN, WALL, WallLinks

_SLANT = 0.5
"""A cell whose way from the wall makes less than 60° with the wall's normal belongs to it. [-]"""
_NEAREST = 0.9
"""Nearer cells that no link of the wall cuts lie round an edge and are left alone. [cells]"""


def add_layer(
    mark: npt.NDArray[np.uint8], links: WallLinks, depth: int, *, shear_only: bool = False
) -> tuple[npt.NDArray[np.uint8], WallLinks]:
    """Return marks and wall links with a mixing layer on every wall that has the wall law.

    Parameters
    ----------
    mark : (lz, ly, lx)
        Marks of the cells.
    links
        The wall links.
    depth
        Distance at which the layer has faded; 0 adds none. [cells]
    shear_only
        It mixes the shear along the wall and no other stress, so that eddies live on in it.
    """
    law = np.array([s.has_wall_law for s in links.surfaces])[links.main]
    if not depth or not law.any():
        return mark, links
    cell, wall, distance = _layer_cells(mark, links, law, depth)
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
        replace(s, layer=float(depth), mixes_shear_only=shear_only) if s.has_wall_law else s
        for s in links.surfaces
    )
    return out, replace(
        links,
        cell=joined(links.cell, cell),
        cut=joined(links.cut, none),
        surface_of=joined(links.surface_of, none),
        main=joined(links.main, links.main[wall]),
        geometry=joined(links.geometry, geometry),
        zone=None if links.zone is None else joined(links.zone, none[0]),
        fill=None if links.fill is None else joined(links.fill, none[0]),
        surfaces=surfaces,
    )


def _layer_cells(
    mark: npt.NDArray[np.uint8], links: WallLinks, law: npt.NDArray[np.bool_], depth: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Cells of the layer, the wall cell under each, and the distance from the wall."""
    from scipy import ndimage

    foot = np.ones(mark.shape, bool)
    foot.reshape(-1)[links.cell[law]] = False
    far, index = ndimage.distance_transform_edt(foot, return_indices=True)
    cell = np.flatnonzero((mark == PLAIN) & (far < depth))
    number = np.full(mark.size, -1, np.int64)
    number[links.cell] = np.arange(links.cell.size)
    under = np.ravel_multi_index(tuple(i.reshape(-1)[cell] for i in index), mark.shape)
    wall = number[under]
    here, there = (np.stack(np.unravel_index(n, mark.shape)[::-1]) for n in (cell, under))
    away = np.einsum("an,an->n", here - there, links.geometry[:3, wall].astype(float))
    distance = np.maximum(links.geometry[3, wall], 0.3) + away
    kept = (distance > _NEAREST) & (distance < depth)
    kept &= away > _SLANT * far.reshape(-1)[cell]
    return cell[kept], wall[kept], distance[kept]
