"""What cooling costs: drag of every stream in two forms, jets, wheel wells, as axle loads."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.element import Element, Exit, Feed, Inlet, Leak
from tuftwork.cooling.guard import positive
from tuftwork.cooling.net import AirNet
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.notice import VENT_CAUTION
from tuftwork.cooling.opening import surface_gain_band
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (
    Source(key="kuchemann1953", place="ch. 9", status="memory"),
    Source(key="meredith1935", place="idea", status="memory"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamDrag:
    """Drag of the air that leaves by one exit; every array ``(n_draw,)``.

    Attributes
    ----------
    mass_flow
        [kg/s]; negative where the exit swallows.
    jet_velocity, wake_velocity
        At the surface and far behind. [m/s]
    momentum_drag
        ṁ (V - V_w) from the pressure at the exit's node. [N]
    loss_drag
        The same from the sum of losses along the air's path; must agree. [N]
    exit_plane_drag
        ṁ (V - v_e cos θ) - Cp q A; differs by the pull on the tube between exit and infinity. [N]
    ram_drag
        ṁ V, the upper limit. [N]
    """

    mass_flow: Array
    jet_velocity: Array
    wake_velocity: Array
    momentum_drag: Array
    loss_drag: Array
    exit_plane_drag: Array
    ram_drag: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelWell:
    """A node whose pressure lifts the car.

    Attributes
    ----------
    node
        In the air net.
    plan_area
        Of all wells at this axle that the pressure lifts, tyres taken off. [m²]
    x
        Rear of mid wheelbase. [m]
    """

    node: str
    plan_area: Numeric
    x: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleLoads:
    """A contribution to the car's budget; every array ``(n_draw,)``, in m².

    Attributes
    ----------
    CxS
        Drag area.
    CzSf, CzSr
        Downforce areas at front and rear contact patches.
    parts
        Name of a contribution to its (CxS, CzSf, CzSr).
    sources, notices
        What it rests on and what to heed.
    """

    CxS: Array
    CzSf: Array
    CzSr: Array
    parts: Mapping[str, tuple[Array, Array, Array]]
    sources: tuple[Source, ...] = SOURCES
    notices: tuple[str, ...] = (VENT_CAUTION,)


def stream_drag(net: AirNet, air: AirFlow, exit_name: str) -> StreamDrag:
    """Return the drag of the air leaving by one exit or leak, in two independent forms.

    Momentum form: the jet's total pressure is the node's. Loss form: it is the recovered head
    less every loss met on the way. Both give V_w = sqrt(2 p_te/ρ_e) and D = ṁ (V - V_w).
    Of a jet that its surroundings spoil, as in a wheel well, the share ``recovery`` of its head
    over the surface's pressure goes on: the wake has that pressure and what is left of the jet.
    Air swallowed by an exit brings ambient momentum and is given no drag here; nor is air that a
    ``Feed`` brought, whose drag stands where it was slowed.

    Parameters
    ----------
    net, air
        The net and its solution.
    exit_name
        Name of an ``Exit``, or of a ``Leak`` to the outside; a leak's air leaves along the stream.

    Raises
    ------
    InputError
        If the part is neither.

    References
    ----------
    [kuchemann1953] ch. 9.
    """
    part = net.part(exit_name)
    if not isinstance(part, Exit | Leak) or part.end != OUTSIDE:
        raise InputError("exit_name", exit_name, "", "is not an exit to the outside")
    around, angle = air.around, part.angle if isinstance(part, Exit) else 0.0
    flow = air.of(exit_name)
    leaving = np.maximum(flow, 0.0)
    out = leaving * (1.0 - fed_share(net, air)[air.nodes.index(part.start)])
    rho = around.pressure / (around.gas_constant * air.at(part.start, "temperature"))
    jet = leaving / (rho * part.jet_area())
    kept = part.jet_recovery() if isinstance(part, Exit) else 1.0
    skin = np.asarray(part.surface_pressure() * np.asarray(around.head))
    wake = _wake(_left(air.at(part.start), skin, kept), rho)
    by_loss = _wake(_left(_path_pressure(net, air, part.start), skin, kept), rho)
    speed = np.asarray(around.speed)
    surface = skin * part.jet_area()
    ahead = jet * np.sqrt(kept) * np.cos(angle)
    plane = out * (speed - ahead) - np.where(leaving > 0, surface, 0.0)
    return StreamDrag(
        mass_flow=flow,
        jet_velocity=jet,
        wake_velocity=wake,
        momentum_drag=out * (speed - wake),
        loss_drag=out * (speed - by_loss),
        exit_plane_drag=np.asarray(plane),
        ram_drag=out * speed,
    )


def cooling_loads(
    net: AirNet, air: AirFlow, wheelbase: float, *, wells: tuple[WheelWell, ...] = (), seed: int = 5
) -> AxleLoads:
    """Return what the air through the car costs and gives, as areas for the budget.

    Drag is the momentum form; the ram part acts at the mean height of the inlets, the wake's
    share at the exit's. A jet pushed up pushes the car down; the jet also fills the suction of
    the surface it leaves by (the exit's ``surface_gain``, else the place's prior, drawn). The
    pressure in a wheel well lifts its axle. Air that leaves by a leak to the outside is a stream
    like any other.

    Parameters
    ----------
    net, air
        The net and its solution.
    wheelbase : ()
        [m]
    wells
        Wheel wells that are nodes of the net.
    seed
        Of the priors' draws.

    Raises
    ------
    UnknownName
        If a well is not a node of the net.
    """
    positive("wheelbase", wheelbase, "m")
    head = np.asarray(np.maximum(air.around.head, 1e-9), dtype=float)
    parts: dict[str, tuple[Array, Array, Array]] = {}
    inlet_height = _inlet_height(net, air)
    for part in net.elements:
        if isinstance(part, Exit | Leak) and part.end == OUTSIDE:
            drag = stream_drag(net, air, part.name)
            kept = drag.ram_drag - drag.momentum_drag
            height = part.height if isinstance(part, Exit) else inlet_height
            moment = drag.ram_drag * inlet_height - kept * height
            zero = np.zeros(len(kept))
            parts[f"stream, {part.name}"] = _placed(
                drag.momentum_drag / head, zero, 0.0, moment / head, wheelbase
            )
            if isinstance(part, Exit):
                down = _jet_downforce(part, air, drag, head, seed)
                parts[f"jet, {part.name}"] = _placed(zero, down, part.x, zero, wheelbase)
    for well in wells:
        if well.node not in air.nodes:
            raise UnknownName("well", well.node, air.nodes)
        lift = np.asarray(air.at(well.node) / head * well.plan_area)
        zero = np.zeros(lift.shape)
        parts[f"wheel well, {well.node}"] = _placed(zero, -lift, well.x, zero, wheelbase)
    total = [np.sum([row[k] for row in parts.values()], axis=0) for k in range(3)]
    return AxleLoads(CxS=total[0], CzSf=total[1], CzSr=total[2], parts=parts)


def _jet_downforce(part: Exit, air: AirFlow, drag: StreamDrag, head: Array, seed: int) -> Array:
    """Return the downforce area of a jet: its own push, and what it does to its surface."""
    count = len(drag.mass_flow)
    gain = part.surface_gain
    if gain is None:
        band = surface_gain_band(part.place)
        gain = band.draws(count, seed) if count > 1 else np.array([band.best])
    ratio = drag.jet_velocity / np.maximum(np.asarray(air.around.speed), 0.1)
    push = np.maximum(drag.mass_flow, 0.0) * drag.jet_velocity * np.sin(part.angle) / head
    push = push * np.sqrt(part.jet_recovery())  # what the jet hits, it pushes back
    return np.asarray(push + gain * part.net_area * ratio)


def _placed(
    drag: Array, down: Array, x: float, moment: Array, wheelbase: float
) -> tuple[Array, Array, Array]:
    """Split a downforce at x and a nose-up moment over the axles, all as areas."""
    shift = moment / wheelbase
    front = down * (0.5 - x / wheelbase) - shift
    return np.asarray(drag), np.asarray(front), np.asarray(down * (0.5 + x / wheelbase) + shift)


def _left(total: Array, skin: Array, kept: Numeric) -> Array:
    """Return the total pressure behind an exit of which a share of the jet's head goes on [Pa]."""
    return np.asarray(np.where(np.asarray(kept) < 1.0, skin + kept * (total - skin), total))


