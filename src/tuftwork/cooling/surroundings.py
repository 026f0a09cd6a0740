"""The air outside, and what a part of the net sees of the air inside."""

from dataclasses import dataclass, field

import numpy as np

from tuftwork.cooling.guard import kelvin, not_negative, pascal, within
from tuftwork.cooling.surface import CP_AIR
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

OUTSIDE = "outside"
GAS_CONSTANT = 287.053  # [J/(kg K)]  dry air
_LIGHTER = 0.378  # [-]  1 - 18.015/28.965, molar masses of water and dry air, picard2008
_CP_VAPOUR = 1865.0  # [J/(kg K)]  water vapour near 30 °C, incropera2007
_HOTTEST = 1500.0  # [K]  density of an almost still heated stream is held here


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """The air the car drives through; one number or one per draw.

    Attributes
    ----------
    speed
        Of the car relative to the air. [m/s]
    temperature, pressure
        Static. [K], [Pa]
    humidity
        Relative, of the air outside. [-]
    gas_constant, heat_capacity
        Of the moist air; heated, it keeps its vapour. [J/(kg K)]
    """

    speed: Numeric
    temperature: Numeric = 288.15
    pressure: Numeric = 101325.0
    humidity: Numeric = 0.0
    gas_constant: Numeric = field(init=False)
    heat_capacity: Numeric = field(init=False)

    def __post_init__(self) -> None:
        not_negative("speed", self.speed, "m/s")
        if not np.all(np.asarray(self.speed) < 150.0):
            raise InputError(
                "speed", float(np.max(self.speed)), "m/s", "must be below 150",
                "Divide km/h by 3.6.",
            )  # fmt: skip
        kelvin("temperature", self.temperature)
        pascal("pressure", self.pressure)
        wet = within("humidity", self.humidity, "", (0.0, 1.0))
        gas: Numeric = GAS_CONSTANT
        heat: Numeric = CP_AIR
        if np.any(wet > 0):
            gas, heat = _moist(self.temperature, self.pressure, wet)
        object.__setattr__(self, "gas_constant", gas)
        object.__setattr__(self, "heat_capacity", heat)

    @property
    def density(self) -> Numeric:
        """Of the ambient air [kg/m³]."""
        return self.pressure / (self.gas_constant * self.temperature)

    @property
    def head(self) -> Numeric:
        """Dynamic pressure of the free stream [Pa]."""
        return 0.5 * self.density * self.speed**2


def _moist(temperature: Numeric, pressure: Numeric, humidity: Array) -> tuple[Array, Array]:
    """Return gas constant and heat capacity of moist air [J/(kg K)]."""
    from tuftwork.air.humid import vapour_share

    x = vapour_share(temperature, pressure, humidity)
    mass = (1.0 - _LIGHTER) * x / (1.0 - _LIGHTER * x)
    gas = GAS_CONSTANT / (1.0 - _LIGHTER * x)
    return np.asarray(gas), np.asarray(CP_AIR + mass * (_CP_VAPOUR - CP_AIR))


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """Δp = a ṁ + b ṁ|ṁ| + c max(0, ṁ - m0)² - source, smoothed below the flow ``slow``.

    ``slow`` below 0: the flow is m0, whatever Δp.
    """

    a: Numeric
    b: Numeric
    source: Numeric = 0.0
    c: Numeric = 0.0
    m0: Numeric = 0.0
    slow: Numeric = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """What a part sees when it is asked for its law: one value per draw.

    Attributes
    ----------
    flow
        Signed, from start to end. [kg/s]
    inlet, outlet
        Temperatures in the direction of the flow. [K]
    around
        The air outside.
    """

    flow: Array
    inlet: Array
    outlet: Array
    around: Surroundings

    def density(self, temperature: Array) -> Array:
        """Return the density of air at a temperature and the ambient pressure [kg/m³]."""
        held = np.minimum(temperature, _HOTTEST)
        return np.asarray(self.around.pressure / (self.around.gas_constant * held))

    @staticmethod
    def viscosity(temperature: Array) -> Array:
        """Return the viscosity of air (Sutherland, coesa1976) [Pa s]."""
        held = np.minimum(temperature, _HOTTEST)
        return np.asarray(1.458e-6 * held**1.5 / (held + 110.4))
