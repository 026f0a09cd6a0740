"""Taps and rakes: surface pressure, total-pressure loss, flow through a duct, each with its doubt.

All pressures are read against the still air's. Cp = Δp/q; the loss of a stream is 1 − (p_t/q), so
that untouched air has none. A rake's flow is the sum over its tubes of speed times the share of the
area each stands for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array

READING = 5.0  # [Pa] standard uncertainty of one reading; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """A coefficient with its standard uncertainty, from so many readings. [-]"""

    value: float
    uncertainty: float
    count: int


def coefficient_of(pressure: Array, dynamic: Array, *, doubt: float = READING) -> Pressed:
    """Return Cp = Δp/q over repeated readings, weighed with q.

    Parameters
    ----------
    pressure, dynamic : (n,)
        Against the still air, and ½ρV² of each reading. [Pa]
    doubt
        Standard uncertainty of a reading, the same in all of them. [Pa]

    Raises
    ------
    InputError
        If there is no reading, or one without speed.
    """
    p, q = np.asarray(pressure, dtype=float), np.asarray(dynamic, dtype=float)
    if p.size == 0 or not np.all(q > 0):
        raise InputError("speed", 0, "m/s", "a pressure coefficient needs readings at speed")
    value = float(p @ q / (q @ q))
    left = p - value * q
    scatter = sqrt(float(left @ left) / (p.size - 1) / float(q @ q)) if p.size > 1 else 0.0
    # the reading's own error is shared by the repeats, so it is not averaged away
    return Pressed(value=value, uncertainty=float(np.hypot(scatter, doubt / np.mean(q))),
                   count=int(p.size))  # fmt: skip


def total_loss(pressure: Array, dynamic: Array, *, doubt: float = READING) -> Pressed:
    """Return 1 − (p_t − p∞)/q: 0 in untouched air, 1 where all of the stream's head is gone."""
    found = coefficient_of(pressure, dynamic, doubt=doubt)
    return Pressed(value=1 - found.value, uncertainty=found.uncertainty, count=found.count)


@dataclass(frozen=True, slots=True, kw_only=True)
class RakeFlow:
    """Flow through a duct by a rake.

    Attributes
    ----------
    flow, uncertainty
        [m³/s]
    mean_speed
        [m/s]
    unevenness
        Deviation of the tubes' speeds over their mean. [-]
    area_flow
        Flow over the car's speed: the free stream that goes through. [m²]
    backward
        Tubes that read below the static hole: flow there goes backward or across.
    """

    flow: float
    uncertainty: float
    mean_speed: float
    unevenness: float
    area_flow: float
    backward: int


def rake_flow(
    total: Array,
    static: float,
    areas: Sequence[float],
    *,
    density: float,
    speed: float,
    doubt: float = READING,
) -> RakeFlow:
    """Return the flow through a duct.

    Parameters
    ----------
    total : (n,)
        Total pressure of every tube. [Pa]
    static
        Of the section. [Pa]
    areas
        What each tube stands for. [m²]
    density, speed
        Of the air [kg/m³]; of the car [m/s].
    doubt
        Standard uncertainty of a reading; the static hole's is shared by all tubes. [Pa]

    Notes
    -----
    Too few tubes see an uneven stream badly: half the change when every other tube stands in for
    its neighbour is part of the doubt.
    """
    share = np.asarray(areas, dtype=float)
    head = np.asarray(total, dtype=float) - static
    if head.size < 2 or head.size != share.size:
        raise InputError("tubes", int(head.size), "", "a rake needs two tubes or more with areas")
    inside = np.maximum(head, 0.0)
    speeds = np.sqrt(2 * inside / density)
    flow = float(speeds @ share)
    safe = np.maximum(inside, 2 * doubt)
    slopes = share / np.sqrt(2 * density * safe)
    own = sqrt(float(np.sum((slopes * doubt) ** 2)))
    shared = float(np.sum(slopes)) * doubt
    halves = [float(np.average(speeds[k::2], weights=share[k::2]) * share.sum()) for k in (0, 1)]
    coarse = 0.5 * abs(halves[0] - halves[1])
    mean = flow / float(share.sum())
    spread = sqrt(float(share @ (speeds - mean) ** 2 / share.sum()))
    return RakeFlow(
        flow=flow, uncertainty=float(np.sqrt(own**2 + shared**2 + coarse**2)), mean_speed=mean,
        unevenness=spread / mean if mean > 0 else 0.0, area_flow=flow / speed,
        backward=int(np.sum(head < -2 * doubt)),
    )  # fmt: skip
