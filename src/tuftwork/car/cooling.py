"""Cooling of one car as the project file says it: circuits, duty, places, over the air they use."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.air import (
    CoolingDuct,
    CoolingExit,
    CoolingFan,
    CoolingLeak,
    Core,
    Inlet,
    Surface,
    Well,
)
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=60)]
Carried = Literal["water", "oil", "charge", "gearbox", "motor", "inverter", "battery"]


class Exchanger(Table):
    """A liquid-to-liquid cooler that gives a circuit's heat to another, as oil to water."""

    to: Annotated[_Name, Field(description="Circuit that takes the heat")]
    heat: Annotated[
        Quantity,
        number("power", positive=True),
        Field(description="It carries at ``inlet_difference`` with the flows of both circuits"),
    ]
    inlet_difference: Annotated[
        Quantity,
        number("temperature difference", positive=True),
        Field(description="Hot inlet less cold inlet at which that holds"),
    ]


class Circuit(Table):
    """One circuit: what it carries, which cores it passes, what it must stay below."""

    name: Annotated[_Name, Field(description="What you call it")]
    kind: Annotated[
        Literal["liquid", "gas"],
        Field(description="A pumped loop, or hot gas such as charge air through one core"),
    ] = "liquid"
    fluid: Annotated[
        Literal["water", "glycol-30", "glycol-50", "engine oil"], Field(description="Of a loop")
    ] = "water"
    coolers: Annotated[
        tuple[_Name, ...], Field(description="Cores in the order it meets them")
    ] = ()
    exchanger: Annotated[
        Exchanger | None, Field(description="Behind its cores, or in their place")
    ] = None
    flow: Annotated[
        Quantity, number("mass flow", positive=True), Field(description="Through its coolers")
    ]
    heat: Annotated[
        Quantity | None,
        number("power", positive=True),
        Field(description="Of a loop, mean of a lap; what was measured stands over the duty"),
    ] = None
    carries: Annotated[
        Carried | None,
        Field(description="Which heat of [cooling.duty] it carries where ``heat`` is not given"),
    ] = None
    temperature: Annotated[
        Quantity | None,
        number("temperature", least=200.0, most=900.0),
        Field(description="Of hot gas where it enters its core"),
    ] = None
    limit: Annotated[
        Quantity | None,
        number("temperature", least=250.0, most=700.0),
        Field(description="Hottest of the loop, or gas behind its core, must stay below"),
    ] = None
    opens: Annotated[
        Quantity | None,
        number("temperature", least=250.0, most=420.0),
        Field(description="Thermostat starts to open"),
    ] = None
    fully_open: Annotated[
        Quantity | None,
        number("temperature", least=250.0, most=430.0),
        Field(description="Thermostat fully open"),
    ] = None

    liquid_mass: Annotated[
        Quantity | None,
        number("mass", positive=True),
        Field(description="Of a loop; warms in [cooling.stint]"),
    ] = None
    metal_mass: Annotated[
        Quantity | None,
        number("mass", positive=True),
        Field(description="Aluminium that warms with it: block, head, cores; iron counts half"),
    ] = None

    @model_validator(mode="after")
    def _is_fed(self) -> "Circuit":
        """Refuse a circuit without heat."""
        if not self.coolers and self.exchanger is None:
            raise ValueError("a circuit needs 'coolers' or an 'exchanger': where its heat goes")
        if self.kind == "gas":
            if self.exchanger is not None:
                raise ValueError("'exchanger' joins two loops; hot gas has none here")
            if self.temperature is None:
                raise ValueError("hot gas needs 'temperature' where it enters its core")
            if len(self.coolers) != 1:
                raise ValueError("hot gas passes one core; make a circuit of each")
        elif self.heat is None and self.carries is None:
            raise ValueError("a loop needs 'heat', or 'carries' and [cooling.duty]")
        if (self.opens is None) != (self.fully_open is None):
            raise ValueError("a thermostat needs both 'opens' and 'fully_open'")
        return self


class Duty(Table):
    """What makes heat, and how hard it works."""

    lap_mean: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Of full load, mean of a lap"),
    ]
    worst_minute: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Of full load, in the hardest minute"),
    ]
    engine: Annotated[
        Literal["atmospheric", "turbocharged"] | None,
        Field(description="Gives heat of water, oil and gearbox from [car] power"),
    ] = None
    wheel_power: Annotated[
        Quantity | None,
        number("power", positive=True),
        Field(description="Of an electric drive at full load"),
    ] = None
    pack_current: Annotated[
        Quantity | None, number("ratio", least=0.0), Field(description="At full load, in ampere")
    ] = None
    pack_resistance: Annotated[
        Quantity | None, number("ratio", least=0.0), Field(description="Of the pack, in ohm")
    ] = None


