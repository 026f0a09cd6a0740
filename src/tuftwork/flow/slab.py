"""Cut a box into slabs of layers, one for each card, and say what they must tell each other.

Streaming in place takes two steps. In the even one a cell touches only its own 27 places; in the
odd one a cell takes from and leaves in the places of its neighbours that its own velocities point
to, and each such place belongs to exactly one cell. So between an even and an odd step a slab needs
from the next one the nine populations that point into it, and after the odd step it gives them
back: nine planes a step each way, the fewest there can be.

A wall keeps what it sends back in the place of the solid cell behind it. Those places are never
overwritten by what the next slab sends.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.lattice import OPPOSITE, VELOCITY
from tuftwork.flow.setup import SOLID, WALL, Setup, WallLinks

Side = Literal["below", "above"]
SIDES: tuple[Side, Side] = ("below", "above")
OTHER: dict[Side, Side] = {"below": "above", "above": "below"}
Marks = npt.NDArray[np.uint8]
UP: npt.NDArray[np.int64] = np.flatnonzero(VELOCITY[:, 2] > 0)
DOWN: npt.NDArray[np.int64] = OPPOSITE[UP]
"""The nine populations that cross a plane between layers upwards and downwards. Shape (9,)."""
N_CROSSING = 9
THINNEST = 4
"""Fewest layers of a slab."""
WALL_COST, SOLID_COST = 10.0, 0.5
"""Time for a cell beside a wall and for one inside a body, of that for a plain one: seen 8 to 11
and 0.5 to 0.9 on one H100 in float16. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """One slab of a box as a setup of its own, with a halo layer below and above.

    Attributes
    ----------
    number, count
        Place from below, and how many there are.
    low, high
        Layers of the box: from ``low`` to below ``high``.
    setup
        In local layers; the first and the last are halo and marked solid.
    wall
        Places of its wall cells in the list of the whole box. Shape (n_wall,).
    meets
        Whether anything crosses to the slab below and to the one above.
    """

    number: int
    count: int
    low: int
    high: int
    setup: Setup
    wall: npt.NDArray[np.int64]
    meets: tuple[bool, bool]

    @property
    def plane(self) -> int:
        """Cells of one layer."""
        return self.setup.shape[0] * self.setup.shape[1]

    def next_to(self, side: Side) -> int:
        """Return the number of the slab on one side; the box closes on itself."""
        return (self.number + (1 if side == "above" else -1)) % self.count

    def sends(self, side: Side, *, even: bool) -> tuple[int, npt.NDArray[np.int64]]:
        """Return the layer and the populations to send to one side after a step."""
        edge, halo = self._layers(side)
        return (edge, DOWN if side == "above" else UP) if even else (halo, self._out(side))

    def receives(self, side: Side, *, even: bool) -> tuple[int, npt.NDArray[np.int64]]:
        """Return the layer and the populations that come from one side after a step."""
        edge, halo = self._layers(side)
        return (halo, self._out(side)) if even else (edge, DOWN if side == "above" else UP)

    def keeps(self, side: Side, *, even: bool) -> Marks:
        """Return which of the received populations are the walls' own. Shape (9, ly, lx)."""
        lx, ly, _ = self.setup.shape
        kept = np.zeros((N_CROSSING, ly, lx), np.uint8)
        edge, _ = self._layers(side)
        first, last = edge_walls(self.setup, edge)
        links = self.setup.walls
        at = links.cell[first:last] - edge * self.plane
        for p, q in enumerate(self.receives(side, even=even)[1]):
            # an even step leaves it behind the wall, an odd one in the cell itself
            link = q if even else OPPOSITE[q]
            cells = at[links.cut[link - 1, first:last] > 0]
            x, y = cells % lx, cells // lx
            if even:
                x, y = (x + VELOCITY[q, 0]) % lx, (y + VELOCITY[q, 1]) % ly
            kept[p, y, x] = 1
        return kept

    def _layers(self, side: Side) -> tuple[int, int]:
        top = self.setup.shape[2] - 1
        return (top - 1, top) if side == "above" else (1, 0)

    def _out(self, side: Side) -> npt.NDArray[np.int64]:
        return UP if side == "above" else DOWN


def edge_walls(setup: Setup, layer: int) -> tuple[int, int]:
    """Return where the wall cells of a layer begin and end in the list."""
    plane = setup.shape[0] * setup.shape[1]
    first, last = np.searchsorted(setup.walls.cell, [layer * plane, (layer + 1) * plane])
    return int(first), int(last)


