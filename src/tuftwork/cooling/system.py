"""Air net, coolant loops and hot streams of one car, solved together."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.core import Core
from tuftwork.cooling.element import Cooler
from tuftwork.cooling.exchanger import effectiveness
from tuftwork.cooling.guard import different_names, kelvin, not_negative, positive
from tuftwork.cooling.loop import Loop, LoopHydraulics, LoopState, Sink, loop_hydraulics, solve_loop
from tuftwork.cooling.net import AirNet, topology
from tuftwork.cooling.network import (
    AirFlow,
    FlowState,
    calmed,
    cold_state,
    element_values,
    finished_flow,
    n_draw_of,
    one_pass,
)
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.surface import CP_AIR
from tuftwork.cooling.surroundings import OUTSIDE, Surroundings
from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.quantity import Array, Numeric, Source

_OUTER = 80  # passes between flow, air and liquid temperatures
_AGREED = 1e-9  # [-]
SOURCES = (
    Source(key="todini1988", place="sec. 3", status="memory"),
    Source(key="mason1955", place="crossflow series", status="memory"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HotStream:
    """A hot gas through an air-to-air cooler, for example charge air.

    Attributes
    ----------
    cooler
        Name of the cooler in the air net.
    mass_flow, temperature
        [kg/s], [K] at its inlet.
    """

    cooler: str
    mass_flow: Numeric
    temperature: Numeric

    def __post_init__(self) -> None:
        positive(f"{self.cooler}: mass_flow", self.mass_flow, "kg/s")
        kelvin(f"{self.cooler}: temperature", self.temperature)


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedHeat:
    """A cooler whose heat is known from measurement. [W]."""

    cooler: str
    heat: Numeric

    def __post_init__(self) -> None:
        not_negative(f"{self.cooler}: heat", self.heat, "W")


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingSystem:
    """Everything that is cooled by one air net."""

    air: AirNet
    loops: tuple[Loop, ...] = ()
    streams: tuple[HotStream, ...] = ()
    fixed: tuple[FixedHeat, ...] = ()

    def __post_init__(self) -> None:
        different_names("loops", [loop.name for loop in self.loops])
        served = [c for loop in self.loops for c in loop.coolers]
        served += [s.cooler for s in self.streams] + [f.cooler for f in self.fixed]
        different_names("coolers served", served)
        _check_plates(self.loops)
        here = {part.name for part in self.air.elements if isinstance(part, Cooler)}
        for name in served:
            if name not in here:
                raise UnknownName("cooler", name, sorted(here))

    def loop(self, name: str) -> Loop:
        """Return the loop with a name."""
        for loop in self.loops:
            if loop.name == name:
                return loop
        raise UnknownName("loop", name, [loop.name for loop in self.loops])

    def core(self, name: str) -> Core:
        """Return the core of a cooler."""
        part = self.air.part(name)
        if not isinstance(part, Cooler):
            raise InputError("cooler", name, "", "is not a cooler")
        return part.core

    def n_draw(self, around: Surroundings) -> int:
        """Return how many draws the inputs hold."""
        parts = (*self.air.elements, *self.streams, *self.fixed)
        loops = tuple(part for loop in self.loops for part in loop.parts)
        return n_draw_of(
            around.speed,
            around.temperature,
            around.pressure,
            around.humidity,
            *element_values((*parts, *loops)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingState:
    """A car's cooling at one condition; draws last.

    Attributes
    ----------
    air
        Flows, pressures, air temperatures.
    loops
        Loop name to its state.
    stream_outlet
        Cooler to the outlet temperature of its hot stream. [K]
    heat
        Cooler to the heat it sheds. [W]
    sources, notices
        What it rests on and what to heed.
    """

    air: AirFlow
    loops: Mapping[str, LoopState]
    stream_outlet: Mapping[str, Array]
    heat: Mapping[str, Array]
    sources: tuple[Source, ...] = SOURCES
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)

    def hottest(self, loop: str) -> Array:
        """Return the hottest temperature of a loop, or what leaves a stream's cooler [K]."""
        if loop in self.stream_outlet:
            return self.stream_outlet[loop]
        if loop not in self.loops:
            raise UnknownName("loop", loop, [*self.loops, *self.stream_outlet])
        return self.loops[loop].hottest


