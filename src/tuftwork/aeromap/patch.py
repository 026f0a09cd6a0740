# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Kernels of the smooth surface between map nodes: bicubic Hermite patches, limited slopes.

Every node carries value, slope in x, slope in y and twist. A patch is written in Bernstein form,
so it lies between the least and the greatest of its 16 ordinates. Slopes are limited so that all
16 lie between the patch's own four corners: the surface cannot overshoot the map.

The compiler's cache looks at one file only: after a change here or in ``root.py``, touch
``follow.py`` too, or old kernels stay inside it.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.quantity import Array

MOST_BUCKETS = 65_536
_BLOCK = 256  # [points] whose cells and weights stay in the nearest cache


@njit(cache=True, nogil=True)
@no_type_check
def _slope(h0: float, h1: float, s0: float, s1: float) -> float:
    """Slope between two secants: the parabola's, limited to three times the flatter secant."""
    if s0 * s1 <= 0.0:
        return 0.0
    slope = (s0 * h1 + s1 * h0) / (h0 + h1)
    limit = 3.0 * min(abs(s0), abs(s1))
    return min(max(slope, -limit), limit)


@njit(cache=True, nogil=True)
@no_type_check
def _end_slope(h0: float, h1: float, s0: float, s1: float) -> float:
    """Slope at the end of a line: the parabola's, with the sign of the end secant."""
    slope = ((2.0 * h0 + h1) * s0 - h0 * s1) / (h0 + h1)
    if slope * s0 <= 0.0:
        return 0.0
    limit = 3.0 * abs(s0)
    return min(max(slope, -limit), limit)


@njit(cache=True, nogil=True)
@no_type_check
def line_slopes(x: Array, f: Array, out: Array) -> None:
    """Limited slopes along one line of nodes."""
    n = x.size
    for i in range(1, n - 1):
        h0, h1 = x[i] - x[i - 1], x[i + 1] - x[i]
        out[i] = _slope(h0, h1, (f[i] - f[i - 1]) / h0, (f[i + 1] - f[i]) / h1)
    if n == 2:
        out[0] = out[1] = (f[1] - f[0]) / (x[1] - x[0])
        return
    h0, h1 = x[1] - x[0], x[2] - x[1]
    out[0] = _end_slope(h0, h1, (f[1] - f[0]) / h0, (f[2] - f[1]) / h1)
    h0, h1 = x[n - 1] - x[n - 2], x[n - 2] - x[n - 3]
    out[n - 1] = _end_slope(h0, h1, (f[n - 1] - f[n - 2]) / h0, (f[n - 2] - f[n - 3]) / h1)


@njit(cache=True, nogil=True)
@no_type_check
def _twist_room(x: Array, y: Array, node: Array, i: int, j: int) -> tuple[float, float]:
    """Least and greatest twist that keep all inner ordinates at a node within their cells."""
    low, high = -np.inf, np.inf
    f, fx, fy = node[i, j, 0], node[i, j, 1], node[i, j, 2]
    for sx in (-1, 1):
        if i + sx < 0 or i + sx >= x.size:
            continue
        for sy in (-1, 1):
            if j + sy < 0 or j + sy >= y.size:
                continue
            a, b, c = node[i + sx, j, 0], node[i, j + sy, 0], node[i + sx, j + sy, 0]
            least, most = min(min(f, a), min(b, c)), max(max(f, a), max(b, c))
            hx, hy = x[i + sx] - x[i], y[j + sy] - y[j]  # signed
            base = f + hx * fx / 3.0 + hy * fy / 3.0
            t0, t1 = 9.0 * (least - base) / (hx * hy), 9.0 * (most - base) / (hx * hy)
            low, high = max(low, min(t0, t1)), min(high, max(t0, t1))
    return low, high


@njit(cache=True, nogil=True)
@no_type_check
def fill_nodes(x: Array, y: Array, node: Array) -> None:
    """Fill slopes and twist of ``node (nx, ny, 4)`` from the values in ``node[..., 0]``."""
    nx, ny = x.size, y.size
    cross = np.empty((nx, ny))
    for j in range(ny):
        line_slopes(x, node[:, j, 0], node[:, j, 1])
    for i in range(nx):
        line_slopes(y, node[i, :, 0], node[i, :, 2])
        line_slopes(y, node[i, :, 1], node[i, :, 3])
    for j in range(ny):
        line_slopes(x, node[:, j, 2], cross[:, j])
    for i in range(nx):
        for j in range(ny):
            a, b = node[i, j, 3], cross[i, j]
            twist = 0.5 * (a + b) if a * b > 0.0 else 0.0
            low, high = _twist_room(x, y, node, i, j)
            halvings = 0
            while low > high and halvings < 60:  # flat slopes always leave room
                node[i, j, 1] *= 0.5
                node[i, j, 2] *= 0.5
                halvings += 1
                low, high = _twist_room(x, y, node, i, j)
            node[i, j, 3] = min(max(twist, low), high) if low <= high else 0.0


@njit(cache=True, nogil=True)
@no_type_check
def fill_all(x: Array, y: Array, nodes: Array, first: int, last: int) -> None:
    """Fill the nodes ``(n_draw, n_field, nx, ny, 4)`` of draws ``first`` to ``last``."""
    for d in range(first, last):
        for k in range(nodes.shape[1]):
            fill_nodes(x, y, nodes[d, k])


