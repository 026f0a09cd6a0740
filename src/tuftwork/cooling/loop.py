"""Coolant loops: pump, heat, cores, thermostat and mixing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling._hydraulics import solve_all
from tuftwork.cooling.coolant import FLUIDS, liquid_state
from tuftwork.cooling.guard import different_names, positive
from tuftwork.cooling.loop_part import (
    OPENINGS,
    CoreSide,
    HeatSource,
    LoopPart,
    Pipe,
    PlateSide,
    Pump,
    Thermostat,
)
from tuftwork.cooling.net import topology
from tuftwork.cooling.network import stacked_laws
from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.quantity import Array, Numeric


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A closed circuit of one liquid.

    Attributes
    ----------
    name, fluid
        Its name, and one of ``FLUIDS``.
    parts
        Pump, sources, cores, pipes, thermostats.
    design_temperature
        At which the liquid's heat capacity is taken. [K]
    """

    name: str
    parts: tuple[LoopPart, ...]
    fluid: str = "water"
    design_temperature: float = 363.15

    def __post_init__(self) -> None:
        if self.fluid not in FLUIDS:
            raise UnknownName("fluid", self.fluid, FLUIDS)
        different_names(f"parts of loop {self.name}", [part.name for part in self.parts])
        faults = _loop_faults(self)
        if faults:
            raise InputError(f"loop {self.name}", "; ".join(faults), "", "cannot work")

    @property
    def heat(self) -> Numeric:
        """Heat given to the loop whatever its temperature [W]."""
        return sum((np.asarray(p.heat) for p in self.parts if isinstance(p, HeatSource)),
                   start=np.zeros(()))  # fmt: skip

    @property
    def coolers(self) -> tuple[str, ...]:
        """Names of its coolers."""
        return tuple(part.name for part in self.parts if isinstance(part, CoreSide))

    @property
    def plates(self) -> tuple[PlateSide, ...]:
        """Its sides of liquid-to-liquid coolers."""
        return tuple(part for part in self.parts if isinstance(part, PlateSide))


def simple_loop(
    name: str,
    coolers: tuple[str, ...],
    *,
    heat: Numeric,
    flow: Numeric,
    fluid: str = "water",
    thermostat: tuple[float, float] | None = None,
    plates: Mapping[str, Numeric] | None = None,
) -> Loop:
    """Return the usual loop: pump, heat, thermostat with bypass, coolers in series, back.

    Parameters
    ----------
    name
        Of the loop.
    coolers
        Names of its coolers in the air net, in the order the liquid meets them.
    heat : (...)
        [W]
    flow : (...)
        Through the coolers with the thermostat open. [kg/s]
    fluid
        One of ``FLUIDS``.
    thermostat
        Opening and fully-open temperature [K], or None.
    plates
        Liquid-to-liquid coolers shared with another loop, met after the coolers: name to
        conductance [W/K].
    """
    m = positive("flow", flow, "kg/s")
    drop = 4.0e4  # [Pa]  a common pump's rise; only ratios matter to the flows
    shared = dict(plates or {})
    names = (*coolers, *shared)
    each = drop / m**2 / (2 + len(names))
    parts: list[LoopPart] = [
        Pump(name="pump", start="return", end="cold", shut_rise=2.0 * drop,
             free_flow=np.asarray(m * 2.0**0.5)),
        HeatSource(name="heat", start="cold", end="hot", heat=heat, loss=np.asarray(each)),
    ]  # fmt: skip
    entry = "hot" if thermostat is None else "feed"
    if thermostat is not None:
        opens, full = thermostat
        parts.append(Thermostat(name="valve", start="hot", end="feed", opens=opens,
                                fully_open=full, loss=np.asarray(0.5 * each)))  # fmt: skip
        parts.append(Thermostat(name="bypass", start="hot", end="return", opens=opens,
                                fully_open=full, loss=np.asarray(2.0 * each),
                                is_bypass=True))  # fmt: skip
    for k, cooler in enumerate(names):
        leave = "tail" if k == len(names) - 1 else f"between {k + 1}"
        loss = np.asarray(each)
        parts.append(
            PlateSide(name=cooler, start=entry, end=leave, conductance=shared[cooler], loss=loss)
            if cooler in shared
            else CoreSide(name=cooler, start=entry, end=leave, loss=loss)
        )
        entry = leave
    rest = each * (1.0 if thermostat is None else 0.5)
    parts.append(Pipe(name="hoses", start=entry, end="return", loss=np.asarray(rest)))
    return Loop(name=name, parts=tuple(parts), fluid=fluid)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopState:
    """A solved loop; draws last.

    Attributes
    ----------
    names, nodes
        Of parts and nodes.
    flow
        ``(n_part, n_draw)`` [kg/s]
    temperature
        ``(n_node, n_draw)`` [K]
    inlet, outlet
        Of each part in the direction of its flow. [K]
    heat
        Given by each part to the liquid; a cooler's is negative. [W]
    hottest
        The hottest node, ``(n_draw,)``. [K]
    opening
        Of the thermostat, 1 where there is none, ``(n_draw,)``. [-]
    """

    names: tuple[str, ...]
    nodes: tuple[str, ...]
    flow: Array
    temperature: Array
    inlet: Array
    outlet: Array
    heat: Array
    hottest: Array
    opening: Array