class Place(Table):
    """Where the car runs: what the temperature forecast is made for."""

    name: Annotated[_Name, Field(description="Of the circuit")]
    speed: Annotated[
        Quantity, number("speed", positive=True, most=120.0), Field(description="Mean of a lap")
    ]
    altitude: Annotated[
        Quantity, number("length", least=-500.0, most=6000.0), Field(description="Of the place")
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="m", dimension="length", spread="exact")
    heat: Annotated[
        Quantity, number("ratio", positive=True, most=3.0), Field(description="Over that entered")
    ] = Quantity(best=1.0, low=1.0, high=1.0, unit="", dimension="ratio", spread="exact")


class Stint(Table):
    """Laps run one after the other from cold, then the engine off: who warms, how far."""

    laps: Annotated[int, Field(strict=True, ge=1, le=60, description="Run without a stop")] = 10
    start: Annotated[
        Quantity | None,
        number("temperature", least=240.0, most=400.0),
        Field(description="Of the loops when it begins; the air's unless given"),
    ] = None
    soak: Annotated[
        Quantity, number("time", positive=True, most=14400.0), Field(description="Engine off for")
    ] = Quantity(best=1800.0, low=1800.0, high=1800.0, unit="min", dimension="time",
                 spread="exact")  # fmt: skip
    metal_over: Annotated[
        Quantity,
        number("temperature difference", positive=True),
        Field(description="Metal over liquid when the engine stops"),
    ] = Quantity(best=30.0, low=15.0, high=45.0, unit="K", dimension="temperature difference")
    bay: Annotated[
        Quantity,
        number("temperature", least=250.0, most=430.0),
        Field(description="Air round the engine after it stops"),
    ] = Quantity(best=338.15, low=323.15, high=353.15, unit="°C", dimension="temperature")
    cap: Annotated[
        Quantity | None,
        number("pressure", positive=True, most=4e5),
        Field(description="Overpressure at which the cap opens: says when water boils"),
    ] = None


class Cooling(Table):
    """The air through the car and the circuits it cools."""

    speed: Annotated[
        Quantity,
        number("speed", positive=True, most=120.0),
        Field(description="At which cooling must work: mean of a lap"),
    ]
    temperature: Annotated[
        Quantity,
        number("temperature", least=230.0, most=330.0),
        Field(description="Of the hot day's air"),
    ]
    humidity: Annotated[
        Quantity | None,
        number("humidity", least=0.0, most=1.0),
        Field(description="Of the hot day's air, relative; dry unless given"),
    ] = None
    risk: Annotated[
        Quantity,
        number("share", least=0.001, most=0.5),
        Field(description="Chance of crossing a limit that is accepted"),
    ] = Quantity(best=0.1, low=0.1, high=0.1, unit="%", dimension="share", spread="exact")
    duty: Annotated[Duty | None, Field(description="What makes heat")] = None
    circuits: Annotated[tuple[Circuit, ...], Field(min_length=1, description="Circuits")]
    inlets: Annotated[tuple[Inlet, ...], Field(min_length=1, description="Openings inward")]
    cores: Annotated[tuple[Core, ...], Field(min_length=1, description="Coolers")]
    ducts: Annotated[tuple[CoolingDuct, ...], Field(description="Ducts and hollow members")] = ()
    exits: Annotated[tuple[CoolingExit, ...], Field(min_length=1, description="Openings outward")]
    leaks: Annotated[tuple[CoolingLeak, ...], Field(description="Gaps")] = ()
    fans: Annotated[tuple[CoolingFan, ...], Field(description="Fans")] = ()
    wells: Annotated[tuple[Well, ...], Field(description="Wheel wells that are nodes")] = ()
    surfaces: Annotated[tuple[Surface, ...], Field(description="What is known of places")] = ()
    places: Annotated[tuple[Place, ...], Field(description="Circuits to forecast for")] = ()
    stint: Annotated[Stint | None, Field(description="Warming up, and soaking after")] = None

    @model_validator(mode="after")
    def _holds_together(self) -> "Cooling":
        """Refuse limits below the air, a stint without masses, and masses without a stint."""
        for circuit in self.circuits:
            if circuit.limit is not None and not circuit.limit.best > self.temperature.best:
                raise ValueError(
                    f"circuit {circuit.name}: its limit must exceed the hot day's air of "
                    f"{self.temperature.best - 273.15:.0f} °C"
                )
            given = [k for k in ("liquid_mass", "metal_mass") if getattr(circuit, k) is not None]
            if self.stint is None or circuit.kind == "gas":
                if given:
                    why = "without [cooling.stint]" if self.stint is None else "for hot gas"
                    raise ValueError(f"circuit {circuit.name}: {given[0]} changes nothing {why}")
            elif len(given) < 2:
                raise ValueError(
                    f"circuit {circuit.name}: [cooling.stint] needs its liquid_mass and metal_mass"
                )
        return self
