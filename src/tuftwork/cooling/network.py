"""The air net: what is wrong with it, and its flows for all draws at once."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling._hydraulics import mix_all, solve_all
from tuftwork.cooling.net import AirNet, Topology, topology
from tuftwork.cooling.surroundings import OUTSIDE, Law, Stream, Surroundings
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array, Numeric

_OUTER = 80  # passes between flow and temperature before the net counts as not converged
_AGREED = 1e-9  # [-]  of the largest flow, change over the last pass


@dataclass(frozen=True, slots=True, kw_only=True)
class AirFlow:
    """A solved net. Every array has the draws last.

    Attributes
    ----------
    names, nodes
        Of edges and nodes.
    flow
        ``(n_edge, n_draw)``, positive from start to end. [kg/s]
    pressure
        Total, above ambient, ``(n_node, n_draw)``. [Pa]
    temperature
        Of the nodes, ``(n_node, n_draw)``. [K]
    inlet, outlet
        Of each edge in the direction of its flow, ``(n_edge, n_draw)``. [K]
    loss
        Total-pressure loss of each edge in the direction of its flow. [Pa]
    source
        What drives each edge from start to end: recovery, surface pressure, fan. [Pa]
    heat
        Given to the air by each edge, ``(n_edge, n_draw)``. [W]
    reversed_parts
        Parts whose flow runs against its drawn direction in most draws.
    around
        The air outside.
    """

    names: tuple[str, ...]
    nodes: tuple[str, ...]
    flow: Array
    pressure: Array
    temperature: Array
    inlet: Array
    outlet: Array
    loss: Array
    source: Array
    heat: Array
    reversed_parts: tuple[str, ...]
    around: Surroundings

    def of(self, name: str, field: str = "flow") -> Array:
        """Return one edge's row of ``flow``, ``inlet``, ``outlet``, ``loss`` or ``heat``."""
        return np.asarray(getattr(self, field)[self.names.index(name)])

    def at(self, node: str, field: str = "pressure") -> Array:
        """Return one node's row of ``pressure`` or ``temperature``."""
        return np.asarray(getattr(self, field)[self.nodes.index(node)])


def stacked_laws(laws: list[Law], n_draw: int) -> Array:
    """Return ``(n_draw, 6, n_edge)`` of laws for the kernel."""
    out = np.empty((n_draw, 6, len(laws)))
    for e, law in enumerate(laws):
        for k, value in enumerate((law.a, law.b, law.c, law.m0, law.source, law.slow)):
            out[:, k, e] = value
    return out


@dataclass(slots=True)
class FlowState:
    """Flows, pressures and temperatures while they are being found; a warm start later."""

    flow: np.ndarray
    pressure: np.ndarray
    node: np.ndarray
    inlet: np.ndarray
    outlet: np.ndarray
    loss: np.ndarray
    source: np.ndarray


def cold_state(net: AirNet, top: Topology, n_draw: int, ambient: Array) -> FlowState:
    """Return a state that knows nothing."""
    n_edge, n_node = len(net.elements), len(top.nodes)
    edge = np.repeat(ambient[:, None], n_edge, axis=1)
    return FlowState(
        flow=np.full((n_draw, n_edge), np.nan),
        pressure=np.zeros((n_draw, n_node)),
        node=np.repeat(ambient[:, None], n_node, axis=1),
        inlet=edge.copy(),
        outlet=edge.copy(),
        loss=np.zeros((n_draw, n_edge)),
        source=np.zeros((n_draw, n_edge)),
    )


def one_pass(
    net: AirNet,
    top: Topology,
    around: Surroundings,
    heats: Array,
    state: FlowState,
    share: float = 1.0,
) -> float:
    """Solve flows at the present temperatures, then temperatures; return the change of flow.

    ``share`` of the new outlet temperatures is taken; below 1 it calms a cooler whose heat
    throttles its own flow.
    """
    n_draw = heats.shape[0]
    known = np.where(np.isnan(state.flow), 0.01, state.flow)
    laws = stacked_laws(
        [
            part.law(
                Stream(
                    flow=known[:, e], inlet=state.inlet[:, e], outlet=state.outlet[:, e],
                    around=around,
                )
            )
            for e, part in enumerate(net.elements)
        ],
        n_draw,
    )  # fmt: skip
    before = state.flow.copy()
    status = np.zeros(n_draw, dtype=np.int64)
    solve_all(
        top.start, top.end, top.fill_start, top.fill_row, laws, state.flow, state.pressure, status
    )
    _refuse_failed(status, "flows")
    old = state.outlet.copy()
    _mix(top, around, heats, state)
    if share < 1.0:
        state.outlet[:] = old + share * (state.outlet - old)
    state.loss[:] = _losses(laws, state.flow)
    state.source[:] = laws[:, 4]
    if np.isnan(before).any():
        return 1.0
    largest = np.maximum(np.max(np.abs(state.flow), axis=1), 1e-9)
    return float(np.max(np.max(np.abs(state.flow - before), axis=1) / largest))


