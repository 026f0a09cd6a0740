"""How much heat each circuit has to shed, from duty to watts."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Literal, get_args

import numpy as np

from tuftwork.cooling.band import Band
from tuftwork.cooling.guard import kelvin, not_negative, positive, within
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric, Origin, Source

EngineKind = Literal["atmospheric", "turbocharged"]
Circuit = Literal["water", "oil", "charge", "gearbox", "motor", "inverter", "battery"]
CIRCUITS: tuple[Circuit, ...] = get_args(Circuit)
CP_AIR = 1006.0  # [J/(kg K)]  dry air near 300 K
GAMMA_AIR = 1.4  # [-]

_SOURCES = (
    Source(key="heywood1988", place="Table 12.1", status="memory"),
    Source(key="dixon1998", place="Ex. 2.1"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeAir:
    """The compressor and the wanted charge temperature.

    Attributes
    ----------
    mass_flow
        Engine air at full load. [kg/s]
    inlet_temperature
        Air at the compressor's inlet. [K]
    pressure_ratio, efficiency
        Total to total, and isentropic. [-]
    cooled_to
        Charge temperature behind the cooler. [K]
    """

    mass_flow: Numeric
    inlet_temperature: Numeric
    pressure_ratio: Numeric
    efficiency: Numeric = 0.72
    cooled_to: Numeric = 323.15


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricDrive:
    """An electric chain from the wheels back to the pack.

    Attributes
    ----------
    wheel_power
        At full load. [W]
    gearbox, motor, inverter
        Efficiencies. [-]
    pack_current, pack_resistance
        Full-load current [A] and internal resistance [ohm].
    """

    wheel_power: Numeric
    gearbox: Numeric = 0.97
    motor: Numeric = 0.95
    inverter: Numeric = 0.98
    pack_current: Numeric = 0.0
    pack_resistance: Numeric = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerPlant:
    """What makes heat. Leave out what the car does not have.

    Attributes
    ----------
    engine
        ``"atmospheric"``, ``"turbocharged"`` or None.
    brake_power
        Engine power at full load. [W]
    charge, electric
        The compressor and the electric chain, where there are any.
    """

    engine: EngineKind | None = None
    brake_power: Numeric = 0.0
    charge: ChargeAir | None = None
    electric: ElectricDrive | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """Share of full load, as a lap's mean and in its worst minute. [-]"""

    lap_mean: Numeric = 0.6
    worst_minute: Numeric = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLoads:
    """Heat to shed by circuit.

    Attributes
    ----------
    lap_mean, worst_minute
        Circuit to heat, one number or one per draw. [W]
    origin
        Circuit to how the load is known.
    sources, notices
        What it rests on and what to heed.
    """

    lap_mean: Mapping[str, Numeric]
    worst_minute: Mapping[str, Numeric]
    origin: Mapping[str, Origin]
    sources: tuple[Source, ...] = _SOURCES
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)


