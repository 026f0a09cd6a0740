"""What a wing does to the flow elsewhere: induced velocity, angle along an edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.wing.coupling import WingResult
from tuftwork.wing.lattice import ring_velocity


def induced_velocity(result: WingResult, points: Array) -> Array:
    """Return the velocity the wing adds at points, over the road speed.

    Parameters
    ----------
    result
        A solved wing.
    points : (n, 3)
        Places, x rearward, y right, z up. [m]

    Returns
    -------
    velocity : (n, 3)
        Over the road speed; thickness and viscous wakes are not in it. [-]
    """
    p = np.atleast_2d(np.asarray(points, float))
    if p.shape[1] != 3:
        raise InputError("points", str(p.shape), "", "must be (n, 3)")
    lat = result.lattice
    v = ring_velocity(p, lat.rings, lat.is_last, -result.ring_circulation[:, None], lat.is_grounded)
    return np.asarray(v[:, 0, :])


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeAngle:
    """Flow angle along an edge behind a wing, upwards positive, with its 80 % range. [rad]

    ``is_within`` says whether the whole range lies within the edge's tolerance.
    """

    y: Array
    angle: Array
    low: Array
    high: Array
    is_within: NDArray[np.bool_]


def angle_along_edge(
    result: WingResult, points: Array, *, tolerance: float, share: float = 0.25
) -> EdgeAngle:
    """Return the flow angle the wing makes along an edge, against what the edge stands.

    Parameters
    ----------
    result
        Solved wing or front section.
    points : (n, 3)
        Places along the leading edge of the tray or floor behind. [m]
    tolerance
        Angle the edge takes without separating, either way. [rad]
    share
        Half-range as a share of the angle: lattice wakes are straight and inviscid. [-]
    """
    v = induced_velocity(result, points)
    angle = np.arctan2(v[:, 2], 1.0 + v[:, 0])
    half = share * np.abs(angle) + np.deg2rad(0.3)
    low, high = angle - half, angle + half
    p = np.atleast_2d(np.asarray(points, float))
    return EdgeAngle(
        y=p[:, 1],
        angle=angle,
        low=low,
        high=high,
        is_within=(low > -tolerance) & (high < tolerance),
    )
