"""Units at the border: text to SI and back, one table of what may be written where.

Conversions are pint's; this module only says which units belong to which dimension and how
they are shown. Inside the house every number is SI and every angle is in radians.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from tuftwork.errors import InputError, UnknownName


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """A kind of number and the units in which people write it.

    Attributes
    ----------
    name
        Key in ``DIMENSIONS``.
    si
        Unit used inside the house, in pint's words.
    shown
        Unit used on pages and in documents unless the user wrote another.
    units
        What may be written, as it is printed, with pint's word for it.
    """

    name: str
    si: str
    shown: str
    units: dict[str, str]


_LENGTH = {"m": "m", "mm": "mm", "cm": "cm", "km": "km", "in": "inch", "ft": "ft", "mi": "mile"}
_ANGLE = {"°": "degree", "deg": "degree", "rad": "radian", "mrad": "milliradian"}
_AREA = {"m²": "m**2", "cm²": "cm**2", "mm²": "mm**2", "in²": "inch**2", "ft²": "ft**2"}
_FORCE = {"N": "N", "kN": "kN", "kgf": "kgf", "lbf": "lbf", "daN": "daN"}
_SPEED = {"m/s": "m/s", "km/h": "km/h", "mph": "mile/hour", "kn": "knot", "ft/s": "ft/s"}
_RATIO = {"%": "percent", "": "dimensionless"}
_TABLE: tuple[tuple[str, str, str, dict[str, str]], ...] = (
    ("length", "m", "m", _LENGTH),
    ("height", "m", "mm", _LENGTH),
    ("area", "m**2", "m²", _AREA),
    ("angle", "radian", "°", _ANGLE),
    ("mass", "kg", "kg", {"kg": "kg", "g": "g", "lb": "lb", "t": "tonne"}),
    ("force", "N", "N", _FORCE),
    ("speed", "m/s", "km/h", _SPEED),
    ("power", "W", "kW", {"kW": "kW", "W": "W", "hp": "hp", "PS": "metric_horsepower"}),
    ("pressure", "Pa", "Pa", {"Pa": "Pa", "hPa": "hPa", "kPa": "kPa", "bar": "bar",
                              "mbar": "mbar", "psi": "psi", "inHg": "inch_Hg"}),
    ("temperature", "K", "°C", {"°C": "degC", "K": "kelvin", "°F": "degF"}),
    ("temperature difference", "K", "K", {"K": "kelvin"}),
    ("density", "kg/m**3", "kg/m³", {"kg/m³": "kg/m**3"}),
    ("stiffness", "N/m", "N/mm", {"N/mm": "N/mm", "N/m": "N/m", "kN/m": "kN/m",
                                  "lbf/in": "lbf/inch", "kgf/mm": "kgf/mm"}),
    ("damping", "N*s/m", "N s/m", {"N s/m": "N*s/m", "N s/mm": "N*s/mm", "kN s/m": "kN*s/m",
                                   "lbf s/in": "lbf*s/inch"}),
    ("inertia", "kg*m**2", "kg m²", {"kg m²": "kg*m**2"}),
    ("acceleration", "m/s**2", "g", {"g": "standard_gravity", "m/s²": "m/s**2"}),
    ("time", "s", "s", {"s": "s", "ms": "ms", "min": "minute", "h": "hour"}),
    ("energy", "J", "MJ", {"MJ": "MJ", "kJ": "kJ", "J": "J"}),
    ("mass flow", "kg/s", "kg/s", {"kg/s": "kg/s", "g/s": "g/s"}),
    ("volume flow", "m**3/s", "m³/s", {"m³/s": "m**3/s", "l/s": "liter/s",
                                       "l/min": "liter/minute"}),
    ("moment", "N*m", "N m", {"N m": "N*m", "kgf m": "kgf*m", "lbf ft": "lbf*ft"}),
    ("frequency", "Hz", "Hz", {"Hz": "Hz"}),
    ("ratio", "dimensionless", "", {"": "dimensionless", "%": "percent"}),
    ("share", "dimensionless", "%", _RATIO),
    ("humidity", "dimensionless", "%", _RATIO),
)  # fmt: skip
DIMENSIONS: dict[str, Dimension] = {
    name: Dimension(name=name, si=si, shown=shown, units=units) for name, si, shown, units in _TABLE
}
"""Every dimension a project file may ask for, by name."""

_SPELLINGS = {
    "^2": "²", "^3": "³", "**2": "²", "**3": "³", "kph": "km/h", "kmh": "km/h", "km/hr": "km/h",
    "degC": "°C", "degF": "°F", "degrees": "°", "degree": "°", "inch": "in", '"': "in",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "kg/f": "kgf", "kp": "kgf",
    "lbs": "lb", "bhp": "hp", "ps": "PS", "cv": "PS", "sqm": "m²", "percent": "%", "pct": "%",
    "l/min": "l/min", "Nm": "N m", "N·m": "N m", "N*m": "N m", "lb/in": "lbf/in", "mi/h": "mph",
    "kts": "kn", "kt": "kn", "kW ": "kW", "KM/H": "km/h", "MPH": "mph", "KW": "kW", "Kg": "kg",
    "KG": "kg", "º": "°", "C": "°C", "F": "°F",
}  # fmt: skip


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def dimension_named(name: str) -> Dimension:
    """Return the dimension called ``name``; an unknown name lists the known ones."""
    if name not in DIMENSIONS:
        raise UnknownName("dimension", name, DIMENSIONS)
    return DIMENSIONS[name]


def tidy_unit(text: str) -> str:
    """Return a unit as the tables spell it: ``m^2`` → ``m²``, ``kph`` → ``km/h``."""
    unit = text.strip()
    unit = _SPELLINGS.get(unit, unit)
    for typed, printed in (("^2", "²"), ("^3", "³"), ("**2", "²"), ("**3", "³")):
        unit = unit.replace(typed, printed)
    return unit


def unit_of(text: str, dimension: str) -> str:
    """Return the table's spelling of a unit, refusing one of another dimension.

    Raises
    ------
    InputError
        If no unit was given where one is needed, or it measures something else.
    """
    kind = dimension_named(dimension)
    unit = tidy_unit(text)
    if unit in kind.units:
        return unit
    wanted = ", ".join(u for u in kind.units if u)
    if not unit:
        article = "an" if dimension[0] in "aeiou" else "a"
        limit = f"{article} {dimension} needs a unit"
        raise InputError("unit", "none", "", limit, f"One of: {wanted}.")
    owners = [d.name for d in DIMENSIONS.values() if unit in d.units]
    other = f"'{unit}' is a unit of {owners[0]}" if owners else f"unknown unit '{unit}'"
    article = "An" if dimension[0] in "aeiou" else "A"
    raise InputError("unit", f"'{unit}'", "", other, f"{article} {dimension} takes: {wanted}.")


@cache
def _line(unit: str, dimension: str) -> tuple[float, float]:
    """Return scale and offset to SI; every unit here is linear, so pint is asked once for each."""
    kind = dimension_named(dimension)
    word = kind.units[unit_of(unit, dimension)]
    ureg = _registry()
    zero, one = (float(ureg.Quantity(v, word).to(kind.si).magnitude) for v in (0.0, 1.0))
    return (one - zero if zero else one), zero


def to_si(value: float, unit: str, dimension: str) -> float:
    """Return ``value`` in the dimension's SI unit (radians for angles, kelvin for temperatures)."""
    scale, zero = _line(unit, dimension)
    return value * scale + zero


def from_si(value: float, unit: str, dimension: str) -> float:
    """Return an SI ``value`` in ``unit``."""
    scale, zero = _line(unit, dimension)
    return (value - zero) / scale


def scale_of(unit: str, dimension: str) -> float:
    """Return the size of one ``unit`` in SI, for differences (no offset for temperatures)."""
    if dimension == "temperature":
        return {"°C": 1.0, "K": 1.0, "°F": 5.0 / 9.0}[unit_of(unit, dimension)]
    return to_si(1.0, unit, dimension)
