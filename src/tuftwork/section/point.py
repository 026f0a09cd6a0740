"""One section at one incidence and height: loads, pressures, layers, and what to beware of."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array
from tuftwork.section import closure
from tuftwork.section.begin import start_layers
from tuftwork.section.condition import Condition, parameters, trip_table
from tuftwork.section.coupled import solve_layers
from tuftwork.section.layout import Layout, lay_out
from tuftwork.section.potential import Mesh, PotentialSystem, build_mesh, build_system, loads
from tuftwork.section.stack import Stack, over_ground
from tuftwork.section.station import Layers, LayerSettings

_SEPARATED = 3.0  # shape factor of a turbulent layer beyond which only trends are offered
_IMPOSSIBLE = 25.0  # the equations have roots with shape factors no layer has
# The share of H - 1 a wake may lose in its first panel: true solutions stay below 0.1, the false
# root with both layers swollen at the trailing edge loses 0.4 and more.
_SWOLLEN = 0.3
_LAMINAR_DRAG = 0.8 * 2.0 * 1.328  # both sides of a laminar plate with a fifth of reserve


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerLine:
    """One boundary layer or wake along the flow.

    Attributes
    ----------
    element, side
        Element number from 0; ``"upper"``, ``"lower"`` (of the stack as drawn) or ``"wake"``.
    x, y : (n_station,)
        Places, over the total chord, in the frame of the solution. [-]
    theta, delta_star, thickness : (n_station,)
        Momentum, displacement and full thickness. [-]
    shape_factor, friction, speed : (n_station,)
        H, wall friction coefficient on local speed, edge speed over the stream's. [-]
    transition, separation
        x-fraction of the element where it turns turbulent and where friction turns negative
        for the rest of the element; None if it does not.
    """

    element: int
    side: str
    x: Array
    y: Array
    theta: Array
    delta_star: Array
    thickness: Array
    shape_factor: Array
    friction: Array
    speed: Array
    transition: float | None
    separation: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotState:
    """Layers in one slot against its gap, over the total chord."""

    gap: float
    layers: float
    merge_at: float | None

    @property
    def is_confluent(self) -> bool:
        """True where the layers fill the slot."""
        return self.layers > self.gap


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionPoint:
    """Answer at one incidence; coefficients on the total chord, lift towards the suction side.

    Attributes
    ----------
    alpha : float
        Incidence. [rad]
    height : float or None
        Height of the lowest point; None in free air. [chord]
    lift, drag, moment
        Coefficients; moment about the quarter of the total chord, nose-up (upright stack)
        positive. [-]
    element_lift : (n_element,)
    x, y, pressure : tuple of (n_node,)
        Per element, upright frame turned and mirrored as solved.
    lines
        Boundary layers and wakes.
    slots
        One per slot.
    nose_suction
        Largest suction peak to trailing-edge pressure difference over its published limit; above
        1 the nose is expected to stall abruptly, which the layers do not show. [-]
    is_separated
        A turbulent layer has H > 3 ahead of half of its element: trend only.
    is_settled
        The iteration ended in a small limit cycle, not at a fixed point.
    """

    alpha: float
    height: float | None
    lift: float
    drag: float
    moment: float
    pressure_drag: float
    element_lift: Array
    x: tuple[Array, ...]
    y: tuple[Array, ...]
    pressure: tuple[Array, ...]
    lines: tuple[LayerLine, ...]
    slots: tuple[SlotState, ...]
    nose_suction: float
    is_separated: bool
    is_settled: bool
    n_iteration: int
    residual: float
    notices: tuple[str, ...]
    layers: Layers = field(repr=False)


@dataclass(frozen=True, slots=True)
class Case:
    """A stack with everything that does not change along a polar."""

    stack: Stack
    condition: Condition
    n_panel: int
    height: float | None
    is_inverted: bool
    system: PotentialSystem | None


def prepare(
    stack: Stack,
    condition: Condition,
    *,
    height: float | None = None,
    is_inverted: bool = True,
    n_panel: int | None = None,
) -> Case:
    """Return a case; in free air its panels are factored once for all incidences."""
    count = n_panel or (160 if len(stack.elements) == 1 else 110)
    if not 40 <= count <= 600:
        raise InputError("n_panel", count, "", "must be from 40 to 600 per element")
    trip_table(condition, len(stack.elements))
    system = None
    if height is None:
        system = build_system(build_mesh(stack.elements, n_panel=count))
    return Case(stack, condition, count, height, is_inverted, system)


def _layout(case: Case, alpha: float) -> tuple[Layout, float]:
    """Stations of the case at one incidence, and the incidence of the stream on them."""
    if case.system is not None:
        return lay_out(case.system, alpha), alpha
    assert case.height is not None
    placed = over_ground(case.stack, alpha, case.height, is_inverted=case.is_inverted)
    mesh = build_mesh(placed, n_panel=case.n_panel, is_grounded=True)
    return lay_out(build_system(mesh), 0.0), 0.0


def solve_point(case: Case, alpha: float, start: Layers | None = None) -> SectionPoint:
    """Solve one point, from ``start`` if given, else from marched layers.

    Raises
    ------
    NotConverged
        If the iteration does not converge; nothing is returned instead.
    """
    layout, stream = _layout(case, alpha)
    mesh = layout.system.mesh
    trips = trip_table(case.condition, mesh.n_element)
    flipped = case.height is not None and case.is_inverted
    if flipped:
        trips = trips[:, ::-1].copy()
    settings = LayerSettings(
        reynolds=case.condition.reynolds, par=parameters(case.condition), trips=trips
    )
    with np.errstate(all="ignore"):
        # layers of another mesh start nothing here
        fits = start is not None and start.state.shape[0] == layout.n
        layers = start.copy() if start is not None and fits else start_layers(layout, settings)
        try:
            layers = solve_layers(layout, settings, layers)
        except (FloatingPointError, ZeroDivisionError, IndexError) as why:
            raise NotConverged(f"the iteration broke down: {why}") from why
    return _report(case, layout, settings, layers, alpha, stream)


def _report(
    case: Case,
    layout: Layout,
    settings: LayerSettings,
    layers: Layers,
    alpha: float,
    stream: float,
) -> SectionPoint:
    mesh = layout.system.mesh
    n = mesh.x.size
    q = (layers.sign * layers.state[:, 3])[:n]
    sign = -1.0 if case.height is not None and case.is_inverted else 1.0
    at = _quarter(case, alpha, mesh)
    cl, cd, cm = loads(mesh, q, stream, 1.0, at)
    drag = sum(_wake_drag(layers, w.stop - 1) for w in layout.wake)
    friction_floor = sum(
        _LAMINAR_DRAG / np.sqrt(settings.reynolds * size) * size for size in _sizes(mesh)
    )
    if not drag > friction_floor * 0.6:
        raise NotConverged(
            f"drag {drag:.5f} below a laminar plate's {friction_floor:.5f}: a false solution"
        )
    lines = _lines(layout, settings, layers, sign)
    fullest = max(float(ln.shape_factor.max()) for ln in lines)
    if fullest > _IMPOSSIBLE:
        raise NotConverged(f"a layer with H = {fullest:.0f}: a false solution")
    for ln in lines:
        h = ln.shape_factor
        if ln.element < mesh.n_element - 1:
            continue  # in a slot the wake of the element in front truly thins that fast
        if ln.side == "wake" and (h[0] - h[1]) / (h[0] - 1.0) > _SWOLLEN:
            raise NotConverged("layers swollen at the edge and gone behind it: a false solution")
    slots = _slots(layout, lines)
    separated = any(
        bool(np.any(ln.shape_factor[_ahead(ln, mesh)] > _SEPARATED))
        for ln in lines
        if ln.side != "wake"
    )
    suction = _nose_suction(mesh, q, settings.reynolds)
    notices = list(case.stack.notices)
    if separated:
        notices.append("separated ahead of half chord: trend only")
    if suction > 1.0:
        notices.append("nose suction beyond its limit: abrupt stall expected, not computed")
    notices += [
        f"layers fill slot {k + 1}: {100 * s.layers:.2f} % in a gap of {100 * s.gap:.2f} %"
        for k, s in enumerate(slots)
        if s.is_confluent
    ]
    parts = [mesh.element(e) for e in range(mesh.n_element)]
    return SectionPoint(
        alpha=alpha,
        height=case.height,
        lift=sign * float(cl.sum()),
        drag=float(drag),
        moment=sign * float(cm.sum()),
        pressure_drag=float(cd.sum()),
        element_lift=sign * cl,
        x=tuple(mesh.x[p] for p in parts),
        y=tuple(mesh.y[p] for p in parts),
        pressure=tuple(1.0 - q[p] ** 2 for p in parts),
        lines=lines,
        slots=slots,
        nose_suction=suction,
        is_separated=separated,
        is_settled=layers.is_settled,
        n_iteration=layers.n_iteration,
        residual=layers.residual,
        notices=tuple(notices),
        layers=layers,
    )


def _quarter(case: Case, alpha: float, mesh: Mesh) -> tuple[float, float]:
    """Quarter-chord point in the frame of the solution."""
    if case.height is None:
        return 0.25, 0.0
    first = mesh.element(0)
    x, y = mesh.x[first], mesh.y[first]
    last = mesh.element(mesh.n_element - 1)
    tx, ty = 0.5 * (mesh.x[last][0] + mesh.x[last][-1]), 0.5 * (mesh.y[last][0] + mesh.y[last][-1])
    k = int(np.argmax(np.hypot(x - tx, y - ty)))
    return float(x[k] + 0.25 * (tx - x[k])), float(y[k] + 0.25 * (ty - y[k]))


def _sizes(mesh: Mesh) -> list[float]:
    return [float(np.ptp(mesh.x[mesh.element(e)])) for e in range(mesh.n_element)]


def _wake_drag(layers: Layers, k: int) -> float:
    """Squire and Young at the end of a wake, both halves in one thickness."""
    _, t, m, u, _, w = layers.state[k]
    h = (m / u - w) / t
    return float(2.0 * t * u ** (0.5 * (h + 5.0)))


def _ahead(line: LayerLine, mesh: Mesh) -> NDArray[np.bool_]:
    x = mesh.x[mesh.element(line.element)]
    share = (line.x - x.min()) / np.ptp(x)
    turbulent = share > (line.transition if line.transition is not None else 2.0)
    return np.asarray((share < 0.5) & turbulent & (share > 0.02))


def _lines(
    layout: Layout, settings: LayerSettings, layers: Layers, sign: float
) -> tuple[LayerLine, ...]:
    mesh = layout.system.mesh
    out = []
    for e in range(mesh.n_element):
        x = mesh.x[mesh.element(e)]
        low, size = float(x.min()), float(np.ptp(x))
        for side in range(2):
            chain = layers.chains[2 * e + side]
            name = ("upper", "lower")[side if sign > 0 else 1 - side]
            out.append(_line(layout, settings, layers, chain, e, name, low, size))
        w = layout.wake[e]
        out.append(
            _line(layout, settings, layers, np.arange(w.start, w.stop), e, "wake", low, size)
        )
    return tuple(out)


def _line(
    layout: Layout,
    settings: LayerSettings,
    layers: Layers,
    chain: NDArray[np.int64],
    element: int,
    side: str,
    low: float,
    size: float,
) -> LayerLine:
    st, kind = layers.state[chain], layers.kind[chain]
    t, u = st[:, 1], st[:, 3]
    d = st[:, 2] / u - st[:, 5]
    k = np.array(
        [
            closure.closure(int(kk) if kk != closure.TRANSITION else 1, c, tt, dd, uu, settings.par)
            for kk, c, tt, dd, uu in zip(kind, st[:, 0], t, d, u, strict=True)
        ]
    )
    share = (layout.x[chain] - low) / size
    switch = np.flatnonzero(kind == closure.TRANSITION)
    transition = float(share[switch[0]]) if switch.size and side != "wake" else None
    reversed_ = (k[:, 2] <= 0.0) & (kind != closure.WAKE)
    separation = None
    if reversed_.size and reversed_[-1]:
        start = int(np.argmin(reversed_[::-1]))
        separation = float(share[reversed_.size - start]) if start else float(share[0])
    laminar_thickness = 3.2 * d
    return LayerLine(
        element=element,
        side=side,
        x=layout.x[chain],
        y=layout.y[chain],
        theta=t,
        delta_star=d,
        thickness=np.where(kind == 0, laminar_thickness, k[:, 5]),
        shape_factor=k[:, 0],
        friction=k[:, 2],
        speed=u,
        transition=transition,
        separation=separation,
    )


def _slots(layout: Layout, lines: tuple[LayerLine, ...]) -> tuple[SlotState, ...]:
    """Layers at the lip of each slot, and where the wake meets the next element's layer."""
    mesh = layout.system.mesh
    pick = {(ln.element, ln.side): ln for ln in lines}
    out = []
    for e in range(mesh.n_element - 1):
        pressure = pick[e, "lower"]
        wake = pick[e, "wake"]
        suction = pick[e + 1, "upper"]
        tail = np.array([wake.x[0], wake.y[0]])
        nodes = mesh.element(e + 1)
        gap = float(np.hypot(mesh.x[nodes] - tail[0], mesh.y[nodes] - tail[1]).min())
        k = int(np.argmin(np.hypot(suction.x - tail[0], suction.y - tail[1])))
        filled = float(pressure.thickness[-1] + suction.thickness[k])
        merge = None
        x = mesh.x[nodes]
        for i in range(wake.x.size):
            dist = np.hypot(suction.x - wake.x[i], suction.y - wake.y[i])
            j = int(np.argmin(dist))
            if wake.x[i] > x.max():
                break
            if dist[j] < suction.thickness[j] + 0.5 * wake.thickness[i]:
                merge = float((wake.x[i] - x.min()) / np.ptp(x))
                break
        out.append(SlotState(gap=gap, layers=filled, merge_at=merge))
    return tuple(out)


def _nose_suction(mesh: Mesh, q: Array, reynolds: float) -> float:
    table = np.loadtxt(Path(__file__).parent / "stall_limits.csv", delimiter=",", skiprows=5)
    worst = 0.0
    for e in range(mesh.n_element):
        sl = mesh.element(e)
        cp = 1.0 - q[sl] ** 2
        own = reynolds * float(np.ptp(mesh.x[sl]))
        limit = float(np.interp(np.log(own), np.log(table[:, 0]), table[:, 1]))
        edge = 0.5 * (cp[0] + cp[-1])
        worst = max(worst, float(edge - cp.min()) / limit)
    return worst
