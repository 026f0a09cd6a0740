"""What cooling costs: drag of every stream in two forms, jets, wheel wells, as axle loads."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.band import Band
from tuftwork.cooling.element import Exit, Inlet
from tuftwork.cooling.guard import positive
from tuftwork.cooling.net import AirNet
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.notice import VENT_CAUTION
from tuftwork.cooling.opening import surface_gain_band
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Source

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
    plan_area: float
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
    """Return the drag of the air leaving by one exit, in two independent forms.

    Momentum form: the jet's total pressure is the node's. Loss form: it is the recovered head
    less every loss met on the way. Both give V_w = sqrt(2 p_te/ρ_e) and D = ṁ (V - V_w).
    Air swallowed by an exit brings ambient momentum and is given no drag here.

    Parameters
    ----------
    net, air
        The net and its solution.
    exit_name
        Name of an ``Exit``.

    Raises
    ------
    InputError
        If the part is not an exit.

    References
    ----------
    [kuchemann1953] ch. 9.
    """
    part = net.part(exit_name)
    if not isinstance(part, Exit) or part.end != OUTSIDE:
        raise InputError("exit_name", exit_name, "", "is not an exit to the outside")
    around = air.around
    flow = air.of(exit_name)
    out = np.maximum(flow, 0.0)
    rho = around.pressure / (around.gas_constant * air.at(part.start, "temperature"))
    jet = out / (rho * part.jet_area())
    wake = _wake(air.at(part.start), rho)
    by_loss = _wake(_path_pressure(net, air, part.start), rho)
    speed = np.asarray(around.speed)
    surface = part.surface_pressure() * np.asarray(around.head) * part.jet_area()
    plane = out * (speed - jet * np.cos(part.angle)) - np.where(out > 0, surface, 0.0)
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
    net: AirNet,
    air: AirFlow,
    wheelbase: float,
    *,
    wells: tuple[WheelWell, ...] = (),
    surface_gain: Mapping[str, Band] | None = None,
    seed: int = 5,
) -> AxleLoads:
    """Return what the air through the car costs and gives, as areas for the budget.

    Drag is the momentum form; the ram part acts at the mean height of the inlets, the wake's
    share at the exit's. A jet pushed up pushes the car down; the jet also fills the suction of
    the surface it leaves by (a prior, drawn). The pressure in a wheel well lifts its axle.

    Parameters
    ----------
    net, air
        The net and its solution.
    wheelbase : ()
        [m]
    wells
        Wheel wells that are nodes of the net.
    surface_gain
        Place to band, to override the priors.
    seed
        Of the priors' draws.

    Raises
    ------
    UnknownName
        If a well is not a node of the net.
    """
    positive("wheelbase", wheelbase, "m")
    head = np.maximum(np.asarray(air.around.head, dtype=float), 1e-9)
    parts: dict[str, tuple[Array, Array, Array]] = {}
    inlet_height = _inlet_height(net, air)
    for part in net.elements:
        if isinstance(part, Exit) and part.end == OUTSIDE:
            drag = stream_drag(net, air, part.name)
            kept = drag.ram_drag - drag.momentum_drag
            moment = drag.ram_drag * inlet_height - kept * part.height
            parts[f"stream, {part.name}"] = _placed(
                drag.momentum_drag / head, np.zeros(len(kept)), 0.0, moment / head, wheelbase
            )
            gain = (surface_gain or {}).get(part.place, surface_gain_band(part.place))
            prior = gain.draws(len(kept), seed) if len(kept) > 1 else np.array([gain.best])
            ratio = drag.jet_velocity / np.maximum(np.asarray(air.around.speed), 0.1)
            down = np.maximum(drag.mass_flow, 0.0) * drag.jet_velocity * np.sin(part.angle) / head
            down = down + prior * part.net_area * ratio
            zero = np.zeros(len(kept))
            parts[f"jet, {part.name}"] = _placed(zero, down, part.x, zero, wheelbase)
    for well in wells:
        if well.node not in air.nodes:
            raise UnknownName("well", well.node, air.nodes)
        lift = air.at(well.node) / head * well.plan_area
        zero = np.zeros(lift.shape)
        parts[f"wheel well, {well.node}"] = _placed(zero, -lift, well.x, zero, wheelbase)
    total = [np.sum([row[k] for row in parts.values()], axis=0) for k in range(3)]
    return AxleLoads(CxS=total[0], CzSf=total[1], CzSr=total[2], parts=parts)


def load_change(after: AxleLoads, before: AxleLoads) -> AxleLoads:
    """Return the difference of two contributions, draw by draw."""
    if after.CxS.shape != before.CxS.shape:
        raise InputError("draws", str(after.CxS.shape), "", "differ between the two")
    return AxleLoads(
        CxS=after.CxS - before.CxS,
        CzSf=after.CzSf - before.CzSf,
        CzSr=after.CzSr - before.CzSr,
        parts={
            name: _difference(after.parts.get(name), before.parts.get(name))
            for name in {**before.parts, **after.parts}
        },
    )


def _difference(
    after: tuple[Array, Array, Array] | None, before: tuple[Array, Array, Array] | None
) -> tuple[Array, Array, Array]:
    """Subtract two contributions; one that is absent counts as none."""
    if after is None and before is not None:
        return (-before[0], -before[1], -before[2])
    if before is None and after is not None:
        return after
    assert after is not None
    assert before is not None
    return (after[0] - before[0], after[1] - before[1], after[2] - before[2])


def _placed(
    drag: Array, down: Array, x: float, moment: Array, wheelbase: float
) -> tuple[Array, Array, Array]:
    """Split a downforce at x and a nose-up moment over the axles, all as areas."""
    shift = moment / wheelbase
    front = down * (0.5 - x / wheelbase) - shift
    return np.asarray(drag), np.asarray(front), np.asarray(down * (0.5 + x / wheelbase) + shift)


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


def _path_pressure(net: AirNet, air: AirFlow, node: str) -> Array:
    """Return a node's total pressure by walking against the flow and adding up losses."""
    total = np.zeros(air.flow.shape[1])
    seen: set[str] = set()
    while node != OUTSIDE:
        if node in seen:
            raise InputError("node", node, "", "is fed in a circle; there is no path from outside")
        seen.add(node)
        feeders = [p for p in net.elements if node in (p.start, p.end)]
        inward = {p.name: air.of(p.name) * (1.0 if p.end == node else -1.0) for p in feeders}
        best = max(feeders, key=lambda p: float(np.median(inward[p.name])))
        drop = air.of(best.name, "loss") * np.sign(air.of(best.name))
        gain = air.of(best.name, "source") - drop
        total = total + (gain if best.end == node else -gain)
        node = best.start if best.end == node else best.end
    return total
