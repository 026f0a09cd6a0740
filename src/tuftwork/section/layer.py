"""One boundary layer along a given edge speed, without feedback on it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section import closure
from tuftwork.section.condition import Condition, parameters
from tuftwork.section.march import march


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenLayer:
    """A layer along a given speed; lengths in the unit of ``x``.

    Attributes
    ----------
    x, theta, delta_star : (n,)
        Place, momentum and displacement thickness. [length]
    shape_factor, friction, re_theta : (n,)
        H, friction coefficient on local speed, momentum Reynolds number. [-]
    transition, separation
        Where it turns turbulent and where friction vanishes; None if it does not. [length]
    """

    x: Array
    theta: Array
    delta_star: Array
    shape_factor: Array
    friction: Array
    re_theta: Array
    transition: float | None
    separation: float | None


def layer_along(
    x: Array,
    speed: Array,
    condition: Condition,
    *,
    trip: float | None = None,
    start: tuple[float, float] | None = None,
    is_turbulent: bool = False,
    is_stagnation: bool = False,
) -> GivenLayer:
    """Return the boundary layer along a given edge speed.

    Parameters
    ----------
    x, speed : (n,)
        Distance from the origin of the layer (above 0) and edge speed over the reference. [-]
    condition
        Reynolds number on the unit of ``x``; turbulence and constants.
    trip
        Forced transition. [length of x]
    start
        Momentum thickness and shape factor at the first station; None: a laminar plate layer
        (or a stagnation layer with ``is_stagnation``).
    is_turbulent
        The start is turbulent, in equilibrium.
    is_stagnation
        The speed grows from a stagnation point with distance.

    Raises
    ------
    InputError
        If places do not increase from above 0 or a speed is not above 0.
    """
    if not (x[0] > 0.0 and (np.diff(x) > 0.0).all()):
        raise InputError("x", float(x[0]), "", "must increase from above 0")
    if not (speed > 0.0).all():
        raise InputError("speed", float(speed.min()), "", "must be above 0")
    par = parameters(condition)
    at = 1e9 if trip is None else trip
    if is_stagnation and start is None:
        rows, kinds, flags = march(
            x, speed, np.zeros_like(x), at, np.zeros(6), False, False, False, par
        )
    else:
        re = par[0] * speed[0]
        theta, h = start or (0.6641147 * float(np.sqrt(x[0] / re)), 2.5911)
        c = 0.0
        if is_turbulent:
            c = closure.closure(1, 0.03, theta, h * theta, float(speed[0]), par)[4]
            at = -1.0
        first = np.array([x[0], c, theta, h * theta, speed[0], 0.0])
        rest, kinds, flags = march(
            x[1:], speed[1:], np.zeros(x.size - 1), at, first, False, True, False, par
        )
        rows = np.vstack([first, rest])
        kinds = np.concatenate([[1 if is_turbulent else 0], kinds])
        flags = np.concatenate([[0], flags])
    return _summary(rows, kinds, flags, par)


def _summary(
    rows: Array, kinds: NDArray[np.int64], flags: NDArray[np.int64], par: Array
) -> GivenLayer:
    k = np.array(
        [
            closure.closure(0 if kind == 0 else 1, r[1], r[2], r[3], r[4], par)
            for kind, r in zip(kinds, rows, strict=True)
        ]
    )
    gone = (k[:, 2] <= 0.0) | (flags == 2)
    first = int(np.argmax(gone)) if gone.any() else rows.shape[0]
    separation = None
    if gone.any():
        separation = float(rows[first, 0])
        if first > 1 and flags[first] != 2:
            cf0, cf1 = k[first - 1, 2], k[first, 2]
            separation = float(
                rows[first - 1, 0] + cf0 / (cf0 - cf1) * (rows[first, 0] - rows[first - 1, 0])
            )
    switch = np.flatnonzero(kinds == closure.TRANSITION)
    keep = slice(0, max(first, 1))  # past a breakdown of the given speed nothing is meant
    return GivenLayer(
        x=rows[keep, 0],
        theta=rows[keep, 2],
        delta_star=rows[keep, 3],
        shape_factor=k[keep, 0],
        friction=k[keep, 2],
        re_theta=par[0] * rows[keep, 4] * rows[keep, 2],
        transition=float(rows[switch[0], 0]) if switch.size else None,
        separation=separation,
    )
