"""Heat-up over a stint and soak after stopping."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.cooling.forecast import with_heat_scaled
from tuftwork.cooling.guard import kelvin, not_negative, positive, rising
from tuftwork.cooling.loop import Loop
from tuftwork.cooling.loop_part import Thermostat
from tuftwork.cooling.net import has_fan
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.surroundings import Surroundings
from tuftwork.cooling.system import CoolingState, CoolingSystem, solve_cooling
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array, Numeric

_FULL = 30.0  # [m/s] from which on full heat is passed
_HALVINGS = 4  # of that heat at a crawl before the net counts as not converged
_GRID = np.array([4.0, 8.0, 15.0, 25.0, 40.0, 60.0, 85.0])  # [m/s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stint:
    """Speed and heat over time.

    Attributes
    ----------
    time, speed
        [s], [m/s].
    heat_share
        Heat over the loops' entered heat. [-]
    """

    time: Array
    speed: Array
    heat_share: Array

    def __post_init__(self) -> None:
        rising("time", self.time, "s")
        not_negative("speed", self.speed, "m/s")
        not_negative("heat_share", self.heat_share, "")
        if not len(self.time) == len(self.speed) == len(self.heat_share):
            raise InputError("stint", len(self.speed), "rows", "columns differ in length")


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermalMass:
    """What a loop has to warm. Capacity [J/K], still-air loss [W/K], start [K] (None: ambient)."""

    capacity: Numeric
    still_loss: Numeric = 15.0
    start: Numeric | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatUp:
    """Hottest temperature of a loop over a stint.

    Attributes
    ----------
    time
        [s]
    temperature
        ``(n_time, n_draw)`` [K]
    peak
        ``(n_draw,)`` [K]
    notices
        What to heed.
    """

    time: Array
    temperature: Array
    peak: Array
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)


def heat_up(
    system: CoolingSystem,
    stint: Stint,
    masses: Mapping[str, ThermalMass],
    *,
    temperature: Numeric = 288.15,
    pressure: Numeric = 101325.0,
) -> dict[str, HeatUp]:
    """Return how each loop warms over a stint, thermostat included.

    The steady network gives each loop's resistance R(V) = (T_hot - T_ambient)/Q at seven
    speeds with the thermostat open, below 30 m/s with less heat; then
    C dT/dt = Q - x(T) (T - T_a)/R - still loss, exact within each step. Preheat by another
    circuit is in R and scales with it.

    Parameters
    ----------
    system, stint
        The car and what it does.
    masses
        Loop to its thermal mass; every loop needs one.

    Raises
    ------
    UnknownName
        If a mass names no loop.
    InputError
        If a loop has no mass.
    """
    for name in masses:
        system.loop(name)
    open_system = replace(system, loops=tuple(_opened(loop) for loop in system.loops))
    steady = [
        _steady(open_system, Surroundings(speed=v, temperature=temperature, pressure=pressure))
        for v in _GRID.tolist()
    ]
    out: dict[str, HeatUp] = {}
    for loop in system.loops:
        if loop.name not in masses:
            raise InputError("masses", loop.name, "", "has no thermal mass", "Give its capacity.")
        resistance = np.stack([
            (state.hottest(loop.name) - temperature) / np.maximum(loop.heat * load, 1e-9)
            for load, state in steady
        ])  # fmt: skip
        out[loop.name] = _warmed(loop, stint, masses[loop.name], 1.0 / resistance, temperature)
    return out


def _steady(system: CoolingSystem, around: Surroundings) -> tuple[float, CoolingState]:
    """Return the share of full heat, and the steady state there.

    At a crawl even that share may throttle a draw's little air until it never settles: then half.
    A resistance hangs little on the heat it is taken at.
    """
    load = _load(float(np.max(around.speed)))
    for _ in range(_HALVINGS):
        try:
            return load, solve_cooling(with_heat_scaled(system, load), around)
        except NotConverged:
            load *= 0.5
    return load, solve_cooling(with_heat_scaled(system, load), around)


def _load(speed: float) -> float:
    """Return the share of full heat at which a speed's resistance is taken.

    Full heat in the little air of a slow car would throttle that air, which no car lives to see.
    """
    return min(1.0, speed / _FULL)


def _warmed(
    loop: Loop, stint: Stint, mass: ThermalMass, conductance: Array, ambient: Numeric
) -> HeatUp:
    """March one loop's mass; conductance is (n_speed, n_draw) with the thermostat open."""
    n_draw = conductance.shape[1]
    air = np.array(np.broadcast_to(ambient, (n_draw,)), dtype=float)
    now = air.copy() if mass.start is None else np.array(np.broadcast_to(mass.start, (n_draw,)))
    capacity = positive("capacity", mass.capacity, "J/K")
    valve = next((p for p in loop.parts if isinstance(p, Thermostat)), None)
    out = np.empty((len(stint.time), n_draw))
    out[0] = now
    for k in range(1, len(stint.time)):
        dt = float(stint.time[k] - stint.time[k - 1])
        speed = 0.5 * float(stint.speed[k] + stint.speed[k - 1])
        open_g = _at_speed(conductance, speed)
        n_sub = max(1, int(dt / 2.0))
        heat = loop.heat * 0.5 * (stint.heat_share[k] + stint.heat_share[k - 1])
        for _ in range(n_sub):
            share = 1.0 if valve is None else valve.share(now)
            g = open_g * share + mass.still_loss
            aim = air + heat / g
            now = aim + (now - aim) * np.exp(-g * dt / n_sub / capacity)
        out[k] = now
    return HeatUp(time=stint.time, temperature=out, peak=np.asarray(out.max(axis=0)))


