"""Coolers and fans in the flow: cells that resist or push the air along one axis.

A core is a closed part that the air passes through: Δp = linear·v + square·v² over its depth along
its axis, v the speed through its face, and fins that let nothing pass across. A fan is the same
with a rise at no flow. Cells that a core fills in part carry its force in part, so that the drop
does not depend on how the grid lies.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.setup import SOLID, WALL, Core, WallLinks

if TYPE_CHECKING:
    from tuftwork import cooling

Floats = npt.NDArray[np.float64]
Marks = npt.NDArray[np.uint8]
_Any = TypeVar("_Any", bound=np.generic)
_FINE = 8
"""Points along a core's axis at which its share of a cell is looked up."""
_LEAST = 0.01
"""A cell that a core fills less than this is left alone. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Porous:
    """How a part lets air through, along one axis.

    Attributes
    ----------
    axis
        Direction in which the air is meant to pass. Shape (3,). [-]
    depth
        Along the axis. [m]
    linear, square
        Pressure lost over the depth: linear·v + square·v|v|. [Pa s/m], [Pa s²/m²]
    rise
        Pressure gained over the depth at no flow: a fan. [Pa]
    has_fins
        Whether nothing passes across the axis.
    """

    axis: tuple[float, float, float]
    depth: float
    linear: float = 0.0
    square: float = 0.0
    rise: float = 0.0
    has_fins: bool = True

    def __post_init__(self) -> None:
        if not np.linalg.norm(self.axis) > 0:
            raise InputError("axis", str(self.axis), "", "must not be zero")
        if not self.depth > 0:
            raise InputError("depth", self.depth, "m", "must be above 0")
        for name, unit in (("linear", "Pa s/m"), ("square", "Pa s²/m²"), ("rise", "Pa")):
            if not getattr(self, name) >= 0:
                raise InputError(name, getattr(self, name), unit, "must not be below 0")
        if self.rise > 0 and not self.linear + self.square > 0:
            cure = "A fan's rise falls with its flow: give the curve."
            raise InputError("rise", self.rise, "Pa", "needs a loss beside it", cure)

    def drop(self, speed: float) -> float:
        """Return the pressure lost at a speed through the face, a fan's rise taken off. [Pa]."""
        return self.linear * speed + self.square * speed * abs(speed) - self.rise

    def free_speed(self) -> float:
        """Return the speed through the face at which a fan has no rise; 0 for a core. [m/s]."""
        if not self.rise > 0:
            return 0.0
        root = (self.linear**2 + 4.0 * self.square * self.rise) ** 0.5
        return float(2.0 * self.rise / (self.linear + root))

    def unit_axis(self) -> Floats:
        """Return the axis as a unit vector. Shape (3,)."""
        axis = np.array(self.axis, dtype=float)
        return np.asarray(axis / np.linalg.norm(axis))


def slab_of(triangles: Floats) -> tuple[tuple[float, float, float], float, float]:
    """Return axis, depth and face area of a closed slab from its triangles.

    The axis is the direction that most of the surface faces; the depth is the slab's extent along
    it and the area its volume over its depth. Axes point rearward, or else right, or else up.

    Parameters
    ----------
    triangles : (n, 3, 3)
        Corners. [m]

    Returns
    -------
    axis, depth, area
        [-], [m], [m²]
    """
    a, b, c = (triangles[:, k] for k in range(3))
    normal = 0.5 * np.cross(b - a, c - a)
    size = np.linalg.norm(normal, axis=1)
    unit = normal / np.maximum(size, 1e-30)[:, None]
    _, vectors = np.linalg.eigh(np.einsum("n,na,nb->ab", size, unit, unit))
    axis = vectors[:, -1]
    first = axis[np.abs(axis) > 0.3][0]
    axis = axis * np.sign(first)
    depth = float(np.ptp(triangles.reshape(-1, 3) @ axis))
    volume = float(np.abs(np.einsum("na,na->n", a, np.cross(b, c)).sum()) / 6.0)
    x, y, z = (float(v) for v in axis)
    return (x, y, z), depth, volume / depth


def cooler_core(
    core: "cooling.Core", *, axis: Sequence[float], depth: float, face_area: float,
    density: float, viscosity: float,
) -> Porous:  # fmt: skip
    """Return the cells' law of a cooler of the cooling room.

    The drop at a mass flow is kept, whatever face area the drawn part has. A core that leans is
    drawn leaning: the loss for its layback arises in the air itself.

    Parameters
    ----------
    core
        As the cooling net knows it; best values.
    axis, depth, face_area
        Of the drawn part. [-], [m], [m²]
    density, viscosity
        Of the air. [kg/m³], kinematic [m²/s]
    """
    upright = replace(core, layback=0.0)
    a, b = (float(np.mean(v)) for v in upright.loss_terms(density, viscosity * density))
    per_speed = density * face_area
    x, y, z = (float(v) for v in axis)
    return Porous(axis=(x, y, z), depth=depth, linear=a * per_speed, square=b * per_speed**2)


