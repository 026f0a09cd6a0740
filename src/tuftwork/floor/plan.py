"""The channel under the floor in plan: pressure map, leak flows, loads and where they act.

    div(h V) = 0,   h V·grad u + h dp/dx = mixing of leaked air + div(ν h grad u) − friction

with h the gap less the displacement of the layers of floor and road, which the width-averaged
channel gives with the friction of layers that fill the gap.
Side edges and strakes let through Cd g sqrt(2 |Δp|); the inlet keeps its total pressure, the exit
has the pressure of what stands behind it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.lapack import dgbsv

from tuftwork.errors import NotConverged
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.plan_grid import PlanGrid, plan_grid
from tuftwork.floor.plan_kernel import residuals
from tuftwork.floor.plan_slope import slopes
from tuftwork.floor.shape import FloorShape, Stand, check_shape, kinks
from tuftwork.quantity import Array

_VISCOSITY, _SOUND = 1.5e-5, 340.0  # [m²/s], [m/s] of usual air, to say when it is fast
_FEW_ROWS = 10  # over the whole width, from which finer ones start where they fail at once
_FAST = 0.45  # [-] Mach number from which on it is said
_SOFT = 1e-3  # [-] pressure difference below which an orifice's law is rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """The channel in plan.

    Attributes
    ----------
    x, y
        Middles of the cells, the whole width. [m]
    pressure
        Cp, ``(nx, ny)``; NaN where there is no floor. [-]
    speed
        Along the car over the road speed, at the cells. [-]
    cross
        Towards the right, at the cells. [-]
    gap
        [m]
    leak_left, leak_right
        Flow in through each edge per length, over the road speed, ``(nx,)``. [m]
    strake_flow
        Flow through each strake towards the middle, over the road speed. [m²]
    inlet_flow, exit_flow, leak_flow
        Over the road speed. [m²]
    downforce, moment, drag, side_moment
        CzS; its moments about the front axle line and about the middle; CxS of the inclined
        underside. [m²], [m³], [m²], [m³]
    line
        The width-averaged channel its layer was taken from.
    iterations
    residual
        Root mean square of what the equations leave.
    state
        The unknowns u, v, p, to start a neighbour from.
    notices
        Where it may not be trusted.
    """

    x: Array
    y: Array
    pressure: Array
    speed: Array
    cross: Array
    gap: Array
    leak_left: Array
    leak_right: Array
    strake_flow: tuple[float, ...]
    inlet_flow: float
    exit_flow: float
    leak_flow: float
    downforce: float
    moment: float
    drag: float
    side_moment: float
    line: LineResult
    iterations: int
    residual: float
    state: tuple[Array, Array, Array]
    notices: tuple[str, ...]

    @property
    def centre(self) -> float:
        """Station of the load's centre behind the front axle line [m]."""
        return self.moment / self.downforce


def solve_plan(
    shape: FloorShape,
    stand: Stand,
    closure: FloorClosure,
    *,
    n_x: int = 60,
    n_y: int = 10,
    line: LineResult | None = None,
    near: PlanResult | None = None,
    layer: LineResult | None = None,
    with_layer: bool = True,
) -> PlanResult:
    """Return the channel under a floor in plan.

    Parameters
    ----------
    shape, stand, closure
        As for :func:`tuftwork.floor.line.solve_line`.
    n_x, n_y
        Cells along and across the whole width; without roll one half is solved.
    line
        The width-averaged channel, or a neighbour's to start it from; solved unless given.
    near
        A neighbour of the same shape to start from.
    layer
        A width-averaged channel whose layer is taken as it is, unsolved.
    with_layer
        Whether the layer narrows the gap.

    Raises
    ------
    InputError
        What :func:`tuftwork.floor.shape.check_shape` refuses.
    NotConverged
        If the equations are left unsolved.

    References
    ----------
    Depth-averaged momentum; exponential blend [allen1955].
    """
    check_shape(shape, stand, n_x=n_x, n_y=n_y)
    first = line if line is not None or near is None else near.line
    found = layer if layer is not None else solve_line(shape, stand, closure, start=first)
    # the road's friction is in its layer already
    open_ = replace(closure, road_friction=0.0) if with_layer else closure

    def cells(rows: int) -> PlanGrid:
        own = found if with_layer else None
        return plan_grid(shape, stand, closure, own, n_x=n_x, n_y=rows)

    grid = cells(n_y)
    start = _start(grid, found)
    is_near = near is not None and near.state[2].shape == grid.active.shape
    first_state = near.state if near is not None and is_near else start
    u, v, p, count, size = solve_grid(grid, open_, first_state)
    if count < 0 and n_y > _FEW_ROWS:
        u, v, p, count, size = _refined(cells, open_, found, n_y)
    if count < 0:
        u, v, p, count, size = _continued(grid, open_, start)
    if count < 0:
        raise NotConverged(
            f"the floor in plan: residual {size:.1e} at ride heights {1e3 * stand.front:.1f} and "
            f"{1e3 * stand.rear:.1f} mm"
        )
    return _result(shape, stand, closure, grid, found, u, v, p, count, size)


