"""Parts of a coolant loop: pump, pipe, heat, core, thermostat."""

from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.guard import kelvin, not_negative, positive, within
from tuftwork.cooling.surroundings import Law
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

OPENINGS = np.array([0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0])
"""Thermostat openings at which the loop is solved; between them flows are interpolated. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A pump: rise = ``shut_rise`` n² - (``shut_rise``/``free_flow``²) ṁ|ṁ|. [Pa], [kg/s], [-]."""

    name: str
    start: str
    end: str
    shut_rise: Numeric
    free_flow: Numeric
    running: Numeric = 1.0

    def __post_init__(self) -> None:
        positive(f"{self.name}: shut_rise", self.shut_rise, "Pa")
        positive(f"{self.name}: free_flow", self.free_flow, "kg/s")
        within(f"{self.name}: running", self.running, "", (0.0, 2.0))

    def law(self, opening: float) -> Law:
        """Return the pump's curve."""
        b = np.asarray(self.shut_rise / self.free_flow**2)
        return Law(a=0.0, b=b, source=self.shut_rise * np.asarray(self.running) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A hose, a tank or a passage: Δp = ``loss`` ṁ|ṁ|. [Pa s²/kg²]."""

    name: str
    start: str
    end: str
    loss: Numeric

    def __post_init__(self) -> None:
        positive(f"{self.name}: loss", self.loss, "Pa s²/kg²")

    def law(self, opening: float) -> Law:
        """Square law."""
        return Law(a=0.0, b=self.loss)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSource:
    """What heats the liquid: ``heat`` [W], or a warmer stream.

    Attributes
    ----------
    heat
        Given whatever the temperature is. [W]
    conductance, other
        And conductance [W/K] times (other [K] - liquid inlet), for example the charge air of a
        water-cooled charge cooler.
    loss
        Δp = loss ṁ|ṁ|. [Pa s²/kg²]
    """

    name: str
    start: str
    end: str
    heat: Numeric = 0.0
    conductance: Numeric = 0.0
    other: Numeric = 300.0
    loss: Numeric = 1.0

    def __post_init__(self) -> None:
        not_negative(f"{self.name}: heat", self.heat, "W")
        not_negative(f"{self.name}: conductance", self.conductance, "W/K")
        kelvin(f"{self.name}: other", self.other)
        positive(f"{self.name}: loss", self.loss, "Pa s²/kg²")

    def law(self, opening: float) -> Law:
        """Square law."""
        return Law(a=0.0, b=self.loss)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreSide:
    """The liquid side of a cooler; ``name`` is the cooler's name in the air net."""

    name: str
    start: str
    end: str
    loss: Numeric = 1.0

    def __post_init__(self) -> None:
        positive(f"{self.name}: loss", self.loss, "Pa s²/kg²")

    def law(self, opening: float) -> Law:
        """Square law."""
        return Law(a=0.0, b=self.loss)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSide:
    """One side of a liquid-to-liquid cooler, for example oil to water.

    Two loops hold a part of the same ``name``; ``conductance`` [W/K] must be the same in both.
    The streams run against each other.
    """

    name: str
    start: str
    end: str
    conductance: Numeric
    loss: Numeric = 1.0

    def __post_init__(self) -> None:
        positive(f"{self.name}: conductance", self.conductance, "W/K")
        positive(f"{self.name}: loss", self.loss, "Pa s²/kg²")

    def law(self, opening: float) -> Law:
        """Square law."""
        return Law(a=0.0, b=self.loss)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thermostat:
    """A valve that opens with the temperature at its start, or a bypass that closes.

    Attributes
    ----------
    opens, fully_open
        [K]
    loss
        Fully open: Δp = loss ṁ|ṁ|. [Pa s²/kg²]
    is_bypass
        This branch closes while the valve opens.
    """

    name: str
    start: str
    end: str
    opens: float
    fully_open: float
    loss: Numeric = 1.0
    is_bypass: bool = False

    def __post_init__(self) -> None:
        kelvin(f"{self.name}: opens", self.opens)
        positive(f"{self.name}: loss", self.loss, "Pa s²/kg²")
        if not self.fully_open > self.opens:
            raise InputError(
                f"{self.name}: fully_open", self.fully_open, "K", "must exceed the opening's start"
            )

    def law(self, opening: float) -> Law:
        """Square law of what is open; a closed branch leaks 2 %."""
        x = max(1.0 - opening, 0.02) if self.is_bypass else opening
        return Law(a=0.0, b=self.loss / x**2)

    def share(self, temperature: Array) -> Array:
        """Return how far the valve opens at a temperature [-]."""
        x = (temperature - self.opens) / (self.fully_open - self.opens)
        return np.clip(x, OPENINGS[0], 1.0)


LoopPart = Pump | Pipe | HeatSource | CoreSide | PlateSide | Thermostat
