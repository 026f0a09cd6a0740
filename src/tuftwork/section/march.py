# mypy: disable-error-code="untyped-decorator,import-untyped"
"""March of one layer along a given speed, bending the speed where it separates.

Trips are taken as they are here; what holds transition is the iteration's own, see ``closure``.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.quantity import Array
from tuftwork.section.closure import interval, similarity


@njit(cache=True)
@no_type_check
def solve3(a: Array, b: Array) -> bool:
    """Solve a 3 by 3 system in place, pivoting; False if singular."""
    for k in range(3):
        p = k
        for i in range(k + 1, 3):
            if abs(a[i, k]) > abs(a[p, k]):
                p = i
        if abs(a[p, k]) < 1e-300:
            return False
        if p != k:
            for j in range(3):
                a[k, j], a[p, j] = a[p, j], a[k, j]
            b[k], b[p] = b[p], b[k]
        for i in range(k + 1, 3):
            f = a[i, k] / a[k, k]
            for j in range(k, 3):
                a[i, j] -= f * a[k, j]
            b[i] -= f * b[k]
    for k in range(2, -1, -1):
        for j in range(k + 1, 3):
            b[k] -= a[k, j] * b[j]
        b[k] /= a[k, k]
    return True


@njit(cache=True)
@no_type_check
def advance(
    kind: int,
    is_first: bool,
    before: Array,
    now: Array,
    trip: float,
    h_fixed: float,
    par: Array,
) -> bool:
    """Solve one station, state ``(x, c, t, d, u, w)`` in ``now``, from the one before.

    With ``h_fixed`` > 0 the shape factor is given and the edge speed is the answer.
    """
    x1, c1, t1, d1, u1, w1 = before
    jac, rhs = np.empty((3, 3)), np.empty(3)
    inverse = h_fixed > 0.0
    for _ in range(40):
        if inverse:
            now[3] = h_fixed * now[2]
        for p in range(4):
            x, c, t, d, u, w = now
            step = 0.0
            if p == 1:
                step = 1e-6 * max(abs(c), 0.01)
                c += step
            elif p == 2:
                step = 1e-6 * t
                t += step
                if inverse:
                    d = h_fixed * t
            elif p == 3 and inverse:
                step = 1e-6 * u
                u += step
            elif p == 3:
                step = 1e-6 * d
                d += step
            if is_first:
                r = similarity(x, c, t, d, u, par)
            else:
                r = interval(kind, x1, c1, t1, d1, u1, w1, x, c, t, d, u, w, trip, par)
            for i in range(3):
                if p == 0:
                    rhs[i] = r[i]
                else:
                    jac[i, p - 1] = (r[i] - rhs[i]) / step
        size = abs(rhs[0]) + abs(rhs[1]) + abs(rhs[2])
        if size < 1e-10:
            return True
        base = rhs.copy()
        for i in range(3):
            base[i] = -rhs[i]
        if not solve3(jac, base):
            return False
        relax = 1.0
        scale = now[4] if inverse else now[3]
        for q in (base[1] / now[2], base[2] / scale):
            if q > 0.3 / 1e-9:
                return False
            if q * relax > 0.5:
                relax = 0.5 / q
            elif q * relax < -0.3:
                relax = -0.3 / q
        if kind != 0:
            q = base[0] / max(now[1], 1e-3)
            if q * relax > 1.5:
                relax = 1.5 / q
            elif q * relax < -0.6:
                relax = -0.6 / q
        now[1] += relax * base[0]
        now[2] += relax * base[1]
        if inverse:
            now[4] += relax * base[2]
        else:
            now[3] += relax * base[2]
            if now[3] < 1.02 * now[2]:
                now[3] = 1.02 * now[2]
        if not (np.isfinite(now[1]) and np.isfinite(now[2]) and np.isfinite(now[3])):
            return False
    return size < 1e-5


@njit(cache=True)
@no_type_check
def march(
    x: Array,
    u: Array,
    w: Array,
    trip: float,
    start: Array,
    is_wake: bool,
    has_start: bool,
    may_inverse: bool,
    par: Array,
) -> tuple[Array, Array, Array]:
    """March a chain; return states (x, c, t, d, u, w), kinds and flags (1 inverse, 2 failed).

    ``start`` is the state before the first station, used when ``has_start``.
    """
    n = x.size
    state, kinds, flag = np.zeros((n, 6)), np.zeros(n, np.int64), np.zeros(n, np.int64)
    before = start.copy()
    # constants in calls would compile kernels of their own for each of them
    three, never = np.int64(3), x.size < 0
    turbulent = has_start and before[1] > 0.0 and not is_wake and trip < 0.0
    for i in range(n):
        now = np.empty(6)
        now[0], now[4], now[5] = x[i], u[i], w[i]
        first = i == 0 and not has_start
        kind = 2 if is_wake else (1 if turbulent else 0)
        if first:
            now[2] = np.sqrt(0.075 * x[i] / (par[0] * u[i]))
            now[1], now[3] = 0.0, 2.2 * now[2]
        else:
            now[1], now[2], now[3] = before[1], before[2], before[3]
        guess = now.copy()
        ok = advance(kind, first, before, now, trip, 0.0, par)
        if kind == 0 and not first:
            seen = now if ok else guess
            rt = par[0] * seen[4] * seen[2]
            over = (ok and now[1] >= par[5]) or rt >= par[6] or (trip <= x[i] and rt >= 180.0)
            if not over and ok and now[3] / now[2] > 3.8 and may_inverse:
                over = False
            if over:
                kind = three
                turbulent = True
                now = guess.copy()
                now[1], now[3] = 0.05, 0.85 * guess[3]
                ok = advance(kind, never, before, now, trip, 0.0, par)
        limit = 3.8 if kind == 0 else 2.5
        if may_inverse and not first and (not ok or now[3] / now[2] > limit):
            h1 = before[3] / before[2]
            dx = x[i] - before[0]
            if kind == 0:
                aim = h1 + 0.03 * dx / before[2]
            elif kind == 3 or kind == 1:
                aim = h1 - 0.15 * dx / before[2]
            else:
                aim = h1 - 0.03 * dx / before[2]
            if kind == 0:
                aim = min(max(aim, limit), 8.0)
            elif kind == 2:
                aim = max(aim, 1.01)
            else:
                aim = max(aim, limit)
            now = guess.copy()
            if kind != 0 and kind != 2:
                now[1] = max(min(guess[1], 0.2), 0.03) if kind == 1 else 0.05
            ok = advance(kind, never, before, now, trip, aim, par)
            flag[i] = 1
            if kind == 0 and ok:
                rt = par[0] * now[4] * now[2]
                if now[1] >= par[5] or rt >= par[6] or (trip <= x[i] and rt >= 180.0):
                    kind = three
                    turbulent = True
                    now = guess.copy()
                    now[1] = 0.05
                    aim = max(h1 - 0.15 * dx / before[2], 2.5)
                    ok = advance(kind, never, before, now, trip, aim, par)
        if not ok:
            flag[i] = 2
            grow = np.sqrt(x[i] / before[0]) if not is_wake and not first else 1.0
            now = guess.copy()
            if not first:
                now[2] = before[2] * grow
                now[3] = before[3] * grow
                if kind == 3:
                    now[1] = 0.05
        state[i], kinds[i] = now, kind
        before = now.copy()
    return state, kinds, flag
