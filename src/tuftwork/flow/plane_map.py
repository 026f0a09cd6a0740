"""A plane near the car and how its values follow from two layers of cells, the same at any time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.case import FlowCase
from tuftwork.flow.nest_prepare import lay_zones
from tuftwork.flow.nest_view import _inside, joined_lines
from tuftwork.flow.prepare import Prepared, grid_of
from tuftwork.flow.setup import SOLID

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """A box of cells: place of the first one, size, number along x, y, z. [m]."""

    origin: tuple[float, float, float]
    cell: float
    shape: tuple[int, int, int]

    def line(self, axis: int) -> Floats:
        """Places of the cells along an axis. [m]."""
        return np.asarray(self.origin[axis] + self.cell * np.arange(self.shape[axis]), dtype=float)


def cells_of(case: FlowCase) -> tuple[Cells, ...]:
    """Return the boxes of cells of a case before any is cut, the outermost first."""
    origin, shape = grid_of(case)
    lays = lay_zones(
        case.zones, cell=case.cell, origin=origin, shape=shape, has_road=case.road != "none"
    )
    return tuple(
        Cells(origin=lay.origin, cell=case.cell / 2**lay.level, shape=lay.shape) for lay in lays
    )


def lines_of(boxes: Sequence[Cells], axis: int, at: float) -> tuple[list[int], Floats, Floats]:
    """Return which boxes a plane meets, and its places along both directions.

    Raises
    ------
    InputError
        If it lies outside the box.
    """
    low, high = boxes[0].line(axis)[[0, -1]]
    if not low <= at <= high:
        limit = f"must lie in the box, {low:.3f} to {high:.3f} m"
        raise InputError("xyz"[axis], at, "m", limit, "Move it in, or widen the box.")
    met = [0]
    for n, box in enumerate(boxes[1:], 1):
        # the two outermost layers of a finer box belong to the box outside it
        if 2 <= (at - box.origin[axis]) / box.cell <= box.shape[axis] - 3:
            met.append(n)
    first, second = (k for k in range(3) if k != axis)
    across, up = joined_lines([(boxes[n].line(first), boxes[n].line(second)) for n in met])
    return met, across, up


def near_car(case: FlowCase, axis: int, across: Floats, up: Floats, most: int) -> tuple[Ints, Ints]:
    """Return which rows and columns of a plane lie around the car, thinned to so many.

    Parameters
    ----------
    case
        With the parts.
    axis
        The plane is normal to it.
    across, up
        Places along both directions. Shapes (n,), (m,). [m]
    most
        Points along the longer side.

    Returns
    -------
    rows, columns
        Numbers of ``up`` and ``across``.
    """
    low, high = case.bounds()
    length = high[0] - low[0]
    room = (
        (low[0] - 0.3 * length, high[0] + 0.9 * length),
        (low[1] - 0.3 * length, high[1] + 0.3 * length),
        (-1.0, high[2] + 0.3 * length),
    )
    first, second = (room[k] for k in range(3) if k != axis)
    columns = np.flatnonzero((across >= first[0]) & (across <= first[1]))
    rows = np.flatnonzero((up >= second[0]) & (up <= second[1]))
    every = max(1, int(np.ceil(max(len(columns), len(rows)) / most)))
    return rows[::every], columns[::every]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneMap:
    """A plane near the car.

    Attributes
    ----------
    axis, at
        0, 1, 2 for x, y, z, and its place. [-], [m]
    across, up
        Places along its two directions. Shapes (n,), (m,). [m]
    cuts
        Number of the box, first of the two layers, and weights of their cells (m n, cells of two
        layers), sparse, for every box that it meets.
    solid
        Shape (m, n).
    """

    axis: int
    at: float
    across: Floats
    up: Floats
    cuts: tuple[tuple[int, int, Any], ...]
    solid: npt.NDArray[np.bool_]

    def of(self, layers: dict[tuple[int, int, int], Floats]) -> Floats:
        """Return density and velocity on the plane; not-a-number in solids. Shape (4, m, n).

        Parameters
        ----------
        layers
            Two layers (4, 2, m, n) by box, axis and first layer.
        """
        out = np.zeros((4, self.solid.size))
        for box, first, weights in self.cuts:
            out += (weights @ layers[box, self.axis, first].reshape(4, -1).T).T
        out[:, self.solid.ravel()] = np.nan
        return out.reshape(4, *self.solid.shape)


def plane_map(prepared: Prepared, axis: int, at: float, most: int) -> PlaneMap:
    """Return a plane near the car and the weights of the cells beside it.

    The finest box that covers a point answers for it, as in ``look.plane``.

    Parameters
    ----------
    prepared
        From ``prepare``.
    axis
        0, 1, 2: the plane is normal to x, y, z.
    at
        Its place. [m]
    most
        Points along its longer side.

    Raises
    ------
    InputError
        If the plane lies outside the box.
    """
    each = (prepared, *prepared.boxes)
    boxes = [Cells(origin=p.origin, cell=p.case.cell, shape=p.setup.shape) for p in each]
    met, across, up = lines_of(boxes, axis, at)
    rows, columns = near_car(prepared.case, axis, across, up, most)
    across, up = across[columns], up[rows]
    owner, solid = np.zeros((len(up), len(across)), int), np.zeros((len(up), len(across)), bool)
    found = [_Cut(boxes[n], each[n].setup.mark, axis, at) for n in met]
    for number, cut in zip(met, found, strict=True):
        mine = cut.answers(across, up, is_outermost=number == 0)
        owner[mine] = number
        solid[mine] = cut.is_solid(across, up)[mine]
    cuts = tuple(
        (number, cut.first, cut.weights(across, up, (owner == number) & ~solid))
        for number, cut in zip(met, found, strict=True)
    )
    return PlaneMap(axis=axis, at=at, across=across, up=up, cuts=cuts, solid=solid)


class _Cut:
    """A plane through one box: two layers of cells."""

    def __init__(self, box: Cells, mark: npt.NDArray[np.uint8], axis: int, at: float) -> None:
        place = (at - box.origin[axis]) / box.cell
        self.first = min(int(place), box.shape[axis] - 2)
        self.share = place - self.first
        self.x, self.y = (box.line(k) for k in range(3) if k != axis)
        near, far = (np.take(mark, self.first + k, axis=2 - axis) == SOLID for k in (0, 1))
        # the share may be round-off
        self.solid = (near & (1 - self.share > 1e-6)) | (far & (self.share > 1e-6))

    def _at(self, across: Floats, up: Floats) -> tuple[Floats, Floats]:
        """Places in cells, as broad as the box."""
        x, y = self.x, self.y
        at_x, at_y = (across - x[0]) / (x[1] - x[0]), (up - y[0]) / (y[1] - y[0])
        return np.clip(at_x, 0, x.size - 1), np.clip(at_y, 0, y.size - 1)

    def answers(self, across: Floats, up: Floats, *, is_outermost: bool) -> npt.NDArray[np.bool_]:
        """Where this box answers for a point. Shape (m, n)."""
        if is_outermost:
            return np.ones((len(up), len(across)), bool)
        x, y = self.x, self.y
        at_x, at_y = (across - x[0]) / (x[1] - x[0]), (up - y[0]) / (y[1] - y[0])
        return _inside((x, y, np.zeros(0)), at_x, at_y)

    def is_solid(self, across: Floats, up: Floats) -> npt.NDArray[np.bool_]:
        """Whether the nearest cell is solid. Shape (m, n)."""
        at_x, at_y = self._at(across, up)
        return np.asarray(self.solid[np.ix_(_nearest(at_y), _nearest(at_x))])

    def weights(self, across: Floats, up: Floats, kept: npt.NDArray[np.bool_]) -> Any:
        """Bilinear weights of the open cells, for the points that are kept."""
        from scipy.sparse import coo_array

        at_x, at_y = self._at(across, up)
        n_x, n_y = self.x.size, self.y.size
        i = np.clip(np.floor(at_x).astype(int), 0, max(n_x - 2, 0))
        j = np.clip(np.floor(at_y).astype(int), 0, max(n_y - 2, 0))
        s, t = at_x - i, at_y - j
        point = np.arange(kept.size).reshape(kept.shape)
        rows, columns, values = [], [], []
        for dj, wy in ((0, 1 - t), (1, t)):
            for di, wx in ((0, 1 - s), (1, s)):
                row, column = np.minimum(j + dj, n_y - 1), np.minimum(i + di, n_x - 1)
                weight = wy[:, None] * wx[None, :] * ~self.solid[np.ix_(row, column)]
                used = kept & (weight > 0)
                rows.append(point[used])
                columns.append((row[:, None] * n_x + column[None, :])[used])
                values.append(weight[used])
        row, column, value = (np.concatenate(part) for part in (rows, columns, values))
        value = value / np.bincount(row, weights=value, minlength=kept.size)[row]
        both = (
            np.concatenate([value * (1 - self.share), value * self.share]),
            (np.concatenate([row, row]), np.concatenate([column, n_x * n_y + column])),
        )
        return coo_array(both, shape=(kept.size, 2 * n_x * n_y)).tocsr()


def _nearest(at: Floats) -> Ints:
    """Return the cells that ``nest_view`` takes for the nearest ones."""
    floor = np.floor(at).astype(int)
    return np.asarray(np.rint(floor + (at - floor)).astype(int))
