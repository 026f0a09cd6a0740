"""What one slab does: step its edge layers and its inner ones, hand over planes, answer for itself.

``Part`` is the same on every back end; ``CpuPart`` is the one on the CPU.
"""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from tuftwork.flow.doubt import RIPPLE_REACH, Extremes, Looked
from tuftwork.flow.engine import AbstractEngine, CpuEngine
from tuftwork.flow.setup import PLAIN, SOLID, Floats
from tuftwork.flow.slab import N_CROSSING, SIDES, Side, Slab, some_walls
from tuftwork.flow.slab_look import moved_up
from tuftwork.flow.window import as_pair

Plane = Any
"""Nine populations of one layer, on the host or on a card. Shape (9, ly·lx)."""
State = dict[str, npt.NDArray[np.generic]]
CENTRE_Z = 9
"""Place of the height of a surface's centre in its row of the table."""


@runtime_checkable
class Link(Protocol):
    """Carries planes between a slab and its neighbours."""

    def begin(self, part: "Part", *, even: bool) -> None:
        """Send what the neighbours need after a step, and ask for what they send."""
        ...

    def finish(self, part: "Part", *, even: bool) -> None:
        """See to it that nothing done from now on comes before what the neighbours sent."""
        ...

    def swap(
        self, part: "Part", other: "Part", out: dict[Side, Any], into: dict[Side, Any]
    ) -> None:
        """Send rows that ``part`` has read to the neighbours; ``other`` waits for what they send.

        With nothing to send or to wait for from them, ``other`` waits for ``part`` alone.
        """
        ...