@dataclass(slots=True)
class LoopHydraulics:
    """Flows of a loop at every thermostat opening; temperature does not change them."""

    start: np.ndarray
    end: np.ndarray
    nodes: tuple[str, ...]
    openings: np.ndarray
    flows: np.ndarray
    capacity: float


def loop_hydraulics(loop: Loop, n_draw: int) -> LoopHydraulics:
    """Solve the loop's flows once for every thermostat opening."""
    edges = tuple((part.start, part.end) for part in loop.parts)
    ground = loop.parts[0].start
    top = topology(edges, ground)
    valves = [p for p in loop.parts if isinstance(p, Thermostat)]
    openings = OPENINGS if valves else np.array([1.0])
    flows = np.empty((len(openings), n_draw, len(edges)))
    for k, opening in enumerate(openings):
        laws = stacked_laws([part.law(float(opening)) for part in loop.parts], n_draw)
        laws[:, 5, :] = 1e-4  # [kg/s]  smoothing flow
        flow = np.full((n_draw, len(edges)), np.nan)
        status = np.zeros(n_draw, dtype=np.int64)
        pressure = np.zeros((n_draw, len(top.nodes)))
        solve_all(top.start, top.end, top.fill_start, top.fill_row, laws, flow, pressure, status)
        if np.any(status < 0):
            raise NotConverged(f"flows of loop {loop.name} not found")
        flows[k] = flow
    nodes = (*top.nodes, ground)
    ground_at = len(top.nodes)
    return LoopHydraulics(
        start=np.where(top.start < 0, ground_at, top.start),
        end=np.where(top.end < 0, ground_at, top.end),
        nodes=nodes,
        openings=openings,
        flows=flows,
        capacity=float(liquid_state(loop.fluid, loop.design_temperature).specific_heat),
    )


@dataclass(frozen=True, slots=True)
class Sink:
    """What a loop's cooler can do now.

    Attributes
    ----------
    exchange
        Heat per kelvin between the two inlets [W/K] at a liquid flow [kg/s].
    air_inlet
        Of the air, or of the other liquid. [K]
    """

    exchange: Callable[[Array], Array]
    air_inlet: Array


def solve_loop(loop: Loop, water: LoopHydraulics, sinks: Mapping[str, Sink]) -> LoopState:
    """Return temperatures of a loop whose coolers face the given air."""
    valves = [p for p in loop.parts if isinstance(p, Thermostat)]
    flow = water.flows[-1]
    opening = np.ones(flow.shape[0])
    if valves:
        opening = _opening(loop, valves[0], water, sinks)
        flow = _between(water, opening)
    nodes, heat = _temperatures(loop, water, flow, sinks)
    up = np.where(flow >= 0, water.start, water.end)
    inlet = np.take_along_axis(nodes, up, axis=1)
    outlet = inlet + heat / np.maximum(np.abs(flow) * water.capacity, 1e-6)
    return LoopState(
        names=tuple(part.name for part in loop.parts),
        nodes=water.nodes,
        flow=flow.T.copy(),
        temperature=nodes.T.copy(),
        inlet=inlet.T.copy(),
        outlet=outlet.T.copy(),
        heat=heat.T.copy(),
        hottest=np.asarray(np.max(nodes, axis=1)),
        opening=opening,
    )


