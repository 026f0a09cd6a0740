"""Engine power against road speed, from a number, a curve or gears."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from tuftwork.errors import InputError
from tuftwork.quantity import Array

_STEP = 0.5  # [m/s]  fine enough that the cubic follows a gear change within a wheel turn


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerCurve:
    """Power over road speed on an even grid, with slopes.

    Attributes
    ----------
    speed, power, slope
        Grid [m/s], power before driveline loss [W], slope [W s/m].
    ends_at
        Highest speed the curve was given for; None if it holds at any speed. [m/s]
    """

    speed: Array
    power: Array
    slope: Array
    ends_at: float | None

    @property
    def table(self) -> Array:
        """Power and slope side by side, as the kernels take it."""
        return np.ascontiguousarray(np.stack([self.power, self.slope], axis=1))

    @property
    def step(self) -> float:
        """Spacing of the speed grid. [m/s]"""
        return float(self.speed[1] - self.speed[0])


def constant_power(power: float) -> PowerCurve:
    """Return an engine that gives the same power at every speed.

    Parameters
    ----------
    power : ()
        Power before driveline loss. [W]

    Returns
    -------
    curve : ()
        Power over speed. [W]

    Raises
    ------
    InputError
        If the power is not above 0, or so small that kilowatts were probably given.
    """
    if not power > 0.0:
        raise InputError("power", power, "W", "must be above 0")
    if power < 2000.0:
        raise InputError("power", power, "W", "too small for a car", "Multiply kW by 1000.")
    speed = np.arange(0.0, 130.0, _STEP)
    return PowerCurve(
        speed=speed, power=np.full_like(speed, power), slope=np.zeros_like(speed), ends_at=None
    )


def scaled_power(curve: PowerCurve, factor: float) -> PowerCurve:
    """Return an engine with ``factor`` times the power at every speed [-]."""
    if factor == 1.0:
        return curve
    return replace(curve, power=factor * curve.power, slope=factor * curve.slope)


def power_over_speed(speed: Array, power: Array) -> PowerCurve:
    """Return an engine from power at road speeds.

    Parameters
    ----------
    speed : (n,)
        Road speeds, rising. [m/s]
    power : (n,)
        Power before driveline loss. [W]

    Returns
    -------
    curve : ()
        Power over speed. A lap that goes past the last speed is refused. [W]

    Raises
    ------
    InputError
        If speeds do not rise, or a value is not finite or is negative.
    """
    speed, power = np.asarray(speed, dtype=float), np.asarray(power, dtype=float)
    if speed.size < 2 or not np.all(np.diff(speed) > 0):
        raise InputError("speed", "table", "m/s", "needs at least two rising values")
    if not np.all(np.isfinite(power)) or not np.all(power >= 0.0):
        raise InputError("power", float(np.min(power)), "W", "must be finite and not negative")
    spline = PchipInterpolator(speed, power, extrapolate=False)
    grid = np.arange(0.0, 130.0, _STEP)
    inside = np.clip(grid, speed[0], speed[-1])
    value = spline(inside)
    slope = np.where((grid > speed[0]) & (grid < speed[-1]), spline.derivative()(inside), 0.0)
    below = grid < speed[0]  # below the first speed the wheel force, not the power, stays
    if speed[0] > 0.0:
        value = np.where(below, power[0] * grid / speed[0], value)
        slope = np.where(below, power[0] / speed[0], slope)
    return PowerCurve(speed=grid, power=value, slope=slope, ends_at=float(speed[-1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gearbox:
    """Ratios of engine speed to wheel speed (final drive included) and tyre rolling radius [m]."""

    ratios: tuple[float, ...]
    rolling_radius: float


def power_from_gears(engine_speed: Array, power: Array, gearbox: Gearbox) -> PowerCurve:
    """Return the best-gear envelope of an engine curve.

    Parameters
    ----------
    engine_speed : (n,)
        Rising, up to the limiter. [rad/s]
    power : (n,)
        Power before driveline loss. [W]
    gearbox : ()
        Over-all ratios and rolling radius. [-]

    Returns
    -------
    curve : ()
        Power over speed; falls to nothing within 1 m/s beyond the limiter in the highest gear. [W]

    Raises
    ------
    InputError
        If engine speeds do not rise or a ratio is not above 0.
    """
    engine_speed, power = np.asarray(engine_speed, float), np.asarray(power, float)
    if engine_speed.size < 2 or not np.all(np.diff(engine_speed) > 0):
        raise InputError("engine_speed", "table", "rad/s", "needs at least two rising values")
    if not gearbox.ratios or not min(gearbox.ratios) > 0.0:
        raise InputError("ratios", str(gearbox.ratios), "", "must all be above 0")
    spline = PchipInterpolator(engine_speed, power, extrapolate=False)
    top = engine_speed[-1] * gearbox.rolling_radius / min(gearbox.ratios)
    grid = np.append(np.arange(0.0, top, _STEP), top)
    best = np.zeros_like(grid)
    for ratio in gearbox.ratios:
        turning = grid * ratio / gearbox.rolling_radius
        low = np.minimum(turning / engine_speed[0], 1.0)  # slipping clutch below idle: same torque
        value = spline(np.clip(turning, engine_speed[0], engine_speed[-1])) * low
        best = np.maximum(best, np.where(turning <= engine_speed[-1] * (1 + 1e-12), value, 0.0))
    speed = np.concatenate([grid, [top + 1.0, 140.0]])
    curve = power_over_speed(speed, np.concatenate([best, [0.0, 0.0]]))
    return PowerCurve(speed=curve.speed, power=curve.power, slope=curve.slope, ends_at=None)