def _start(grid: PlanGrid, line: LineResult) -> tuple[Array, Array, Array]:
    xc = 0.5 * (grid.x[1:] + grid.x[:-1])
    nx, ny = grid.active.shape
    p = np.repeat(0.5 * np.interp(xc, line.x, line.pressure)[:, None], ny, axis=1)
    u = np.repeat(np.interp(grid.x, line.x, line.speed)[:, None], ny, axis=1)
    p = np.where(grid.active, p, grid.outside)
    v = np.zeros((nx, ny + 1))
    for side, at, out in ((-1.0, 0, grid.left), (1.0, ny, grid.right)):
        dp = side * (p[:, min(at, ny - 1)] - out)
        v[:, at] = grid.barrier[:, at] * np.sign(dp) * np.sqrt(2 * np.abs(dp)) / grid.depth_v[:, at]
    share = np.linspace(0.0, 1.0, ny + 1)[None, :]
    v = (1 - share) * v[:, :1] + share * v[:, -1:]
    v = np.where(grid.barrier == 0.0, 0.0, v)
    return u, v, p


def solve_grid(
    grid: PlanGrid,
    closure: FloorClosure,
    start: tuple[Array, Array, Array],
    *,
    body: Array | None = None,
    limit: int = 30,
) -> tuple[Array, Array, Array, int, float]:
    """Return u, v, p, iterations (negative: not converged) and residual of Newton's method.

    ``body`` ``(3, nx + 1, ny + 1)`` adds forces per mass along and across, and sources: for checks.
    """
    u, v, p = (np.ascontiguousarray(a, dtype=float).copy() for a in start)
    nx, ny = p.shape
    width = 3 * ny + 1
    size_all = nx * width + ny
    force = np.zeros((3, nx + 1, ny + 1)) if body is None else body
    dx = np.diff(grid.x)
    g = (
        grid.depth_u, grid.depth_v, grid.barrier, grid.active, grid.outside, dx,
        np.diff(grid.y), grid.loss, grid.left, grid.right, force,
    )  # fmt: skip
    par = np.array([
        closure.mixing, closure.eddy, 0.5 * closure.head, closure.inlet_loss,
        0.5 * closure.exit_pressure, closure.road_friction, _SOFT,
    ])  # fmt: skip
    res, trial = np.empty(size_all), np.empty(size_all)
    band = np.empty((3 * width + 1, size_all), order="F")
    size = residuals(u, v, p, g, par, res)
    for count in range(limit):
        if size < 1e-8:
            return u, v, p, count, size
        slopes(u, v, p, g, par, band)
        _, _, step, info = dgbsv(width, width, band, -res, overwrite_ab=1)
        if info != 0 or not np.isfinite(step).all():
            return u, v, p, -count - 1, size
        du, dv, dp = _split(step, nx, ny)
        share = 1.0
        for _ in range(10):
            moved = (u + share * du, v + share * dv, p + share * dp)
            fresh = residuals(*moved, g, par, trial)
            if fresh < (1.0 - 0.1 * share) * size or fresh < 1e-8:
                break
            share *= 0.5
        else:
            return u, v, p, -count - 1, size
        u, v, p = moved
        res, trial, size = trial, res, fresh
    return u, v, p, -limit, size


def _split(step: Array, nx: int, ny: int) -> tuple[Array, Array, Array]:
    n = 3 * ny + 1
    blocks = step[: nx * n].reshape(nx, n)
    u = np.vstack([blocks[:, :ny], step[nx * n :][None, :]])
    return u, blocks[:, ny : 2 * ny + 1], blocks[:, 2 * ny + 1 :]


def _refined(
    cells: Callable[[int], PlanGrid], closure: FloorClosure, line: LineResult, n_y: int
) -> tuple[Array, Array, Array, int, float]:
    """Start from few rows and add some at a time."""
    rows = _FEW_ROWS
    grid = cells(rows)
    u, v, p, count, size = solve_grid(grid, closure, _start(grid, line))
    if count < 0:
        u, v, p, count, size = _continued(grid, closure, _start(grid, line))
    total = abs(count)
    while count >= 0 and rows < n_y:
        before, rows = grid, min(round(1.5 * rows), n_y)
        grid = cells(rows)
        u, v, p, count, size = solve_grid(grid, closure, _moved(before, (u, v, p), grid))
        total += abs(count)
    return u, v, p, total if count >= 0 else -total, size


def _moved(
    old: PlanGrid, state: tuple[Array, Array, Array], new: PlanGrid
) -> tuple[Array, Array, Array]:
    """Return u, v, p of other rows at the same stations."""
    middles = [0.5 * (g.y[1:] + g.y[:-1]) for g in (old, new)]
    u, p = (
        np.array([np.interp(middles[1], middles[0], row) for row in of])
        for of in (state[0], state[2])
    )
    return u, np.array([np.interp(new.y, old.y, row) for row in state[1]]), p


