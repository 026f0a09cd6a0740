"""What every back end can do, and the CPU one (Numba)."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.flow.doubt import Extremes, Looked, extremes
from tuftwork.flow.lattice import quiescent_departure, relaxation_rate
from tuftwork.flow.moments import Moments, Shown
from tuftwork.flow.setup import WALL_ROWS, Floats, Setup
from tuftwork.flow.window import Window, add_cores, as_pair, cut_out, moments_in, pair_at

Backend = Literal["cpu", "cuda"]
Precision = Literal["float64", "float32", "float16"]
SMALL = 30_000
"""Below this many cells one thread is faster than waiting for the others. [cells]"""
PRECISIONS: dict[str, tuple[Precision, ...]] = {
    "cpu": ("float32", "float64"),
    "cuda": ("float32", "float16"),
}
"""Storage each back end offers, what a run takes unasked first; single arithmetic on a card.

On the CPU air away from walls is computed in the precision it is stored in, the rest in double."""


class AbstractEngine(ABC):
    """Advances a setup in time. Steps go in pairs, because streaming in place takes two."""

    backend: Backend
    precision: Precision
    cards: int = 1
    """Graphics cards, or processes, that share the box."""
    _f: Any

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.step = 0
        self.n_sample = 0
        self.counted = np.ones(setup.walls.cell.size)
        """Share of each wall cell's load that is summed: 0 where another box answers for it."""

    @property
    def populations(self) -> Any:
        """The stored populations, on the card or on the host, for whoever couples boxes."""
        return self._f

    def count(self, share: Floats) -> None:
        """Say which share of each wall cell's load is summed. Shape (n_wall,)."""
        self.counted = share

    @property
    def setups(self) -> tuple[Setup, ...]:
        """Every box of cells that is computed, the outermost first."""
        return (self.setup,)

    @property
    def each(self) -> "tuple[AbstractEngine, ...]":
        """The engine of every box of cells, the outermost first."""
        return (self,)

    def shown(self) -> list[Shown]:
        """Return what there is to see of every box."""
        mean, rows = self.means() if self.n_sample else (self.moments(), self.wall_rows())
        return [Shown(mean=mean, last=self.moments(), rows=rows, last_rows=self.wall_rows())]

    @abstractmethod
    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium at a density (lz, ly, lx) and velocity (3, lz, ly, lx)."""

    @abstractmethod
    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps."""

    @abstractmethod
    def half_pair(self, even: bool) -> None:
        """Advance by one step, the first of a pair if ``even``; they must alternate."""

    @abstractmethod
    def moments(self) -> Moments:
        """Return density and velocity now."""

    @abstractmethod
    def wall_rows(self) -> Floats:
        """Return force (3), density departure, friction (3), force on the core (3) by wall cell.

        Mean of two steps. Shape (15, n_wall).
        """

    @abstractmethod
    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of two steps. Shape (n_surface, 6)."""

    def set_surfaces(self, table: Floats) -> None:
        """Change speeds and flows of the surfaces; rows as of ``WallLinks.table``."""
        raise InputError("surfaces", len(table), "", f"cannot be changed in {type(self).__name__}")

    def surface_table(self) -> Floats:
        """Return the surface table as it is now."""
        return self.setup.walls.table()

    def densities(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Return the density departure of some wall cells, mean of two steps. Shape (n,)."""
        return np.asarray(self.wall_rows()[3][cells])

    def extremes(self, looked: Looked, speed: float) -> Extremes:
        """Return the largest and smallest values now; ``speed`` is that of the free stream."""
        now = self.moments()
        rows = np.concatenate([now.density[None], now.velocity])
        return extremes(np, rows, looked.air, looked.still, speed)

    def window(self, window: Window) -> Floats:
        """Return density and velocity now in part of the box. Shape (4, nz, ny, nx)."""
        now = self.moments()
        return cut_out(np.concatenate([now.density[None], now.velocity]), window)

    def layers(self, wanted: Sequence[tuple[int, int]]) -> list[Floats]:
        """Return density and velocity now on pairs of layers: (axis, first) → (4, 2, m, n)."""
        shape = self.setup.shape
        return [as_pair(self.window(pair_at(shape, a, first)), a) for a, first in wanted]

    @abstractmethod
    def sample(self) -> None:
        """Add the present state to the running means."""

    @abstractmethod
    def means(self) -> tuple[Moments, Floats]:
        """Return mean moments and mean wall rows over the samples taken."""

    @abstractmethod
    def clear(self) -> None:
        """Forget the samples taken."""

    @abstractmethod
    def state(self) -> dict[str, npt.NDArray[np.generic]]:
        """Return every array needed to go on later."""

    @abstractmethod
    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state."""

    def start_uniform(self) -> None:
        """Set every cell to the free stream."""
        shape = self.setup.shape[::-1]
        stream = np.array(self.setup.stream, dtype=float).reshape(3, 1, 1, 1)
        if self.setup.profile is not None:
            stream = self.setup.profile[..., None]
        self.start(np.ones(shape), np.broadcast_to(stream, (3, *shape)))

    def set_force(self, force: tuple[float, float, float]) -> None:
        """Change the body force from now on; the setup must have had one."""
        raise InputError("force", str(force), "", "cannot be changed on this back end")

    def set_stream(self, profile: Floats) -> None:
        """Change the imposed profile (3, lz, ly) from now on; the setup must have had one."""
        raise InputError("profile", "", "", "cannot be changed on this back end")

    def close(self) -> None:  # noqa: B027 - most engines hold nothing else
        """Let go of whatever is held beyond this process."""

    def check_sound(self) -> None:
        """Raise if a load is not finite.

        Raises
        ------
        NotConverged
            If the run has diverged.
        """
        loads = self.part_loads()
        if not np.all(np.isfinite(loads)):
            raise NotConverged(
                f"the flow diverged before step {self.step}: a load is not finite. "
                "Lower the lattice speed or use smaller cells."
            )


def lever(setup: Setup) -> Floats:
    """Return where each wall cell's load acts, the foot on the wall. Shape (3, n_wall). [cells]."""
    lx, ly, _ = setup.shape
    n, g = setup.walls.cell, setup.walls.geometry.astype(float)
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)]).astype(float)
    return np.asarray(at - np.abs(g[3]) * g[:3])


