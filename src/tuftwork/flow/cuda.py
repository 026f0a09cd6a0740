"""Back end on a graphics card: CUDA C++ compiled at run time by CuPy.

One copy of the populations, single-precision arithmetic, storage in single or half precision.
"""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.cuda_pair import paired
from tuftwork.flow.cuda_text import cuda_source
from tuftwork.flow.doubt import RIPPLE_REACH, Extremes, Looked, extremes
from tuftwork.flow.engine import AbstractEngine, Backend, Precision, lever
from tuftwork.flow.moments import Moments
from tuftwork.flow.setup import WALL_ROWS, Floats, Setup
from tuftwork.flow.slab_look import join_extremes, moved_up
from tuftwork.flow.window import Window, add_cores, pieces_of, with_core_force

BLOCK = 128
BYTES_PER_CELL: dict[Precision, int] = {"float32": 27 * 4 + 19, "float16": 27 * 2 + 19}
"""Populations, mark, running means, and where one looks for what is doubtful. [B]"""
BYTES_PER_WALL_CELL = 26 * 5 + 1 + 60 + 4 + 120 + 21


class CudaEngine(AbstractEngine):
    """Back end on one graphics card.

    Raises
    ------
    InputError
        If there is no card, or its free memory does not hold the setup.
    """

    backend: Backend = "cuda"

    def __init__(self, setup: Setup, precision: Precision = "float32") -> None:
        super().__init__(setup)
        import cupy

        self._cupy: Any = cupy
        self.precision = precision
        need = setup.n_cell * BYTES_PER_CELL[precision]
        need += setup.walls.cell.size * BYTES_PER_WALL_CELL
        free = int(cupy.cuda.Device().mem_info[0])
        if need > free:
            cure = f"Use larger cells: about {(need / free) ** (1 / 3):.2f} times as large fits."
            limit = f"the card has {free / 1e9:.2f} GB free"
            raise InputError("memory", round(need / 1e9, 2), "GB", limit, cure)
        half = precision == "float16"
        self._paired = paired(setup, half=half)
        text = self.text(half=half)
        self._module = cupy.RawModule(code=text, options=("-std=c++17", "--fmad=true"))
        names = re.findall(r"__global__ void (?:__launch_bounds__\(BLOCK\) )?(\w+)\(", text)
        self.kernel = {name: self._module.get_function(name) for name in names}
        self._f = cupy.zeros(27 * setup.n_cell, cupy.float16 if half else cupy.float32)
        self._set_constants(setup)
        self._mark = cupy.asarray(setup.mark.reshape(-1))
        self._sponge = [cupy.asarray(s, dtype=cupy.float32) for s in setup.sponge_lines()]
        self._upload_walls()
        self._mean = cupy.zeros((4, setup.n_cell), cupy.float32)
        self._mean_rows = cupy.zeros_like(self._rows)

    def text(self, *, half: bool) -> str:
        """Return the CUDA C++ text of all kernels."""
        return cuda_source(self.setup, half=half, block=BLOCK)

    def _set_constants(self, setup: Setup) -> None:
        """Send what may change: the body force, and the stream where each row has its own."""
        if any(self.setup.force):
            self._into("FORCE", np.array(setup.force))
        if setup.profile is not None:
            self._into("STREAM", setup.free_streams())

    def _into(self, name: str, values: Floats) -> None:
        """Write numbers into a named place in the card's memory."""
        cp = self._cupy
        cp.cuda.Device().synchronize()  # what was queued, on whichever stream, uses the old numbers
        place = self._module.get_global(name)
        cp.ndarray(values.size, cp.float32, place)[:] = cp.asarray(values.ravel(), cp.float32)

    def set_force(self, force: tuple[float, float, float]) -> None:
        """Change the body force from now on; the setup must have had one."""
        if not any(self.setup.force):
            raise InputError("force", str(force), "", "the setup was built without one")
        self._into("FORCE", np.array(force))

    def set_stream(self, profile: Floats) -> None:
        """Change the imposed profile (3, lz, ly) from now on; the setup must have had one."""
        if self.setup.profile is None:
            raise InputError("profile", "", "", "the setup was built without one")
        self._set_constants(replace(self.setup, profile=profile))

    def _upload_walls(self) -> None:
        cp, walls = self._cupy, self.setup.walls
        self._links = [
            cp.asarray(walls.cell.astype(np.int32)),
            cp.asarray(np.ascontiguousarray(walls.cut)),
            cp.asarray(np.ascontiguousarray(walls.surface_of)),
            cp.asarray(walls.main),
            cp.asarray(walls.ground()),
            cp.asarray(walls.table().astype(np.float32)),
        ]
        zone, fill = walls.zones()
        self._zones = [
            cp.asarray(zone),
            cp.asarray(fill.astype(np.float32)),
            cp.asarray(walls.core_table().astype(np.float32)),
        ]
        self._rows = cp.zeros((WALL_ROWS, walls.cell.size), cp.float32)
        self._load_to = [(slice(0, 3), cp.asarray(walls.counted()))]
        if walls.cores:
            self._load_to.append((slice(7, 10), cp.asarray(walls.zone_counted())))
        self._looked: tuple[Any, Any] | None = None
        self._arm = cp.asarray(lever(self.setup).astype(np.float32))

    def _cells(self, block: int) -> tuple[tuple[int], tuple[int]]:
        return ((self.setup.n_cell + block - 1) // block,), (block,)

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium at this density and velocity."""
        cp = self._cupy
        m = cp.empty((4, self.setup.n_cell), cp.float32)
        m[0] = cp.asarray(np.ascontiguousarray(density, dtype=np.float32)).reshape(-1)
        m[1:] = cp.asarray(np.ascontiguousarray(velocity, dtype=np.float32)).reshape(3, -1)
        self.kernel["begin"](*self._cells(256), (self._f, m))
        self._rows[...] = 0
        self.step = 0

    def start_uniform(self) -> None:
        """Set every cell to the free stream."""
        self.kernel["fill"](*self._cells(256), (self._f,))
        self._rows[...] = 0
        self.step = 0

    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps."""
        for _ in range(n_pair):
            for even in (True, False):
                self.half_pair(even)

    def half_pair(self, even: bool) -> None:
        """Advance by one step, the first of a pair if ``even``; they must alternate."""
        self.step_bulk(even, 0, self.setup.n_cell)
        self.step_walls(even, 0, self.setup.walls.cell.size)
        self.step += 1

    def step_bulk(self, even: bool, first: int, last: int) -> None:
        """Advance the plain cells among those numbered ``first`` to below ``last`` by one step.

        The two numbers must begin rows.
        """
        if self._paired:
            first, last = first // 2, last // 2
        if last > first:
            grid = ((last - first + BLOCK - 1) // BLOCK,), (BLOCK,)
            arguments = (self._f, self._mark, *self._sponge, np.int32(first), np.int32(last))
            self.kernel["bulk_even" if even else "bulk_odd"](*grid, arguments)

    def step_walls(self, even: bool, first: int, last: int) -> None:
        """Advance the wall cells numbered ``first`` to below ``last`` in their list by one step."""
        if last > first:
            grid = ((last - first + 127) // 128,), (128,)
            window = (np.int32(first), np.int32(last))
            arguments = (
                self._f, *self._links, *self._sponge, *self._zones, self._rows, *window
            )  # fmt: skip
            self.kernel["wall_even" if even else "wall_odd"](*grid, arguments)

    def wait(self) -> None:
        """Wait until the card has done what it was given."""
        self._cupy.cuda.Device().synchronize()

    def moments(self) -> Moments:
        """Return density and velocity now."""
        rows = np.empty((4, *self.setup.shape[::-1]))
        for first, end, window in pieces_of(self.setup.shape):
            rows[:, first:end] = self._in(window).get()
        found = Moments(density=rows[0], velocity=rows[1:])
        return with_core_force(found, self.wall_rows(), self.setup)

    def wall_rows(self) -> Floats:
        """Return the wall rows, mean of the last two steps."""
        return np.asarray(self._rows.get(), dtype=float)

    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of the last two steps."""
        cp = self._cupy
        count = len(self.setup.walls.surfaces)
        out = np.zeros((count, 6))
        if not self.setup.walls.cell.size:
            return out
        kept = cp.asarray(self.counted, dtype=cp.float32)
        for which, to in self._load_to:
            force = self._rows[which] * kept
            moment = cp.cross(self._arm.T, force.T).T
            rows = [cp.bincount(to, weights=r, minlength=count) for r in (*force, *moment)]
            out += np.asarray(cp.stack(rows, axis=1).get(), dtype=float)
        return out

    def densities(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Return the density departure of some wall cells, mean of two steps."""
        return np.asarray(self._rows[3][self._cupy.asarray(cells)].get(), dtype=float)

    def extremes(self, looked: Looked, speed: float) -> Extremes:
        """Return the largest and smallest values now, found on the card."""
        cp = self._cupy
        if self._looked is None:
            self._looked = (cp.asarray(looked.air), cp.asarray(looked.still))
        (lx, ly, lz), found = self.setup.shape, []
        for first, end, window in pieces_of(self.setup.shape, RIPPLE_REACH):
            air, still = (where[first : first + window[1][2]] for where in self._looked)
            rows, own = self._in(window), end - first
            seen = extremes(cp, rows, air, still, speed, own=own, tall=lz)
            found.append((moved_up(seen, first * ly * lx), int(air[:own].sum())))
        return join_extremes(found)

    def _in(self, window: Window) -> Any:
        """Density and velocity in part of the box, on the card, without the cores' share."""
        size = window[1]
        count = size[0] * size[1] * size[2]
        rows = self._cupy.empty((4, *size[::-1]), self._cupy.float32)
        where = (np.int32(n) for three in window for n in three)
        self.kernel["window"](((count + 255) // 256,), (256,), (self._f, self._mark, rows, *where))
        self._cupy.cuda.Device().synchronize()
        return rows

    def window(self, window: Window) -> Floats:
        """Return density and velocity now in part of the box; only that leaves the card."""
        rows = np.asarray(self._in(window).get(), dtype=float)
        cp = self._cupy
        return add_cores(
            rows, self.setup, window, lambda own: self._rows[7:10][:, cp.asarray(own)].get()
        )

    def set_surfaces(self, table: Floats) -> None:
        """Change speeds and flows of the surfaces, in place: recorded launches read them there."""
        self._links[5][...] = self._cupy.asarray(np.asarray(table, dtype=np.float32))

    def surface_table(self) -> Floats:
        """Return the surface table as it is now."""
        return np.asarray(self._links[5].get(), dtype=float)

    def sample(self) -> None:
        """Add the present state to the running means."""
        self.kernel["fields"](*self._cells(256), (self._f, self._mark, self._mean, np.int32(1)))
        self._mean_rows += self._rows
        self.n_sample += 1

    def means(self) -> tuple[Moments, Floats]:
        """Return mean moments and mean wall rows."""
        count = max(self.n_sample, 1)
        rows = self._mean_rows.get().astype(float) / count
        mean = self._mean.get().astype(float).reshape(4, *self.setup.shape[::-1]) / count
        found = Moments(density=mean[0], velocity=mean[1:])
        return with_core_force(found, rows, self.setup), rows

    def clear(self) -> None:
        """Forget the samples taken."""
        self.n_sample = 0
        self._mean[...] = 0
        self._mean_rows[...] = 0

    def state(self) -> dict[str, npt.NDArray[np.generic]]:
        """Return every array needed to go on later."""
        return {
            "populations": self._in_order(self._f.get()),
            "rows": self._rows.get(),
            "mean": self._mean.get(),
            "mean_rows": self._mean_rows.get(),
            "count": np.array([self.step, self.n_sample]),
            "surface": self.surface_table(),
        }

    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state."""
        self._f.set(self._as_stored(np.asarray(state["populations"])))
        self._rows.set(state["rows"])
        self._mean.set(state["mean"])
        self._mean_rows.set(state["mean_rows"])
        self.step, self.n_sample = (int(x) for x in state["count"])
        self.set_surfaces(np.asarray(state["surface"], dtype=float))

    def _in_order(self, stored: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return populations with the cells of a row in order, where pairs are stored."""
        if not self._paired:
            return stored
        pairs = stored.reshape(-1, self.setup.shape[0] // 2, 2)
        return np.ascontiguousarray(pairs.transpose(0, 2, 1)).reshape(-1)

    def _as_stored(self, ordered: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return populations as they are stored, from such in order."""
        if not self._paired:
            return ordered
        rows = ordered.reshape(-1, 2, self.setup.shape[0] // 2)
        return np.ascontiguousarray(rows.transpose(0, 2, 1)).reshape(-1)
