"""Coasting: what a car does when it rolls out, in closed form and for any resistance.

    m v' = −F(v),   F = f0 + f1 v + f2 (v + w)² + m g i

with headwind w and slope i (rising ahead). Expanded in v this is again a quadratic, so v(t) has a
closed form. Fitting v(t) itself needs no difference of noisy speeds [yasin1978].
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (Source(key="yasin1978", place="fit of the speed itself", status="memory"),)
STANDARD_GRAVITY = 9.80665  # [m/s²] exact
ROTATING_SHARE = 0.03  # [-] of the test mass, for wheels where nothing better is known; SAE J2263


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistance:
    """Resistance to rolling and air: f0 + f1 v + f2 v².

    Attributes
    ----------
    constant, linear, square
        f0 [N], f1 [N s/m], f2 [N s²/m²].
    """

    constant: Numeric
    linear: Numeric
    square: Numeric

    def force(self, speed: Numeric) -> Array:
        """Return the resistance at a speed. [m/s] → [N]"""
        v = np.asarray(speed, dtype=float)
        return np.asarray(self.constant + self.linear * v + self.square * v**2)

    def felt(self, *, wind: Numeric = 0.0, grade_force: Numeric = 0.0) -> "Resistance":
        """Return the resistance over ground in a headwind and on a slope. [m/s], [N]"""
        f2 = np.asarray(self.square)
        return Resistance(
            constant=self.constant + f2 * np.square(wind) + np.asarray(grade_force)
            + self.linear * np.asarray(wind),
            linear=self.linear + 2 * f2 * np.asarray(wind),
            square=f2,
        )  # fmt: skip


def effective_mass(test_mass: Numeric, rotating: Numeric = ROTATING_SHARE) -> Array:
    """Return the mass that coasts, wheels' rotation included. [kg]"""
    return np.asarray(np.asarray(test_mass) * (1 + np.asarray(rotating)))


def speed_after(time: Numeric, start: Numeric, mass: Numeric, resistance: Resistance) -> Array:
    """Return the speed after coasting for a time (closed form, no wind, level).

    With u = 2 f2 v + f1 and s² = 4 f0 f2 − f1²:  u = s tan(atan(u0/s) − s t / 2m); a negative s²
    turns the tangent into a hyperbolic one, which complex numbers do by themselves.

    Parameters
    ----------
    time : (...)
        Since ``start``. [s]
    start : (...)
        Speed then. [m/s]
    mass : (...)
        Effective mass. [kg]
    resistance
        As felt over ground.

    Returns
    -------
    speed : (...)
        Never below zero: the car then stands. [m/s]

    Raises
    ------
    InputError
        If the mass or the square term is not above zero.

    References
    ----------
    [yasin1978]
    """
    _require_above(mass, "mass", "kg")
    _require_above(resistance.square, "square", "N s²/m²")
    f0, f1, f2 = (np.asarray(x, dtype=float) for x in _terms(resistance))
    root = np.sqrt((4 * f0 * f2 - f1**2).astype(complex))
    root = np.where(np.abs(root) < 1e-9, 1e-9, root)
    begin = np.arctan((2 * f2 * np.asarray(start, dtype=float) + f1) / root)
    angle = begin - root * np.asarray(time, dtype=float) / (2 * np.asarray(mass))
    speed = np.real(root * np.tan(angle) - f1) / (2 * f2)
    stopped = np.real(angle) < np.real(np.arctan(f1 / root))
    return np.where(stopped & (f0 > 0), 0.0, np.maximum(speed, 0.0))


def coasting_time(start: Numeric, end: Numeric, mass: Numeric, resistance: Resistance) -> Array:
    """Return the time to coast from one speed to another. [m/s], [m/s], [kg] → [s]"""
    f0, f1, f2 = (np.asarray(x, dtype=float) for x in _terms(resistance))
    root = np.sqrt((4 * f0 * f2 - f1**2).astype(complex))
    root = np.where(np.abs(root) < 1e-9, 1e-9, root)
    ends = [np.arctan((2 * f2 * np.asarray(v) + f1) / root) for v in (start, end)]
    return np.asarray(np.real(2 * np.asarray(mass) / root * (ends[0] - ends[1])))


def coasting_distance(start: float, end: float, mass: float, resistance: Resistance) -> float:
    """Return the way covered while coasting from one speed to another. [m]

    ∫ m v / F(v) dv by Gauss's rule; exact to rounding for a quadratic resistance.
    """
    nodes, weights = np.polynomial.legendre.leggauss(40)
    half, middle = 0.5 * (start - end), 0.5 * (start + end)
    v = middle + half * nodes
    return float(half * np.sum(weights * mass * v / resistance.force(v)))


def coasting_curve(
    time: Array, start: float, mass: float, resistance: Resistance, drag_growth: float = 0.0
) -> Array:
    """Return the speed while coasting where the drag area itself moves with speed.

    Ride heights go with dynamic pressure, so CxS is taken as linear in v²:
    f2(v) = f2 (1 + k v²/start²). No closed form: t(v) is integrated and turned round.

    Parameters
    ----------
    time : (n,)
        Rising. [s]
    drag_growth
        k, relative change of the drag area from rest to the start speed. [-]

    Raises
    ------
    InputError
        If the resistance is not above zero all the way.
    """
    lowest = max(0.05 * start, 0.5)
    speeds = np.linspace(start * 1.002, lowest, 400)
    force = resistance.force(speeds) + resistance.square * drag_growth * speeds**4 / start**2
    if not np.all(force > 0):
        raise InputError("resistance", float(np.min(force)), "N", "must slow the car all the way")
    slope = mass / force
    steps = 0.5 * (slope[1:] + slope[:-1]) * -np.diff(speeds)
    clock = np.concatenate([[0.0], np.cumsum(steps)])
    clock -= np.interp(-start, -speeds, clock)
    return np.asarray(np.interp(time, clock, speeds))


def interval_forces(times_above: Array, times_below: Array, half_step: float, mass: float) -> Array:
    """Return the force m Δv/Δt of each speed interval, as the older standards take it.

    The finite interval makes it a little low (0.1 % for ±5 km/h at 100 km/h): fit v(t) instead.

    Parameters
    ----------
    times_above, times_below : (n,)
        When the upper and lower speed were passed. [s]
    half_step
        Half the width of an interval. [m/s]
    """
    return np.asarray(mass * 2 * half_step / (np.asarray(times_below) - np.asarray(times_above)))


def _terms(resistance: Resistance) -> tuple[Numeric, Numeric, Numeric]:
    return resistance.constant, resistance.linear, resistance.square


def _require_above(value: Numeric, name: str, unit: str) -> None:
    lowest = float(np.min(value))
    if not lowest > 0:
        raise InputError(name, lowest, unit, "must be above 0")
