"""The under-floor with its diffuser in closed form: mass, momentum, leak and the fall of the force.

From the exit forward: the air leaves at the base pressure; the diffuser's growth, less what leaks
in at its sides and what is not recovered, sets the speed at the kick line; ahead of it the suction
dies away as air leaks in at both edges. Below a ride height that hangs on ramp and width the
recovery collapses: rise, greatest load, fall. Where that happens is an input with a range, not a
result.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor.theory import (
    intact_share,
    leak_rate,
    mean_ramp_pressure,
    throat_speed,
)
from tuftwork.quantity import Array, Source

SOURCES = (
    Source(key="cooper1998", place="mass and momentum of an under-floor", status="memory"),
    Source(key="senior2001", place="abstract: regimes of force against ride height"),
    Source(key="ruhrmann2003", place="abstract: cause of the force reduction"),
    Source(key="jowsey2010", place="best angle", status="memory"),
    Source(key="runstadler1975", place="table of peak recovery", status="memory"),
)
CHECKED_HEIGHT = (0.06, 0.8)  # [-] ride height over half width for which the regimes are published
_REFERENCE_RAMP = np.radians(17.0)  # [rad] for which the height of the peak is published
_MOST_RECOVERY = 0.95  # [-] above the best diffuser of runstadler1975
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorGeometry:
    """Shape of an under-floor; stations rearward from the front axle line. [m], [rad]

    Attributes
    ----------
    width, diffuser_width
        Between the side edges; between the diffuser's side plates.
    front_station, kick_station, exit_station
        Leading edge, kick line, trailing edge.
    diffuser_angle
        Of the ramp to the reference plane.
    edge_gap
        Gap under the side edges; None where it is the ride height.
    """

    width: Array
    diffuser_width: Array
    front_station: Array
    kick_station: Array
    exit_station: Array
    diffuser_angle: Array
    edge_gap: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorOnset:
    """Where the floor stands and what it meets.

    Attributes
    ----------
    ride_height_front, ride_height_rear
        At the axle lines. [m]
    wheelbase
        [m]
    exit_pressure
        Change of Cp at the exit by neighbours, suction negative. [-]
    head
        Change of total pressure at the inlet, loss negative. [-]
    """

    ride_height_front: Array
    ride_height_rear: Array
    wheelbase: Array
    exit_pressure: Array
    head: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorCoefficients:
    """What the equations leave open; meanings, units and ranges in ``estimate.toml``."""

    recovery: Array
    stall_angle: Array
    base_pressure: Array
    edge_discharge: Array
    edge_loss: Array
    diffuser_leak: Array
    coverage: Array
    rake_effect: Array
    peak_height: Array
    fall_width: Array
    fall: Array
    fall_spread: Array
    friction: Array
    ramp_drag: Array
    fall_drag: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLoad:
    """What an under-floor makes.

    Attributes
    ----------
    upsweep, pumping, ground
        Downforce area of the ramp's own suction, of the flat pumped by the diffuser at equal
        height, and what a sloping gap adds to it. [m²]
    moment
        Downforce area times its station behind the front axle line. [m³]
    drag
        [m²]
    throat_pressure
        Cp at the kick line. [-]
    intact
        Share of the recovery not lost to the fall: 1 well above the peak. [-]
    margin
        Height of the kick line above that of the greatest load. [m]
    """

    upsweep: Array
    pumping: Array
    ground: Array
    moment: Array
    drag: Array
    throat_pressure: Array
    intact: Array
    margin: Array

    @property
    def downforce(self) -> Array:
        """CzS. [m²]"""
        return np.asarray(self.upsweep + self.pumping + self.ground)


def estimate_floor(
    geometry: FloorGeometry, onset: FloorOnset, coefficients: FloorCoefficients
) -> FloorLoad:
    """Return the load of an under-floor and where it acts.

    Parameters
    ----------
    geometry, onset, coefficients
        Fields of any shapes that broadcast; draws last.

    Returns
    -------
    load
        Its parts, moment and drag. [m²], [m³]

    Raises
    ------
    InputError
        If a ride height at the kick line or a width is not above zero, or stations are crossed.

    Notes
    -----
    Not for tunnels, strakes, sealing skirts that touch, nor for hysteresis with ride height. The
    level is good to some 25 to 30 % until it is tied to a measurement; the peak's height is input.

    References
    ----------
    [cooper1998], [senior2001], [ruhrmann2003]
    """
    g, c = geometry, coefficients
    height = _height_at(onset, g.kick_station)
    _require(g, height)
    length = g.exit_station - g.kick_station
    exit_height = _height_at(onset, g.exit_station) + length * np.tan(g.diffuser_angle)
    growth = np.maximum(exit_height / height - 1, 0.0)
    # tails of the ranges are cut where they would mean blowing air, or more than Bernoulli allows
    leak, loss = np.maximum(c.diffuser_leak, 0.0), np.maximum(c.edge_loss, 0.0)
    spent = leak * 2 * c.edge_discharge * length / g.diffuser_width
    area_ratio = 1 + growth**2 / (growth + spent + 1e-12)
    peak, intact = _regime(g, c, height)
    recovery = np.clip(c.recovery, 0.0, _MOST_RECOVERY) * _ramp_effect(
        g.diffuser_angle, c.stall_angle
    )
    recovery = recovery * (1 - np.clip(c.fall, 0.0, 1.0) * (1 - intact))
    base = c.base_pressure + onset.exit_pressure
    head = 1 + onset.head
    speed = throat_speed(area_ratio, base, recovery, loss, head)
    throat = head - loss * (speed - 1) ** 2 - speed**2
    mean, centre = _ramp(throat, speed, area_ratio, recovery)
    upsweep = -mean * length * g.diffuser_width * c.coverage
    pumping, ground, ahead = _flat(g, onset, c, throat, height)
    flat = pumping + ground
    # once fallen, the load that is left sits elsewhere than before
    shift = c.fall_spread * (1 - intact) * (flat + upsweep)
    moment = upsweep * (g.kick_station + centre * length) + flat * g.kick_station - ahead - shift
    wetted = g.width * (g.kick_station - g.front_station) + g.diffuser_width * length
    ramp = c.ramp_drag * np.maximum(upsweep, 0.0) * np.tan(g.diffuser_angle)
    drag = ramp + c.friction * wetted * (1 + speed**2) / 2 + c.fall_drag * (1 - intact)
    return FloorLoad(
        upsweep=upsweep, pumping=pumping, ground=ground, moment=moment, drag=drag,
        throat_pressure=throat, intact=intact, margin=height - peak,
    )  # fmt: skip


def _regime(g: FloorGeometry, c: FloorCoefficients, height: Array) -> tuple[Array, Array]:
    """Return the height of the greatest load [m] and the share of the recovery intact [-]."""
    # steeper ramps peak higher up: in proportion, as depth-averaged computations find
    peak = c.peak_height * g.diffuser_width / 2 * g.diffuser_angle / _REFERENCE_RAMP
    peak = np.maximum(peak, 1e-4)
    return peak, intact_share(height, peak, c.fall_width)


def _ramp_effect(angle: Array, stall: Array) -> Array:
    """Return the share of the recovery a ramp angle leaves: half at the stall angle [-]."""
    return np.asarray(1 / (1 + (angle / stall) ** 6))


def _ramp(throat: Array, speed: Array, area_ratio: Array, recovery: Array) -> tuple[Array, Array]:
    """Return mean Cp over the ramp [-] and its centre as a share of the ramp's length [-]."""
    mean = mean_ramp_pressure(throat, speed, area_ratio, recovery)
    grown = np.maximum(area_ratio - 1, 1e-6)
    # ∫ ξ/(1+gξ)² dξ from 0 to 1 = (ln(1+g) − g/(1+g))/g²
    first = (np.log1p(grown) - grown / (1 + grown)) / grown**2
    lever = 0.5 * throat + recovery * speed**2 * (0.5 - first)
    safe = np.where(np.abs(mean) > 0.02, mean, np.where(mean < 0, -0.02, 0.02))
    return mean, np.clip(lever / safe, 0.0, 1.0)


