"""What holds a splitter's plate: the load ahead of the bodywork, its moment, the force of stays.

The plate is taken as hinged at the bodywork's edge, so that the stays take all of the moment: a
plate that is clamped there carries some of it itself, and its stays less.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor.splitter import (
    SplitterCoefficients,
    SplitterGeometry,
    SplitterLoad,
    pool_load,
)
from tuftwork.quantity import Array, Numeric

_STEEPEST = 2.0  # [-]  slope of the suction over its mean: beyond, it would push at one end


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldPlate:
    """Load on the plate ahead of the bodywork's edge, for a dynamic pressure of one.

    Attributes
    ----------
    load : (...)
        CzS of what lies ahead of the edge. [m²]
    moment : (...)
        It times its distance ahead of the edge. [m³]
    """

    load: Array
    moment: Array

    @property
    def arm(self) -> Array:
        """Distance of the load ahead of the bodywork's edge. [m]"""
        return np.asarray(self.moment / self.load)


def held_plate(load: SplitterLoad, g: SplitterGeometry, c: SplitterCoefficients) -> HeldPlate:
    """Return what a splitter in closed form puts on its plate ahead of the bodywork.

    All of the air on top, and from below what of s = p + reach lies under the projection p: the
    suction falls (or rises) evenly along s so that its centre is where the estimate has it,
    1 + (6 − 12 c)(½ − x) of the mean, never below zero.

    Parameters
    ----------
    load, g, c
        Of ``estimate_splitter``, and what it was given.

    Notes
    -----
    As good as the estimate: some 40 %. What lies behind the edge hangs on the bodywork.
    """
    _, behind_lip = pool_load(g.width, c.upper_pressure, c.pool, g.projection)
    length = g.projection + c.reach
    share = g.projection / length
    slope = np.clip(6.0 - 12.0 * c.centre, -_STEEPEST, _STEEPEST)
    ahead = share + 0.5 * slope * (share - share**2)
    first = 0.5 * share**2 + slope * (0.25 * share**2 - share**3 / 3.0)
    return HeldPlate(
        load=np.asarray(load.upper + load.under * ahead),
        moment=np.asarray(
            load.upper * (g.projection - behind_lip) + load.under * length * (ahead * share - first)
        ),
    )


def stay_force(moment: Numeric, *, count: int, ahead: Numeric, angle: Numeric) -> Array:
    """Return the pull along each of ``count`` stays that share a moment evenly [N].

    F = M / (n a sin β): lever about the bodywork's edge.

    Parameters
    ----------
    moment : (...)
        Of the load about the edge. [N m]
    count
        Stays.
    ahead : (...)
        Where they hold the plate, ahead of the edge. [m]
    angle : (...)
        Between stay and plate. [rad]

    Raises
    ------
    InputError
        If ``ahead`` or ``angle`` is not above zero: such a stay holds nothing.
    """
    for name, value, unit in (("ahead", ahead, "m"), ("angle", angle, "rad")):
        if not float(np.min(value)) > 0.0:
            raise InputError(name, float(np.min(value)), unit, "must be above 0")
    return np.asarray(moment / (count * np.asarray(ahead) * np.sin(angle)))
