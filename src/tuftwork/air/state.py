"""The air of a study, draw by draw, and the pressure it makes at a speed."""

from dataclasses import dataclass, field

import numpy as np

from tuftwork.air.humid import SOURCE as _HUMID
from tuftwork.air.humid import air_density
from tuftwork.air.standard import SEA_LEVEL_PRESSURE, standard_air
from tuftwork.air.standard import SOURCE as _STANDARD
from tuftwork.air.viscosity import SOURCE as _VISCOSITY
from tuftwork.air.viscosity import dynamic_viscosity
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Air at rest.

    Attributes
    ----------
    temperature, pressure, humidity : (n_draw,) or ()
        As given, or of the standard atmosphere. [K], [Pa], [-]
    density, viscosity : (n_draw,) or ()
        Of the moist air; dynamic viscosity of dry air. [kg/m³], [Pa s]
    sources
        Of the equations used.
    notices
        What was assumed.
    """

    temperature: Array
    pressure: Array
    humidity: Array
    density: Array
    viscosity: Array
    sources: tuple[Source, ...] = ()
    notices: tuple[str, ...] = field(default=())


def air_of(
    *,
    temperature: Numeric,
    pressure: Numeric | None = None,
    altitude: Numeric | None = None,
    humidity: Numeric | None = None,
) -> Air:
    """Return the air at a place, for one value or for all draws at once.

    Parameters
    ----------
    temperature : (...)
        Of the air. [K]
    pressure : (...)
        At the place, not reduced to sea level. [Pa]
    altitude : (...)
        Of the place; gives the pressure of the standard atmosphere where none was read. [m]
    humidity : (...)
        Relative; half saturated is assumed where it is not known, worth at most ± 0.5 % of the
        density at 20 °C. [-]

    Returns
    -------
    air
        With notices of what was assumed.

    Raises
    ------
    InputError
        If both pressure and altitude are given: one would change nothing.

    Examples
    --------
    >>> air = air_of(temperature=297.15, pressure=101_100.0, humidity=0.45)
    >>> print(f"{air.density:.3f} kg/m³, {air.viscosity:.3e} Pa s")
    1.180 kg/m³, 1.832e-05 Pa s
    """
    notices: list[str] = []
    sources = [_HUMID, _VISCOSITY]
    if pressure is not None and altitude is not None:
        limit = "changes nothing beside a pressure read at the place"
        raise InputError("altitude", float(np.mean(altitude)), "m", limit, "Give one of the two.")
    if pressure is None:
        height = 0.0 if altitude is None else altitude
        pressure = SEA_LEVEL_PRESSURE if altitude is None else standard_air(height).pressure
        place = "sea level" if altitude is None else f"{float(np.mean(height)):.0f} m"
        notices.append(f"no pressure was read: the standard atmosphere's at {place} is assumed")
        sources.append(_STANDARD)
    if humidity is None:
        humidity = 0.5
        notices.append("no humidity was read: half saturated is assumed")
    density = air_density(temperature, pressure, humidity)
    return Air(
        temperature=np.asarray(temperature, dtype=float),
        pressure=np.asarray(pressure, dtype=float),
        humidity=np.asarray(humidity, dtype=float),
        density=density,
        viscosity=np.asarray(dynamic_viscosity(temperature), dtype=float),
        sources=tuple(sources),
        notices=tuple(notices),
    )


def dynamic_pressure(density: Numeric, speed: Numeric) -> Array:
    """Return the dynamic pressure ½ ρ V².

    Parameters
    ----------
    density, speed : (...)
        Shapes that broadcast. [kg/m³], [m/s]

    Returns
    -------
    q : (...)
        [Pa]

    Raises
    ------
    InputError
        If a density is not above zero or a speed not a number.

    Examples
    --------
    >>> print(f"{dynamic_pressure(1.225, 50.0):.2f} Pa")
    1531.25 Pa
    """
    rho, v = np.asarray(density, dtype=float), np.asarray(speed, dtype=float)
    if not np.all(rho > 0):
        raise InputError("density", float(np.min(rho)), "kg/m³", "must be above 0")
    if not np.all(np.isfinite(v)):
        raise InputError("speed", "nan", "m/s", "must be a number")
    return np.asarray(0.5 * rho * v**2)


def speed_of(density: Numeric, pressure: Numeric) -> Array:
    """Return the speed at which air of a density makes a dynamic pressure, √(2 q / ρ) [m/s].

    Parameters
    ----------
    density, pressure : (...)
        Shapes that broadcast. [kg/m³], [Pa]

    Raises
    ------
    InputError
        If a density is not above zero or a pressure below it.
    """
    rho, q = np.asarray(density, dtype=float), np.asarray(pressure, dtype=float)
    if not np.all(rho > 0):
        raise InputError("density", float(np.min(rho)), "kg/m³", "must be above 0")
    if not np.all(q >= 0):
        raise InputError("dynamic pressure", float(np.min(q)), "Pa", "must not be below 0")
    return np.asarray(np.sqrt(2 * q / rho))
