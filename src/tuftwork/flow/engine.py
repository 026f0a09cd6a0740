"""What every back end can do, and the CPU one (Numba, double precision)."""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.flow.lattice import VELOCITY, quiescent_departure, relaxation_rate
from tuftwork.flow.setup import Floats, Setup

Backend = Literal["cpu", "cuda"]
Precision = Literal["float64", "float32", "float16"]
SMALL = 30_000
"""Below this many cells one thread is faster than waiting for the others. [cells]"""
PRECISIONS: dict[str, tuple[Precision, ...]] = {
    "cpu": ("float64",),
    "cuda": ("float32", "float16"),
}
"""Storage each back end offers; arithmetic is double on the CPU and single on the card."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Density and velocity of every cell; solid cells are undefined.

    Attributes
    ----------
    density
        Density over reference density. Shape (lz, ly, lx). [-]
    velocity
        Velocity. Shape (3, lz, ly, lx). [cells/step]
    """

    density: Floats
    velocity: Floats


class AbstractEngine(ABC):
    """Advances a setup in time. Steps go in pairs, because streaming in place takes two."""

    backend: Backend
    precision: Precision

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.step = 0
        self.n_sample = 0
        self.counted = np.ones(setup.walls.cell.size)
        """Share of each wall cell's load that is summed: 0 where another box answers for it."""

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
        """Return force (3), density departure, friction (3): mean of two steps. (7, n_wall)."""

    @abstractmethod
    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of two steps. Shape (n_surface, 6)."""

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
        self.start(np.ones(shape), np.broadcast_to(stream, (3, *shape)))

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
    return np.asarray(at - g[3] * g[:3])


class CpuEngine(AbstractEngine):
    """Back end on the CPU: Numba, all cores, double precision, one copy of the populations."""

    backend: Backend = "cpu"
    precision: Precision = "float64"

    def __init__(self, setup: Setup) -> None:
        super().__init__(setup)
        self._f = np.zeros((27, setup.n_cell))
        walls = setup.walls
        self._arm = lever(setup)
        self._surface = walls.table()
        self._rows = np.zeros((7, walls.cell.size))
        self._cut = walls.cut.astype(float)
        self._geo = walls.geometry.astype(float)
        self._setting = np.array(
            [
                relaxation_rate(setup.viscosity),
                *setup.force,
                setup.viscosity,
            ]
        )
        self._sponge = setup.sponge_lines()
        self._stream = setup.free_stream()
        self._mark = setup.mark.reshape(-1)
        self.clear()

    def start(self, density: Floats, velocity: Floats) -> None:
        """Set every cell to equilibrium at this density and velocity."""
        self._f[:] = quiescent_departure(density, np.asarray(velocity)).reshape(27, -1)
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
                walls.cell, self._cut, walls.surface_of, walls.main, self._geo,
                self._surface, self._rows,
            )  # fmt: skip
        self.step += 1

    def moments(self) -> Moments:
        """Return density and velocity now."""
        shape = self.setup.shape[::-1]
        density = 1.0 + self._f.sum(axis=0)
        momentum = VELOCITY.T.astype(float) @ self._f + 0.5 * np.array(self.setup.force)[:, None]
        velocity = momentum / density
        return Moments(density=density.reshape(shape), velocity=velocity.reshape(3, *shape))

    def wall_rows(self) -> Floats:
        """Return the wall rows, mean of the last two steps."""
        return self._rows.copy()

    def part_loads(self) -> Floats:
        """Return force and moment by surface, mean of the last two steps."""
        return sum_by_surface(self._rows[:3] * self.counted, self._arm, self.setup)

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
        }

    def restore(self, state: dict[str, npt.NDArray[np.generic]]) -> None:
        """Go back to a saved state."""
        self._f[:] = state["populations"]
        self._rows[:] = state["rows"]
        self._mean[:] = state["mean"]
        self._mean_rows[:] = state["mean_rows"]
        self.step, self.n_sample = (int(x) for x in state["count"])


def sum_by_surface(force: Floats, arm: Floats, setup: Setup) -> Floats:
    """Return force and moment about the grid's origin by surface. Shape (n_surface, 6)."""
    main, count = setup.walls.main, len(setup.walls.surfaces)
    moment = np.cross(arm.T, force.T).T
    rows = np.concatenate([force, moment])
    return np.stack([np.bincount(main, weights=r, minlength=count) for r in rows], axis=1)


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
        Storage of the populations; None takes the back end's first.

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
    chosen = precision or next(iter(offered))
    if chosen not in offered:
        raise InputError("precision", chosen, "", f"the {backend} back end offers {list(offered)}")
    if backend == "cpu":
        return CpuEngine(setup)
    from tuftwork.flow.cuda import CudaEngine

    return CudaEngine(setup, offered[chosen])
