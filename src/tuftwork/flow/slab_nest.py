"""Boxes of several levels cut by common planes into one stack of slabs for each card.

The planes lie between layers of the outermost cells, so no coarse cell is parted from its eight
children. A stack holds of every box the layers between two planes. In each step of a box its slabs
hand over the same nine planes as a single box does (``slab``). Filling ghosts needs the moments of
coarse cells one layer beyond a plane: the slab that has them reads them and sends ten numbers a
cell; everything else that two levels tell each other stays on one card.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.nest import Nest, Triple
from tuftwork.flow.nest_map import Coupling, couple
from tuftwork.flow.setup import Floats
from tuftwork.flow.slab import THINNEST, Side, Slab, cut_at, layer_work

Ints = npt.NDArray[np.int64]
Rows = tuple[int, int]
"""First row, and the one after the last."""
LEAST = 4
"""Fewest layers of a finer box in a slab, its ghosts counted."""
APART = 2
"""Fewest of its layers between a plane that misses a box and that box."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Where the layers of a box lie.

    Attributes
    ----------
    level
        Cells are 2^level times as small as the outermost.
    offset
        Height of its lowest layer over the bottom of the outermost box, in its own cells.
    shape
        Cells along x, y, z.
    """

    level: int
    offset: int
    shape: Triple

    @property
    def scale(self) -> int:
        """Cells along the edge of one outermost cell."""
        return int(2**self.level)

    def cuts(self, planes: Sequence[int]) -> list[int]:
        """Return the layers of the box at which planes between outermost layers cut it."""
        return [min(max(p * self.scale - self.offset, 0), self.shape[2]) for p in planes]


def columns_of(boxes: Sequence[tuple[int, int, Triple, Triple]]) -> list[Column]:
    """Return where the layers of boxes lie.

    Parameters
    ----------
    boxes
        Level, number of the parent, its cell at the low corner, and cells of each; parents first.
    """
    out: list[Column] = []
    for level, parent, at, shape in boxes:
        offset = 0 if parent < 0 else 2 * (out[parent].offset + at[2])
        out.append(Column(level=level, offset=offset, shape=shape))
    return out


def cut_planes(columns: Sequence[Column], work: Sequence[Floats], count: int) -> list[int]:
    """Return the layers of the outermost box at which slabs of equal work begin, and the end.

    Parameters
    ----------
    columns
        The boxes, the outermost first.
    work
        Time of a step of each layer of each box. Shapes (layers,).
    count
        How many slabs.

    Returns
    -------
    planes : (count + 1,)
        The longest of the slabs takes the shortest time that there is.

    Raises
    ------
    InputError
        If there are not so many places for planes.
    """
    lz = columns[0].shape[2]
    done = np.concatenate([[0.0], np.cumsum(_joined(columns, work))])
    free = np.ones(lz + 1, bool)
    for column in columns[1:]:
        q = np.arange(lz + 1) * column.scale - column.offset
        top = column.shape[2]
        free &= (q <= -APART) | ((q >= LEAST) & (q <= top - LEAST)) | (q >= top + APART)
    free[[0, lz]] = True
    at = np.flatnonzero(free)
    most = _most(at)
    if not 1 <= count <= most:
        limit = f"must be from 1 to {most}: {at.size - 2} of the {lz - 1} planes between layers"
        limit += " of the outermost box clear the edges of the finer ones"
        cure = f"A slab holds at least {THINNEST} of its layers."
        raise InputError("cards", count, "", limit, cure)
    cost = done[at][None, :] - done[at][:, None]
    cost[at[None, :] - at[:, None] < THINNEST] = np.inf
    best, last = cost[0], []
    for _ in range(1, count):
        longest = np.maximum(best[:, None], cost)
        last.append(longest.argmin(axis=0))
        best = longest.min(axis=0)
    place, planes = at.size - 1, [lz]
    for row in reversed(last):
        place = int(row[place])
        planes.append(int(at[place]))
    return [0, *planes[::-1]]


def _joined(columns: Sequence[Column], work: Sequence[Floats]) -> Floats:
    """Time of all boxes in a step of the outermost one, by its layers. Shape (lz,)."""
    lz = columns[0].shape[2]
    out = np.zeros(lz)
    for column, own in zip(columns, work, strict=True):
        layer = (np.arange(own.size) + column.offset) // column.scale
        np.add.at(out, np.clip(layer, 0, lz - 1), own * column.scale)
    return out


def _most(at: Ints) -> int:
    """Most slabs that the places of planes allow."""
    count, low = 0, 0
    for place in at[1:]:
        if place - low >= THINNEST and (at[-1] - place >= THINNEST or place == at[-1]):
            count, low = count + 1, int(place)
    return count


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """What one slab does where a finer box joins its parent.

    Attributes
    ----------
    child, parent
        Numbers of the boxes.
    lists
        In local cells; the rows that are told stand after those that are read.
    sent, told
        Rows of moments that go to each side and come from it.
    """

    child: int
    parent: int
    lists: Coupling
    sent: dict[Side, Rows]
    told: dict[Side, Rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """One slab of every box.

    Attributes
    ----------
    number, count
        Place from below, and how many there are.
    slabs, levels
        By box; no slab where it has no layers between the planes.
    joints
        Where finer boxes join their parents.
    """

    number: int
    count: int
    slabs: tuple[Slab | None, ...]
    levels: tuple[int, ...]
    joints: tuple[Joint, ...]


def cut_stacks(nests: Sequence[Nest], count: int) -> tuple[Stack, ...]:
    """Return the stacks of slabs of all boxes, from below.

    Parameters
    ----------
    nests
        The boxes, parents first, with what lies deep under finer ones left out.
    count
        How many.

    Raises
    ------
    InputError
        If there are not so many places for planes.
    """
    columns = columns_of([(n.level, n.parent, n.at, n.setup.shape) for n in nests])
    planes = cut_planes(columns, [layer_work(n.setup) for n in nests], count)
    slabs = [
        cut_at(nest.setup, column.cuts(planes), is_closed=nest.parent < 0)
        for nest, column in zip(nests, columns, strict=True)
    ]
    joints: list[list[Joint]] = [[] for _ in range(count)]
    for child, nest in enumerate(nests):
        if nest.parent >= 0:
            lists = couple(nest, nests[nest.parent].setup)
            pair = (child, nest.parent)
            for k, joint in enumerate(cut_joints(lists, pair, slabs[child], slabs[nest.parent])):
                joints[k] += [joint] if joint is not None else []
    levels = tuple(nest.level for nest in nests)
    return tuple(
        Stack(
            number=k,
            count=count,
            slabs=tuple(own[k] for own in slabs),
            levels=levels,
            joints=tuple(joints[k]),
        )
        for k in range(count)
    )


def cut_joints(
    lists: Coupling,
    pair: tuple[int, int],
    children: Sequence[Slab | None],
    parents: Sequence[Slab | None],
) -> list[Joint | None]:
    """Return what each slab does at one interface; None where it has no layers of the finer box.

    Parameters
    ----------
    lists
        Of the whole interface.
    pair
        Numbers of the finer box and its parent.
    children, parents
        Their slabs.
    """
    needs = [_needs(lists, a, b) for a, b in zip(children, parents, strict=True)]
    out: list[Joint | None] = []
    for k, (one, two) in enumerate(zip(children, parents, strict=True)):
        if one is None or two is None:
            out.append(None)
            continue
        below = needs[k - 1]["above"] if k else np.zeros(0, np.int64)
        above = needs[k + 1]["below"] if k + 1 < len(needs) else np.zeros(0, np.int64)
        # the lowest and the highest layer of a slab are two: nothing is sent to both sides
        sent = np.concatenate([below, above])
        read = np.concatenate([sent, np.setdiff1d(needs[k]["own"], sent)])
        told = [needs[k][side] for side in ("below", "above")]
        row_of = np.full(lists.shell.size, -1, np.int64)
        rows = np.concatenate([read, *told])
        row_of[rows] = np.arange(rows.size)
        first, second = below.size, read.size + told[0].size
        out.append(
            Joint(
                child=pair[0],
                parent=pair[1],
                lists=_local(lists, (one, two), read, row_of),
                sent=_some({"below": (0, first), "above": (first, sent.size)}),
                told=_some({"below": (read.size, second), "above": (second, rows.size)}),
            )
        )
    return out


def _some(rows: dict[Side, Rows]) -> dict[Side, Rows]:
    return {side: (a, b) for side, (a, b) in rows.items() if b > a}


def _mine(cells: Ints, slab: Slab) -> npt.NDArray[np.bool_]:
    """Whether cells of a whole box lie in a slab."""
    layer = cells // slab.plane
    return (layer >= slab.low) & (layer < slab.high)


def _needs(lists: Coupling, one: Slab | None, two: Slab | None) -> dict[str, Ints]:
    """Places in the shell that the ghosts of a slab need: its own, from below, from above."""
    none = np.zeros(0, np.int64)
    if one is None or two is None:
        return {"own": none, "below": none, "above": none}
    rows = np.unique(lists.row[_mine(lists.ghost, one)])
    need = np.unique(lists.near[rows])
    layer = lists.shell[need] // two.plane
    own = (layer >= two.low) & (layer < two.high)
    return {"own": need[own], "below": need[layer < two.low], "above": need[layer >= two.high]}


def _local(lists: Coupling, pair: tuple[Slab, Slab], read: Ints, row_of: Ints) -> Coupling:
    """Return the lists of one interface in the cells of one slab of both boxes."""
    one, two = pair
    lower, under = (one.low - 1) * one.plane, (two.low - 1) * two.plane
    ghost, cell = _mine(lists.ghost, one), _mine(lists.cell, two)
    rows, row = np.unique(lists.row[ghost], return_inverse=True)
    child = lists.child[:, cell]
    return Coupling(
        shell=lists.shell[read] - under,
        shell_thin=lists.shell_thin[read],
        ghost=lists.ghost[ghost] - lower,
        near=row_of[lists.near[rows]].reshape(-1, 27),
        row=row.reshape(-1).astype(np.int64),
        kind=lists.kind[ghost],
        weight=lists.weight,
        cell=lists.cell[cell] - under,
        cell_thin=lists.cell_thin[cell],
        child=np.ascontiguousarray(np.where(child >= 0, child - lower, -1)),
        down=lists.down,
        up=lists.up,
        n_told=int((row_of >= 0).sum()) - read.size,
    )