def engine_split(engine: EngineKind) -> dict[str, Band]:
    """Return the default split of an engine: shares of brake power with 80 % ranges. [-].

    Raises
    ------
    UnknownName
        If the kind of engine is not on the list.

    References
    ----------
    [heywood1988] Table 12.1, from memory, for the atmospheric engine; the turbocharged
    rows are common practice without a source.
    """
    text = files("tuftwork.cooling").joinpath("data/engine_split.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    if engine not in table:
        raise UnknownName("engine", engine, table)
    return {
        name: Band(low=row[0], best=row[1], high=row[2], note="engine_split.toml")
        for name, row in table[engine].items()
    }


def compressor_outlet_temperature(
    inlet_temperature: Numeric, pressure_ratio: Numeric, efficiency: Numeric
) -> Array:
    """Return the temperature behind a compressor. [K].

    T2 = T1 [1 + (PR^((γ-1)/γ) - 1)/η], γ = 1.4.

    Parameters
    ----------
    inlet_temperature : (...)
        T1. [K]
    pressure_ratio : (...)
        PR, at least 1. [-]
    efficiency : (...)
        η, isentropic. [-]

    Raises
    ------
    InputError
        If a temperature is not absolute, PR is below 1, or η is not in 0 to 1.

    References
    ----------
    [dixon1998] Ex. 2.1.
    """
    t1 = kelvin("inlet_temperature", inlet_temperature)
    ratio = within("pressure_ratio", pressure_ratio, "", (1.0, 60.0))
    eta = within("efficiency", positive("efficiency", efficiency, ""), "", (0.05, 1.0))
    return np.asarray(t1 * (1.0 + (ratio ** ((GAMMA_AIR - 1.0) / GAMMA_AIR) - 1.0) / eta))


def compressor_efficiency(
    pressure_ratio: Numeric, inlet_temperature: Numeric, outlet_temperature: Numeric
) -> tuple[Numeric, Numeric]:
    """Return isentropic and polytropic efficiency of a measured compression. [-].

    η_s = (PR^k - 1)/(T2/T1 - 1), η_p = k ln PR / ln(T2/T1), k = (γ-1)/γ.

    References
    ----------
    [dixon1998] Ex. 2.1.
    """
    k = (GAMMA_AIR - 1.0) / GAMMA_AIR
    rise = kelvin("outlet_temperature", outlet_temperature) / kelvin(
        "inlet_temperature", inlet_temperature
    )
    if not np.all(rise > 1.0):
        raise InputError("outlet_temperature", float(np.min(rise)), "T2/T1", "must exceed T1")
    ratio = np.asarray(pressure_ratio, dtype=float)
    return (ratio**k - 1.0) / (rise - 1.0), k * np.log(ratio) / np.log(rise)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeCooled:
    """Charge air behind its cooler: temperature [K], heat [W], density ratio [-]."""

    temperature: Numeric
    heat: Numeric
    density_ratio: Numeric


def cooled_charge(
    charge: ChargeAir, coolant_temperature: Numeric, effectiveness: Numeric, loss: Numeric = 0.0
) -> ChargeCooled:
    """Return what a charge cooler of known temperature effectiveness does.

    T = T2 - ε (T2 - Tc), Q = m cp (T2 - T), density ratio (T2/T)(1 - Δp/p2).

    Parameters
    ----------
    charge
        The compressor; ``cooled_to`` is not used.
    coolant_temperature : (...)
        Tc. [K]
    effectiveness : (...)
        ε. [-]
    loss : (...)
        Δp/p2, share of the boost pressure lost in the cooler. [-]
    """
    t2 = compressor_outlet_temperature(
        charge.inlet_temperature, charge.pressure_ratio, charge.efficiency
    )
    eps = within("effectiveness", effectiveness, "", (0.0, 1.0))
    temperature = t2 - eps * (t2 - kelvin("coolant_temperature", coolant_temperature))
    heat = positive("mass_flow", charge.mass_flow, "kg/s") * CP_AIR * (t2 - temperature)
    ratio = t2 / temperature * (1.0 - within("loss", loss, "", (0.0, 0.9)))
    return ChargeCooled(temperature=temperature, heat=heat, density_ratio=np.asarray(ratio))


def electric_losses(drive: ElectricDrive) -> dict[str, Numeric]:
    """Return the heat of gearbox, motor, inverter and battery at full load. [W].

    Each stage loses P_out (1/η - 1); the pack loses I² R.

    Raises
    ------
    InputError
        If an efficiency is not in 0 to 1.
    """
    power: Numeric = positive("wheel_power", drive.wheel_power, "W")
    losses: dict[str, Numeric] = {}
    stages = (("gearbox", drive.gearbox), ("motor", drive.motor), ("inverter", drive.inverter))
    for name, efficiency in stages:
        eta = within(name, efficiency, "", (0.3, 1.0))
        losses[name] = power * (1.0 / eta - 1.0)
        power = power / eta
    current = not_negative("pack_current", drive.pack_current, "A")
    losses["battery"] = current**2 * not_negative("pack_resistance", drive.pack_resistance, "ohm")
    return losses


@dataclass(frozen=True, slots=True, kw_only=True)
class TestBed:
    """A measured engine run, for its heat balance. SI units, exhaust referred to the air.

    Attributes
    ----------
    fuel_flow, heating_value
        [kg/s] and [J/kg].
    torque, speed
        [N m] and [rad/s].
    water_flow, water_rise
        [kg/s] and [K]; specific heat 4180 J/(kg K).
    exhaust_flow, exhaust_rise, exhaust_heat
        [kg/s], [K] above ambient, [J/(kg K)].
    """

    __test__ = False

    fuel_flow: float
    heating_value: float
    torque: float
    speed: float
    water_flow: float
    water_rise: float
    exhaust_flow: float
    exhaust_rise: float
    exhaust_heat: float = 1170.0
    water_heat: float = 4180.0


def heat_balance(run: TestBed) -> dict[str, float]:
    """Return fuel, brake, water, exhaust and the rest, which closes the balance. [W].

    Raises
    ------
    InputError
        If the parts exceed the fuel's power; usual cause: a unit slip.
    """
    fuel = run.fuel_flow * run.heating_value
    parts = {
        "brake": run.torque * run.speed,
        "water": run.water_flow * run.water_heat * run.water_rise,
        "exhaust": run.exhaust_flow * run.exhaust_heat * run.exhaust_rise,
    }
    rest = fuel - sum(parts.values())
    if not rest >= 0:
        raise InputError("heat balance", rest, "W", "parts exceed the fuel's power", "Check units.")
    return {"fuel": fuel, **parts, "rest": rest}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Full:
    """Full-load heat and origins while they are gathered."""

    heat: dict[str, Numeric] = field(default_factory=dict)
    origin: dict[str, Origin] = field(default_factory=dict)


def heat_loads(
    plant: PowerPlant,
    duty: Duty,
    *,
    measured: Mapping[str, Numeric] | None = None,
    draws: tuple[int, int] | None = None,
) -> HeatLoads:
    """Return the heat of every circuit, as a lap's mean and in the worst minute.

    Parameters
    ----------
    plant
        Engine, compressor and electric chain.
    duty
        Shares of full load. The lap room's values are entered here when they are known.
    measured
        Circuit to measured lap-mean heat [W]; it replaces the estimate, and the worst minute
        is scaled by the duty.
    draws
        Number of draws and seed; None gives best values only.

    Returns
    -------
    loads
        Heat [W] by circuit with origins and cautions.

    Raises
    ------
    InputError
        If nothing makes heat, a share is not in 0 to 1, or the worst minute is below the mean.
    UnknownName
        If a measured circuit is not one of ``CIRCUITS``.

    References
    ----------
    [heywood1988] Table 12.1.
    """
    mean = within("lap_mean", duty.lap_mean, "", (0.0, 1.0))
    worst = within("worst_minute", duty.worst_minute, "", (0.0, 1.0))
    if not np.all(worst >= mean):
        raise InputError("worst_minute", float(np.min(worst)), "", "must not be below lap_mean")
    full = _full_load(plant, draws)
    given = dict(measured or {})
    for name, value in given.items():
        if name not in CIRCUITS:
            raise UnknownName("measured", name, CIRCUITS)
        not_negative(name, value, "W")
    if not full.heat and not given:
        raise InputError("plant", "empty", "", "nothing in it makes heat", "Give an engine.")
    lap_mean = {name: value * mean for name, value in full.heat.items()} | given
    peak = {name: value * worst for name, value in full.heat.items()}
    peak |= {name: value * worst / mean for name, value in given.items()}
    origin = full.origin | dict.fromkeys(given, "measured")
    return HeatLoads(lap_mean=lap_mean, worst_minute=peak, origin=origin)


def _full_load(plant: PowerPlant, draws: tuple[int, int] | None) -> _Full:
    full = _Full()
    if plant.engine is not None:
        power = positive("brake_power", plant.brake_power, "W")
        split = engine_split(plant.engine)
        for offset, name in enumerate(("water", "oil", "gearbox")):
            share = split[name].best if draws is None else split[name].draws(
                draws[0], draws[1] + offset
            )  # fmt: skip
            full.heat[name] = power * share
            full.origin[name] = "assumed"
    if plant.charge is not None:
        t2 = compressor_outlet_temperature(
            plant.charge.inlet_temperature, plant.charge.pressure_ratio, plant.charge.efficiency
        )
        drop = t2 - kelvin("cooled_to", plant.charge.cooled_to)
        flow = positive("mass_flow", plant.charge.mass_flow, "kg/s")
        full.heat["charge"] = flow * CP_AIR * np.maximum(drop, 0.0)
        full.origin["charge"] = "computed"
    if plant.electric is not None:
        for name, loss in electric_losses(plant.electric).items():
            full.heat[name] = full.heat.get(name, 0.0) + loss
            full.origin[name] = "computed"
    return full