def _flat(
    g: FloorGeometry, onset: FloorOnset, c: FloorCoefficients, throat: Array, height: Array
) -> tuple[Array, Array, Array]:
    """Return pumped load, what rake adds [m²], and their moment ahead of the kick line [m³]."""
    gap = height if g.edge_gap is None else np.maximum(g.edge_gap, 0.0)
    rate = leak_rate(gap, height, g.width, c.edge_discharge)
    pull = np.arcsinh(np.sqrt(np.maximum(-throat, 0.0)))
    reach = np.minimum(g.kick_station - g.front_station, pull / np.maximum(rate, 1e-6))
    slope = (onset.ride_height_rear - onset.ride_height_front) / onset.wheelbase
    level = raked = moment = np.zeros(1)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        distance = reach * (1 + node) / 2
        suction = np.sinh(pull - rate * distance) ** 2 * (weight / 2)
        local = np.maximum(height - slope * distance, 0.2 * height)
        more = suction * (height / local) ** (2 * c.rake_effect)
        level, raked, moment = level + suction, raked + more, moment + more * distance
    area = reach * g.width * c.coverage
    return level * area, (raked - level) * area, moment * area


def _height_at(onset: FloorOnset, station: Array) -> Array:
    """Return the reference plane's height at a station [m]."""
    slope = (onset.ride_height_rear - onset.ride_height_front) / onset.wheelbase
    return np.asarray(onset.ride_height_front + slope * station)


def _require(g: FloorGeometry, height: Array) -> None:
    """Refuse what has no meaning."""
    least = float(np.min(height))
    if not least > 0:
        raise InputError("ride height at the kick line", least, "m", "must be above 0")
    for name, value in (("width", g.width), ("diffuser width", g.diffuser_width)):
        if not float(np.min(value)) > 0:
            raise InputError(name, float(np.min(value)), "m", "must be above 0")
    for name, first, second in (
        ("kick station", g.front_station, g.kick_station),
        ("exit station", g.kick_station, g.exit_station),
    ):
        if not float(np.min(second - first)) >= 0:
            cure = "Stations run rearward: leading edge, kick line, exit."
            raise InputError(name, float(np.min(second)), "m", "lies ahead of what it ends", cure)
