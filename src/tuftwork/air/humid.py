"""Density of moist air: what pressure, temperature and humidity do to every force."""

import warnings

import numpy as np

from tuftwork.errors import InputError, OutsideCheckedRange
from tuftwork.quantity import Array, Numeric, Source

SOURCE = Source(key="picard2008", place="Eqs. 1 to 3 and appendix A1")
CHECKED_TEMPERATURE = (273.15, 318.15)
"""Temperatures at which the model was compared with another one. [K]"""
CHECKED_PRESSURE = (70e3, 110e3)
"""Pressures at which the model was compared with another one. [Pa]"""

_GAS = 8.314472  # [J/(mol K)]  picard2008, which was fitted with this value
_DRY = 28.96546e-3  # [kg/mol]  picard2008, at 400 ppm of carbon dioxide
_WATER = 18.01528e-3  # [kg/mol]  picard2008
_KELVIN = 273.15
_PSV = (1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3)  # picard2008 A1.1, T in K
_FACTOR = (1.00062, 3.14e-8, 5.6e-7)  # picard2008 A1.2, p in Pa, t in °C
_A = (1.58123e-6, -2.9331e-8, 1.1043e-10)  # picard2008 A1.4
_B = (5.707e-6, -2.051e-8)
_C = (1.9898e-4, -2.376e-6)
_D, _E = 1.83e-11, -0.765e-8


def saturation_pressure(temperature: Numeric) -> Array:
    """Return the pressure of saturated water vapour over water.

    p_sv = exp(A T² + B T + C + D/T).

    Parameters
    ----------
    temperature : (...)
        Any shape. [K]

    Returns
    -------
    pressure : (...)
        Same shape. [Pa]

    References
    ----------
    [picard2008] Eq. A1.1.
    """
    kelvin = np.asarray(temperature, dtype=float)
    a, b, c, d = _PSV
    return np.asarray(np.exp(a * kelvin**2 + b * kelvin + c + d / kelvin))


def vapour_share(temperature: Numeric, pressure: Numeric, humidity: Numeric) -> Array:
    """Return the mole fraction of water vapour in moist air, x_v = φ f(p, t) p_sv / p [-].

    Parameters
    ----------
    temperature, pressure, humidity : (...)
        Shapes that broadcast; humidity is relative, 0 to 1. [K], [Pa], [-]

    References
    ----------
    [picard2008] Eqs. A1.2, A1.3.
    """
    celsius = np.asarray(temperature, dtype=float) - _KELVIN
    alpha, beta, gamma = _FACTOR
    enhancement = alpha + beta * np.asarray(pressure, dtype=float) + gamma * celsius**2
    return np.asarray(humidity * enhancement * saturation_pressure(temperature) / pressure)


def air_density(temperature: Numeric, pressure: Numeric, humidity: Numeric = 0.0) -> Array:
    """Return the density of moist air.

    ρ = p M_a / (Z R T) · [1 − x_v (1 − M_v/M_a)], with the compressibility Z(T, p, x_v).

    Parameters
    ----------
    temperature, pressure, humidity : (...)
        Shapes that broadcast: static temperature, pressure of the place (not reduced to sea
        level), relative humidity 0 to 1. [K], [Pa], [-]

    Returns
    -------
    rho : (...)
        [kg/m³]

    Raises
    ------
    InputError
        If a temperature or pressure is not above zero, a humidity not within 0 to 1, or the air
        would be nothing but steam; usual causes: °C, hPa or per cent were given.

    Warns
    -----
    OutsideCheckedRange
        If a temperature or pressure lies outside ``CHECKED_TEMPERATURE``, ``CHECKED_PRESSURE``.

    Notes
    -----
    The equation was made for 15 to 27 °C and 600 to 1100 hPa; beyond that it was compared here
    with an equation of state of moist air. Not for fog, rain or air near boiling.

    References
    ----------
    [picard2008]

    Examples
    --------
    >>> print(f"{air_density(293.15, 101325.0, 0.5):.4f} kg/m³")
    1.1993 kg/m³
    """
    kelvin = np.asarray(temperature, dtype=float)
    pascal = np.asarray(pressure, dtype=float)
    _check(kelvin, pascal, np.asarray(humidity, dtype=float))
    vapour = vapour_share(kelvin, pascal, humidity)
    if not np.all(vapour < 0.5):
        worst = float(np.max(vapour))
        raise InputError("vapour", worst, "of the air", "hotter and wetter than air can be here")
    factor = _compressibility(kelvin, pascal, vapour)
    dry = pascal * _DRY / (factor * _GAS * kelvin)
    return np.asarray(dry * (1 - vapour * (1 - _WATER / _DRY)))


def _compressibility(kelvin: Array, pascal: Array, vapour: Array) -> Array:
    """Compressibility factor Z of moist air, Eq. A1.4."""
    celsius, ratio = kelvin - _KELVIN, pascal / kelvin
    linear = (
        _A[0] + _A[1] * celsius + _A[2] * celsius**2
        + (_B[0] + _B[1] * celsius) * vapour + (_C[0] + _C[1] * celsius) * vapour**2
    )  # fmt: skip
    return np.asarray(1 - ratio * linear + ratio**2 * (_D + _E * vapour**2))


def _check(kelvin: Array, pascal: Array, humidity: Array) -> None:
    for name, value, unit, cure in (
        ("temperature", kelvin, "K", "Add 273.15 to °C."),
        ("pressure", pascal, "Pa", "Multiply hPa by 100."),
    ):
        if not np.all(value > 0):
            raise InputError(name, float(np.min(value)), unit, "must be above 0", cure)
    if not (np.all(humidity >= 0) and np.all(humidity <= 1)):
        worst = float(humidity.flat[np.argmax(np.abs(humidity - 0.5))])
        raise InputError("humidity", worst, "", "must lie within 0 to 1", "Divide % by 100.")
    for name, value, (low, high), unit in (
        ("temperature", kelvin, CHECKED_TEMPERATURE, "K"),
        ("pressure", pascal, CHECKED_PRESSURE, "Pa"),
    ):
        if np.min(value) < low or np.max(value) > high:
            text = f"air density at {name} {np.min(value):g} to {np.max(value):g} {unit}; "
            text += f"checked only at {low:g} to {high:g} {unit}"
            warnings.warn(text, OutsideCheckedRange, stacklevel=3)
