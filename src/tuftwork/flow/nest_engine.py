"""Boxes of several levels advanced together, on the CPU or on one card.

One step of a box is: fill the ghosts of its finer boxes, step, let them take two steps each, and
write what they found into the cells that they cover.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from tuftwork.flow.engine import (
    SMALL,
    AbstractEngine,
    CpuEngine,
    build_engine,
)
from tuftwork.flow.moments import Moments, Shown
from tuftwork.flow.nest import Nest, answers_for, check_nests, without_covered
from tuftwork.flow.nest_map import Coupling, couple
from tuftwork.flow.setup import Floats, Setup

if TYPE_CHECKING:
    from tuftwork.flow.prepare import Prepared


@runtime_checkable
class Link(Protocol):
    """Exchange between a box and its parent."""

    def fill(self, even: bool) -> None:
        """Fill the child's ghosts; ``even`` if the parent stands before the first of two steps."""

    def give(self, even: bool) -> None:
        """Write the child's moments into the parent, which stands before such a step."""


class CpuLink:
    """Exchange on the CPU."""

    def __init__(self, lists: Coupling, child: CpuEngine, parent: CpuEngine) -> None:
        self.lists, self.child, self.parent = lists, child, parent
        self.ten = np.zeros((lists.shell.size + lists.n_told, 10))
        self._force = [np.array(e.setup.force, dtype=float) for e in (child, parent)]
        self._shape = [np.array(e.setup.shape, np.int64) for e in (child, parent)]

    def fill(self, even: bool) -> None:
        """Fill the child's ghosts."""
        self.read(even)
        self.spread()

    def read(self, even: bool) -> None:
        """Read the parent's moments round the interface."""
        from tuftwork.flow import _nest_kernel as kernel

        a = self.lists
        read = kernel.read_shell_alone if a.ghost.size < SMALL // 4 else kernel.read_shell
        read(
            self.parent.populations,
            self._shape[1],
            a.shell,
            a.shell_thin,
            even,
            self._force[1],
            self.ten,
        )

    def spread(self) -> None:
        """Fill the child's ghosts from what was read."""
        from tuftwork.flow import _nest_kernel as kernel

        a, shape = self.lists, self._shape[0]
        fill = kernel.fill_ghosts_alone if a.ghost.size < SMALL // 4 else kernel.fill_ghosts
        fill(
            self.child.populations, shape, a.ghost, a.near, a.row, a.kind, a.weight, self.ten,
            self._force[0], *a.down,
        )  # fmt: skip

    def give(self, even: bool) -> None:
        """Write the child's moments into the parent."""
        from tuftwork.flow import _nest_kernel as kernel

        a, (ours, theirs), (shape, wide) = self.lists, self._force, self._shape
        alone = a.cell.size < SMALL // 32  # each has eight children
        give = kernel.restrict_cells_alone if alone else kernel.restrict_cells
        give(
            self.child.populations, shape, a.child, self.parent.populations, wide, a.cell,
            a.cell_thin, even, ours, theirs, *a.up,
        )  # fmt: skip