class Part(ABC):
    """One slab with its engine."""

    engine: AbstractEngine

    def __init__(self, slab: Slab) -> None:
        self.slab = slab
        self.sides = tuple(s for s, meets in zip(SIDES, slab.meets, strict=True) if meets)

    def use(self) -> None:  # noqa: B027 - on the CPU everything comes one after the other
        """Put what is asked for next behind what this slab of a box was asked for."""

    @abstractmethod
    def whole(self, *, even: bool) -> None:
        """Advance all layers by one step."""

    @abstractmethod
    def edge(self, *, even: bool) -> None:
        """Advance the lowest and the highest layer by one step."""

    @abstractmethod
    def inner(self, *, even: bool) -> None:
        """Advance the layers between by one step, after ``edge``."""

    @abstractmethod
    def give(self, side: Side, *, even: bool) -> Plane:
        """Return the plane to send to one side after a step."""

    @abstractmethod
    def take(self, side: Side, plane: Plane, *, even: bool) -> None:
        """Put a plane that came from one side in its place, but for what is a wall's own."""

    def advance(self, n_pair: int, link: Link, *, overlap: bool) -> None:
        """Advance by ``2 n_pair`` steps; with overlap planes travel while inner layers step."""
        done = self.engine.step + 2 * n_pair
        for _ in range(n_pair):
            for even in (True, False):
                self.step(link, even=even, overlap=overlap)
        self.engine.step = done

    def step(self, link: Link, *, even: bool, overlap: bool) -> None:
        """Advance by one step and have the planes in place."""
        self.use()
        if overlap:
            self.edge(even=even)
            link.begin(self, even=even)
            self.inner(even=even)
        else:
            self.whole(even=even)
            link.begin(self, even=even)
        link.finish(self, even=even)

    # --- what the slab answers for, in its own layers ---

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium; layers beyond those given are filled with the last."""
        pad = ((1, 1), (0, 0), (0, 0))
        self.engine.start(
            np.pad(density, pad, mode="edge"), np.pad(velocity, ((0, 0), *pad), mode="edge")
        )

    def moments(self) -> Floats:
        """Return density and velocity now. Shape (4, own layers, ly, lx)."""
        found = self.engine.moments()
        return np.concatenate([found.density[None], found.velocity])[:, 1:-1]

    def layers(self, wanted: Sequence[tuple[int, int]]) -> list[Floats]:
        """Return what the slab has of pairs of layers of the whole box: (axis, first) → rows.

        Of layers that stand upright its own rows (4, 2, own layers, n), of lying ones those that it
        holds (4, 0 to 2, m, n).
        """
        lx, ly, lz = self.slab.setup.shape
        out = []
        for axis, first in wanted:
            low, size = [0, 0, 1], [lx, ly, lz - 2]
            low[axis], size[axis] = first, 2
            if axis == 2:
                # layers in the slab's own numbers, the halo left out
                inside = [k for k in (first, first + 1) if self.slab.low <= k < self.slab.high]
                low[2] = 1 + (inside[0] - self.slab.low if inside else 0)
                size[2] = len(inside)
            window = (low[0], low[1], low[2]), (size[0], size[1], size[2])
            out.append(as_pair(self.engine.window(window), axis) if size[2]
                       else np.zeros((4, 0, ly, lx)))  # fmt: skip
        return out

    def means(self) -> tuple[Floats, Floats]:
        """Return mean moments (4, own layers, ly, lx) and mean wall rows."""
        found, rows = self.engine.means()
        return np.concatenate([found.density[None], found.velocity])[:, 1:-1], rows

    def loads(self) -> Floats:
        """Return force and moment about the origin of the whole box by surface."""
        found = self.engine.part_loads()
        lift = self.slab.low - 1
        found[:, 3] -= lift * found[:, 1]
        found[:, 4] += lift * found[:, 0]
        return found

    def set_surfaces(self, table: Floats) -> None:
        """Change speeds and flows of the surfaces; places are those of the whole box."""
        for engine in self.engines():
            engine.set_surfaces(self._moved(table))

    def _moved(self, table: npt.NDArray[np.generic]) -> Floats:
        own = np.array(table, dtype=float)
        own[:, CENTRE_Z] -= self.slab.low - 1
        return own

    def set_stream(self, profile: Floats) -> None:
        """Change the imposed profile of the own layers. Shape (3, own layers, ly)."""
        for engine in self.engines():
            engine.set_stream(np.pad(profile, ((0, 0), (1, 1), (0, 0)), mode="edge"))

    def set_force(self, force: tuple[float, float, float]) -> None:
        """Change the body force from now on."""
        for engine in self.engines():
            engine.set_force(force)

    def engines(self) -> Sequence[AbstractEngine]:
        """Return every engine that looks at the slab's populations."""
        return [self.engine]

    def look(self, air: npt.NDArray[np.bool_], still: npt.NDArray[np.bool_]) -> None:
        """Say where ``extremes`` is to look. Shapes (own layers, ly, lx)."""
        pad = ((1, 1), (0, 0), (0, 0))
        self._looked = Looked(air=np.pad(air, pad), still=np.pad(still, pad))

    def extremes(self, speed: float) -> tuple[Extremes, int, tuple[Floats, Floats]]:
        """Return the extremes, how many cells were seen, and the density beside both planes.

        Cells are numbered as in the whole box. Within slabs of fewer than six layers no ripple is
        looked for from layer to layer.
        """
        found = self.engine.extremes(self._looked, speed)
        first = (self.slab.low - 1) * self.slab.plane
        top = self.slab.setup.shape[2] - 1
        low, high = (
            self.densities_of(slice(a, b))
            for a, b in ((1, min(1 + RIPPLE_REACH, top)), (max(top - RIPPLE_REACH, 1), top))
        )
        return moved_up(found, first), int(self._looked.air.sum()), (low, high)

    def densities_of(self, layers: slice) -> Floats:
        """Return the density in some layers now. Shape (n, ly, lx)."""
        return self.engine.moments().density[layers]

    def densities(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Return the density departure of some of the slab's wall cells."""
        return self.engine.densities(cells)

    def state(self) -> State:
        """Return every array needed to go on later, own layers only."""
        found = dict(self.engine.state())
        del found["surface"]
        for name in ("populations", "mean"):
            found[name] = self._layers(found[name])[:, 1:-1]
        return found

    def restore(self, state: State) -> None:
        """Go back to a saved state of the own layers."""
        full = dict(state) | {"surface": self._moved(state["surface"])}
        own = self.engine.state()
        for name in ("populations", "mean"):
            held = np.zeros_like(self._layers(own[name]))
            held[:, 1:-1] = state[name]
            full[name] = held.reshape(own[name].shape)
        self.engine.restore(full)

    def _layers(self, rows: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        lx, ly, lz = self.slab.setup.shape
        return rows.reshape(-1, lz, ly, lx)


class CpuPart(Part):
    """A slab on the CPU.

    Edge and inner layers are stepped apart only to show that the order in which a card does it
    gives the same: two more engines look at the same populations, each with some of the cells.
    """

    engine: CpuEngine

    def __init__(self, slab: Slab, *, overlap: bool = False) -> None:
        super().__init__(slab)
        self.engine = CpuEngine(slab.setup)
        self._keeps = {
            (side, even): slab.keeps(side, even=even).reshape(N_CROSSING, -1) > 0
            for side in SIDES
            for even in (True, False)
        }
        top = slab.setup.shape[2] - 1
        edges = np.zeros(top + 1, bool)
        edges[[1, top - 1]] = True
        self._apart = [self._some(layers) for layers in (edges, ~edges)] if overlap else []

    def engines(self) -> Sequence[AbstractEngine]:
        """Return every engine that looks at the slab's populations."""
        return [self.engine, *(engine for engine, _ in self._apart)]

    def _some(self, layers: npt.NDArray[np.bool_]) -> tuple[CpuEngine, npt.NDArray[np.int64]]:
        """Return an engine for some layers that shares the populations, and its wall cells."""
        setup = self.slab.setup
        mark = setup.mark.copy()
        mark[~layers] = np.where(mark[~layers] == PLAIN, SOLID, mark[~layers])
        chosen = np.flatnonzero(layers[setup.walls.cell // self.slab.plane])
        engine = CpuEngine(replace(setup, mark=mark, walls=some_walls(setup.walls, chosen)))
        engine._f = self.engine._f
        return engine, chosen

    def whole(self, *, even: bool) -> None:
        """Advance all layers by one step."""
        self.engine.half_pair(even)

    def edge(self, *, even: bool) -> None:
        """Advance the lowest and the highest layer by one step."""
        self._step(0, even)

    def inner(self, *, even: bool) -> None:
        """Advance the layers between by one step, after ``edge``."""
        self._step(1, even)

    def _step(self, which: int, even: bool) -> None:
        engine, chosen = self._apart[which]
        engine._rows[:] = self.engine._rows[:, chosen]
        engine.half_pair(even)
        self.engine._rows[:, chosen] = engine._rows

    def _view(self, place: tuple[int, npt.NDArray[np.int64]]) -> tuple[Any, slice]:
        layer, populations = place
        plane = self.slab.plane
        return populations, slice(layer * plane, (layer + 1) * plane)

    def give(self, side: Side, *, even: bool) -> Floats:
        """Return the plane to send to one side after a step."""
        rows, cells = self._view(self.slab.sends(side, even=even))
        return np.asarray(self.engine._f[rows, cells])

    def take(self, side: Side, plane: Floats, *, even: bool) -> None:
        """Put a plane that came from one side in its place, but for what is a wall's own."""
        rows, cells = self._view(self.slab.receives(side, even=even))
        kept = self._keeps[side, even]
        self.engine._f[rows, cells] = np.where(kept, self.engine._f[rows, cells], plane)
