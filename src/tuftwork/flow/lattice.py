"""The velocity set that both back ends share: 27 velocities in three dimensions.

Order: rest first, then pairs of opposites, so that ``OPPOSITE[i]`` is ``i + 1`` for odd ``i``.
Populations are stored as departures from their weights, which keeps single precision exact enough.
"""

from itertools import product

import numpy as np
import numpy.typing as npt

SOUND_SPEED = 3.0**-0.5
"""Speed of sound in cells per step. [-]"""


def _velocities() -> list[tuple[int, int, int]]:
    """Rest, then each velocity followed by its opposite: axes, edges, corners."""
    half = [e for e in product((1, 0, -1), repeat=3) if e > (0, 0, 0)]
    half.sort(key=lambda e: sum(map(abs, e)))
    out = [(0, 0, 0)]
    for ex, ey, ez in half:
        out += [(ex, ey, ez), (-ex, -ey, -ez)]
    return out


VELOCITY: npt.NDArray[np.int64] = np.array(_velocities(), dtype=np.int64)
"""Lattice velocities. Shape (27, 3). [cells/step]"""

WEIGHT: npt.NDArray[np.float64] = np.prod(np.where(VELOCITY == 0, 2 / 3, 1 / 6), axis=1)
"""Quadrature weights; they sum to one. Shape (27,). [-]"""

OPPOSITE: npt.NDArray[np.int64] = np.array([0] + [i + 1 if i % 2 else i - 1 for i in range(1, 27)])
"""Index of the reversed velocity. Shape (27,)."""

N_VELOCITY = 27
N_LINK = 26


def relaxation_rate(viscosity: float) -> float:
    """Return the relaxation rate of shear for a viscosity in lattice units, 1/(3ν + ½).

    Parameters
    ----------
    viscosity : ()
        Kinematic viscosity. [cells²/step]

    Returns
    -------
    omega : ()
        Relaxation rate. [1/step]

    Examples
    --------
    >>> relaxation_rate(0.125)
    1.1428571428571428
    """
    return 1.0 / (3.0 * viscosity + 0.5)


def quiescent_departure(
    density: npt.NDArray[np.float64], velocity: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return equilibrium populations less their weights.

    Product form on three axes, exact to the order the 27 velocities can hold.

    Parameters
    ----------
    density : (...)
        Density over reference density. [-]
    velocity : (3, ...)
        Velocity. [cells/step]

    Returns
    -------
    populations : (27, ...)
        f_eq − w. [-]

    References
    ----------
    [geier2015] section 3.
    """
    ux, uy, uz = velocity
    axis = [
        {
            0: 2 / 3 - u * u,
            1: 1 / 6 + 0.5 * (u * u + u),
            -1: 1 / 6 + 0.5 * (u * u - u),
        }
        for u in (ux, uy, uz)
    ]
    return np.stack(
        [
            density * axis[0][int(ex)] * axis[1][int(ey)] * axis[2][int(ez)] - w
            for (ex, ey, ez), w in zip(VELOCITY, WEIGHT, strict=True)
        ]
    )
