"""Boxes of finer cells inside coarser ones: which cells answer for which air.

A box has half the cell and half the step of its parent, so speeds in cells per step are alike.
It covers whole cells of its parent and carries ``GHOST`` layers more on every side, which are
filled from the parent at the start of every pair of its steps and are used up by the two steps.
The parent goes on computing ``OVERLAP`` layers of cells under the box, gets the next layer from the
box, and leaves out what lies deeper.

References
----------
[dupuis2003], [geier2009], [lagrava2012].
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.setup import SOLID, WALL, Setup, WallLinks

GHOST = 2
"""Layers of fine cells outside the covered cells on each side: as many as steps between fills."""
OVERLAP = 1
"""Layers of covered cells that the parent still computes itself."""
CLEAR = 4
"""Fewest cells of the parent between the edge of its own array and a covered cell."""

Triple = tuple[int, int, int]
Cells = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Nest:
    """One box of cells.

    Attributes
    ----------
    setup
        The box in its own lattice units; its array holds the ghost layers.
    level
        0 for the outermost box; cells are 2^level times as small.
    parent
        Number of the parent in the list of boxes; −1 for the outermost.
    at
        Cell of the parent's array in which the low corner of this array lies.
    """

    setup: Setup
    level: int = 0
    parent: int = -1
    at: Triple = (0, 0, 0)

    @property
    def scale(self) -> int:
        """Cells along the edge of one outermost cell."""
        return int(2**self.level)


def covered(child: Nest) -> tuple[slice, slice, slice]:
    """Return the cells of the parent that a box answers for, as slices over z, y, x."""
    x, y, z = (
        slice(a + 1, a + n // 2 - 1) for a, n in zip(child.at, child.setup.shape, strict=True)
    )
    return z, y, x


def depth_under(child: Nest, parent: Setup) -> npt.NDArray[np.int64]:
    """Return how many covered cells lie between a covered cell and open air. Shape as covered.

    A face that lies wholly on solid cells of the parent, such as the road, is no open air.
    """
    block = covered(child)
    shape = tuple(s.stop - s.start for s in block)
    depth = np.full(shape, 10_000, np.int64)
    for axis, side in enumerate(block):
        index = np.arange(shape[axis]).reshape([-1 if a == axis else 1 for a in range(3)])
        for place, away in ((side.start - 1, index), (side.stop, shape[axis] - 1 - index)):
            face = list(block)
            face[axis] = slice(place, place + 1)
            if not np.all(parent.mark[tuple(face)] == SOLID):
                depth = np.minimum(depth, away)
    return depth


def without_covered(parent: Setup, children: list[Nest]) -> Setup:
    """Return a setup that leaves out what lies deep under finer boxes, cells and walls."""
    if not children:
        return parent
    mark = parent.mark.copy()
    for child in children:
        view = mark[covered(child)]
        view[depth_under(child, parent) > OVERLAP] = SOLID
    kept = mark.reshape(-1)[parent.walls.cell] == WALL
    return replace(parent, mark=mark, walls=keep_walls(parent.walls, kept))


def keep_walls(walls: WallLinks, kept: Cells) -> WallLinks:
    """Return only some of the wall cells."""
    values = {}
    for name in walls.__dataclass_fields__:
        value = getattr(walls, name)
        if isinstance(value, np.ndarray) and value.shape and value.shape[-1] == kept.size:
            value = np.ascontiguousarray(value[..., kept])
        values[name] = value
    return WallLinks(**values)


def answers_for(nests: list[Nest], number: int) -> Cells:
    """Return which wall cells of a box have their loads counted there. Shape (n_wall,)."""
    nest = nests[number]
    setup = nest.setup
    own = np.ones(setup.mark.shape, bool)
    if nest.parent >= 0:
        own[:] = False
        own[GHOST:-GHOST, GHOST:-GHOST, GHOST:-GHOST] = True
    for child in nests:
        if child.parent == number:
            own[covered(child)] = False
    return np.asarray(own.reshape(-1)[setup.walls.cell])


def shown(nests: Sequence[Nest]) -> list[Setup]:
    """Return each box with only the air and the walls that it answers for."""
    if len(nests) == 1:
        return [nests[0].setup]
    out = []
    for number, nest in enumerate(nests):
        setup = nest.setup
        walls = keep_walls(setup.walls, answers_for(list(nests), number))
        mark = setup.mark
        if nest.parent >= 0:
            mark = np.full_like(mark, SOLID)
            inner = (slice(GHOST, -GHOST),) * 3
            mark[inner] = setup.mark[inner]
        out.append(replace(setup, mark=mark, walls=walls))
    return out


def check_nests(nests: list[Nest]) -> None:
    """Refuse boxes that stick out of their parents or meet on one level.

    Raises
    ------
    InputError
        With the box and the cells that are missing.
    """
    for n, nest in enumerate(nests):
        if nest.parent < 0:
            continue
        parent = nests[nest.parent]
        name = f"box {n} on level {nest.level}"
        if nest.level != parent.level + 1 or nest.parent >= n:
            raise InputError(name, nest.parent, "", "needs a parent of the next coarser level")
        for axis, side in zip("zyx", covered(nest), strict=True):
            a = "xyz".index(axis)
            room = min(side.start, parent.setup.shape[a] - side.stop)
            if side.stop - side.start < 4:
                raise InputError(name, side.stop - side.start, "cells", f"too thin along {axis}")
            if room < CLEAR and not _rests_on_solid(nest, parent.setup, a):
                limit = f"needs {CLEAR} coarser cells round it, along {axis}"
                raise InputError(name, room, "cells", limit, "Move it inwards.")
        for m in range(n):
            if nests[m].parent == nest.parent and _meet(nests[m], nest):
                limit = f"meets box {m}: {2 * CLEAR} coarser cells must lie between them"
                raise InputError(name, m, "", limit, "Join the two boxes.")


def _rests_on_solid(nest: Nest, parent: Setup, a: int) -> bool:
    """Whether the sides that lack room lie on solid cells of the parent."""
    block = list(covered(nest))
    side = block[2 - a]
    for place, room in ((side.start - 1, side.start), (side.stop, parent.shape[a] - side.stop)):
        if room >= CLEAR:
            continue
        face = list(block)
        face[2 - a] = slice(place, place + 1)
        held = parent.mark[tuple(face)]
        if place < 0 or not held.size or not np.all(held == SOLID):
            return False
    return True


def _meet(one: Nest, two: Nest) -> bool:
    return all(
        p.start < q.stop + 2 * CLEAR and q.start < p.stop + 2 * CLEAR
        for p, q in zip(covered(one), covered(two), strict=True)
    )