def _mix(top: Topology, around: Surroundings, heats: Array, state: FlowState) -> None:
    n_draw = heats.shape[0]
    ambient = np.ascontiguousarray(np.broadcast_to(around.temperature, (n_draw,)), dtype=float)
    order = np.argsort(-state.pressure, axis=1)
    status = np.zeros(n_draw, dtype=np.int64)
    capacity = np.array(np.broadcast_to(around.heat_capacity, (n_draw,)), dtype=float)
    mix_all(
        top.start, top.end, order, state.flow, heats, capacity, ambient, state.node, state.inlet,
        status,
    )  # fmt: skip
    _refuse_failed(np.where(status == 0, -400, status), "temperatures")
    through = np.maximum(np.abs(state.flow), 1e-9) * capacity[:, None]
    state.outlet[:] = state.inlet + heats / through


def _losses(laws: Array, flow: Array) -> Array:
    """Return the loss of every edge along its flow, sources not counted as loss [Pa]."""
    a, b, c, m0, slow = laws[:, 0], laws[:, 1], laws[:, 2], laws[:, 3], laws[:, 5]
    over = np.maximum(flow - m0, 0.0)
    drop = a * flow + b * flow * np.sqrt(flow**2 + slow**2) + c * over**2
    return np.asarray(drop * np.sign(flow))


def _refuse_failed(status: np.ndarray, what: str) -> None:
    failed = np.flatnonzero(status < 0)
    if failed.size:
        raise NotConverged(
            f"{what} of {failed.size} of {status.size} draws not found in {-status[failed[0]]} "
            f"steps; first: draw {failed[0]}. Look for a part with an extreme area or loss."
        )


def n_draw_of(*values: Numeric) -> int:
    """Return the number of draws that values broadcast to; a number counts as one."""
    shape = np.broadcast_shapes(*(np.shape(value) for value in values), (1,))
    if len(shape) != 1:
        raise InputError("draws", str(shape), "", "must be one axis")
    return int(shape[0])


def element_values(parts: tuple[object, ...]) -> list[Numeric]:
    """Return every number and array inside frozen parts, to find the number of draws."""
    found: list[Numeric] = []
    for part in parts:
        for name in getattr(type(part), "__dataclass_fields__", ()):
            value = getattr(part, name)
            if isinstance(value, np.ndarray):
                found.append(value)
            elif hasattr(type(value), "__dataclass_fields__"):
                found += element_values((value,))
    return found


def solve_air(
    net: AirNet,
    around: Surroundings,
    heats: Mapping[str, Numeric] | None = None,
    *,
    n_draw: int | None = None,
) -> AirFlow:
    """Return flows, pressures and temperatures of a net, all draws in one call.

    Each part's total-pressure law is solved with continuity at the nodes by Newton's method;
    heated air changes density, so flows and temperatures are repeated until they agree. Flow
    against the drawn direction is found and reported, not forbidden.

    Parameters
    ----------
    net
        The parts.
    around
        Speed and air.
    heats
        Name of a part to the heat it gives the air. [W]
    n_draw
        Needed only where it cannot be seen from the inputs.

    Returns
    -------
    flow
        Mass is conserved at every node and energy over the net to 1e-9.

    Raises
    ------
    NotConverged
        If any draw stops short.
    UnknownName
        If heat is given to a part that is not there.

    References
    ----------
    [todini1988] for the elimination of the edges.
    """
    given = dict(heats or {})
    for name in given:
        net.part(name)
    count = n_draw or n_draw_of(
        around.speed, around.temperature, around.pressure, around.humidity, *given.values(),
        *element_values(net.elements),
    )  # fmt: skip
    top = topology(tuple((p.start, p.end) for p in net.elements), OUTSIDE)
    ambient = np.array(np.broadcast_to(around.temperature, (count,)), dtype=float)
    state = cold_state(net, top, count, ambient)
    table = np.zeros((count, len(net.elements)))
    for name, value in given.items():
        table[:, net.names.index(name)] = value
    for turn in range(_OUTER):
        change = one_pass(net, top, around, table, state, calmed(turn))
        if change < _AGREED:
            break
    else:
        raise NotConverged(f"flow and temperature differ by {change:.1e} after {_OUTER} passes")
    return finished_flow(net, top, around, table, state)


def calmed(turn: int) -> float:
    """Return the share of new temperatures to take: all, and half once passes keep missing."""
    return 1.0 if turn < 12 else 0.5


def finished_flow(
    net: AirNet, top: Topology, around: Surroundings, heats: Array, state: FlowState
) -> AirFlow:
    """Return the solved net with draws last."""
    against = np.median(state.flow, axis=0) < 0
    capacity = np.broadcast_to(around.heat_capacity, (heats.shape[0],))[:, None]
    state.outlet[:] = state.inlet + heats / (np.maximum(np.abs(state.flow), 1e-9) * capacity)
    names = net.names
    return AirFlow(
        names=names,
        nodes=top.nodes,
        flow=state.flow.T.copy(),
        pressure=state.pressure.T.copy(),
        temperature=state.node.T.copy(),
        inlet=state.inlet.T.copy(),
        outlet=state.outlet.T.copy(),
        loss=state.loss.T.copy(),
        source=state.source.T.copy(),
        heat=heats.T.copy(),
        reversed_parts=tuple(n for n, back in zip(names, against, strict=True) if back),
        around=around,
    )
