"""Part of a box of cells: what is asked for of a field without gathering all of it."""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from tuftwork.flow.lattice import VELOCITY
from tuftwork.flow.moments import Moments
from tuftwork.flow.setup import Floats, Setup

Three = tuple[int, int, int]
Window = tuple[Three, Three]
"""First cell along x, y, z and how many."""
PIECE = 1 << 22
"""Cells of a piece in which a whole field is gone through on a card. [-]"""


def pair_at(shape: Three, axis: int, first: int) -> Window:
    """Return the window of two neighbouring layers normal to an axis."""
    low, size = [0, 0, 0], list(shape)
    low[axis], size[axis] = first, 2
    return (low[0], low[1], low[2]), (size[0], size[1], size[2])


def as_pair(rows: Floats, axis: int) -> Floats:
    """Return rows (4, nz, ny, nx) of two layers as (4, 2, m, n)."""
    return np.moveaxis(rows, 3 - axis, 1)


def cut_out(rows: Floats, window: Window) -> Floats:
    """Return rows (…, lz, ly, lx) within a window."""
    (i, j, k), (nx, ny, nz) = window
    return rows[..., k : k + nz, j : j + ny, i : i + nx]


def moments_in(populations: Floats, setup: Setup, force: Floats, window: Window) -> Floats:
    """Return density and velocity in a window, without the cores' share. Shape (4, nz, ny, nx).

    Parameters
    ----------
    populations : (27, n_cell)
        Departures, as the engine on the CPU stores them.
    setup
        Of the box.
    force : (3,)
        Body force.
    window
        Which cells.
    """
    f = cut_out(populations.reshape(27, *setup.shape[::-1]), window)
    flat = f.reshape(27, -1).astype(float, copy=False)
    density = 1.0 + flat.sum(axis=0)
    velocity = (VELOCITY.T.astype(float) @ flat + 0.5 * force[:, None]) / density
    return np.concatenate([density[None], velocity]).reshape(4, *f.shape[1:])


def add_cores(
    rows: Floats,
    setup: Setup,
    window: Window,
    force_on: Callable[[npt.NDArray[np.int64]], Floats],
) -> Floats:
    """Take half the cores' force off the momentum of their cells, as the step does.

    Parameters
    ----------
    rows : (4, nz, ny, nx)
        Of the window; changed.
    setup
        Of the box.
    window
        Which cells.
    force_on
        Returns the force on the core (3, n) of some wall cells.
    """
    if not setup.walls.cores:
        return rows
    (i, j, k), (nx, ny, nz) = window
    lx, ly, _ = setup.shape
    cell = setup.walls.cell
    x, y, z = cell % lx - i, cell // lx % ly - j, cell // (lx * ly) - k
    inside = (x >= 0) & (x < nx) & (y >= 0) & (y < ny) & (z >= 0) & (z < nz)
    own = np.flatnonzero(inside)
    at = ((z * ny + y) * nx + x)[own]
    flat = rows.reshape(4, -1)
    flat[1:, at] -= 0.5 * force_on(own) / flat[0, at]
    return rows


def with_core_force(moments: Moments, rows: Floats, setup: Setup) -> Moments:
    """Return moments with half the cores' force in the momentum of their cells, as the step has."""
    walls = setup.walls
    if walls.cores:
        flat = moments.velocity.reshape(3, -1)
        flat[:, walls.cell] -= 0.5 * rows[7:10] / moments.density.reshape(-1)[walls.cell]
    return moments


def pieces_of(shape: Three, halo: int = 0) -> Iterator[tuple[int, int, Window]]:
    """Yield the layers of a box in pieces: first, end, and the window with so many layers above."""
    lx, ly, lz = shape
    step = max(1, PIECE // (lx * ly))
    for first in range(0, lz, step):
        end = min(first + step, lz)
        yield first, end, ((0, 0, first), (lx, ly, min(end + halo, lz) - first))
