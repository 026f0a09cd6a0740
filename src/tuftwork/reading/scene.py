"""What a set of pictures and the marks on them say, before anything is solved.

Coordinates are affine in named *dimensions* (wheelbase, tyre radius, place of a plane), each with
a range; what is not tied to a dimension is free. Every clue then is a row of one least-squares
problem, and every range comes out of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Z80

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A length known beforehand; ``spread`` is its standard deviation, 0 where exact. [m]"""

    best: float
    spread: float = 0.0
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Affine:
    """A coordinate as a sum of dimensions: ``constant + Σ factor · dimension``. [m]"""

    terms: tuple[tuple[str, float], ...] = ()
    constant: float = 0.0

    def at(self, dimensions: Mapping[str, Dimension]) -> float:
        """Return the coordinate at the dimensions' best values. [m]"""
        return self.constant + sum(k * dimensions[name].best for name, k in self.terms)


def tied(*terms: tuple[str, float], constant: float = 0.0) -> Affine:
    """Return a coordinate tied to dimensions."""
    return Affine(terms=terms, constant=constant)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A plane square to an axis.

    Attributes
    ----------
    axis
        0, 1, 2 for x, y, z.
    at
        Where it cuts the axis.
    flat
        How far what is marked on it may lie off it, standard deviation. [m]
    """

    axis: int
    at: Affine
    flat: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A point of the car; a coordinate that is None is free.

    Attributes
    ----------
    tie
        What is known of x, y, z.
    loose
        How far it may lie off what is known, standard deviation. [m]
    mirror_of
        Name of the point across the centre plane.
    """

    tie: tuple[Affine | None, Affine | None, Affine | None] = (None, None, None)
    loose: float = 0.0
    mirror_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture's size and what is known of its lens.

    Attributes
    ----------
    width, height
        [pixel]
    focal, focal_spread
        Focal length [pixel] and the standard deviation of its logarithm.
    distortion_spread
        Standard deviation of k1 about 0. [-]
    centre_spread
        Of the principal point about the middle, over the width. [-]
    click
        How far a click falls from what it means, standard deviation in each direction. [pixel]
    """

    width: int
    height: int
    focal: float
    focal_spread: float
    distortion_spread: float = 0.04
    centre_spread: float = 0.004
    click: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A point marked in a picture. ``at`` is ``(2,)`` [pixel]."""

    picture: str
    point: str
    at: tuple[float, float]
    click: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """Marks along a circle about a y axis: a wheel's tyre or rim, seen from the side."""

    picture: str
    centre: str
    radius: Affine
    at: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parallel:
    """Two marks on an edge known to run along an axis of the car (0, 1, 2)."""

    picture: str
    axis: int
    at: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A known distance between two points."""

    first: str
    second: str
    best: float
    spread: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything the solver is told."""

    dimensions: Mapping[str, Dimension]
    points: Mapping[str, Point]
    pictures: Mapping[str, Picture]
    sightings: tuple[Sighting, ...]
    planes: Mapping[str, Plane] = field(default_factory=dict)
    rims: tuple[Rim, ...] = ()
    parallels: tuple[Parallel, ...] = ()
    lengths: tuple[Length, ...] = ()

    def __post_init__(self) -> None:
        for sighting in self.sightings:
            _refuse_outside(self.pictures[sighting.picture], sighting.picture, sighting.at)
            if sighting.point not in self.points:
                raise InputError("mark", sighting.point, "", "means no point of the car")
        for rim in self.rims:
            for at in rim.at:
                _refuse_outside(self.pictures[rim.picture], rim.picture, at)
        for line in self.parallels:
            for at in line.at:
                _refuse_outside(self.pictures[line.picture], line.picture, at)
            if np.hypot(*np.subtract(*line.at)) < 4.0:
                cure = "Mark two points further apart."
                raise InputError("line", line.picture, "", "is shorter than four pixels", cure)


def _refuse_outside(picture: Picture, name: str, at: tuple[float, float]) -> None:
    x, y = at
    if not (-0.5 <= x <= picture.width - 0.5 and -0.5 <= y <= picture.height - 0.5):
        limit = f"lies outside picture {name} of {picture.width} × {picture.height} pixels"
        raise InputError("mark", f"({x:.0f}, {y:.0f})", "pixel", limit, "Move it back in.")


_OUTLINE_AT = 1 / 8  # [-] of the wheelbase behind the nearer axle: where an outline belongs
_OUTLINE_OFF = 1 / 8  # [-] half of its 80 % range: nearer axle to a quarter behind it
_OUTLINE_TILT = 1 / 10  # [-] more, for a camera 0.3 m above or below half the car's height


def outline_plane(side: Literal["ahead", "behind"], wheelbase: float) -> Plane:
    """Return the plane that a car's outline seen head-on is put on: one rule for every car.

    Its sides, half of its area's say, are the nearer wheels and arches; its top, a quarter, is the
    roof's nearer edge, about half a wheelbase further on; its bottom is where those wheels stand.
    So it belongs an eighth of the wheelbase behind the nearer axle. How far off that may be goes
    with the car's length between those wheels and its widest section; and a camera above or below
    half the car's height sees roof and lip apart, which weighs like a tenth of the wheelbase more.

    Parameters
    ----------
    side
        From where the car is seen.
    wheelbase
        For the spread. [m]
    """
    share = _OUTLINE_AT if side == "ahead" else 1.0 - _OUTLINE_AT
    off = float(np.hypot(_OUTLINE_OFF, _OUTLINE_TILT)) * wheelbase
    return Plane(axis=0, at=tied(("wheelbase", share)), flat=off / Z80)


WHEELS = tuple(f"{axle} {side}" for axle in ("front", "rear") for side in ("left", "right"))


def wheel_points() -> dict[str, Point]:
    """Return the points every car has: of each wheel hub, tyre top and contact, outer face.

    They are tied to the dimensions ``wheelbase``, ``face front`` and ``face rear`` (half the width
    over the tyres), ``tyre front`` and ``tyre rear`` (free radius), ``hub front`` and ``hub rear``
    (height of the hub on its loaded tyre).
    """
    found = {}
    for wheel in WHEELS:
        axle, side = wheel.split()
        x = tied(("wheelbase", 1.0)) if axle == "rear" else tied()
        y = tied((f"face {axle}", 1.0 if side == "right" else -1.0))
        hub, radius = (f"hub {axle}", 1.0), (f"tyre {axle}", 1.0)
        found[f"hub {wheel}"] = Point(tie=(x, y, tied(hub)), loose=0.001)
        found[f"top {wheel}"] = Point(tie=(x, y, tied(hub, radius)), loose=0.002)
        found[f"ground {wheel}"] = Point(tie=(x, y, tied()), loose=0.006)
    return found
