"""A flow problem in lattice units: what a back end needs and nothing else."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.lattice import N_LINK, WEIGHT, quiescent_departure

Floats = npt.NDArray[np.float64]
PLAIN, SOLID, WALL = 0, 1, 2
"""Marks of a cell: away from walls, not computed, beside a wall."""
SURROUNDINGS = 0
"""Surface number of road, floor and tunnel walls; their loads are not summed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One surface with its own speed, in lattice units.

    Attributes
    ----------
    name
        Part name.
    has_wall_law
        Stress from the wall law; otherwise no slip.
    velocity, spin, centre
        v(x) = velocity + spin × (x − centre). Shape (3,). [cells/step], [1/step], [cells]
    """

    name: str
    has_wall_law: bool = False
    velocity: tuple[float, float, float] = (0.0, 0.0, 0.0)
    spin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    centre: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def row(self) -> list[float]:
        """Return the row of the surface table."""
        return [float(self.has_wall_law), *self.velocity, *self.spin, *self.centre]


@dataclass(frozen=True, slots=True, kw_only=True)
class WallLinks:
    """Cells beside walls and the links of theirs that a wall cuts.

    Attributes
    ----------
    cell
        Flat index of each cell, x fastest. Shape (n_wall,).
    cut
        Share of the link that lies before the wall; 0 where nothing is cut. Shape (26, n_wall). [-]
    surface_of
        Surface number per link. Shape (26, n_wall).
    main
        Surface number of the cell. Shape (n_wall,).
    geometry
        Unit normal into the flow and distance of the cell centre. Shape (4, n_wall). [-], [cells]
    surfaces
        The surfaces; number 0 is the surroundings.
    """

    cell: npt.NDArray[np.int64]
    cut: npt.NDArray[np.float32]
    surface_of: npt.NDArray[np.uint8]
    main: npt.NDArray[np.uint8]
    geometry: npt.NDArray[np.float32]
    surfaces: tuple[Surface, ...]

    def table(self) -> Floats:
        """Return the surface table, one row each."""
        return np.array([s.row() for s in self.surfaces])


def no_walls() -> WallLinks:
    """Return an empty list of walls."""
    return WallLinks(
        cell=np.zeros(0, np.int64),
        cut=np.zeros((N_LINK, 0), np.float32),
        surface_of=np.zeros((N_LINK, 0), np.uint8),
        main=np.zeros(0, np.uint8),
        geometry=np.zeros((4, 0), np.float32),
        surfaces=(Surface(name="surroundings"),),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A flow problem in lattice units.

    Attributes
    ----------
    shape
        Cells along x, y, z.
    viscosity
        Kinematic viscosity. [cells²/step]
    mark
        Mark of each cell, x fastest. Shape (lz, ly, lx).
    walls
        Cells beside walls.
    force
        Body force per volume. Shape (3,). [1/(cells·step²)] times reference density
    stream
        Free-stream velocity. Shape (3,). [cells/step]
    sponge
        Share by which the free stream is imposed each step, along x, y and z; 1 prescribes it.
        Shapes (lx,), (ly,), (lz,). [-]
    """

    shape: tuple[int, int, int]
    viscosity: float
    mark: npt.NDArray[np.uint8]
    walls: WallLinks = field(default_factory=no_walls)
    force: tuple[float, float, float] = (0.0, 0.0, 0.0)
    stream: tuple[float, float, float] = (0.0, 0.0, 0.0)
    sponge: tuple[Floats, Floats, Floats] | None = None

    def __post_init__(self) -> None:
        if not self.viscosity > 0:
            raise InputError("viscosity", self.viscosity, "cells²/step", "must be above 0")
        if self.mark.shape != self.shape[::-1]:
            raise InputError(
                "mark", str(self.mark.shape), "", f"must have shape {self.shape[::-1]}"
            )
        speed = float(np.linalg.norm(self.stream))
        if not speed < 0.3:
            cure = "Lower the lattice speed: the scheme needs a small Mach number."
            raise InputError("stream", speed, "cells/step", "must be below 0.3", cure)

    @property
    def n_cell(self) -> int:
        """Number of cells, solid ones included."""
        return int(np.prod(self.shape))

    def free_stream(self) -> Floats:
        """Return the populations of the free stream less their weights. Shape (27,)."""
        return quiescent_departure(np.ones(()), np.array(self.stream, dtype=float))

    def sponge_lines(self) -> tuple[Floats, Floats, Floats]:
        """Return the sponge, zeros where there is none."""
        if self.sponge is not None:
            return self.sponge
        lx, ly, lz = self.shape
        return np.zeros(lx), np.zeros(ly), np.zeros(lz)


def plain_box(shape: tuple[int, int, int]) -> npt.NDArray[np.uint8]:
    """Return the marks of a periodic box with nothing in it."""
    return np.zeros(shape[::-1], np.uint8)


__all__ = ["PLAIN", "SOLID", "SURROUNDINGS", "WALL", "WEIGHT", "Setup", "Surface", "WallLinks"]