def _check_plates(loops: tuple[Loop, ...]) -> None:
    """Refuse a liquid-to-liquid cooler that does not have its two sides."""
    sides = [(plate, loop.name) for loop in loops for plate in loop.plates]
    for plate, loop in sides:
        pair = [other for other, _ in sides if other.name == plate.name]
        if len(pair) != 2:
            raise InputError(
                f"{plate.name} in loop {loop}", len(pair), "sides", "must be in two loops",
                "Put a part of this name into the loop that cools it.",
            )  # fmt: skip
        if not np.allclose(pair[0].conductance, pair[1].conductance):
            raise InputError(plate.name, "two conductances", "W/K", "must be one in both loops")


@dataclass(slots=True)
class _Plates:
    """What each side of the liquid-to-liquid coolers shows the other: inlet [K], C [W/K]."""

    inlet: dict[tuple[str, str], Array]
    capacity: dict[tuple[str, str], Array]
    moved: float = 0.0

    @classmethod
    def cold(cls, system: CoolingSystem, ambient: Array) -> "_Plates":
        """Return a state that knows nothing: every liquid 60 K above ambient."""
        keys = [(loop.name, plate.name) for loop in system.loops for plate in loop.plates]
        return cls(
            inlet=dict.fromkeys(keys, ambient + 60.0),
            capacity={key: np.full(ambient.shape, 1e3) for key in keys},
        )

    def sinks(self, loop: Loop, water: LoopHydraulics) -> dict[str, Sink]:
        """Return what a loop meets in its liquid-to-liquid coolers."""
        found = {}
        for plate in loop.plates:
            other = next(k for k in self.inlet if k[1] == plate.name and k[0] != loop.name)
            found[plate.name] = Sink(
                _PlateExchange(plate.conductance, self.capacity[other], water.capacity),
                self.inlet[other],
            )
        return found

    def take(self, loop: Loop, state: LoopState, capacity: float) -> None:
        """Keep what a solved loop shows its partners."""
        for plate in loop.plates:
            key, row = (loop.name, plate.name), state.names.index(plate.name)
            new = state.inlet[row]
            self.moved = max(self.moved, float(np.max(np.abs(new / self.inlet[key] - 1.0))))
            self.inlet[key] = new.copy()
            self.capacity[key] = np.abs(state.flow[row]) * capacity


@dataclass(frozen=True, slots=True)
class _PlateExchange:
    """A liquid-to-liquid cooler, counterflow, as a loop asks for it."""

    conductance: Numeric
    other: Array
    capacity: float

    def __call__(self, liquid_flow: Array) -> Array:
        own = np.maximum(liquid_flow * self.capacity, 1e-6)
        other = np.maximum(self.other, 1e-6)
        smaller, larger = np.minimum(own, other), np.maximum(own, other)
        eps = effectiveness(self.conductance / smaller, smaller / larger, "counterflow")
        return np.asarray(eps * smaller)


@dataclass(frozen=True, slots=True)
class _Exchange:
    """A core at an air flow, as the loop asks for it."""

    core: Core
    air_flow: Array
    capacity: float
    air_heat: Numeric

    def __call__(self, liquid_flow: Array) -> Array:
        return np.asarray(
            self.core.exchange(
                self.air_flow, liquid_flow * self.capacity, liquid_flow, self.air_heat
            )
        )


