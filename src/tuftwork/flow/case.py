"""What the user asks of the 3-D flow: parts, speed, road, box, cell size."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.porous import Porous, Scale
from tuftwork.flow.through import NetTie, Opening, check_openings
from tuftwork.flow.zones import Zone
from tuftwork.shape.mesh import Mesh

Road = Literal["moving", "fixed", "none"]
Wall = Literal["law", "no slip"]
Mixes = Literal["all", "shear"]
LONGEST_CAR, SHORTEST_CAR = 30.0, 0.1
"""A set of parts outside these lengths is taken for a unit fault. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spin:
    """A part that turns about an axis, such as a wheel.

    Attributes
    ----------
    rate
        Turning rate about ``axis``, right-handed. [rad/s]
    centre
        A point on the axis. Shape (3,). [m]
    axis
        Direction. Shape (3,). [-]
    """

    rate: float
    centre: tuple[float, float, float]
    axis: tuple[float, float, float] = (0.0, 1.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowPart:
    """One surface of the car in car axes (x rearward, y right, z up, road at z = 0).

    Attributes
    ----------
    name
        Name under which its loads are reported.
    vertices, faces
        Triangles. Shapes (n, 3) [m] and (m, 3).
    is_closed
        A closed surface fills its inside; an open one is a thin plate.
    spin
        Turning, for wheels.
    porous
        The part is a cooler's core or a fan: air passes through its inside.
    """

    name: str
    vertices: npt.NDArray[np.float64]
    faces: npt.NDArray[np.int64]
    is_closed: bool = True
    spin: Spin | None = None
    porous: Porous | None = None

    def triangles(self) -> npt.NDArray[np.float64]:
        """Return corners. Shape (n_triangle, 3, 3). [m]."""
        return np.asarray(self.vertices[self.faces], dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Air around the parts, from their extremes.

    Attributes
    ----------
    ahead, behind, beside, above, below
        Clear distances; ``below`` is used only without a road. [m]
    has_walls
        A closed tunnel: sides and roof are still walls. Otherwise the free stream is imposed there.
    belt
        Corners x0, x1 and half width of a moving belt in a fixed floor; None: the whole road is
        alike. [m]
    """

    ahead: float
    behind: float
    beside: float
    above: float
    below: float = 0.0
    has_walls: bool = False
    belt: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowCase:
    """One run of the 3-D flow.

    Attributes
    ----------
    parts
        Surfaces of the car.
    speed
        Car speed. [m/s]
    cell
        Cell size. [m]
    box
        Air around the parts.
    yaw
        Angle of the air to the car's axis, positive from the car's left. [rad]
    road
        ``"moving"`` with the air at zero yaw, ``"fixed"`` like a tunnel floor, or ``"none"``.
    wall
        Stress from the wall law, or no slip for slow and resolved flows.
    density, viscosity
        Air. [kg/m³], kinematic [m²/s]
    lattice_speed
        Speed of the car in cells per step; sets the time step. [-]
    skin
        Cells closer to a closed surface than this are taken out; 0 keeps all of them. [cells]
    layer
        Depth of a layer on walls with the wall law that mixes as turbulence does; 0: none; None:
        on each part as deep as the air's own layer at its end, see ``layer.own_depths``. [cells]
    layer_mixes
        ``"shear"``: only the shear along the wall, which lets eddies live; ``"all"`` stresses.
    openings
        Faces of closed parts that swallow and blow air.
    tie
        The cooling net behind the openings; None: they pass what they are told to.
    zones
        Boxes of finer cells, each level half the cell of the one outside; ``cell`` is then the
        cell of the outermost box.
    """

    parts: tuple[FlowPart, ...]
    speed: float
    cell: float
    box: Box
    yaw: float = 0.0
    road: Road = "moving"
    wall: Wall = "law"
    density: float = 1.225
    viscosity: float = 1.46e-5
    lattice_speed: float = 0.1
    skin: float = field(default=0.0)
    layer: int | None = None
    layer_mixes: Mixes = "shear"
    openings: tuple[Opening, ...] = ()
    tie: NetTie | None = None
    zones: tuple[Zone, ...] = ()

    def __post_init__(self) -> None:
        for name, unit in (
            ("speed", "m/s"),
            ("cell", "m"),
            ("density", "kg/m³"),
            ("viscosity", "m²/s"),
        ):
            value = float(getattr(self, name))
            if not value > 0:
                raise InputError(name, value, unit, "must be above 0")
        if not 0.005 <= self.lattice_speed <= 0.2:
            cure = "0.1 is a good start."
            limit = "must be from 0.005 to 0.2"
            raise InputError("lattice_speed", self.lattice_speed, "cells/step", limit, cure)
        if not abs(self.yaw) < 0.8:
            raise InputError("yaw", self.yaw, "rad", "must lie within ±0.8", "Radians are meant.")
        if self.yaw and self.box.has_walls:
            cure = "Turn the parts instead, or leave the sides open."
            raise InputError("yaw", self.yaw, "rad", "must be 0 between tunnel walls", cure)
        if not self.parts:
            raise InputError("parts", 0, "", "at least one part is needed")
        if len(self.parts) > 200:
            raise InputError("parts", len(self.parts), "", "must be at most 200", "Join parts.")
        if not 0 <= self.skin <= 1:
            raise InputError("skin", self.skin, "cells", "must be from 0 to 1")
        if self.layer and not 3 <= self.layer <= 8:
            raise InputError("layer", self.layer, "cells", "must be 0 or from 3 to 8, or None")
        if self.layer_mixes not in get_args(Mixes):
            raise InputError("layer_mixes", self.layer_mixes, "", "must be 'all' or 'shear'")
        for part in self.parts:
            if part.porous is not None and not part.is_closed:
                cure = "Close it, so that its depth is known."
                raise InputError(f"core '{part.name}'", "open", "", "must be a closed part", cure)
        if all(p.porous is not None for p in self.parts) and self.openings:
            raise InputError("openings", len(self.openings), "", "need a closed body")
        closed = {p.name: p.is_closed and p.porous is None for p in self.parts}
        check_openings(self.openings, closed, self.tie)

    @property
    def step_time(self) -> float:
        """Duration of one step. [s]."""
        return self.lattice_speed * self.cell / self.speed

    @property
    def lattice_viscosity(self) -> float:
        """Kinematic viscosity in cells² per step."""
        return self.viscosity * self.step_time / self.cell**2

    @property
    def finest(self) -> float:
        """Smallest cell. [m]."""
        return float(self.cell / 2 ** max((z.level for z in self.zones), default=0))

    def on_level(self, level: int) -> "FlowCase":
        """Return the case as a box of finer cells has it: smaller cells, shorter steps."""
        if level == 0:
            return replace(self, zones=())
        box = replace(self.box, has_walls=False)
        return replace(self, cell=self.cell / 2**level, zones=(), box=box)

    @property
    def scale(self) -> Scale:
        """From metres and seconds to cells and steps."""
        return Scale(cell=self.cell, step_time=self.step_time, density=self.density)

    def bounds(self) -> npt.NDArray[np.float64]:
        """Return low and high corner of all parts. Shape (2, 3). [m]."""
        corner = np.concatenate([p.vertices for p in self.parts])
        return np.stack([corner.min(axis=0), corner.max(axis=0)])


def car_parts(
    meshes: Sequence[Mesh], *, speed: float, wheels: str = "wheel"
) -> tuple[FlowPart, ...]:
    """Return flow parts of a car; parts whose name starts with ``wheels`` roll on the road.

    Parameters
    ----------
    meshes
        Closed surfaces in car axes.
    speed
        Car speed. [m/s]
    wheels
        Beginning of the names of wheels.

    Returns
    -------
    parts
        Wheels turn at speed over radius about the middle of their extent.
    """
    out = []
    for mesh in meshes:
        spin = None
        if mesh.name.startswith(wheels):
            low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
            x, y, z = (float(c) for c in 0.5 * (low + high))
            # the air moves rearward, so the tread at the road moves rearward: turn about −y
            spin = Spin(rate=-speed / z if z > 0 else 0.0, centre=(x, y, z))
        out.append(FlowPart(name=mesh.name, vertices=mesh.vertices, faces=mesh.faces, spin=spin))
    return tuple(out)