def fan_disc(
    fan: "cooling.Fan", *, axis: Sequence[float], depth: float, area: float, density: float
) -> Porous:
    """Return the cells' law of a fan of the cooling room; its curve holds for the whole disc.

    Parameters
    ----------
    fan
        As the cooling net knows it.
    axis, depth, area
        Of the drawn disc. [-], [m], [m²]
    density
        Of the air. [kg/m³]
    """
    p0, p1, p2 = fan.fit()
    turning, ratio = float(np.mean(fan.running)), density / fan.curve_density
    x, y, z = (float(v) for v in axis)
    return Porous(
        axis=(x, y, z), depth=depth, rise=ratio * p0 * turning**2,
        linear=ratio * p1 * turning * area, square=ratio * p2 * area**2, has_fins=False,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From metres and seconds to cells and steps. [m], [s], [kg/m³]."""

    cell: float
    step_time: float
    density: float


def lattice_core(porous: Porous, *, name: str, surface: int, scale: Scale) -> Core:
    """Return what the cells of a core do, in lattice units."""
    per_depth = 1.0 / (scale.density * porous.depth)
    x, y, z = (float(v) for v in porous.unit_axis())
    return Core(
        name=name,
        surface=surface,
        axis=(x, y, z),
        linear=porous.linear * per_depth * scale.step_time,
        square=porous.square * per_depth * scale.cell,
        lift=porous.rise * per_depth * scale.step_time**2 / scale.cell,
        across=2.0 if porous.has_fins else 0.0,
    )


def filled(
    triangles: Floats, axis: Floats, shape: tuple[int, int, int]
) -> tuple[tuple[slice, ...], Floats]:
    """Return the block of cells around a closed part and the share of each that it fills.

    The share is that of a line through the cell's centre along the axis, so that a core that ends
    at the wall of its duct resists in full in the cells beside the wall.

    Parameters
    ----------
    triangles : (n, 3, 3)
        Corners. [cells]
    axis : (3,)
        Unit vector along which air passes. [-]
    shape
        Cells along x, y, z.

    Returns
    -------
    block
        Slices along z, y, x.
    share : (z, y, x)
        [-]
    """
    from tuftwork.flow._cut_kernel import mark_inside

    corner = triangles.reshape(-1, 3)
    low = np.maximum(np.floor(corner.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(corner.max(axis=0)).astype(int) + 2, shape)
    if np.any(high <= low):
        return (slice(0, 0),) * 3, np.zeros((0, 0, 0))
    x, y, z = (slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    share = np.zeros((high - low)[::-1])
    for k in range(_FINE):
        toggle = np.zeros(share.shape, np.uint8)
        mark_inside(triangles - low - ((k + 0.5) / _FINE - 0.5) * axis, toggle)
        share += toggle / _FINE
    is_whole = np.all(corner > -0.5 - 1e-6) and np.all(corner < np.array(shape) - 0.5 + 1e-6)
    if is_whole and share.any():
        # what the points miss of a thin core is made up for, so that its depth is right
        a, b, c = (triangles[:, k] for k in range(3))
        share *= abs(np.einsum("na,na->n", a, np.cross(b, c)).sum()) / 6.0 / share.sum()
    return (z, y, x), share


def add_cores(
    mark: Marks, links: WallLinks, cores: Sequence[tuple[Core, Floats]]
) -> tuple[Marks, WallLinks, tuple[float, ...]]:
    """Return marks and wall links with the cells of cores in them, and what was swallowed.

    Parameters
    ----------
    mark : (lz, ly, lx)
        Plain, solid or beside a wall.
    links
        The wall links.
    cores
        Each core with its triangles (n, 3, 3). [cells]

    Returns
    -------
    mark, links
        Cells of a core count as beside a wall, with no link cut where none is.
    lost
        Share of each core's volume that lies in solid cells. [-]
    """
    if not cores:
        return mark, links, ()
    mark = mark.copy()
    zone = np.zeros(mark.shape, np.uint8)
    fill = np.zeros(mark.shape, np.float32)
    lost = []
    for n, (core, triangles) in enumerate(cores, start=1):
        block, share = filled(
            triangles, np.array(core.axis), (mark.shape[2], mark.shape[1], mark.shape[0])
        )
        is_solid = mark[block] == SOLID
        total = float(share.sum())
        free = float(share[~is_solid].sum())
        whole = abs(np.linalg.det(triangles).sum()) / 6.0
        if total <= 0.5 and whole > 0.5:
            lost.append(0.0)  # it lies outside this box of finer cells
            continue
        if not free > 1.0:
            cure = "Draw it where the air passes, and larger than a cell."
            raise InputError(f"core '{core.name}'", round(free, 2), "cells",
                             "must fill at least 1 cell of air", cure)  # fmt: skip
        lost.append(1.0 - free / total)
        own = (share > np.maximum(fill[block], _LEAST)) & ~is_solid
        zone[block][own] = n
        fill[block][own] = share[own]
    listed = np.zeros(mark.size, bool)
    listed[links.cell] = True
    more = np.flatnonzero((zone.reshape(-1) > 0) & ~listed)
    mark.reshape(-1)[more] = WALL
    to = np.array([0, *(core.surface for core, _ in cores)], np.uint8)
    cell = np.concatenate([links.cell, more])

    def wider(array: npt.NDArray[_Any]) -> npt.NDArray[_Any]:
        blank = np.zeros((*array.shape[:-1], more.size), array.dtype)
        return np.concatenate([array, blank], axis=-1)

    grown = replace(
        links,
        cell=cell,
        cut=wider(links.cut),
        surface_of=wider(links.surface_of),
        main=np.concatenate([links.main, to[zone.reshape(-1)[more]]]),
        geometry=wider(links.geometry),
        bend=None if links.bend is None else wider(links.bend),
        facing=None if links.facing is None else wider(links.facing),
        zone=zone.reshape(-1)[cell],
        fill=fill.reshape(-1)[cell],
        cores=tuple(core for core, _ in cores),
    )
    return mark, grown, tuple(lost)
