"""The standard atmosphere: pressure and temperature of a place whose weather nobody read."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Numeric, Source

SOURCE = Source(key="coesa1976", place="Eqs. 18, 23, 33a, 33b; table 4", status="memory")
LOWEST, HIGHEST = -2000.0, 80_000.0
"""Geometric heights between which the layers below hold. [m]"""
SEA_LEVEL_PRESSURE = 101_325.0  # [Pa]  coesa1976
SEA_LEVEL_TEMPERATURE = 288.15  # [K]  coesa1976
SEA_LEVEL_DENSITY = 1.225  # [kg/m³]  coesa1976

_RADIUS = 6_356_766.0  # [m]  coesa1976
_GRAVITY = 9.80665  # [m/s²]  coesa1976
_MOLAR_MASS = 28.9644e-3  # [kg/mol]  coesa1976
_GAS = 8.31432  # [J/(mol K)]  coesa1976, older than today's value on purpose
_FEET = np.array([0.0, 11e3, 20e3, 32e3, 47e3, 51e3, 71e3])  # [m]  geopotential
_LAPSE = np.array([-6.5e-3, 0.0, 1.0e-3, 2.8e-3, 0.0, -2.8e-3, -2.0e-3])  # [K/m]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardAir:
    """The standard atmosphere at a height.

    Attributes
    ----------
    temperature, pressure, density
        Same shape as the height. [K], [Pa], [kg/m³]
    """

    temperature: Numeric
    pressure: Numeric
    density: Numeric


def standard_air(altitude: Numeric) -> StandardAir:
    """Return temperature, pressure and density of the 1976 standard atmosphere.

    Layers of constant lapse rate L over geopotential height H = r h / (r + h):
    T = T_b + L (H − H_b); p = p_b (T_b/T)^(g M / R L), or p_b exp(−g M (H − H_b) / R T_b).

    Parameters
    ----------
    altitude : (...)
        Geometric height above sea level, any shape. [m]

    Returns
    -------
    air
        Of dry air.

    Raises
    ------
    InputError
        If a height is below −2 km or above 80 km.

    Notes
    -----
    Not the weather: on a given day the pressure of a place differs by up to ± 3 %, the temperature
    by tens of kelvin.

    References
    ----------
    [coesa1976]

    Examples
    --------
    >>> print(f"{standard_air(1000.0).density:.4f} kg/m³")
    1.1117 kg/m³
    """
    height = np.atleast_1d(np.asarray(altitude, dtype=float))
    if not (np.all(height >= LOWEST) and np.all(height <= HIGHEST)):
        worst = float(np.max(np.abs(height)))
        raise InputError("altitude", worst, "m", f"must lie within {LOWEST:g} to {HIGHEST:g}")
    geopotential = _RADIUS * height / (_RADIUS + height)
    layer = np.clip(np.searchsorted(_FEET, geopotential, side="right") - 1, 0, _FEET.size - 1)
    above = geopotential - _FEET[layer]
    temperature = _BASE_TEMPERATURE[layer] + _LAPSE[layer] * above
    pressure = _BASE_PRESSURE[layer] * _ratio(_BASE_TEMPERATURE[layer], _LAPSE[layer], above)
    density = pressure * _MOLAR_MASS / (_GAS * temperature)
    if np.ndim(altitude) == 0:
        temperature, pressure, density = temperature[0], pressure[0], density[0]
    return StandardAir(temperature=temperature, pressure=pressure, density=density)


def _ratio(base: np.ndarray, lapse: np.ndarray, above: np.ndarray) -> np.ndarray:
    """Pressure at a height above a layer's foot over the pressure at its foot."""
    hydrostatic = _GRAVITY * _MOLAR_MASS / _GAS
    is_even = lapse == 0
    safe = np.where(is_even, 1.0, lapse)
    power = (base / (base + lapse * above)) ** (hydrostatic / safe)
    ratio: np.ndarray = np.where(is_even, np.exp(-hydrostatic * above / base), power)
    return ratio


def _bases() -> tuple[np.ndarray, np.ndarray]:
    """Temperature and pressure at the foot of every layer."""
    temperature, pressure = [SEA_LEVEL_TEMPERATURE], [SEA_LEVEL_PRESSURE]
    for index in range(_FEET.size - 1):
        thick = np.array(_FEET[index + 1] - _FEET[index])
        ratio = _ratio(np.array(temperature[-1]), np.array(_LAPSE[index]), thick)
        pressure.append(float(pressure[-1] * ratio))
        temperature.append(float(temperature[-1] + _LAPSE[index] * thick))
    return np.array(temperature), np.array(pressure)


_BASE_TEMPERATURE, _BASE_PRESSURE = _bases()