def layer_work(setup: Setup) -> npt.NDArray[np.float64]:
    """Return the time for each layer, that of a plain cell being 1. Shape (lz,)."""
    flat = setup.mark.reshape(setup.shape[2], -1)
    solid, wall = (flat == SOLID).sum(axis=1), (flat == WALL).sum(axis=1)
    return np.asarray(flat.shape[1] - solid - wall + WALL_COST * wall + SOLID_COST * solid)


def cut_layers(setup: Setup, count: int) -> list[int]:
    """Return the layers at which slabs of equal work begin, and the end. Shape (count + 1,).

    Parameters
    ----------
    setup
        The whole box.
    count
        How many slabs.

    Raises
    ------
    InputError
        If the slabs would be thinner than four layers.
    """
    lz = setup.shape[2]
    if not 1 <= count <= lz // THINNEST:
        limit = f"must be from 1 to {lz // THINNEST}: a slab holds at least {THINNEST} layers"
        raise InputError("cards", count, "", limit, f"The box has {lz} layers of cells.")
    done = np.concatenate([[0.0], np.cumsum(layer_work(setup))])
    at = [int(np.abs(done - done[-1] * k / count).argmin()) for k in range(count + 1)]
    for k in range(1, count):
        at[k] = min(max(at[k], at[k - 1] + THINNEST), lz - THINNEST * (count - k))
    return at


def cut_slabs(setup: Setup, count: int) -> tuple[Slab, ...]:
    """Return the slabs of a box, from below.

    Parameters
    ----------
    setup
        The whole box.
    count
        How many slabs.
    """
    return tuple(slab for slab in cut_at(setup, cut_layers(setup, count)) if slab is not None)


def cut_at(setup: Setup, at: Sequence[int], *, is_closed: bool = True) -> tuple[Slab | None, ...]:
    """Return the slabs between given layers, from below; None where one has no layers.

    Parameters
    ----------
    setup
        The whole box.
    at : (count + 1,)
        Layers at which slabs begin, and the end.
    is_closed
        The box closes on itself from top to bottom.
    """
    count = len(at) - 1
    order = np.argsort(setup.walls.cell, kind="stable")
    place = np.searchsorted(setup.walls.cell[order], np.array(at) * setup.shape[0] * setup.shape[1])
    return tuple(
        _slab(setup, (k, count), (at[k], at[k + 1]), order[place[k] : place[k + 1]], is_closed)
        if at[k + 1] > at[k]
        else None
        for k in range(count)
    )


def _slab(
    setup: Setup,
    who: tuple[int, int],
    layers: tuple[int, int],
    wall: npt.NDArray[np.int64],
    is_closed: bool,
) -> Slab:
    (number, count), (low, high) = who, layers
    lx, ly, lz = setup.shape
    mark = np.full((high - low + 2, ly, lx), SOLID, np.uint8)
    mark[1:-1] = setup.mark[low:high]
    sponge = None
    if setup.sponge is not None:
        sx, sy, sz = setup.sponge
        sponge = (sx, sy, np.concatenate([[0.0], sz[low:high], [0.0]]))
    profile = setup.profile
    if profile is not None:
        profile = np.pad(profile[:, low:high], ((0, 0), (1, 1), (0, 0)), mode="edge")
    own = replace(
        setup,
        shape=(lx, ly, high - low + 2),
        mark=mark,
        walls=_own_walls(setup.walls, wall, low - 1, lx * ly),
        sponge=sponge,
        profile=profile,
    )
    full = [bool((setup.mark[k % lz] == SOLID).all()) for k in (low - 1, low, high - 1, high)]
    meets = (
        not (full[0] or full[1]) and (is_closed or low > 0),
        not (full[2] or full[3]) and (is_closed or high < lz),
    )
    return Slab(number=number, count=count, low=low, high=high, setup=own, wall=wall, meets=meets)


def some_walls(links: WallLinks, wall: npt.NDArray[np.int64]) -> WallLinks:
    """Return some of the wall cells."""
    n_wall = links.cell.size
    own: dict[str, Any] = {}
    for item in fields(links):
        value = getattr(links, item.name)
        if isinstance(value, np.ndarray) and value.shape[-1] == n_wall:
            own[item.name] = np.ascontiguousarray(value[..., wall])
    return replace(links, **own)


def _own_walls(links: WallLinks, wall: npt.NDArray[np.int64], lower: int, plane: int) -> WallLinks:
    """Return some of the wall cells, numbered from the layer ``lower`` of the box."""
    surfaces = tuple(
        replace(s, centre=(s.centre[0], s.centre[1], s.centre[2] - lower)) for s in links.surfaces
    )
    own = some_walls(links, wall)
    return replace(own, cell=own.cell - lower * plane, surfaces=surfaces)