def _opening(
    loop: Loop, valve: Thermostat, water: LoopHydraulics, sinks: Mapping[str, Sink]
) -> Array:
    """Return how far the thermostat opens in each draw."""
    at = water.nodes.index(valve.start)

    def excess(k: int) -> Array:
        nodes, _ = _temperatures(loop, water, water.flows[k], sinks)
        return np.asarray(valve.share(nodes[:, at]) - water.openings[k])

    last = len(water.openings) - 1
    open_wide = excess(last)
    if np.all(open_wide >= 0.0):  # hot in every draw: nothing between needs to be looked at
        return np.ones(open_wide.shape)
    wanted = np.stack([*(excess(k) for k in range(last)), open_wide])
    return _crossing(water.openings, wanted)


def _temperatures(
    loop: Loop, water: LoopHydraulics, flow: Array, sinks: Mapping[str, Sink]
) -> tuple[Array, Array]:
    """Return node temperatures ``(n_draw, n_node)`` and heat of each part to the liquid."""
    n_draw, n_edge = flow.shape
    size = len(water.nodes)
    matrix, rhs = np.zeros((n_draw, size, size)), np.zeros((n_draw, size))
    rows = np.arange(n_draw)
    fixed, share, other = (np.zeros((n_draw, n_edge)) for _ in range(3))
    for e, part in enumerate(loop.parts):
        if isinstance(part, HeatSource):
            fixed[:, e], share[:, e], other[:, e] = part.heat, part.conductance, part.other
        elif isinstance(part, CoreSide | PlateSide):
            sink = sinks[part.name]
            share[:, e], other[:, e] = sink.exchange(np.abs(flow[:, e])), sink.air_inlet
    for e in range(n_edge):
        up = np.where(flow[:, e] >= 0, water.start[e], water.end[e])
        down = np.where(flow[:, e] >= 0, water.end[e], water.start[e])
        carried = np.maximum(np.abs(flow[:, e]), 1e-9) * water.capacity
        matrix[rows, down, down] += carried
        matrix[rows, down, up] -= carried - share[:, e]
        rhs[rows, down] += fixed[:, e] + share[:, e] * other[:, e]
    nodes = np.linalg.solve(matrix, rhs[:, :, None])[:, :, 0]
    up = np.where(flow >= 0, water.start, water.end)
    inlet = np.take_along_axis(nodes, up, axis=1)
    return nodes, fixed + share * (other - inlet)


def _crossing(openings: Array, excess: Array) -> Array:
    """Return the opening at which the wanted opening equals it; excess falls with opening."""
    out = np.full(excess.shape[1], openings[0])
    for k in range(len(openings) - 1):
        a, b = excess[k], excess[k + 1]
        here = (a > 0) & (b <= 0)
        with np.errstate(invalid="ignore", divide="ignore"):
            x = openings[k] + (openings[k + 1] - openings[k]) * a / (a - b)
        out = np.where(here, x, out)
    return np.where(excess[-1] >= 0, 1.0, out)


def _between(water: LoopHydraulics, opening: Array) -> Array:
    """Interpolate flows in the opening; continuity is linear, so it survives."""
    k = np.clip(np.searchsorted(water.openings, opening) - 1, 0, len(water.openings) - 2)
    low, high = water.openings[k], water.openings[k + 1]
    w = ((opening - low) / (high - low))[:, None]
    rows = np.arange(len(opening))
    return np.asarray((1.0 - w) * water.flows[k, rows] + w * water.flows[k + 1, rows])


def _loop_faults(loop: Loop) -> list[str]:
    """Return what keeps a loop from working."""
    faults: list[str] = []
    if not any(isinstance(p, Pump) for p in loop.parts):
        faults.append("no pump: add one, nothing else moves the liquid")
    if not any(isinstance(p, CoreSide | PlateSide) for p in loop.parts):
        faults.append("no cooler: its heat has nowhere to go")
    ends: dict[str, int] = {}
    for part in loop.parts:
        for node in (part.start, part.end):
            ends[node] = ends.get(node, 0) + 1
    faults += [f"node {node} leads nowhere" for node, count in ends.items() if count == 1]
    return faults
