"""Back end on a graphics card: CUDA C++ compiled at run time by CuPy.

One copy of the populations, single-precision arithmetic, storage in single or half precision.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.cuda_pair import paired
from tuftwork.flow.cuda_text import cuda_source
from tuftwork.flow.doubt import Extremes, Looked, extremes
from tuftwork.flow.engine import (
    AbstractEngine,
    Backend,
    Precision,
    lever,
    pairs_of,
    with_core_force,
)
from tuftwork.flow.moments import Moments
from tuftwork.flow.setup import Floats, Setup

BLOCK = 128
BYTES_PER_CELL: dict[Precision, int] = {"float32": 27 * 4 + 1 + 16, "float16": 27 * 2 + 1 + 16}
"""Populations, mark and running means. [B]"""
BYTES_PER_WALL_CELL = 26 * 5 + 1 + 16 + 4 + 80 + 21


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
        self.clear()

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
            cp.asarray(np.ascontiguousarray(walls.geometry)),
            cp.asarray(walls.table().astype(np.float32)),
        ]
        zone, fill = walls.zones()
        self._zones = [
            cp.asarray(zone),
            cp.asarray(fill.astype(np.float32)),
            cp.asarray(walls.core_table().astype(np.float32)),
        ]
        self._rows = cp.zeros((10, walls.cell.size), cp.float32)
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
        self.step = 0

    def start_uniform(self) -> None:
        """Set every cell to the free stream."""
        self.kernel["fill"](*self._cells(256), (self._f,))
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

    def _unpack(self, rows: Any) -> Moments:
        shape = self.setup.shape[::-1]
        host = rows.get().astype(float)
        return Moments(density=host[0].reshape(shape), velocity=host[1:].reshape(3, *shape))

    def moments(self) -> Moments:
        """Return density and velocity now."""
        return with_core_force(self._unpack(self._now()), self.wall_rows(), self.setup)

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
        return extremes(cp, self._now(), *self._looked, speed)

    def _now(self) -> Any:
        """Density and velocity of every cell, on the card, without the cores' share."""
        rows = self._cupy.ones((4, self.setup.n_cell), self._cupy.float32)
        rows[1:] = 0
        self.kernel["fields"](*self._cells(256), (self._f, self._mark, rows, np.int32(0)))
        self._cupy.cuda.Device().synchronize()
        return rows.reshape(4, *self.setup.shape[::-1])

    def layers(self, wanted: Sequence[tuple[int, int]]) -> list[Floats]:
        """Return pairs of layers now; only they leave the card."""
        rows = self._now()
        if self.setup.walls.cores:
            flat, cells = rows.reshape(4, -1), self._links[0]
            flat[1:, cells] -= 0.5 * self._rows[7:10] / flat[0, cells]
        return [np.asarray(pairs_of(rows, [one])[0].get(), dtype=float) for one in wanted]

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
        return with_core_force(self._unpack(self._mean / count), rows, self.setup), rows

    def clear(self) -> None:
        """Forget the samples taken."""
        self.n_sample = 0
        self._mean = self._cupy.zeros((4, self.setup.n_cell), self._cupy.float32)
        self._mean_rows = self._cupy.zeros_like(self._rows)

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
