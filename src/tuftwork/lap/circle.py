"""Steady circles: the lateral acceleration at which the car, or one of its axles, runs out."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.lap.kernel import cap_energy
from tuftwork.lap.parameter import INDEX
from tuftwork.lap.physics import FRONT
from tuftwork.lap.solve import CEILING
from tuftwork.lap.table import AeroTable
from tuftwork.quantity import Array

First = Literal["front", "rear", "not said"]
"""Axle that is known to have run out first."""
_NEVER = 3.0  # [-] times its grip, so that the other axle does not limit


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyCircle:
    """One circle as every draw of a study sees it.

    Attributes
    ----------
    radius, bank : (n_draw,)
        Of the line driven, in plan [m]; of the road, positive where it helps [rad].
    aero : ()
        One block of aero, with as many draws or one. [m²]
    flags
        Whether shares of drive and of brakes follow grip, as a ``Vehicle`` has them.
    first
        The axle that gave up; where nobody said, the weaker one limits.
    """

    radius: Array
    bank: Array
    aero: AeroTable
    flags: tuple[bool, bool]
    first: First = "not said"


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleLimit:
    """Where a circle ends, draw by draw.

    Attributes
    ----------
    lateral : (n_draw,)
        v²/R at the limit, level with the road's plan; NaN where ride heights find no balance,
        infinite where downforce outruns the circle. [m/s²]
    front_limits : (n_draw,)
        Whether it is the front axle that ends it.
    """

    lateral: Array
    front_limits: Array


def circle_limit(circle: SteadyCircle, parameters: Array) -> CircleLimit:
    """Return where a circle ends for every draw of the car's parameters.

    m v²/R = μ(N) N on the axle that ends it, with weight, bank, downforce at the ride heights it
    then has, load transfer, and the force that holds the speed.

    Parameters
    ----------
    circle : ()
        Radius, bank, aero and which axle gave up. [-]
    parameters : (n_draw, n_parameter)
        In the order of ``PARAMETERS``. [mixed]

    Returns
    -------
    limit : ()
        Lateral acceleration, and the axle. [m/s²]

    References
    ----------
    [milliken1995].
    """
    p = np.array(parameters)
    p[:, INDEX["roll_loss_front"]] = circle.aero.roll_loss_front
    p[:, INDEX["roll_loss_rear"]] = circle.aero.roll_loss_rear
    other = {"front": "rear", "rear": "front"}.get(circle.first)
    if other is not None:
        p[:, INDEX[f"grip_{other}"]] *= _NEVER
    axes = circle.aero.ride_height_front, circle.aero.ride_height_rear
    count = p.shape[0]
    radius, bank = (np.broadcast_to(v, (count,)) for v in (circle.radius, circle.bank))
    rest = p[:, [INDEX["ride_height_front"], INDEX["ride_height_rear"]]] - 0.01
    lateral, front, mix = np.full(count, np.nan), np.zeros(count, dtype=bool), np.zeros(3)
    for i in range(count):
        road = (1.0 / radius[i], np.sin(bank[i]), np.cos(bank[i]), 0.0, 1.0, 0.0)
        energy, _, _, axle, capped, ok = cap_energy(
            CEILING, rest[i, 0], rest[i, 1], road, mix, p[i], circle.flags,
            (circle.aero.of_draw(i), *axes),
        )  # fmt: skip
        if ok:
            lateral[i] = 2.0 * energy / radius[i] if capped else np.inf
            front[i] = axle == FRONT
    return CircleLimit(lateral=lateral, front_limits=front)


def wheel_loads(circle: SteadyCircle, parameters: Array, lateral: Array) -> tuple[Array, Array]:
    """Return the load on the outer wheel of each axle at a lateral acceleration.

    Weight and bank, load transfer and downforce at the middle of the aero's ride heights: good
    enough to say whether two circles load a tyre alike, not for a grip.

    Parameters
    ----------
    circle, parameters
        As :func:`circle_limit`.
    lateral : (n_draw,)
        Level with the road's plan. [m/s²]

    Returns
    -------
    front, rear : (n_draw,)
        Of the outer wheel. [N]
    """

    def of(name: str) -> Array:
        return np.asarray(parameters[:, INDEX[name]])

    q = 0.5 * of("density") * lateral * circle.radius
    across = lateral * np.cos(circle.bank) - of("gravity") * np.sin(circle.bank)
    into = of("gravity") * np.cos(circle.bank) + lateral * np.sin(circle.bank)
    found = []
    for axle, share, roll in (
        ("front", of("weight_front"), of("roll_share_front")),
        ("rear", 1.0 - of("weight_front"), 1.0 - of("roll_share_front")),
    ):
        area = np.median(getattr(circle.aero, f"downforce_{axle}"), axis=(-3, -2, -1))
        load = of("mass") * into * share + q * area
        moved = roll * of("mass") * across * of("cg_height") / of(f"track_{axle}")
        found.append(0.5 * load + moved)
    return found[0], found[1]
