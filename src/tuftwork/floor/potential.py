"""The channel without losses: a potential over the plan, the upper bound of the momentum form.

div(h grad φ) = leak, φ = 0 at the inlet, its slope at the exit from the exit's pressure. Air that
leaks in brings no deficit here; with the loss of its mixing downforce falls by a third or more.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import spsolve

from tuftwork.errors import NotConverged
from tuftwork.floor.line import FloorClosure, LineResult
from tuftwork.floor.plan_grid import PlanGrid, plan_grid
from tuftwork.floor.shape import FloorShape, Stand, check_shape
from tuftwork.quantity import Array


def potential_downforce(
    shape: FloorShape, stand: Stand, closure: FloorClosure, *, n_x: int = 60, n_y: int = 10,
    line: LineResult | None = None,
) -> float:  # fmt: skip
    """Return CzS of a floor without losses: a bound, not an answer [m²].

    Parameters
    ----------
    shape, stand, closure
        As for :func:`tuftwork.floor.plan.solve_plan`; mixing and friction do not count here.
    line
        Whose layer narrows the gap; none unless given.

    Raises
    ------
    InputError
        If the floor narrows behind a tail: the potential wants a full width.
    NotConverged
        If the leak was not settled.
    """
    check_shape(shape, stand, n_x=n_x, n_y=n_y)
    grid = plan_grid(replace(shape, tail=None), stand, closure, line, n_x=n_x, n_y=n_y)
    pressure = _solve(grid, closure)
    cell = np.diff(grid.x)[:, None] * np.diff(grid.y)[None, :]
    return float(-(2 * pressure * cell).sum() * (2.0 if grid.is_half else 1.0))


def _solve(grid: PlanGrid, closure: FloorClosure) -> Array:
    nx, ny = grid.active.shape
    dx, dy = np.diff(grid.x), np.diff(grid.y)
    head = 0.5 * closure.head
    exit_speed = np.sqrt(2 * (head - 0.5 * closure.exit_pressure))
    at = np.arange(nx * ny).reshape(nx, ny)
    rows: list[NDArray[np.int64]] = []
    cols: list[NDArray[np.int64]] = []
    vals: list[Array] = []

    def put(row: NDArray[np.int64], col: NDArray[np.int64], val: Array) -> None:
        rows.append(row.ravel())
        cols.append(col.ravel())
        vals.append(val.ravel())

    span = np.concatenate([[0.5 * dx[0]], 0.5 * (dx[1:] + dx[:-1])])
    west = grid.depth_u[:nx] / span[:, None] * dy  # conductance of the face ahead of each cell
    put(at, at, -west)
    put(at[1:], at[:-1], west[1:])
    put(at[:-1], at[:-1], -west[1:])
    put(at[:-1], at[1:], west[1:])
    apart = 0.5 * (dy[1:] + dy[:-1])
    side = grid.depth_v[:, 1:-1] * dx[:, None] / apart
    put(at[:, :-1], at[:, :-1], -side)
    put(at[:, :-1], at[:, 1:], side)
    put(at[:, 1:], at[:, 1:], -side)
    put(at[:, 1:], at[:, :-1], side)
    size_all = nx * ny
    base = coo_matrix(
        (np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), (size_all, size_all)
    ).tocsr()
    load = np.zeros((nx, ny))
    load[-1] = grid.depth_u[-1] * exit_speed * dy
    edges = [(ny - 1, -1, grid.right)]
    if not grid.is_half:
        edges.append((0, 0, grid.left))

    def _leaked(phi: Array) -> tuple[Array, csr_matrix]:
        u, near = _speed(phi, dx, exit_speed)
        residual = base @ phi.ravel() + load.ravel()
        more: list[tuple[NDArray[np.int64], NDArray[np.int64], Array]] = []
        for j, face, out in edges:
            gap, open_ = grid.barrier[:, face], grid.barrier[:, face] / grid.depth_v[:, face]
            # p = head − (u² + v²)/2 inside the edge, v = open sqrt(2 (out − p)) through it
            kept = 1 / np.maximum(1 - open_**2, 0.1)
            dp = (out - head + 0.5 * u[:, j] ** 2) * kept
            root = (dp * dp + 1e-6) ** 0.25
            residual[at[:, j]] -= gap * np.sqrt(2.0) * dp / root * dx
            # the slope of dp (dp² + s²)^(-1/4)
            slope = gap * np.sqrt(2.0) * (1 / root - 0.5 * dp * dp / root**5) * dx * u[:, j] * kept
            for offset, weight in near:
                i = np.clip(np.arange(nx) + offset, 0, nx - 1)
                more.append((at[:, j], at[i, j], -slope * weight))
        row = np.concatenate([m[0] for m in more])
        col = np.concatenate([m[1] for m in more])
        val = np.concatenate([m[2] for m in more])
        return residual, coo_matrix((val, (row, col)), (size_all, size_all)).tocsr()

    phi = np.cumsum(dx)[:, None] * np.full((nx, ny), exit_speed)
    residual, slopes = _leaked(phi)
    for _ in range(60):
        step = spsolve((base + slopes).tocsc(), -residual).reshape(nx, ny)
        size, share = float(np.linalg.norm(residual)), 1.0
        while share > 1e-4:
            fresh, more = _leaked(phi + share * step)
            if np.linalg.norm(fresh) < size * (1 - 0.1 * share) or size < 1e-12:
                break
            share *= 0.5
        phi, residual, slopes = phi + share * step, fresh, more
        if np.abs(step).max() < 1e-8 * np.ptp(phi):
            return _pressure(grid, phi, dx, dy, head, exit_speed)
    raise NotConverged("the potential under the floor: the leak did not settle in 60 steps")


def _pressure(
    grid: PlanGrid, phi: Array, dx: Array, dy: Array, head: float, exit_speed: float
) -> Array:
    """Return the pressure of a potential, with its speed across at the edges too."""
    u, _ = _speed(phi, dx, exit_speed)
    v = np.zeros((phi.shape[0], phi.shape[1] + 1))
    v[:, 1:-1] = np.diff(phi, axis=1) / (0.5 * (dy[1:] + dy[:-1]))
    for face, side, out in ((-1, -1.0, grid.right), (0, 1.0, grid.left)):
        if face == 0 and grid.is_half:
            continue
        open_ = grid.barrier[:, face] / grid.depth_v[:, face]
        dp = (out - head + 0.5 * u[:, face] ** 2) / np.maximum(1 - open_**2, 0.1)
        v[:, face] = side * open_ * np.sign(dp) * np.sqrt(2 * np.abs(dp))
    vc = 0.5 * (v[:, 1:] + v[:, :-1])
    return np.asarray(head - 0.5 * (u**2 + vc**2))


def _speed(phi: Array, dx: Array, exit_speed: float) -> tuple[Array, list[tuple[int, Array]]]:
    """Return u in the cells, and the weights of φ around each cell it is made from."""
    nx = dx.size
    span = np.concatenate([[0.5 * dx[0]], 0.5 * (dx[1:] + dx[:-1])])
    face = np.empty((nx + 1, phi.shape[1]))
    face[0] = phi[0] / span[0]
    face[1:-1] = np.diff(phi, axis=0) / span[1:, None]
    face[-1] = exit_speed
    ahead, behind = 0.5 / span, np.append(0.5 / span[1:], 0.0)
    weights = [(0, ahead - behind), (-1, np.where(np.arange(nx) > 0, -ahead, 0.0)), (1, behind)]
    return 0.5 * (face[1:] + face[:-1]), weights