@njit(cache=True, nogil=True)
@no_type_check
def find_cell(axis: Array, start: Array, scale: float, value: float) -> int:
    """Cell of ``axis`` that holds ``value``; −1 outside.

    ``start`` gives the cell in which each of many equal steps of the axis begins; a step holds at
    most one node, so one comparison settles it.
    """
    if not (value >= axis[0] and value <= axis[-1]):
        return -1
    bucket = int((value - axis[0]) * scale)
    cell = start[min(bucket, start.size - 1)]
    return min(cell + int(value > axis[cell + 1]), axis.size - 2)


@njit(cache=True, nogil=True)
@no_type_check
def hermite(t: float, h: float) -> tuple[float, float, float, float]:
    """Weights of left value, right value, left slope and right slope."""
    s = 1.0 - t
    right = t * t * (3.0 - 2.0 * t)
    return 1.0 - right, right, h * t * s * s, -h * t * t * s


@njit(cache=True, nogil=True)
@no_type_check
def hermite_slope(t: float, h: float) -> tuple[float, float, float, float]:
    """Weights for the derivative over the coordinate itself, in the same order."""
    a = 6.0 * t * (1.0 - t) / h
    return -a, a, (1.0 - t) * (1.0 - 3.0 * t), t * (3.0 * t - 2.0)


@njit(cache=True, nogil=True)
@no_type_check
def blend(node: Array, i: int, j: int, wx: tuple, wy: tuple) -> float:
    """Sum of a patch's node data with weights along x and y."""
    return (
        wy[0] * _along(node, i, j, 0, wx) + wy[1] * _along(node, i, j + 1, 0, wx)
        + wy[2] * _along(node, i, j, 2, wx) + wy[3] * _along(node, i, j + 1, 2, wx)
    )  # fmt: skip


@njit(cache=True, nogil=True)
@no_type_check
def _along(node: Array, i: int, j: int, c: int, wx: tuple) -> float:
    return (
        wx[0] * node[i, j, c] + wx[1] * node[i + 1, j, c]
        + wx[2] * node[i, j, c + 1] + wx[3] * node[i + 1, j, c + 1]
    )  # fmt: skip


@njit(cache=True, nogil=True)
@no_type_check
def ordinates(x: Array, y: Array, node: Array, i: int, j: int, out: Array) -> None:
    """Bernstein ordinates ``(4, 4)`` of the patch at cell (i, j)."""
    hx, hy = (x[i + 1] - x[i]) / 3.0, (y[j + 1] - y[j]) / 3.0
    for a in range(2):
        dx = hx if a == 0 else -hx
        for b in range(2):
            dy = hy if b == 0 else -hy
            f, fx, fy, fxy = (
                node[i + a, j + b, 0], node[i + a, j + b, 1],
                node[i + a, j + b, 2], node[i + a, j + b, 3],
            )  # fmt: skip
            p, r = 3 * a, 3 * b
            p1, r1 = 1 + a, 1 + b
            out[p, r] = f
            out[p1, r] = f + dx * fx
            out[p, r1] = f + dy * fy
            out[p1, r1] = f + dx * fx + dy * fy + dx * dy * fxy


@njit(cache=True, nogil=True)
@no_type_check
def _locate(axes, px, py, way, cells, weights):
    """Fill cells and weights of a block of points; False if one lies outside."""
    x, y, start_x, start_y = axes
    scale_x = start_x.size / (x[-1] - x[0])
    scale_y = start_y.size / (y[-1] - y[0])
    inside = True
    for p in range(px.size):
        i = find_cell(x, start_x, scale_x, px[p])
        j = find_cell(y, start_y, scale_y, py[p])
        if i < 0 or j < 0:
            inside = False
            i = j = 0
        hx, hy = x[i + 1] - x[i], y[j + 1] - y[j]
        u, v = (px[p] - x[i]) / hx, (py[p] - y[j]) / hy
        cells[p, 0], cells[p, 1] = i, j
        if way == 3:
            weights[p, 0], weights[p, 1] = 1.0 - u, u
            weights[p, 4], weights[p, 5] = 1.0 - v, v
            continue
        wx = hermite_slope(u, hx) if way == 1 else hermite(u, hx)
        wy = hermite_slope(v, hy) if way == 2 else hermite(v, hy)
        for c in range(4):
            weights[p, c], weights[p, 4 + c] = wx[c], wy[c]
    return inside


@njit(cache=True, nogil=True)
@no_type_check
def _blend_block(node, cells, w, way, out):
    """Fill one draw's one field at a block of located points."""
    for p in range(out.size):
        i, j = cells[p, 0], cells[p, 1]
        total = 0.0
        for b in range(2):
            for a in range(2):
                total += w[p, 4 + b] * w[p, a] * node[i + a, j + b, 0]
                if way != 3:
                    total += w[p, 4 + b] * w[p, 2 + a] * node[i + a, j + b, 1]
                    total += w[p, 6 + b] * w[p, a] * node[i + a, j + b, 2]
                    total += w[p, 6 + b] * w[p, 2 + a] * node[i + a, j + b, 3]
        out[p] = total


@njit(cache=True, nogil=True)
@no_type_check
def read_draws(axes, nodes, px, py, way, out):
    """Fill ``out (n_draw, n_field, n_point)``; points are shared or each draw's own."""
    cells = np.empty((_BLOCK, 2), np.uint32)
    weights = np.empty((_BLOCK, 8))
    inside = True
    shared = px.shape[0] == 1
    for begin in range(0, px.shape[1], _BLOCK):
        end = min(begin + _BLOCK, px.shape[1])
        for d in range(nodes.shape[0]):
            if d == 0 or not shared:
                found = _locate(axes, px[d, begin:end], py[d, begin:end], way, cells, weights)
                inside = inside and found
            for k in range(nodes.shape[1]):
                _blend_block(nodes[d, k], cells, weights, way, out[d, k, begin:end])
    return inside