class CpuEngine(AbstractEngine):
    """Back end on the CPU: Numba, all cores, one copy of the populations."""

    backend: Backend = "cpu"

    def __init__(self, setup: Setup, precision: Precision = "float64") -> None:
        super().__init__(setup)
        self.precision = precision
        self._f = np.zeros((27, setup.n_cell), precision)
        walls = setup.walls
        self._arm = lever(setup)
        self._surface = walls.table()
        self._rows = np.zeros((walls.cell.size, WALL_ROWS)).T  # one cell's values lie side by side
        self._zone, self._full = walls.zones()
        self._full = self._full.astype(float)
        self._core = walls.core_table()
        self._cut, self._geo = (
            np.ascontiguousarray(x.T, dtype=float) for x in (walls.cut, walls.ground())
        )
        self._of = np.ascontiguousarray(walls.surface_of.T)
        self._setting = np.array(
            [
                relaxation_rate(setup.viscosity),
                *setup.force,
                setup.viscosity,
            ]
        )
        self._sponge = setup.sponge_lines()
        self._stream = setup.free_streams()
        self._mark = setup.mark.reshape(-1)
        self.clear()

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium at this density and velocity."""
        self._f[:] = quiescent_departure(density, np.asarray(velocity)).reshape(27, -1)
        self._rows[:] = 0.0
        self.step = 0

    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps."""
        for _ in range(n_pair):
            for even in (True, False):
                self.half_pair(even)

    def half_pair(self, even: bool) -> None:
        """Advance by one step, the first of a pair if ``even``; they must alternate."""
        from tuftwork.flow import _cpu_kernel as kernel

        alone = self.setup.n_cell < SMALL
        step_bulk = kernel.step_bulk_alone if alone else kernel.step_bulk
        step_wall = kernel.step_wall_alone if alone else kernel.step_wall
        setup, walls = self.setup, self.setup.walls
        shape = np.array(setup.shape, np.int64)
        sx, sy, sz = self._sponge
        step_bulk(
            self._f, self._mark, shape, even, self._setting, self._stream,
            sx, sy, sz, setup.sponge is not None,
        )  # fmt: skip
        if walls.cell.size:
            step_wall(
                self._f, shape, even, self._setting, self._stream, sx, sy, sz,
                walls.cell, self._cut, self._of, walls.main, self._geo,
                self._surface, self._zone, self._full, self._core, self._rows.T,
            )  # fmt: skip
        self.step += 1

    def set_force(self, force: tuple[float, float, float]) -> None:
        """Change the body force from now on."""
        self._setting[1:4] = force

    def set_stream(self, profile: Floats) -> None:
        """Change the imposed profile (3, lz, ly) from now on; the setup must have had one."""
        self._stream = replace(self.setup, profile=profile).free_streams()

    def moments(self) -> Moments:
        """Return density and velocity now."""
        rows = self.window(((0, 0, 0), self.setup.shape))
        return Moments(density=rows[0], velocity=rows[1:])

    def window(self, window: Window) -> Floats:
        """Return density and velocity now in part of the box."""
        rows = moments_in(self._f, self.setup, self._setting[1:4], window)
        return add_cores(rows, self.setup, window, lambda own: self._rows[7:10, own])

    def wall_rows(self) -> Floats:
        """Return the wall rows, mean of the last two steps."""
        return self._rows.copy()

    def densities(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Return the density departure of some wall cells, mean of two steps."""
        return np.asarray(self._rows[3, cells])

    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of the last two steps."""
        return sum_by_surface(self._rows * self.counted, self._arm, self.setup)

    def set_surfaces(self, table: Floats) -> None:
        """Change speeds and flows of the surfaces."""
        self._surface = np.array(table, dtype=float)

    def surface_table(self) -> Floats:
        """Return the surface table as it is now."""
        return self._surface.copy()

    def sample(self) -> None:
        """Add the present state to the running means."""
        now = self.moments()
        self._mean[0] += now.density.reshape(-1)
        self._mean[1:] += now.velocity.reshape(3, -1)
        self._mean_rows += self._rows
        self.n_sample += 1

    def means(self) -> tuple[Moments, Floats]:
        """Return mean moments and mean wall rows."""
        count = max(self.n_sample, 1)
        shape = self.setup.shape[::-1]
        mean = self._mean / count
        found = Moments(density=mean[0].reshape(shape), velocity=mean[1:].reshape(3, *shape))
        return found, self._mean_rows / count

    def clear(self) -> None:
        """Forget the samples taken."""
        self.n_sample = 0
        self._mean = np.zeros((4, self.setup.n_cell))
        self._mean_rows = np.zeros_like(self._rows)

    def state(self) -> dict[str, npt.NDArray[np.generic]]:
        """Return every array needed to go on later."""
        return {
            "populations": self._f,
            "rows": self._rows,
            "mean": self._mean,
            "mean_rows": self._mean_rows,
            "count": np.array([self.step, self.n_sample]),
            "surface": self._surface,
        }

    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state."""
        self._f[:] = state["populations"]
        self._rows[:] = state["rows"]
        self._mean[:] = state["mean"]
        self._mean_rows[:] = state["mean_rows"]
        self.step, self.n_sample = (int(x) for x in state["count"])
        self.set_surfaces(np.asarray(state["surface"], dtype=float))


def sum_by_surface(rows: Floats, arm: Floats, setup: Setup) -> Floats:
    """Return force and moment about the grid's origin by surface. Shape (n_surface, 6).

    ``rows`` are wall rows; where they hold the force on cores, it counts to the core's surface.
    """
    count = len(setup.walls.surfaces)
    out = np.zeros((count, 6))
    for force, to in _counted_forces(rows, setup):
        six = np.concatenate([force, np.cross(arm.T, force.T).T])
        out += np.stack([np.bincount(to, weights=r, minlength=count) for r in six], axis=1)
    return out


def _counted_forces(rows: Floats, setup: Setup) -> list[tuple[Floats, npt.NDArray[np.int64]]]:
    """Return forces by wall cell, each with the surface number it counts to."""
    walls = setup.walls
    out = [(rows[:3], walls.counted())]
    if walls.cores and len(rows) >= 10:
        out.append((rows[7:10], walls.zone_counted()))
    return out


def build_engine(
    setup: Setup, backend: str = "cpu", precision: str | None = None
) -> AbstractEngine:
    """Return the engine of a back end.

    Parameters
    ----------
    setup
        The flow problem.
    backend
        ``"cpu"`` or ``"cuda"``.
    precision
        Storage of the populations; None is double on the CPU and single on a card.

    Returns
    -------
    engine
        Ready to ``start``.

    Raises
    ------
    UnknownName
        If the back end does not exist.
    InputError
        If the back end does not offer the precision.
    """
    if backend not in PRECISIONS:
        raise UnknownName("backend", backend, PRECISIONS)
    offered = {str(name): name for name in PRECISIONS[backend]}
    chosen = precision or ("float64" if backend == "cpu" else "float32")
    if chosen not in offered:
        raise InputError("precision", chosen, "", f"the {backend} back end offers {list(offered)}")
    if backend == "cpu":
        return CpuEngine(setup, offered[chosen])
    from tuftwork.flow.cuda import CudaEngine

    return CudaEngine(setup, offered[chosen])
