# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Kernels that judge each equilibrium and follow a car from rest through rising, falling speed.

Between speeds the platform is taken to move slowly: it stays on its branch while that exists and
is stable. Where the branch ends, it falls along the overdamped motion

    dh_i/dτ = R_i / k_i    (k_i: rate of the axle's spring there)

to whatever holds it next. The same motion decides stability: an equilibrium holds when both
eigenvalues of I + q K⁻¹ ∂CzS/∂h have a positive real part; the smaller one is the margin.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.aeromap.patch import blend, find_cell, hermite, hermite_slope
from tuftwork.aeromap.root import find_roots, make_work, spring_force

HELD, JUMPED, LEFT, UNHELD, STUCK = 0, 1, 2, 3, 4
"""On its branch; fell to another; left the map; only unstable ones; the fall did not settle."""

_STEP = 0.15  # [-] of the overdamped motion; stable for eigenvalues up to 13
_MOST_STEPS = 20_000
_SETTLED = 1e-4  # [m] this near a stable equilibrium, a fall has reached it
_LEAST_REACH = 1e-3  # [m] a branch may always move this far in one step of speed


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _air(axes, node, h1, h2, out):
    """Fill ``out (2, 3)`` with CzSf and CzSr, values and both slopes; False outside the map."""
    x, y, start_x, start_y = axes
    i = find_cell(x, start_x, start_x.size / (x[-1] - x[0]), h1)
    j = find_cell(y, start_y, start_y.size / (y[-1] - y[0]), h2)
    if i < 0 or j < 0:
        return False
    hx, hy = x[i + 1] - x[i], y[j + 1] - y[j]
    u, v = (h1 - x[i]) / hx, (h2 - y[j]) / hy
    wx, wy = hermite(u, hx), hermite(v, hy)
    dx, dy = hermite_slope(u, hx), hermite_slope(v, hy)
    for k in range(2):
        out[k, 0] = blend(node[k], i, j, wx, wy)
        out[k, 1] = blend(node[k], i, j, dx, wy)
        out[k, 2] = blend(node[k], i, j, wx, dy)
    return True


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _stiffness(air, q, k1, k2):
    """Return I + q K⁻¹ ∂CzS/∂h as four numbers, and its smaller eigenvalue's real part."""
    a, b = 1.0 + q * air[0, 1] / k1, q * air[0, 2] / k1
    c, d = q * air[1, 1] / k2, 1.0 + q * air[1, 2] / k2
    half, det = 0.5 * (a + d), a * d - b * c
    return a, b, c, d, half - np.sqrt(max(half * half - det, 0.0))


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def solve_draw(axes, node, ranges, q, tops, springs, work, out):
    """Find and judge all equilibria of one draw at every speed; False where room ran out."""
    heights, margins, counts = out
    (ft, fl, fr), (rt, rl, rr) = springs
    air = np.empty((2, 3))
    for s in range(q.size):
        top = tops[s, 0], tops[s, 1]
        count = find_roots(axes[:2], node, ranges, q[s], top, springs, work, heights[s])
        if count < 0:
            return False
        counts[s] = count
        for m in range(count):
            h1, h2 = heights[s, m, 0], heights[s, m, 1]
            h1 = min(max(h1, axes[0][0]), axes[0][-1])  # rounding at the map's edge
            h2 = min(max(h2, axes[1][0]), axes[1][-1])
            _air(axes, node, h1, h2, air)
            k1 = spring_force(ft, fl, fr, top[0] - h1)[1]
            k2 = spring_force(rt, rl, rr, top[1] - h2)[1]
            margins[s, m] = _stiffness(air, q[s], k1, k2)[4]
    return True


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def solve_draws(axes, nodes, ranges, q, tops, front, rear, out):
    """Run :func:`solve_draw` for every draw of a chunk."""
    heights, margins, counts = out
    work = make_work(front[0].shape[1], rear[0].shape[1])
    for d in range(nodes.shape[0]):
        springs = (front[0][d], front[1][d], front[2][d]), (rear[0][d], rear[1][d], rear[2][d])
        mine = heights[d], margins[d], counts[d]
        if not solve_draw(
            axes, nodes[d], (ranges[0][d], ranges[1][d]), q[d], tops[d], springs, work, mine
        ):
            return False
    return True


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _nearest(roots, margins, count, h1, h2):
    """Return the nearest stable equilibrium and its distance; −1 where none is stable."""
    best, least = -1, np.inf
    for m in range(count):
        away = np.hypot(roots[m, 0] - h1, roots[m, 1] - h2)
        if margins[m] > 0.0 and away < least:
            best, least = m, away
    return best, least


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _fall(axes, node, q, tops, springs, h1, h2, roots, margins, count):
    """Let go at (h1, h2); the stable equilibrium that catches it, −1 off the map, −2 unsettled."""
    (ft, fl, fr), (rt, rl, rr) = springs
    air = np.empty((2, 3))
    for _ in range(_MOST_STEPS):
        best, away = _nearest(roots, margins, count, h1, h2)
        if best >= 0 and away < _SETTLED:
            return best
        if not _air(axes, node, h1, h2, air):
            return -1
        f1, k1 = spring_force(ft, fl, fr, tops[0] - h1)
        f2, k2 = spring_force(rt, rl, rr, tops[1] - h2)
        h1 += _STEP * (f1 - q * air[0, 0]) / k1
        h2 += _STEP * (f2 - q * air[1, 0]) / k2
    return -2


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _foresee(axes, node, q, dq, tops, shift, springs, h1, h2):
    """Place of the branch after a step in dynamic pressure and tyre growth, to first order."""
    (ft, fl, fr), (rt, rl, rr) = springs
    air = np.empty((2, 3))
    if not _air(axes, node, h1, h2, air):
        return h1, h2
    k1 = spring_force(ft, fl, fr, tops[0] - h1)[1]
    k2 = spring_force(rt, rl, rr, tops[1] - h2)[1]
    a, b, c, d, _ = _stiffness(air, q, k1, k2)
    p1, p2 = shift[0] - dq * air[0, 0] / k1, shift[1] - dq * air[1, 0] / k2
    det = a * d - b * c
    if det == 0.0:
        return h1, h2
    return h1 + (d * p1 - b * p2) / det, h2 + (a * p2 - c * p1) / det


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def follow_draw(axes, node, q, tops, springs, found, order, now, out):
    """Follow one draw through the speeds in ``order`` from height ``now``; stop when lost."""
    heights, margins, counts = found
    which, status = out
    h1, h2 = now
    before = order[0]
    for s in order:
        roots, margin, count = heights[s], margins[s], counts[s]
        old = tops[before, 0], tops[before, 1]
        shift = tops[s, 0] - tops[before, 0], tops[s, 1] - tops[before, 1]
        g1, g2 = _foresee(axes, node, q[before], q[s] - q[before], old, shift, springs, h1, h2)
        reach = max(_LEAST_REACH, min(np.hypot(g1 - h1, g2 - h2), 3 * _LEAST_REACH))
        best, away = _nearest(roots, margin, count, g1, g2)
        status[s] = HELD
        if count == 0:
            best = -1
        elif best < 0:
            status[s] = UNHELD
            return
        elif not away <= reach:
            status[s] = JUMPED
            top = tops[s, 0], tops[s, 1]
            best = _fall(axes, node, q[s], top, springs, h1, h2, roots, margin, count)
        if best < 0:
            status[s] = LEFT if best == -1 else STUCK
            return
        which[s] = best
        h1, h2 = roots[best, 0], roots[best, 1]
        before = s


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def follow_draws(axes, nodes, q, tops, front, rear, found, rising, falling):
    """Follow every draw of a chunk up from rest, then down again from where it got to."""
    heights, margins, counts = found
    n = q.shape[1]
    up, down = np.arange(n), np.arange(n - 1, -1, -1)
    for d in range(nodes.shape[0]):
        springs = (front[0][d], front[1][d], front[2][d]), (rear[0][d], rear[1][d], rear[2][d])
        mine = heights[d], margins[d], counts[d]
        start = tops[d, 0, 0], tops[d, 0, 1]
        out = rising[0][d], rising[1][d]
        follow_draw(axes, nodes[d], q[d], tops[d], springs, mine, up, start, out)
        last = rising[0][d, n - 1]
        if last < 0:
            continue
        start = heights[d, n - 1, last, 0], heights[d, n - 1, last, 1]
        out = falling[0][d], falling[1][d]
        follow_draw(axes, nodes[d], q[d], tops[d], springs, mine, down, start, out)
