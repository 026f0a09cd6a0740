"""How a loaded plate or wing turns the air elsewhere: one horseshoe vortex over a road.

A bound vortex of the load's span with two straight legs behind it, and their image under the road.
It is the far view of any lifting surface: exact for what its circulation does, blind to how the
load is spread.
"""

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric


def horseshoe_angle(
    downforce: Numeric,
    span: Numeric,
    *,
    behind: Numeric,
    above: Numeric,
    height: Numeric,
    aside: Numeric = 0.0,
) -> Array:
    """Return the angle by which a load turns the air elsewhere, upward positive [rad].

    Γ/V = CzS/(2 b); Biot and Savart for the bound vortex and both legs, less the same of the
    image; small angles. Everything broadcasts.

    Parameters
    ----------
    downforce, span : (...)
        CzS and span of what carries it. [m²], [m]
    behind, aside : (...)
        Place rearward of the bound vortex and from its middle. [m]
    above : (...)
        Height of the place over the road. [m]
    height : (...)
        Of the bound vortex over the road. [m]

    Raises
    ------
    InputError
        If a span is not above zero.

    References
    ----------
    [bertin1979] vortex lattice, horseshoe; a pair π/4 of the span apart far behind gives
    1.62 C_L/(πA).
    """
    if not float(np.min(span)) > 0:
        raise InputError("span", float(np.min(span)), "m", "must be above 0")
    strength = np.asarray(downforce) / (2 * np.asarray(span))
    own = _upward(behind, aside, np.asarray(above) - height, span)
    image = _upward(behind, aside, np.asarray(above) + height, span)
    return np.asarray(strength * (own - image))


def _upward(x: Numeric, y: Numeric, z: Numeric, span: Numeric) -> Array:
    """Return the upward velocity per circulation of a horseshoe that carries downforce [1/m]."""
    x, y, z, half = (np.asarray(v, float) for v in (x, y, z, np.asarray(span) / 2))
    across = np.square(x) + np.square(z)
    total = np.zeros(np.broadcast_shapes(x.shape, y.shape, z.shape, half.shape))
    for side in (1.0, -1.0):
        d = half + side * y
        far = np.sqrt(across + np.square(d))
        bound = x * d / (np.maximum(across, 1e-9) * far)
        leg = d / np.maximum(np.square(d) + np.square(z), 1e-9) * (1 + x / far)
        total = total + bound + leg
    return np.asarray(total / (4 * np.pi))