def solve_cooling(system: CoolingSystem, around: Surroundings) -> CoolingState:
    """Return every flow and temperature of a car's cooling, all draws in one call.

    Air flow, heat pick-up, liquid temperatures and air density are repeated until flows and
    heats agree to 1e-9.

    Parameters
    ----------
    system
        Net, loops and streams.
    around
        Speed and air outside.

    Raises
    ------
    NotConverged
        If any draw stops short; usual cause: a loaded cooler that gets almost no air.
    """
    count = system.n_draw(around)
    net = system.air
    top = topology(tuple((p.start, p.end) for p in net.elements), OUTSIDE)
    ambient = np.array(np.broadcast_to(around.temperature, (count,)), dtype=float)
    state = cold_state(net, top, count, ambient)
    waters = {loop.name: loop_hydraulics(loop, count) for loop in system.loops}
    heats = _first_heats(system, count)
    loops: dict[str, LoopState] = {}
    plates = _Plates.cold(system, ambient)
    for turn in range(_OUTER):
        moved = one_pass(net, top, around, heats, state, calmed(turn))
        new, loops = _new_heats(system, waters, state, plates, around.heat_capacity)
        scale = max(float(np.max(np.abs(new))), 1.0)
        changed = float(np.max(np.abs(new - heats))) / scale
        if max(moved, changed, plates.moved) < _AGREED:
            break
        heats = new if turn < 25 else 0.5 * (heats + new)
    else:
        raise NotConverged(
            f"cooling not settled after {_OUTER} passes: flow moves by {moved:.1e}, heat by "
            f"{changed:.1e}. Usual cause: a loaded cooler that gets almost no air."
        )
    air = finished_flow(net, top, around, heats, state)
    return _finished(system, air, loops)


def _first_heats(system: CoolingSystem, count: int) -> Array:
    heats = np.zeros((count, len(system.air.elements)))
    names = system.air.names
    for loop in system.loops:
        for cooler in loop.coolers:
            heats[:, names.index(cooler)] = loop.heat / len(loop.coolers)
    for known in system.fixed:
        heats[:, names.index(known.cooler)] = known.heat
    return heats


def _new_heats(
    system: CoolingSystem,
    waters: Mapping[str, LoopHydraulics],
    state: FlowState,
    plates: _Plates,
    air_heat: Numeric,
) -> tuple[Array, dict[str, LoopState]]:
    """Return the heat every cooler would give at the present air, and the loops' states."""
    names = system.air.names
    heats = np.zeros(state.flow.shape)
    for known in system.fixed:
        heats[:, names.index(known.cooler)] = known.heat
    for stream in system.streams:
        e = names.index(stream.cooler)
        per_kelvin = system.core(stream.cooler).exchange(
            state.flow[:, e], np.asarray(stream.mass_flow * CP_AIR), None, air_heat
        )
        heats[:, e] = per_kelvin * (stream.temperature - state.inlet[:, e])
    solved: dict[str, LoopState] = {}
    plates.moved = 0.0
    for loop in system.loops:
        water = waters[loop.name]
        sinks = {
            cooler: Sink(
                _Exchange(
                    system.core(cooler),
                    state.flow[:, names.index(cooler)].copy(),
                    water.capacity,
                    air_heat,
                ),
                state.inlet[:, names.index(cooler)].copy(),
            )
            for cooler in loop.coolers
        }
        solved[loop.name] = solve_loop(loop, water, sinks | plates.sinks(loop, water))
        plates.take(loop, solved[loop.name], water.capacity)
        for cooler in loop.coolers:
            row = solved[loop.name].names.index(cooler)
            heats[:, names.index(cooler)] = -solved[loop.name].heat[row]
    return heats, solved


def _finished(system: CoolingSystem, air: AirFlow, loops: Mapping[str, LoopState]) -> CoolingState:
    outlets = {
        s.cooler: np.asarray(s.temperature - air.of(s.cooler, "heat") / (s.mass_flow * CP_AIR))
        for s in system.streams
    }
    coolers = [part.name for part in system.air.elements if isinstance(part, Cooler)]
    notices = [TEMPERATURE_CAUTION]
    if air.reversed_parts:
        notices.append(f"Air runs backwards through: {', '.join(air.reversed_parts)}.")
    return CoolingState(
        air=air,
        loops=loops,
        stream_outlet=outlets,
        heat={name: air.of(name, "heat") for name in coolers},
        notices=tuple(notices),
    )
