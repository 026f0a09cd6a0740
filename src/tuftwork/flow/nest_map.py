"""Lists of cells by which two levels are coupled, and the weights of the interpolation."""

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from tuftwork.flow.lattice import relaxation_rate
from tuftwork.flow.nest import GHOST, OVERLAP, Nest, covered, depth_under
from tuftwork.flow.setup import SOLID, Floats, Setup
from tuftwork.flow.thin import ThinSides, thin_sides

Ints = npt.NDArray[np.int64]
Cells = npt.NDArray[np.bool_]
_OFFSETS = np.array(list(product((-1, 0, 1), repeat=3)))
"""Neighbours of a parent cell along z, y, x. Shape (27, 3)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coupling:
    """What one interface needs in every step.

    Attributes
    ----------
    shell, shell_thin
        Cells of the parent whose moments are read; bit q of the second is set where their
        population q stands in the cell's own place (``thin``). Shapes (n_shell,).
    ghost
        Cells of the child that are filled. Shape (n_ghost,).
    near, row
        For each parent of ghosts its 27 neighbours in ``shell``; which parent a ghost has.
        Shapes (n_row, 27), (n_ghost,).
    kind, weight
        Weights of the 27 neighbours by kind of ghost. Shapes (n_ghost,), (n_kind, 27). [-]
    cell, cell_thin, child
        Cells of the parent that are written, bits as for the shell, and their eight children; −1
        where one is solid. Shapes (n_cell,), (n_cell,), (8, n_cell).
    down, up
        Factors of the stress, deviator and trace, to the child and back. [-]
    n_told
        Rows after those of ``shell`` whose moments come from elsewhere.
    """

    shell: Ints
    shell_thin: Ints
    ghost: Ints
    near: Ints
    row: Ints
    kind: Ints
    weight: Floats
    cell: Ints
    cell_thin: Ints
    child: Ints
    down: tuple[float, float]
    up: tuple[float, float]
    n_told: int = 0


def couple(child: Nest, parent: Setup) -> Coupling:
    """Return the lists of one interface.

    Parameters
    ----------
    child
        The finer box.
    parent
        Its parent, with what lies deep under finer boxes left out.
    """
    fine, coarse = relaxation_rate(child.setup.viscosity), relaxation_rate(parent.viscosity)
    sides = thin_sides(parent)
    ghost, row, kind, weight, near = _ghosts(child, parent, sides)
    shell, near = np.unique(near, return_inverse=True)
    cell, children = _covered_cells(child, parent, sides)
    return Coupling(
        shell=shell, ghost=ghost, near=near.reshape(-1, 27), row=row, kind=kind, weight=weight,
        cell=cell, child=children,
        shell_thin=sides.own_places(shell), cell_thin=sides.own_places(cell),
        down=(0.5 * coarse / fine, 0.5), up=(2.0 * fine / coarse, 2.0),
    )  # fmt: skip


def _covered_cells(child: Nest, parent: Setup, sides: ThinSides) -> tuple[Ints, Ints]:
    """Cells of the parent that the child writes, and their open children on their own side."""
    block = covered(child)
    wanted = (depth_under(child, parent) == OVERLAP) & (parent.mark[block] != SOLID)
    at = np.argwhere(wanted)
    inside = at + np.array([s.start for s in block])
    cell = np.ravel_multi_index(tuple(inside.T), parent.mark.shape)
    mark = child.setup.mark
    out = []
    for step in product((0, 1), repeat=3):
        where = tuple((GHOST + 2 * at + np.array(step)).T)
        number = np.ravel_multi_index(where, mark.shape)
        far = sides.beyond(cell, np.tile(0.5 * np.array(step) - 0.25, (len(cell), 1)))
        out.append(np.where((mark[where] == SOLID) | far, -1, number))
    children = np.stack(out).reshape(8, -1).astype(np.int64)
    open_ = np.any(children >= 0, axis=0)
    return cell[open_].astype(np.int64), np.ascontiguousarray(children[:, open_])


def _ghosts(child: Nest, parent: Setup, sides: ThinSides) -> tuple[Ints, Ints, Ints, Floats, Ints]:
    """Ghost cells, their parents' rows, kinds, weights and the neighbours of each parent."""
    mark = child.setup.mark
    edge = np.ones(mark.shape, bool)
    edge[GHOST:-GHOST, GHOST:-GHOST, GHOST:-GHOST] = False
    at = np.argwhere(edge & (mark != SOLID))
    home = at // 2 + np.array(child.at[::-1])
    unique, row = np.unique(home, axis=0, return_inverse=True)
    row = row.reshape(-1)
    around = unique[:, None, :] + _OFFSETS[None]
    size = np.array(parent.mark.shape)
    # a box that rests on a face of its parent: what lies outside is solid
    held = np.clip(around, 0, size - 1)
    open_ = parent.mark[held[..., 0], held[..., 1], held[..., 2]] != SOLID
    open_ &= np.all(held == around, axis=2)
    number = np.ravel_multi_index(tuple(np.moveaxis(held, 2, 0)), parent.mark.shape)
    usable = open_.any(axis=1)
    # an open cell with nothing open near it has no air to take: it keeps what it has
    keep = usable[row]
    at, row = at[keep], row[keep]
    any_open = np.take_along_axis(number, open_.argmax(axis=1)[:, None], axis=1)
    number = np.where(open_, number, any_open)
    flat = np.ravel_multi_index(tuple(np.clip(unique, 0, size - 1).T), parent.mark.shape)
    way = 0.5 * (at % 2) - 0.25
    seen = open_[row] & sides.seen_from(flat[row], way)
    amid = np.flatnonzero(~open_[row, 13])  # the coarse cell itself lies in a wall
    if amid.size:
        plane = _planes(child.setup, np.ravel_multi_index(tuple(at[amid].T), mark.shape))
        held_at = number[row[amid]]
        seen[amid] = _same_air(seen[amid], sides.between(held_at), way[amid], plane)
    # nothing left on its own side: better the other side's air than none
    code = np.where(seen.any(axis=1)[:, None], seen, open_[row]) @ (1 << np.arange(27))
    parity = (at % 2) @ np.array([4, 2, 1])
    key, kind = np.unique(code * 8 + parity, return_inverse=True)
    weight = np.array([_weights(int(k)) for k in key]).reshape(-1, 27)
    ghost = np.ravel_multi_index(tuple(at.T), mark.shape)
    return (
        ghost.astype(np.int64),
        row.astype(np.int64),
        kind.reshape(-1).astype(np.int64),
        weight,
        number.astype(np.int64),
    )


