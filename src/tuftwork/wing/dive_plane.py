"""Small swept plates on the front corners: potential lift and the vortex of a sharp edge.

Good to some 30 % on a body, no more: the air there is neither straight nor of known speed.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source
from tuftwork.wing.estimate import plate_friction

SOURCES = (
    Source(key="polhamus1966", place="leading-edge suction analogy", status="memory"),
    Source(key="helmbold1942", place="slope of low-aspect-ratio wings", status="memory"),
)
LARGEST = np.deg2rad(30.0)  # beyond about this the vortices of small plates burst; memory


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateLoad:
    """Coefficients of one plate on its own area and the local dynamic pressure. [-]

    Attributes
    ----------
    potential, vortex
        Parts of the lift.
    drag
        The edge carries no suction, so the load stands square to the plate; friction included.
    """

    potential: Array
    vortex: Array
    drag: Array

    @property
    def lift(self) -> Array:
        """Lift. [-]"""
        return np.asarray(self.potential + self.vortex)


def plate_slope(aspect_ratio: Numeric, sweep: Numeric) -> Array:
    """Return the slope of a swept low-aspect-ratio plate [1/rad].

    2π A / (2 + √(4 + A² (1 + tan² Λ))), with the sweep Λ of its half-chord line.

    References
    ----------
    [helmbold1942], with the sweep term of later handbooks.
    """
    a = np.asarray(aspect_ratio)
    return np.asarray(2 * np.pi * a / (2 + np.sqrt(4 + a**2 * (1 + np.tan(sweep) ** 2))))


def vortex_share(aspect_ratio: Numeric, slope: Numeric, sweep: Numeric) -> Array:
    """Return K_v of the suction analogy: (K_p − K_p² K_i)/cos Λ with K_i = 1/(πA) [-].

    References
    ----------
    [polhamus1966]
    """
    k = np.asarray(slope)
    # a plate whose induced drag eats all of its suction has no vortex left
    thrust = np.maximum(k - k**2 / (np.pi * np.asarray(aspect_ratio)), 0.0)
    return np.asarray(thrust / np.cos(sweep))


def sharp_plate(
    aspect_ratio: Numeric, angle: Numeric, sweep: Numeric, *, attached: Numeric = 1.0,
    reynolds: Numeric = 5e5,
) -> PlateLoad:  # fmt: skip
    """Return the load of a sharp-edged swept plate at an angle to the air.

    C = K_p sin α cos² α + f K_v cos α sin² α; the drag is C tan α and both sides' friction.

    Parameters
    ----------
    aspect_ratio
        Span squared over area, the mirror image in a wall counted. [-]
    angle
        Of the plate to the air; the sign is kept. [rad]
    sweep
        Of the leading edge. [rad]
    attached
        Share of the vortex lift that is there, f. [-]
    reynolds
        On the chord. [-]

    Raises
    ------
    InputError
        If an aspect ratio is not above zero or a sweep not below 80 degrees.

    References
    ----------
    [polhamus1966]
    """
    if not float(np.min(aspect_ratio)) > 0:
        raise InputError("aspect_ratio", float(np.min(aspect_ratio)), "", "must be above 0")
    if not float(np.max(sweep)) < np.deg2rad(80.0):
        raise InputError("sweep", float(np.rad2deg(np.max(sweep))), "°", "must be below 80")
    a = np.clip(angle, -LARGEST, LARGEST)
    # of a plate that tapers to a point the half-chord line is swept half as much
    slope = plate_slope(aspect_ratio, np.arctan(0.5 * np.tan(sweep)))
    potential = slope * np.sin(a) * np.cos(a) ** 2
    vortex = attached * vortex_share(aspect_ratio, slope, sweep)
    vortex = vortex * np.cos(a) * np.sin(a) * np.abs(np.sin(a))
    drag = (potential + vortex) * np.tan(a) + 2 * plate_friction(reynolds)
    return PlateLoad(
        potential=np.asarray(potential), vortex=np.asarray(vortex), drag=np.asarray(drag)
    )
