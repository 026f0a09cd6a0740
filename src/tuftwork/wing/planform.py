"""What a wing is: lifting surfaces by span stations, end plates, the onset flow it stands in."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from tuftwork.errors import InputError
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One lifting surface given at span stations, left to right; lengths in metres.

    A slotted group is one surface with its total chord: isolated polars of its parts are wrong.

    Attributes
    ----------
    y : (n_station,)
        Spanwise places, increasing; y to the right. [m]
    x_nose : (n_station,)
        Leading edge, x rearward. [m]
    z : (n_station,)
        Height of the quarter chord above the road. [m]
    chord : (n_station,)
        Total chord. [m]
    twist : (n_station,)
        Angle added to the setting, towards more downforce. [rad]
    section
        Name of the polar table of this surface.
    name
        Used in messages and legends.
    """

    y: Array
    x_nose: Array
    z: Array
    chord: Array
    twist: Array
    section: str = "section"
    name: str = "wing"

    def __post_init__(self) -> None:
        """Refuse impossible stations."""
        sizes = {self.y.size, self.x_nose.size, self.z.size, self.chord.size, self.twist.size}
        if len(sizes) != 1 or self.y.size < 2:
            raise InputError(
                f"{self.name} stations", str(sizes), "", "must be equal in number, two or more"
            )
        if not (np.diff(self.y) > 0.0).all():
            raise InputError(f"{self.name} y", "stations", "m", "must increase from left to right")
        if not (self.chord > 0.0).all():
            raise InputError(f"{self.name} chord", float(self.chord.min()), "m", "must be above 0")
        if not (self.z > 0.0).all():
            raise InputError(
                f"{self.name} z", float(self.z.min()), "m", "must be above the road at z = 0"
            )

    @property
    def span(self) -> float:
        """Span. [m]"""
        return float(self.y[-1] - self.y[0])

    @property
    def area(self) -> float:
        """Plan area. [m^2]"""
        return float(np.trapezoid(self.chord, self.y))


@dataclass(frozen=True, slots=True, kw_only=True)
class EndPlate:
    """A vertical plate beside a surface; lengths in metres.

    Attributes
    ----------
    side
        ``-1`` left tip, ``+1`` right tip.
    above, below
        Reach above and below the surface's quarter chord. [m]
    ahead, behind
        Reach ahead of the nose and behind the trailing edge; negative where shorter. [m]
    """

    side: int
    above: float
    below: float
    ahead: float = 0.0
    behind: float = 0.0

    def __post_init__(self) -> None:
        """Refuse impossible plates."""
        if self.side not in (-1, 1):
            raise InputError("side", self.side, "", "must be -1 (left) or 1 (right)")
        if not (self.above >= 0.0 and self.below >= 0.0 and self.above + self.below > 0.0):
            raise InputError("plate", self.above + self.below, "m", "must have height above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """The flow a wing meets along its span, relative to the road speed.

    Attributes
    ----------
    y : (n,)
        Places across the car. [m]
    angle : (n,)
        Flow angle, positive where it adds incidence towards downforce: air coming down, as behind
        a roof, does so for a wing carried upside down. [rad]
    speed : (n,)
        Speed over the road speed. [-]
    """

    y: Array
    angle: Array
    speed: Array


def uniform_onset(angle: float = 0.0, speed: float = 1.0) -> Onset:
    """Return the same onset everywhere. [rad], [-]"""
    if not speed > 0.0:
        raise InputError("speed", speed, "", "must be above 0")
    return Onset(y=np.array([0.0]), angle=np.array([angle]), speed=np.array([speed]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Wing:
    """Surfaces that act on each other, with their plates.

    Attributes
    ----------
    surfaces
        Lifting surfaces.
    plates
        Per surface, its end plates.
    is_grounded
        True: the road mirrors everything. False: free air, heights only set distances.
    """

    surfaces: tuple[Surface, ...]
    plates: tuple[tuple[EndPlate, ...], ...] = field(default=())
    is_grounded: bool = True

    def __post_init__(self) -> None:
        """Refuse plates without a surface and plates that reach under the road."""
        if not self.surfaces:
            raise InputError("surfaces", 0, "", "must be at least one")
        if self.plates and len(self.plates) != len(self.surfaces):
            raise InputError("plates", len(self.plates), "", "must be one tuple per surface")
        for surface, plates in zip(self.surfaces, self.plates, strict=False):
            for plate in plates:
                z = float(surface.z[0 if plate.side < 0 else -1])
                if self.is_grounded and not plate.below < z:
                    raise InputError(
                        f"{surface.name} plate", plate.below, "m below the wing",
                        f"reaches the road {z:g} m below", "Shorten the plate.",
                    )  # fmt: skip

    @property
    def area(self) -> float:
        """Sum of plan areas. [m^2]"""
        return sum(s.area for s in self.surfaces)


def straight_wing(
    span: float,
    chord: float,
    height: float,
    *,
    x: float = 0.0,
    tip_chord: float | None = None,
    sweep: float = 0.0,
    tip_twist: float = 0.0,
    section: str = "section",
    name: str = "wing",
) -> Surface:
    """Return a straight, tapered or swept surface symmetric about y = 0.

    Parameters
    ----------
    span, chord, height
        Span, root chord and height of the quarter chord. [m]
    x
        Nose of the root. [m]
    tip_chord
        Chord at the tips; None: as the root. [m]
    sweep
        Sweep of the quarter-chord line, rearward positive. [rad]
    tip_twist
        Twist at the tips against the root. [rad]
    """
    if not span > 0.0:
        raise InputError("span", span, "m", "must be above 0")
    tip = chord if tip_chord is None else tip_chord
    y = np.array([-0.5 * span, 0.0, 0.5 * span])
    c = np.array([tip, chord, tip])
    quarter = x + 0.25 * chord + np.abs(y) * np.tan(sweep)
    return Surface(
        y=y,
        x_nose=quarter - 0.25 * c,
        z=np.full(3, height),
        chord=c,
        twist=np.array([tip_twist, 0.0, tip_twist]),
        section=section,
        name=name,
    )


def pair_of_plates(above: float, below: float, **reach: float) -> tuple[EndPlate, EndPlate]:
    """Return a left and a right plate of the same shape."""
    left = EndPlate(side=-1, above=above, below=below, **reach)
    return left, EndPlate(side=1, above=above, below=below, **reach)


def onset_at(onset: Onset, y: ArrayLike) -> tuple[Array, Array]:
    """Angle and speed of the onset at places across the car."""
    yy = np.asarray(y, float)
    if onset.y.size == 1:
        return np.full(yy.shape, onset.angle[0]), np.full(yy.shape, onset.speed[0])
    return np.interp(yy, onset.y, onset.angle), np.interp(yy, onset.y, onset.speed)