def _continued(
    grid: PlanGrid, closure: FloorClosure, start: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array, int, float]:
    """Come down from a very viscous channel, where Newton's method always lands."""
    total, size = 0, np.inf
    target, now = closure.eddy, max(20.0 * closure.eddy, 2.0)
    state, factor = start, 0.4
    first = True
    while True:
        u, v, p, count, size = solve_grid(grid, replace(closure, eddy=now), state)
        total += abs(count)
        if count >= 0:
            state, first = (u, v, p), False
            if now <= target * (1 + 1e-9):
                return u, v, p, total, size
            good, now = now, max(target, now * factor)
        elif first:
            now *= 5.0
            if now > 1e4:
                return u, v, p, -total, size
        else:
            factor = np.sqrt(factor)
            now = max(target, good * factor)
            if factor > 0.98:
                return u, v, p, -total, size


def _result(
    shape: FloorShape, stand: Stand, closure: FloorClosure, grid: PlanGrid, line: LineResult,
    u: Array, v: Array, p: Array, count: int, size: float,
) -> PlanResult:  # fmt: skip
    dx, dy = np.diff(grid.x), np.diff(grid.y)
    cp = np.where(grid.active, 2 * p, np.nan)
    uc, vc = 0.5 * (u[1:] + u[:-1]), 0.5 * (v[:, 1:] + v[:, :-1])
    qy = grid.depth_v * v
    gap, yc = grid.gap, 0.5 * (grid.y[1:] + grid.y[:-1])
    _, ny = grid.active.shape
    last = ny - np.argmax(grid.active[:, ::-1], axis=1)
    rows = np.arange(dx.size)
    right = -qy[rows, last]
    if grid.is_half:
        left = right
        cp, uc, gap = (np.hstack([a[:, ::-1], a]) for a in (cp, uc, gap))
        vc = np.hstack([-vc[:, ::-1], vc])
        yc, wide = np.concatenate([-yc[::-1], yc]), np.concatenate([dy[::-1], dy])
    else:
        left, wide = qy[rows, np.argmax(grid.active, axis=1)], dy
    xc = 0.5 * (grid.x[1:] + grid.x[:-1])
    cell = dx[:, None] * wide[None, :]
    load = -np.nan_to_num(cp) * cell
    slope = np.gradient(gap, xc, axis=0)
    both = 2.0 if grid.is_half else 1.0
    through = grid.depth_u * u * dy[None, :]
    flow_in = both * float(np.sum(through[0, grid.active[0]]))
    flow_out = both * float(np.sum(through[-1, grid.active[-1]]))
    flow_out += both * float(np.sum(through[1:-1][grid.active[:-1] & ~grid.active[1:]]))
    return PlanResult(
        x=xc, y=yc, pressure=cp, speed=np.where(np.isnan(cp), np.nan, uc),
        cross=np.where(np.isnan(cp), np.nan, vc), gap=gap, leak_left=left, leak_right=right,
        strake_flow=_strake_flows(shape, grid, qy, dx), inlet_flow=flow_in, exit_flow=flow_out,
        leak_flow=float(np.sum((left + right) * dx)), downforce=float(load.sum()),
        moment=float((load * xc[:, None]).sum()), drag=float((load * slope).sum()),
        side_moment=float((load * yc[None, :]).sum()), line=line, iterations=count, residual=size,
        state=(u, v, p), notices=notices_of(shape, stand, closure, line),
    )  # fmt: skip


def _strake_flows(shape: FloorShape, grid: PlanGrid, qy: Array, dx: Array) -> tuple[float, ...]:
    found = []
    xc = 0.5 * (grid.x[1:] + grid.x[:-1])
    for s in shape.strakes:
        at = int(np.argmin(np.abs(grid.y - s.offset)))
        along = (xc >= s.start) & (xc <= s.end)
        found.append(float(-np.sum(qy[along, at] * dx[along])))
    return tuple(found)


def notices_of(
    shape: FloorShape, stand: Stand, closure: FloorClosure, line: LineResult
) -> tuple[str, ...]:
    """Return where a state may not be trusted."""
    found = []
    if line.stalled_from is not None:
        found.append(f"the layer has separated from station {line.stalled_from:.2f} m on")
    turned = kinks(shape)
    if turned:
        ramp = shape.exit - turned[-1]
        near = float(stand.plane(np.array(turned[-1]), np.zeros(1))[0])
        if near > 0.33 * ramp:
            found.append(
                f"the gap of {1e3 * near:.0f} mm is over a third of the ramp's {1e3 * ramp:.0f} mm:"
                " trend only"
            )
    mach = float(np.max(line.speed)) * closure.reynolds * _VISCOSITY / _SOUND
    if mach > _FAST:
        more = 1 / np.sqrt(max(1 - mach**2, 0.05)) - 1
        found.append(
            f"the air reaches Mach {mach:.2f} under the floor: density, which is held, would add "
            f"some {100 * more:.0f} % to its suction"
        )
    thick = float(np.max(line.blocked / line.gap))
    if thick > 0.5:
        found.append(f"the displacement of the layers fills {100 * thick:.0f} % of the gap")
    return tuple(found)
