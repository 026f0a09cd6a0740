"""What a blunt body does to the air along its own sides: the pressure that a floor's edges meet.

A body parts the air ahead of it. Past its nose the air runs faster than the road along its sides,
and the pressure there is lower than far away, for a length or two of its width. A source sheet over
its frontal area, with its image below the road, is the potential flow of a half body of that
section; a sheet's speed normal to itself is its solid angle over 4π.
"""

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array


def body_side_pressure(
    x: Array, *, nose: float, half_width: float, low: float, high: float
) -> Array:
    """Return Cp along the lower side edges of a blunt body over the road.

    Parameters
    ----------
    x : (...)
        Stations. [m]
    nose
        Station of its frontal area: a flat front's own, the mean of a rounded one. [m]
    half_width
        [m]
    low, high
        Heights of its floor and its top over the road. [m]

    Returns
    -------
    pressure : (...)
        Cp; what the wake of the body does near its end is not in it. [-]

    Raises
    ------
    InputError
        If a size has no meaning.

    References
    ----------
    [rankine1871] half bodies of sources in a stream.
    """
    return _pressure(_sheet(x, nose, half_width, low, high, y=half_width, z=low))


def _pressure(more: Array) -> Array:
    return np.asarray(1 - np.square(1 + more))


def _sheet(
    x: Array, nose: float, half_width: float, low: float, high: float, *, y: Array | float, z: float
) -> Array:  # fmt: skip
    """Return the speed along the car that the sheet and its image add at points of the body."""
    if not half_width > 0:
        raise InputError("half_width", half_width, "m", "must be above 0")
    if not high > low >= 0:
        raise InputError("high", high, "m", "must lie above the floor, and that above the road")
    away = np.asarray(x, float) - nose
    # in its own plane a sheet sends half of what it makes to either side
    d = np.where(np.abs(away) < 1e-9 * half_width, 1e-9 * half_width, away)
    sides = (-half_width - y, half_width - y)
    own = _solid_angle(d, sides, (low - z, high - z))
    image = _solid_angle(d, sides, (-high - z, -low - z))
    return np.asarray((own + image) / (4 * np.pi))


def _solid_angle(d: Array, y: tuple[Array | float, Array | float], z: tuple[float, float]) -> Array:
    """Return a rectangle's solid angle at a distance d ahead of it, negative behind."""

    def corner(a: Array | float, b: float) -> Array:
        return np.asarray(np.arctan(a * b / (d * np.sqrt(d * d + np.square(a) + b * b))))

    return np.asarray(
        corner(y[1], z[1]) - corner(y[0], z[1]) - corner(y[1], z[0]) + corner(y[0], z[0])
    )