def _planes(setup: Setup, cell: Ints) -> Floats:
    """Return normal and distance of the wall beside each cell, far off where none. (4, n)."""
    walls = setup.walls
    out = np.tile(np.array([[0.0], [0.0], [0.0], [9.0]]), cell.size)
    if walls.cell.size:
        order = np.argsort(walls.cell)
        place = order[np.minimum(np.searchsorted(walls.cell[order], cell), order.size - 1)]
        found = walls.cell[place] == cell
        out[:, found] = walls.geometry[:, place[found]]
    return out


def _same_air(seen: Cells, cut: Cells, way: Floats, plane: Floats) -> Cells:
    """Return which coarse cells hold the air that a ghost is in, its own lying in a wall.

    A plate is a layer of removed cells: both of its sides lie round it. It is the air of the open
    cell nearest to the ghost, on its side of the wall beside it, and what it reaches from there.

    Parameters
    ----------
    seen, cut
        Open cells of 27, and pairs of them that a thin part parts. Shapes (n, 27), (n, 27, 27).
    way
        From the coarse cell to the ghost, along z, y, x. Shape (n, 3). [coarse cells]
    plane
        Of the wall beside the ghost. Shape (4, n). [-], [fine cells]
    """
    off = _OFFSETS[None] - way[:, None]
    ahead = 2.0 * np.einsum("nsa,an->ns", off[..., ::-1], plane[:3]) >= -plane[3][:, None]
    near = np.where(seen, (off**2).sum(axis=2) + np.where(ahead, 0.0, 50.0), 99.0)
    beside = np.abs(_OFFSETS[:, None] - _OFFSETS[None]).max(axis=2) == 1
    path = beside[None] & ~cut & seen[:, :, None] & seen[:, None, :]
    out = np.zeros(seen.shape, bool)
    out[np.arange(len(seen)), near.argmin(axis=1)] = True
    out &= seen
    for _ in range(8):
        out |= np.einsum("ns,nst->nt", out, path) > 0
    return out


def _weights(key: int) -> Floats:
    """Weights of the 27 neighbours for one pattern of open cells and one place in the parent.

    Quadratic along each axis; beside a flat wall linear along its normal from the layers that are
    open; otherwise the plane that fits the open cells best.
    """
    open_ = np.array([(key // 8) >> n & 1 for n in range(27)], bool).reshape(3, 3, 3)
    shift = [0.5 * (key >> n & 1) - 0.25 for n in (2, 1, 0)]
    layers = [np.asarray(open_.any(axis=tuple(b for b in range(3) if b != a))) for a in range(3)]
    flat = np.einsum("i,j,k->ijk", *layers).astype(bool)
    if np.array_equal(flat, open_) and all(line[1] for line in layers):
        z, y, x = (_along(line, s) for line, s in zip(layers, shift, strict=True))
        return np.asarray(np.einsum("i,j,k->ijk", z, y, x).reshape(27))
    place = _OFFSETS[open_.reshape(27)].astype(float)
    near = np.exp(-0.5 * ((place - shift) ** 2).sum(axis=1))
    basis = np.concatenate([np.ones((len(place), 1)), place - shift], axis=1)
    # a small weight on the slopes keeps them finite where the open cells lie in a plane or a row
    normal = basis.T @ (near[:, None] * basis) + np.diag([0.0, 1e-3, 1e-3, 1e-3])
    out = np.zeros(27)
    out[open_.reshape(27)] = np.linalg.solve(normal, (near[:, None] * basis).T)[0]
    return out


def _along(line: npt.NDArray[np.bool_], s: float) -> Floats:
    """Weights on the cells −1, 0, +1 of one axis for a place ``s`` from the middle one."""
    if line.all():
        return np.array([-0.5 * s, 1.0, 0.5 * s])
    if line[0]:
        return np.array([-s, 1 + s, 0.0])
    if line[2]:
        return np.array([0.0, 1 - s, s])
    return np.array([0.0, 1.0, 0.0])
