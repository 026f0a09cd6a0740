"""The channel under the floor averaged over its width, the layers of floor and road with it.

    θ' = cf/2 − (H + 2) θ us'/us                   momentum of the layer
    (us θ H1)' = us (E + Ev)                       entrainment, with mixing by the edge vortices
    Q' = Cd g (two edges) sqrt(2 (p_out − p))      leak
    H0' = −(u − u_in) m/(w h_e) − friction         leaked air brings its own speed and mixes
    G' = max(p_out − p, 0)/u                       strength of the edge vortices
    (u² θr)' + δr u u' = cr/2 (u − 1)|u − 1|       the road's layer, which the road drags

with u = Q/(w (h − θ H − δr)), us its value at the floor beside corners, p = H0 − u²/2, an inlet
head and an exit pressure: a boundary-value problem, since a leaking channel marched from its inlet
grows like cosh.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import NotConverged
from tuftwork.floor.line_kernel import N_UNKNOWN, N_VALUE
from tuftwork.floor.line_newton import continued, newton_line
from tuftwork.floor.shape import FloorShape, Stand, check_shape, gap_at, kinks
from tuftwork.quantity import Array

_CORE = 0.1  # [-] of the gap: core of a corner's logarithm


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorClosure:
    """What the equations leave open.

    Attributes
    ----------
    discharge
        Cd of the gap under the edges. [-]
    mixing
        κ: air leaks in with u = 1 + (1 − κ)(u_free − 1), u_free without loss from outside; 0: all
        head is kept (potential), 1: it enters with the road's speed, as past a straight edge. [-]
    exit_pressure
        Cp behind the exit: base, wing, wake. [-]
    head
        Total pressure at the inlet over the road's dynamic pressure. [-]
    outside
        Stations and Cp along the side edges (wheel wakes, wells); level beyond their ends. [m], [-]
    vortex_mixing, vortex_limit
        Kv of the edge vortices' mixing and the swirl at which they break down; closure of our
        own. [-]
    eddy
        Lateral eddy viscosity over depth and speed. [-]
    road_friction, inlet_loss
        cf of the road, loss at the inlet. [-]
    inlet_thickness
        Momentum thickness at the inlet. [m]
    reynolds
        Per metre: speed over kinematic viscosity. [1/m]
    """

    discharge: float = 0.6
    mixing: float = 0.7
    exit_pressure: float = -0.2
    head: float = 1.0
    outside: tuple[tuple[float, float], ...] = ()
    vortex_mixing: float = 0.03
    vortex_limit: float = 0.9
    eddy: float = 0.1
    road_friction: float = 0.003
    inlet_loss: float = 0.0
    inlet_thickness: float = 5e-4
    reynolds: float = 3.3e6

    def outside_at(self, x: Array) -> Array:
        """Return Cp along the side edges [-]."""
        if not self.outside:
            return np.zeros(np.shape(x))
        xs, cps = np.array(self.outside, float).T
        return np.asarray(np.interp(x, xs, cps))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineResult:
    """The channel along its length; every array ``(n_node,)``.

    Attributes
    ----------
    x, gap, width
        [m]
    speed, pressure
        u over the road speed and Cp. [-]
    momentum_thickness, displacement
        [m]
    shape_factor
        H; above 3 the layer has separated. [-]
    road_displacement
        Of the layer on the road, which moves at speed 1. [m]
    friction
        Loss per length of the core where the layers fill the gap, over its dynamic pressure. [1/m]
    flow
        Volume flow over the road speed. [m²]
    head
        Total pressure of the core over the road's dynamic pressure. [-]
    vortex
        Strength of each edge's vortex over the road speed. [m]
    downforce, moment, drag
        CzS, its moment about the front axle line, CxS of the inclined underside. [m²], [m³], [m²]
    iterations
        Of Newton's method.
    state
        The unknowns, to start a neighbour from.
    """

    x: Array
    gap: Array
    width: Array
    speed: Array
    pressure: Array
    momentum_thickness: Array
    displacement: Array
    shape_factor: Array
    road_displacement: Array
    friction: Array
    flow: Array
    head: Array
    vortex: Array
    downforce: float
    moment: float
    drag: float
    iterations: int
    state: Array

    @property
    def blocked(self) -> Array:
        """Displacement of both layers [m]."""
        return np.asarray(self.displacement + self.road_displacement)

    @property
    def stalled_from(self) -> float | None:
        """First station at which the layer has separated (H above 3), None where it holds. [m]"""
        over = np.flatnonzero(self.shape_factor > 3.0)
        return float(self.x[over[0]]) if over.size else None


def nodes_of(shape: FloorShape, stand: Stand, count: int) -> Array:
    """Return stations along the floor, dense at kinks and at the leading edge [m]."""
    fine = np.linspace(shape.front, shape.exit, 2001)
    length = shape.exit - shape.front
    density = np.full_like(fine, 1.0)
    for kink in kinks(shape):
        near = float(stand.plane(np.array(kink), np.zeros(1))[0])
        reach = np.clip(1.5 * near, 0.02 * length, 0.15 * length)
        density += 3.0 * np.exp(-np.abs(fine - kink) / reach)
    density += 1.5 * np.exp(-(fine - shape.front) / (0.03 * length))
    grown = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    return np.interp(np.linspace(0, grown[-1], count), grown, fine)


def channel_of(
    shape: FloorShape, stand: Stand, closure: FloorClosure, x: Array
) -> tuple[Array, Array]:
    """Return the width-averaged channel as the kernel takes it, and its width [m]."""
    half = _half_width(shape, stand, x)
    n = 41
    y = np.linspace(-1.0, 1.0, n)[None, :] * half[:, None]
    gap = gap_at(shape, stand, x[:, None], y)
    mean = np.mean(gap, axis=1)
    near = speed_at_floor(x, mean)
    plane = stand.plane(x, np.zeros(1))
    edge = shape.edge(plane)
    loss = np.zeros_like(x)
    for block in shape.blocks:
        inside = (x >= block.start) & (x <= block.end)
        covered = min((block.outer - block.inner) / float(np.min(half)), 1.0)
        mean = np.where(inside, mean * (1 - covered * block.share), mean)
        loss = loss + inside * covered * block.loss / max(block.end - block.start, 1e-6)
    geo = np.column_stack([
        mean, 2 * half, 2 * closure.discharge * edge, 0.5 * closure.outside_at(x), loss, near,
    ])  # fmt: skip
    return np.ascontiguousarray(geo), 2 * half


def speed_at_floor(x: Array, gap: Array) -> Array:
    """Return the speed at an underside over the mean of the gap, less 1 [-].

    A corner turned by Δα in a channel of depth h over a straight road adds, to first order in Δα,
    −Δα/π ln(1 − exp(−π|x|/h)) to it, whose area is Δα h/3; slopes themselves take h'²/6. So the
    layer meets the suction at a kink line, which no average over the gap has.
    """
    angle = np.arctan(np.diff(gap) / np.diff(x))
    # kinks are rounded in the gap already; the core of the logarithm is a node's own
    far = np.hypot(x[:, None] - x[None, 1:-1], _CORE * gap[:, None])
    reach = -np.log1p(-np.exp(-np.pi * far / gap[:, None])) / np.pi
    return np.asarray(reach @ np.diff(angle) - np.sin(np.arctan(np.gradient(gap, x))) ** 2 / 6)


def _half_width(shape: FloorShape, stand: Stand, x: Array) -> Array:
    """Return half the width the average is taken over; the outer floor gives way to the tail."""
    full = np.full_like(x, 0.5 * shape.width)
    if shape.tail is None or shape.tail_half >= 0.5 * shape.width:
        return full
    # the flow of the outer floor turns in over about half its own width ahead of the tail
    reach = max(0.5 * shape.width - shape.tail_half, 0.05)
    t = np.clip((x - (shape.tail - 1.5 * reach)) / (1.5 * reach), 0.0, 1.0)
    t = t * t * (3 - 2 * t)
    return np.asarray((1 - t) * full + t * shape.tail_half)


def solve_line(
    shape: FloorShape,
    stand: Stand,
    closure: FloorClosure,
    *,
    n_node: int = 120,
    start: LineResult | None = None,
) -> LineResult:
    """Return the width-averaged channel with its layer.

    Parameters
    ----------
    shape, stand, closure
        The floor, how it stands, what the equations leave open.
    n_node
        Stations along the floor.
    start
        A neighbour's result with as many nodes.

    Raises
    ------
    InputError
        If the floor touches the road, a ramp is past vertical, or the like.
    NotConverged
        If no state was found.

    References
    ----------
    [coles1956] profiles, [head1958] entrainment, [ludwieg1950] friction; edge mixing, vortex mixing
    and the dead air beyond detachment are closures of our own, see the model's page.
    """
    check_shape(shape, stand, n_x=n_node)
    x = nodes_of(shape, stand, n_node)
    geo, width = channel_of(shape, stand, closure, x)
    dx = np.diff(x)
    par = np.array([
        closure.mixing, closure.vortex_mixing, closure.vortex_limit, closure.reynolds,
        closure.road_friction,
    ])  # fmt: skip
    ends = np.array([
        closure.inlet_thickness, 1.45, 0.5 * closure.head, 0.5 * closure.exit_pressure,
        closure.inlet_loss,
    ])  # fmt: skip
    values = np.empty((n_node, N_VALUE))
    count = -1
    if start is not None and start.state.shape == (n_node, N_UNKNOWN):
        z = start.state.copy()
        size, count = newton_line(z, geo, dx, par, ends, 25, values)
    if count < 0:
        z = first_guess(x, geo, ends)
        size, count = continued(z, geo, dx, par, ends, values)
    if count < 0:
        raise NotConverged(
            f"the channel under the floor: residual {size:.1e} at ride heights "
            f"{1e3 * stand.front:.1f} and {1e3 * stand.rear:.1f} mm"
        )
    return line_result(x, geo, width, values, z, count)


def first_guess(x: Array, geo: Array, ends: Array) -> Array:
    """Return a level channel's state, from which the ramp is grown, ``(n_node, 6)``."""
    n = x.size
    level = float(np.median(geo[:, 0]))
    z = np.zeros((n, N_UNKNOWN))
    z[:, 0] = ends[0] + 0.0018 * (x - x[0])
    z[:, 0] = np.minimum(z[:, 0], 0.1 * level)
    z[:, 1] = 1.4
    u = np.sqrt(max(2 * (ends[2] - ends[3]), 0.05))
    z[:, 2] = u * geo[:, 1] * (level - z[:, 0] * z[:, 1])
    z[:, 3] = ends[2]
    z[:, 4] = 0.05 * (x - x[0])
    return z


def line_result(
    x: Array, geo: Array, width: Array, values: Array, z: Array, count: int
) -> LineResult:
    """Return the result of solved unknowns ``z`` and their node values."""
    cp = 2 * values[:, 12]
    line = -cp * width
    slope = np.gradient(geo[:, 0], x)
    return LineResult(
        x=x, gap=geo[:, 0], width=width, speed=values[:, 2].copy(), pressure=cp,
        momentum_thickness=z[:, 0].copy(), displacement=z[:, 0] * z[:, 1],
        shape_factor=z[:, 1].copy(), road_displacement=z[:, 5].copy(),
        friction=2 * values[:, 16] / (np.square(values[:, 2]) + 1e-6), flow=z[:, 2].copy(),
        head=2 * z[:, 3], vortex=z[:, 4].copy(),
        downforce=float(np.trapezoid(line, x)), moment=float(np.trapezoid(line * x, x)),
        drag=float(np.trapezoid(line * slope, x)), iterations=count, state=z,
    )  # fmt: skip