def _at_speed(conductance: Array, speed: float) -> Array:
    """Interpolate in speed; below the grid the conductance falls to 0 with the speed."""
    if speed <= _GRID[0]:
        return np.asarray(conductance[0] * speed / _GRID[0])
    k = min(int(np.searchsorted(_GRID, speed)), len(_GRID) - 1)
    w = min((speed - _GRID[k - 1]) / (_GRID[k] - _GRID[k - 1]), 1.0)
    return np.asarray((1.0 - w) * conductance[k - 1] + w * conductance[k])


def _opened(loop: Loop) -> Loop:
    """Return the loop with its thermostat held open."""
    parts = tuple(
        replace(p, opens=210.0, fully_open=211.0) if isinstance(p, Thermostat) else p
        for p in loop.parts
    )
    return replace(loop, parts=parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class HotEngine:
    """An engine at the moment it stops.

    Attributes
    ----------
    metal_capacity, coolant_capacity
        [J/K]
    metal, coolant
        Temperatures at the stop. [K]
    between
        Conductance metal to coolant without flow. [W/K]
    metal_loss, coolant_loss
        To the bay. [W/K]
    """

    metal_capacity: Numeric = 70e3
    coolant_capacity: Numeric = 35e3
    metal: Numeric = 400.0
    coolant: Numeric = 370.0
    between: Numeric = 250.0
    metal_loss: Numeric = 8.0
    coolant_loss: Numeric = 12.0


def soak(engine: HotEngine, bay: Numeric, duration: float = 1800.0) -> HeatUp:
    """Return the coolant's temperature after the engine and its pump stop.

    Two masses, exact: C_m T_m' = -G (T_m - T_c) - U_m (T_m - T_b), and the like for the
    coolant. It peaks before it falls: compare the peak with ``boiling_temperature``.

    Parameters
    ----------
    engine
        Masses and conductances.
    bay : (...)
        Air in the bay. [K]
    duration : ()
        [s]
    """
    kelvin("metal", engine.metal)
    kelvin("coolant", engine.coolant)
    values = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=float)) for v in (
        engine.metal_capacity, engine.coolant_capacity, engine.between, engine.metal_loss,
        engine.coolant_loss, engine.metal, engine.coolant, kelvin("bay", bay),
    )))  # fmt: skip
    cm, cc, g, um, uc, tm, tc, tb = values
    a11, a12, a21, a22 = -(g + um) / cm, g / cm, g / cc, -(g + uc) / cc
    mean, half = 0.5 * (a11 + a22), 0.5 * (a11 - a22)
    root = np.sqrt(half**2 + a12 * a21)
    l1, l2 = mean + root, mean - root
    x0, y0 = tm - tb, tc - tb
    time = np.linspace(0.0, positive("duration", duration, "s"), 361)
    t = time[:, None]
    slope = a21 * x0 + a22 * y0
    c1 = (slope - l2 * y0) / (l1 - l2)
    c2 = y0 - c1
    temperature = tb + c1 * np.exp(l1 * t) + c2 * np.exp(l2 * t)
    return HeatUp(time=time, temperature=temperature, peak=np.asarray(temperature.max(axis=0)))


def needs_fan(system: CoolingSystem) -> bool:
    """Return whether the car has nothing that moves air at standstill."""
    return not has_fan(system.air)