class CudaLink:
    """Exchange on a card."""

    def __init__(self, lists: Coupling, child: Any, parent: Any, module: Any) -> None:
        import cupy as cp

        self.child, self.parent = child, parent
        i4 = np.int32
        self._shell, self._ghost, self._near, self._row, self._kind, self._cell, self._children = (
            cp.asarray(np.ascontiguousarray(x.astype(i4)))
            for x in (
                lists.shell, lists.ghost, lists.near, lists.row, lists.kind, lists.cell,
                lists.child,
            )
        )  # fmt: skip
        self._thin = [cp.asarray(x.astype(i4)) for x in (lists.shell_thin, lists.cell_thin)]
        self._weight = cp.asarray(lists.weight.astype(np.float32))
        self.ten = cp.zeros(12 * (lists.shell.size + lists.n_told), cp.float32)
        self._count = [x.size for x in (lists.shell, lists.ghost, lists.cell)]
        self._box = [
            (*(i4(n) for n in e.setup.shape), *(np.float32(f) for f in e.setup.force))
            for e in (child, parent)
        ]
        self._down, self._up = (
            tuple(np.float32(x) for x in pair) for pair in (lists.down, lists.up)
        )
        self._kernel = {
            name: module.get_function(name)
            for name in ("read_shell", "fill_ghosts", "restrict_cells")
        }

    def _run(self, name: str, count: int, arguments: tuple[Any, ...]) -> None:
        if count:
            self._kernel[name](((count + 127) // 128,), (128,), arguments)

    def fill(self, even: bool) -> None:
        """Fill the child's ghosts."""
        self.read(even)
        self.spread()

    def read(self, even: bool) -> None:
        """Read the parent's moments round the interface."""
        wide, theirs, n_shell = self._box[1][:3], self._box[1][3:], self._count[0]
        where = (self.parent.populations, *wide, np.int32(even), *theirs)
        lists = (self._shell, self._thin[0], np.int32(n_shell))
        self._run("read_shell", n_shell, (*where, *lists, self.ten))

    def spread(self) -> None:
        """Fill the child's ghosts from what was read."""
        shape, ours, n_ghost = self._box[0][:3], self._box[0][3:], self._count[1]
        what = (self._ghost, np.int32(n_ghost), self._near, self._row, self._kind, self._weight)
        self._run(
            "fill_ghosts", n_ghost,
            (self.child.populations, *shape, *ours, *self._down, *what, self.ten),
        )  # fmt: skip

    def give(self, even: bool) -> None:
        """Write the child's moments into the parent."""
        (shape, ours), (wide, theirs) = ((b[:3], b[3:]) for b in self._box)
        n_cell = self._count[2]
        there = (self.parent.populations, *wide, np.int32(even), *theirs, *self._up)
        self._run(
            "restrict_cells", n_cell,
            (self.child.populations, *shape, *ours, *there, self._cell, self._thin[1],
             np.int32(n_cell), self._children),
        )  # fmt: skip


class NestedEngine(AbstractEngine):
    """Advances boxes of several levels; steps and loads are those of the outermost box.

    Parameters
    ----------
    nests
        The boxes, parents before children, number 0 the outermost.
    backend, precision
        As for ``build_engine``.

    Raises
    ------
    InputError
        If a box sticks out of its parent or meets another.
    """

    def __init__(
        self, nests: Sequence[Nest], backend: str = "cpu", precision: str | None = None
    ) -> None:
        self.nests = list(nests)
        check_nests(self.nests)
        sons = [[c for c, x in enumerate(self.nests) if x.parent == n] for n in range(len(nests))]
        self.nests = [
            replace(x, setup=without_covered(x.setup, [self.nests[c] for c in sons[n]]))
            for n, x in enumerate(self.nests)
        ]
        thinned = [x.setup for x in self.nests]
        self.engines: list[AbstractEngine] = self._engines(thinned, backend, precision)
        super().__init__(thinned[0])
        self.backend, self.precision = self.engines[0].backend, self.engines[0].precision
        for n, engine in enumerate(self.engines):
            engine.count(answers_for(self.nests, n).astype(float))
        self._links: list[list[tuple[int, Link]]] = self._linked(sons)
        self._graph: Any = None

    def _engines(
        self, setups: Sequence[Setup], backend: str, precision: str | None
    ) -> list[AbstractEngine]:
        """Return the engine of every box."""
        return [build_engine(setup, backend, precision) for setup in setups]

    def _linked(self, sons: Sequence[Sequence[int]]) -> list[list[tuple[int, Link]]]:
        """Return for every box its finer boxes and the exchange with each."""
        return [[(c, self._link(c, n)) for c in own] for n, own in enumerate(sons)]

    def _link(self, child: int, parent: int) -> Link:
        lists = couple(self.nests[child], self.nests[parent].setup)
        one, two = self.engines[child], self.engines[parent]
        if isinstance(one, CpuEngine) and isinstance(two, CpuEngine):
            return CpuLink(lists, one, two)
        import cupy

        from tuftwork.flow.nest_text import cuda_source

        text = cuda_source(half=self.precision == "float16")
        module = cupy.RawModule(code=text, options=("-std=c++17", "--fmad=true"))
        return CudaLink(lists, one, two, module)

    def place(self, number: int) -> Floats:
        """Return the centre of a box's cell (0, 0, 0) in cells of the outermost box. Shape (3,)."""
        nest, out = self.nests[number], np.zeros(3)
        while nest.parent >= 0:
            out += (np.array(nest.at) - 0.25) * 0.5 ** (nest.level - 1)
            nest = self.nests[nest.parent]
        return out

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every box to equilibrium at fields given on the outermost one."""
        from scipy.ndimage import map_coordinates

        for n, (nest, engine) in enumerate(zip(self.nests, self.engines, strict=True)):
            low, shape = self.place(n), nest.setup.shape
            lines = [low[a] + np.arange(shape[a]) / nest.scale for a in (2, 1, 0)]
            at = np.meshgrid(*lines, indexing="ij")
            fields = [
                map_coordinates(np.asarray(x, dtype=float), at, order=1, mode="nearest")
                for x in (density, *velocity)
            ]
            engine.start(fields[0], np.stack(fields[1:]))
        self.step = 0

    def start_uniform(self) -> None:
        """Set every cell to the free stream."""
        for engine in self.engines:
            engine.start_uniform()
        self.step = 0

    def _step(self, number: int, even: bool) -> None:
        links = self._links[number]
        for _, link in links:
            link.fill(even)
        self.engines[number].half_pair(even)
        for child, link in links:
            self._step(child, True)
            self._step(child, False)
            link.give(not even)

    def half_pair(self, even: bool) -> None:
        """Advance by one step of the outermost box."""
        self._step(0, even)
        self.step += 1

    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps of the outermost box."""
        for _ in range(n_pair):
            if self.backend == "cuda" and self.step:
                self._replay()
            else:
                self.half_pair(True)
                self.half_pair(False)

    def _replay(self) -> None:
        """Launch a recorded pair of steps: hundreds of small kernels cost one launch."""
        import cupy

        if self._graph is None:
            stream = cupy.cuda.Stream()
            with stream:
                stream.begin_capture()
                self._step(0, True)
                self._step(0, False)
                self._graph = (stream, stream.end_capture())
        stream, graph = self._graph
        graph.launch(stream)
        self.step += 2

    def wait(self) -> None:
        """Wait until a card has done what it was given."""
        if self.backend == "cuda":
            import cupy

            cupy.cuda.Device().synchronize()

    def moments(self) -> Moments:
        """Return density and velocity of the outermost box now."""
        return self.engines[0].moments()

    def wall_rows(self) -> Floats:
        """Return the wall rows of the outermost box."""
        return self.engines[0].wall_rows()

    def part_loads(self) -> Floats:
        """Return force and moment by surface over all levels, in units of the outermost box."""
        # surfaces are numbered alike, but each box may hold corner twins of its own at the end
        total = np.zeros((max(len(e.setup.walls.surfaces) for e in self.engines), 6))
        for n, (nest, engine) in enumerate(zip(self.nests, self.engines, strict=True)):
            loads = engine.part_loads() / nest.scale**2
            own = slice(len(loads))
            total[own, :3] += loads[:, :3]
            total[own, 3:] += loads[:, 3:] / nest.scale + np.cross(self.place(n), loads[:, :3])
        return total

    @property
    def setups(self) -> tuple[Setup, ...]:
        """Every box of cells, the outermost first."""
        return tuple(engine.setup for engine in self.engines)

    @property
    def each(self) -> tuple[AbstractEngine, ...]:
        """The engine of every box, the outermost first."""
        return tuple(self.engines)

    def shown(self) -> list[Shown]:
        """Return mean and present moments of every box, and rows of the walls it answers for."""
        out = []
        for engine in self.engines:
            (seen,) = engine.shown()
            kept = engine.counted > 0
            rows, last_rows = seen.rows[:, kept], seen.last_rows[:, kept]
            out.append(replace(seen, rows=rows, last_rows=last_rows))
        return out

    def surface_table(self) -> Floats:
        """Return the table of the surfaces as the outermost box has it."""
        return self.engines[0].surface_table()

    def sample(self) -> None:
        """Add the present state of every box to its means."""
        for engine in self.engines:
            engine.sample()
        self.n_sample += 1

    def means(self) -> tuple[Moments, Floats]:
        """Return means of the outermost box."""
        return self.engines[0].means()

    def clear(self) -> None:
        """Forget the samples taken."""
        for engine in self.engines:
            engine.clear()
        self.n_sample = 0

    def state(self) -> dict[str, npt.NDArray[np.generic]]:
        """Return every array needed to go on later."""
        out: dict[str, npt.NDArray[np.generic]] = {"steps": np.array([self.step, self.n_sample])}
        for n, engine in enumerate(self.engines):
            out |= {f"box{n}_{name}": value for name, value in engine.state().items()}
        return out

    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state."""
        for n, engine in enumerate(self.engines):
            head = f"box{n}_"
            engine.restore({k[len(head) :]: v for k, v in state.items() if k.startswith(head)})
        self.step, self.n_sample = (int(x) for x in state["steps"])


def build_boxes(
    prepared: "Prepared", backend: str = "cpu", precision: str | None = None
) -> AbstractEngine:
    """Return the engine of a prepared case, with all its boxes of cells.

    Parameters
    ----------
    prepared
        From ``prepare``.
    backend, precision
        As for ``build_engine``.
    """
    if prepared.nests:
        return NestedEngine(prepared.nests, backend, precision)
    return build_engine(prepared.setup, backend, precision)
