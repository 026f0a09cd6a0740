"""From zones to boxes of cells: each inside its parent, on whole cells of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.flow.nest import CLEAR, Nest, Triple, check_nests, without_covered
from tuftwork.flow.setup import Setup
from tuftwork.flow.zones import Zone

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lay:
    """Where a box of cells lies, before anything is cut.

    Attributes
    ----------
    level, parent, at, shape
        As in ``Nest``.
    origin
        Place of its cell (0, 0, 0). [m]
    """

    level: int
    parent: int
    at: Triple
    shape: Triple
    origin: Point

    @property
    def n_cell(self) -> int:
        """Number of cells."""
        return int(np.prod(np.array(self.shape, np.int64)))


def lay_zones(
    zones: Sequence[Zone], *, cell: float, origin: Point, shape: Triple, has_road: bool
) -> tuple[Lay, ...]:
    """Return the boxes of a case, the outermost first.

    Parameters
    ----------
    zones
        Where finer cells are wanted.
    cell, origin, shape
        Cell, place of the first cell and cells of the outermost box. [m], [m], [-]
    has_road
        The road is at z = 0, and boxes that come near it stand on it.

    Raises
    ------
    InputError
        If a zone lies in no box of the level outside it, or too near its edge.
    """
    out = [Lay(level=0, parent=-1, at=(0, 0, 0), shape=shape, origin=origin)]
    for zone in sorted(zones, key=lambda z: z.level):
        found = None
        for number, lay in enumerate(out):
            if lay.level == zone.level - 1:
                found = found or _inside(zone, number, lay, cell / 2**lay.level, has_road)
        if found is None:
            limit = (
                f"lies in no box of level {zone.level - 1} with {CLEAR} of its cells round it "
                f"({CLEAR * cell / 2 ** (zone.level - 1):.3f} m)"
            )
            where = f"x {zone.low[0]:.3f} to {zone.high[0]:.3f} m"
            raise InputError(f"zone on level {zone.level}", where, "", limit, "Draw it in.")
        out.append(found)
    return tuple(out)


def _inside(zone: Zone, number: int, lay: Lay, cell: float, has_road: bool) -> Lay | None:
    """Return the box of a zone in one parent, or None if it does not fit there."""
    start, stop = [], []
    for a in range(3):
        low = int(np.floor((zone.low[a] - lay.origin[a]) / cell + 0.5 + 1e-6))
        high = int(np.ceil((zone.high[a] - lay.origin[a]) / cell + 0.5 - 1e-6))
        least, ground = CLEAR, -1
        if a == 2 and has_road:
            ground = int(np.floor(-lay.origin[2] / cell)) + 1
            if low < ground + CLEAR:
                low = least = ground
        if low < least or high > lay.shape[a] - CLEAR or high - low < 4:
            return None
        start.append(low)
        stop.append(high)
    at = (start[0] - 1, start[1] - 1, start[2] - 1)
    nx, ny, nz = (2 * (b - a + 2) for a, b in zip(start, stop, strict=True))
    x, y, z = (o + cell * (a - 0.25) for o, a in zip(lay.origin, at, strict=True))
    return Lay(level=lay.level + 1, parent=number, at=at, shape=(nx, ny, nz), origin=(x, y, z))


def cut_lays(lays: Sequence[Lay], cut: Callable[[Lay], Setup]) -> tuple[Nest, ...]:
    """Return boxes ready to run, with what lies deep under finer ones left out.

    Parameters
    ----------
    lays
        From ``lay_zones``.
    cut
        Cuts one box with the surfaces.
    """
    nests = [Nest(setup=cut(lay), level=lay.level, parent=lay.parent, at=lay.at) for lay in lays]
    check_nests(nests)
    out = []
    for n, nest in enumerate(nests):
        setup = without_covered(nest.setup, [c for c in nests if c.parent == n])
        out.append(Nest(setup=setup, level=nest.level, parent=nest.parent, at=nest.at))
    return tuple(out)
