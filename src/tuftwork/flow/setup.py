"""A flow problem in lattice units: what a back end needs and nothing else."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.lattice import N_LINK, WEIGHT, quiescent_departure

Floats = npt.NDArray[np.float64]
PLAIN, SOLID, WALL = 0, 1, 2
"""Marks of a cell: away from walls, not computed, beside a wall."""
THIN = 4.0
"""Added to the share of a link that both of its ends are cut off from each other by a part thinner
than a cell: neither end may leave anything in the other's place. [-]"""
SHEAR_ONLY = 100.0
"""Added to the depth of a layer that mixes only the shear along the wall. [-]"""
WALL_ROWS = 18
"""Recorded of a wall cell: load, density at the wall less the reference, friction, force on a core,
momentum that its links exchange, how air gathers along the wall, what is known of that, and what
its momentum swings by beside an opening. [-]"""
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
    is_frictionless
        With ``has_wall_law``: air slips along it without stress, for checks against potential flow.
    velocity, spin, centre
        v(x) = velocity + spin × (x − centre). Shape (3,). [cells/step], [1/step], [cells]
    fall
        That speed is multiplied by Π_a (1 − fall_a (x_a − centre_a)²): the parabolas of a duct
        whose inflow is a surface. Shape (3,). [1/cells²]
    is_opening
        Air passes at the momentum ``velocity`` per density, whatever the pressure.
    counts_to
        Surface number under which its loads are summed; None: its own.
    layer
        Depth of the mixing layer on the wall law, at least 2; 0: none. [cells]
    mixes_shear_only
        The layer mixes only the shear along the wall; otherwise all stresses.
    """

    name: str
    has_wall_law: bool = False
    is_frictionless: bool = False
    velocity: tuple[float, float, float] = (0.0, 0.0, 0.0)
    spin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    centre: tuple[float, float, float] = (0.0, 0.0, 0.0)
    fall: tuple[float, float, float] = (0.0, 0.0, 0.0)
    is_opening: bool = False
    counts_to: int | None = None
    layer: float = 0.0
    mixes_shear_only: bool = False

    def row(self) -> list[float]:
        """Return the row of the surface table.

        The first number is 0 without slip, ½ with free slip, 1 with the wall law, the layer's depth
        with both, ``SHEAR_ONLY`` more where it mixes the shear only, and −1 for an opening.
        """
        more = SHEAR_ONLY if self.mixes_shear_only else 0.0
        first = self.layer + more if self.layer else float(self.has_wall_law)
        first = 0.5 if self.has_wall_law and self.is_frictionless else first
        first = -1.0 if self.is_opening else first
        return [first, *self.velocity, *self.spin, *self.centre, *self.fall]


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """What cells of a porous core or a fan do to the air, in lattice units.

    Attributes
    ----------
    name
        Part name.
    surface
        Surface number under which its loads are summed.
    axis
        Unit vector along which air passes. Shape (3,). [-]
    linear, square
        Pressure lost per cell, over density: linear·v + square·v|v|. [1/step], [1/cell]
    lift
        Pressure gained per cell, over density: a fan. [cells/step²]
    across
        Share of the speed across the axis lost per step over 2 − that share, as fins do. [1/step]
    """

    name: str
    surface: int
    axis: tuple[float, float, float]
    linear: float = 0.0
    square: float = 0.0
    lift: float = 0.0
    across: float = 2.0

    def row(self) -> list[float]:
        """Return the row of the core table."""
        return [*self.axis, self.linear, self.square, self.lift, self.across]


@dataclass(frozen=True, slots=True, kw_only=True)
class WallLinks:
    """Cells beside walls and the links of theirs that a wall cuts.

    Attributes
    ----------
    cell
        Flat index of each cell, x fastest. Shape (n_wall,).
    cut
        Share of the link that lies before the wall; 0 where nothing is cut; ``THIN`` more where
        the cell behind is kept too. Shape (26, n_wall). [-]
    surface_of
        Surface number per link. Shape (26, n_wall).
    main
        Surface number of the cell. Shape (n_wall,).
    geometry
        Unit normal into the flow and distance of the cell centre. Shape (4, n_wall). [-], [cells]
    surfaces
        The surfaces; number 0 is the surroundings.
    bend
        Gradient of the wall's normal along it, xx, yy, zz, xy, xz, yz [1/cell], and 1 where the
        wall is smooth, from ``smooth.grounds``; None: flat, not smooth. Shape (7, n_wall).
    facing
        Piece of its part's surface that each cell stands for, outward, from ``facing.facings``:
        the load is pressure on it and friction; None: the load is the momentum that links exchange.
        Shape (3, n_wall). [cells²]
    zone, fill
        Core that each cell lies in, from 1, or 0; and the share of the cell that it fills. A cell
        of a core away from walls is listed too, with no link cut. None: no cores. Shapes (n_wall,).
    cores
        The cores.
    """

    cell: npt.NDArray[np.int64]
    cut: npt.NDArray[np.float32]
    surface_of: npt.NDArray[np.uint8]
    main: npt.NDArray[np.uint8]
    geometry: npt.NDArray[np.float32]
    surfaces: tuple[Surface, ...]
    bend: npt.NDArray[np.float32] | None = None
    facing: npt.NDArray[np.float32] | None = None
    zone: npt.NDArray[np.uint8] | None = None
    fill: npt.NDArray[np.float32] | None = None
    cores: tuple[Core, ...] = ()

    def table(self) -> Floats:
        """Return the surface table, one row each."""
        return np.array([s.row() for s in self.surfaces])

    def core_table(self) -> Floats:
        """Return the core table; row 0 is no core."""
        return np.array([[0.0] * 7, *(c.row() for c in self.cores)])

    def shares(self) -> npt.NDArray[np.float32]:
        """Return the share of each link before its wall, 0 where nothing is cut. (26, n_wall)."""
        return np.where(self.cut > THIN, self.cut - THIN, self.cut)

    def ground(self) -> npt.NDArray[np.float32]:
        """Return geometry, bend, facing and whether it counts, as back ends take it. (15, n)."""
        bend = np.zeros((7, self.cell.size), np.float32) if self.bend is None else self.bend
        facing = np.zeros((4, self.cell.size), np.float32)
        if self.facing is not None:
            facing[:3], facing[3] = self.facing, 1.0
        return np.concatenate([self.geometry, bend, facing]).astype(np.float32)

    def zones(self) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.float32]]:
        """Return zone and fill, zeros where there are no cores."""
        if self.zone is None or self.fill is None:
            return np.zeros(self.cell.size, np.uint8), np.zeros(self.cell.size, np.float32)
        return self.zone, self.fill

    def counted(self) -> npt.NDArray[np.int64]:
        """Return the surface number under which each cell's load is summed. Shape (n_wall,)."""
        own = [n if s.counts_to is None else s.counts_to for n, s in enumerate(self.surfaces)]
        return np.array(own, np.int64)[self.main]

    def zone_counted(self) -> npt.NDArray[np.int64]:
        """Return the surface number under which the load of each cell's core is summed."""
        return np.array([0, *(core.surface for core in self.cores)], np.int64)[self.zones()[0]]


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
    profile
        Velocity that the sponge imposes on each row along x instead of the uniform ``stream``.
        Shape (3, lz, ly). [cells/step]
    """

    shape: tuple[int, int, int]
    viscosity: float
    mark: npt.NDArray[np.uint8]
    walls: WallLinks = field(default_factory=no_walls)
    force: tuple[float, float, float] = (0.0, 0.0, 0.0)
    stream: tuple[float, float, float] = (0.0, 0.0, 0.0)
    sponge: tuple[Floats, Floats, Floats] | None = None
    profile: Floats | None = None

    def __post_init__(self) -> None:
        if not self.viscosity > 0:
            raise InputError("viscosity", self.viscosity, "cells²/step", "must be above 0")
        if self.mark.shape != self.shape[::-1]:
            raise InputError(
                "mark", str(self.mark.shape), "", f"must have shape {self.shape[::-1]}"
            )
        if self.profile is not None and self.profile.shape != (3, *self.shape[:0:-1]):
            limit = f"must have shape {(3, *self.shape[:0:-1])}"
            raise InputError("profile", str(self.profile.shape), "", limit)
        speed = float(np.linalg.norm(self.stream))
        if self.profile is not None:
            speed = max(speed, float(np.sqrt(np.square(self.profile).sum(axis=0)).max()))
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

    def free_streams(self) -> Floats:
        """Return the populations that the sponge imposes by row, one where all rows are alike.

        Shape (lz · ly, 27) or (1, 27).
        """
        if self.profile is None:
            return self.free_stream()[None]
        density = np.ones(self.profile.shape[1:])
        return np.ascontiguousarray(quiescent_departure(density, self.profile).reshape(27, -1).T)

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