def _wake(total: Array, density: Array) -> Array:
    return np.asarray(np.sqrt(np.maximum(2.0 * total / density, 0.0)))


def _inlet_height(net: AirNet, air: AirFlow) -> Array:
    """Return the flow-weighted height of the inlets [m]."""
    flows = [np.maximum(air.of(p.name), 0.0) for p in net.elements if isinstance(p, Inlet)]
    if not flows:
        return np.zeros(air.flow.shape[1])
    heights = [p.height for p in net.elements if isinstance(p, Inlet)]
    whole = np.maximum(np.sum(flows, axis=0), 1e-12)
    mean = np.sum([m * h for m, h in zip(flows, heights, strict=True)], axis=0) / whole
    return np.asarray(mean)


def fed_share(net: AirNet, air: AirFlow) -> Array:
    """Return the share of the air at each node that came in by a ``Feed``, ``(n_node, n_draw)``.

    Air mixes at the nodes and goes on in the direction of each part's flow.
    """
    share = np.zeros(air.pressure.shape)
    if not any(isinstance(part, Feed) for part in net.elements):
        return share
    row = {name: k for k, name in enumerate(air.nodes)}
    for _ in range(len(air.nodes) + 1):
        fed, whole = np.zeros(share.shape), np.full(share.shape, 1e-12)
        for part in net.elements:
            flow = air.of(part.name)
            for start, end, gone in ((part.start, part.end, flow), (part.end, part.start, -flow)):
                if end == OUTSIDE:
                    continue
                coming = np.maximum(gone, 0.0)
                own = 0.0 if start == OUTSIDE else share[row[start]]
                fed[row[end]] += coming * (1.0 if isinstance(part, Feed) else own)
                whole[row[end]] += coming
        share = fed / whole
    return share


def _path_pressure(net: AirNet, air: AirFlow, node: str) -> Array:
    """Return a node's total pressure by adding up losses on the shortest way from outside."""
    total = np.zeros(air.flow.shape[1])
    toward = _ways_out(net)
    while node != OUTSIDE:
        part = toward[node]
        drop = air.of(part.name, "loss") * np.sign(air.of(part.name))
        gain = air.of(part.name, "source") - drop
        total = total + (gain if part.end == node else -gain)
        node = part.start if part.end == node else part.end
    return total


def _ways_out(net: AirNet) -> dict[str, Element]:
    """Return the part by which each node is nearest to the outside."""
    toward: dict[str, Element] = {}
    reached, edge = {OUTSIDE}, {OUTSIDE}
    while edge:
        met: set[str] = set()
        for part in net.elements:
            if isinstance(part, Feed):
                continue
            for near, far in ((part.start, part.end), (part.end, part.start)):
                if near in edge and far not in reached:
                    toward.setdefault(far, part)
                    met.add(far)
        reached, edge = reached | met, met
    return toward
