# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Kernels of the coupled Newton step: interval Jacobians and elimination along the layers.

Unknowns per station: ``c``, ``t``, ``m = u d``; the edge speed ``u`` is carried as a state of
its own with the residual ``u_inviscid + D m - u``. ``c`` and ``t`` are eliminated station by
station as affine functions of all changes of ``m``; of the three equations the two with the
best-conditioned pair are used (a fixed pair turns singular where transition happens), the third
becomes a row of the dense system. A trip below zero holds transition, see ``closure``.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.quantity import Array
from tuftwork.section.closure import amplification, balance, closure, interval, similarity

FIRST, NEXT, WAKE_START, SLAVE = 0, 1, 2, 3
_STEP = 1e-7


@njit(cache=True)
@no_type_check
def _first_jacobian(now: Array, par: Array, jac: Array, res: Array) -> None:
    """``now`` is (c, t, m, u, x, w); columns 5..9 belong to this station."""
    v = now.copy()
    for p in range(-1, 5):
        step = 0.0
        if p >= 0:
            step = _STEP * max(abs(now[p]), 1e-2 if p == 0 else 1e-14)
            v[p] = now[p] + step
        r = similarity(v[4], v[0], v[1], v[2] / v[3], v[3], par)
        for i in range(3):
            if p < 0:
                res[i] = r[i]
            else:
                jac[i, 5 + p] = (r[i] - res[i]) / step
        if p >= 0:
            v[p] = now[p]


@njit(cache=True)
@no_type_check
def _interval_jacobian(
    kind: int, one: Array, two: Array, trip: float, par: Array, jac: Array, res: Array
) -> None:
    """Forward differences of the three residuals for both stations (c, t, m, u, x)."""
    v1, v2 = one.copy(), two.copy()
    k1 = (1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    k2 = k1
    if kind != 3:
        k1 = closure(kind, one[0], one[1], one[2] / one[3] - one[5], one[3], par)
        k2 = closure(kind, two[0], two[1], two[2] / two[3] - two[5], two[3], par)
    for p in range(-1, 10):
        step = 0.0
        j1, j2 = k1, k2
        if p >= 5:
            q = p - 5
            step = _STEP * max(abs(two[q]), 1e-2 if q == 0 else 1e-14)
            v2[q] = two[q] + step
            if kind != 3 and q < 4:
                j2 = closure(kind, v2[0], v2[1], v2[2] / v2[3] - two[5], v2[3], par)
        elif p >= 0:
            step = _STEP * max(abs(one[p]), 1e-2 if p == 0 else 1e-14)
            v1[p] = one[p] + step
            if kind != 3 and p < 4:
                j1 = closure(kind, v1[0], v1[1], v1[2] / v1[3] - one[5], v1[3], par)
        d1, d2 = v1[2] / v1[3] - one[5], v2[2] / v2[3] - two[5]
        if kind != 3:
            r = balance(
                kind, v1[4], v1[0], v1[1], d1, v1[3], one[5], j1,
                v2[4], v2[0], v2[1], d2, v2[3], two[5], j2, par,
            )  # fmt: skip
        else:
            r = interval(
                kind, v1[4], v1[0], v1[1], d1, v1[3], one[5],
                v2[4], v2[0], v2[1], d2, v2[3], two[5], trip, par,
            )  # fmt: skip
        for i in range(3):
            if p < 0:
                res[i] = r[i]
            else:
                jac[i, p] = (r[i] - res[i]) / step
        if p >= 5:
            v2[p - 5] = two[p - 5]
        elif p >= 0:
            v1[p] = one[p]


@njit(cache=True)
@no_type_check
def _pack(k: int, c: Array, t: Array, m: Array, u: Array, x: Array, w: Array) -> Array:
    out = np.empty(6)
    out[0], out[1], out[2], out[3], out[4], out[5] = c[k], t[k], m[k], u[k], x[k], w[k]
    return out


@njit(cache=True)
@no_type_check
def eliminate(
    order: Array,
    kind: Array,
    trip: Array,
    state: Array,
    move: Array,
    move_at: Array,
    influence: Array,
    mismatch: Array,
    par: Array,
) -> tuple[Array, Array, Array, float]:
    """Return the dense system (matrix with the right-hand side last), rows of c and t, residual.

    ``order`` rows are (station, before, second before, role); ``state`` rows are
    (c, t, m, u, x, w) by station; ``move`` (gain a, gain b) and ``move_at`` (stations a, b) give
    the motion of a station's arc length with the stagnation point, -1 for none.
    """
    n = state.shape[0]
    full, row_c, row_t = np.zeros((n, n + 1)), np.zeros((n, n + 1)), np.zeros((n, n + 1))
    worst = 0.0
    jac, res = np.zeros((3, 10)), np.zeros(3)
    rows = np.zeros((3, n + 1))
    for k in range(order.shape[0]):
        here, prev, prev2, role = order[k, 0], order[k, 1], order[k, 2], order[k, 3]
        jac[:] = 0.0
        rows[:] = 0.0
        now = state[here]
        if role == 0:
            _first_jacobian(now, par, jac, res)
        elif role == 1:
            _interval_jacobian(kind[here], state[prev], now, trip[here], par, jac, res)
        elif role == 3:
            one = state[prev]
            res[0], res[1] = now[0] - one[0], np.log(now[1] / one[1])
            res[2] = np.log(now[2] / now[3] / (one[2] / one[3]))
            jac[0, 0], jac[0, 5] = -1.0, 1.0
            jac[1, 1], jac[1, 6] = -1.0 / one[1], 1.0 / now[1]
            jac[2, 2], jac[2, 3] = -1.0 / one[2], 1.0 / one[3]
            jac[2, 7], jac[2, 8] = 1.0 / now[2], -1.0 / now[3]
        else:
            one, two = state[prev], state[prev2]
            d1, d2 = one[2] / one[3], two[2] / two[3]
            tsum, dsum = one[1] + two[1], d1 + d2 + now[5]
            c1 = one[0] if kind[prev] != 0 else 0.03
            c2 = two[0] if kind[prev2] != 0 else 0.03
            csum = (c1 * one[1] + c2 * two[1]) / tsum
            res[0] = np.log(max(now[0], 1e-5) / max(csum, 1e-5))
            res[1] = np.log(now[1] / tsum)
            dn = now[2] / now[3]
            res[2] = np.log(dn / dsum)
            jac[0, 5] = 1.0 / max(now[0], 1e-5)
            jac[1, 6] = 1.0 / now[1]
            jac[2, 7], jac[2, 8] = 1.0 / now[2], -1.0 / now[3]
            for side in range(2):
                s = prev if side == 0 else prev2
                sd, cs = (d1, c1) if side == 0 else (d2, c2)
                live = kind[s] != 0
                for j in range(n + 1):
                    if live:
                        rows[0, j] -= state[s, 1] / tsum / csum * row_c[s, j]
                    rows[0, j] -= (cs - csum) / tsum / csum * row_t[s, j]
                    rows[1, j] -= row_t[s, j] / tsum
                gain = -1.0 / dsum
                rows[2, s] += gain / state[s, 3]
                for j in range(n):
                    rows[2, j] -= gain * sd / state[s, 3] * influence[s, j]
                rows[2, n] -= gain * sd / state[s, 3] * mismatch[s]
        for i in range(3):
            worst = max(worst, abs(res[i]))
            rows[i, n] += res[i]
            if role == 1 or role == 3:
                a, b = jac[i, 0], jac[i, 1]
                for j in range(n + 1):
                    rows[i, j] += a * row_c[prev, j] + b * row_t[prev, j]
                rows[i, prev] += jac[i, 2]
                g = jac[i, 3]
                if g != 0.0:
                    for j in range(n):
                        rows[i, j] += g * influence[prev, j]
                    rows[i, n] += g * mismatch[prev]
            rows[i, here] += jac[i, 7]
            g = jac[i, 8]
            for j in range(n):
                rows[i, j] += g * influence[here, j]
            rows[i, n] += g * mismatch[here]
            gx = jac[i, 9] + (jac[i, 4] if role == 1 else 0.0)
            if move_at[here, 0] >= 0 and gx != 0.0:
                for e in range(2):
                    s = move_at[here, e]
                    f = gx * move[here, e]
                    for j in range(n):
                        rows[i, j] += f * influence[s, j]
                    rows[i, n] += f * mismatch[s]
        best, pick, other = -1.0, 0, 2
        for i in range(3):
            p, q = (i + 1) % 3, (i + 2) % 3
            # scaled by the size of the rows, so that one large equation does not always win
            sp = abs(jac[p, 5]) * now[0] + abs(jac[p, 6]) * now[1] + 1e-12
            sq = abs(jac[q, 5]) * now[0] + abs(jac[q, 6]) * now[1] + 1e-12
            det = abs(jac[p, 5] * jac[q, 6] - jac[p, 6] * jac[q, 5]) / (sp * sq)
            if det > best:
                best, other, pick = det, i, p
        p, q = pick, (pick + 1) % 3
        det = jac[p, 5] * jac[q, 6] - jac[p, 6] * jac[q, 5]
        for j in range(n + 1):
            rc = -(jac[q, 6] * rows[p, j] - jac[p, 6] * rows[q, j]) / det
            rt = -(-jac[q, 5] * rows[p, j] + jac[p, 5] * rows[q, j]) / det
            row_c[here, j], row_t[here, j] = rc, rt
            full[here, j] = rows[other, j] + jac[other, 5] * rc + jac[other, 6] * rt
        scale = 0.0
        for j in range(n):
            scale = max(scale, abs(full[here, j]))
        if scale > 0.0:
            for j in range(n + 1):
                full[here, j] /= scale
    return full, row_c, row_t, worst


@njit(cache=True)
@no_type_check
def place_transition(
    chain: Array, kind: Array, state: Array, trip: Array, par: Array, limit: int
) -> int:
    """Move the start of the turbulent part of one chain; return the change in stations.

    Upstream at will, downstream by at most ``limit`` stations: stations that already look
    turbulent would never turn over again.
    """
    n = chain.size
    old = n
    for k in range(1, n):
        if kind[chain[k]] != 0:
            old = k
            break
    new = n
    for k in range(1, n):
        a, b = chain[k - 1], chain[k]
        if k >= old + limit and old < n:
            new = k
            break
        u1, u2 = state[a, 3], state[b, 3]
        h1, h2 = state[a, 2] / u1 / state[a, 1], state[b, 2] / u2 / state[b, 1]
        if k >= old:
            h2 = max(h1, h2)
        n1 = state[a, 0] if k > 1 else 0.0
        rate = 0.5 * (
            amplification(h1, state[a, 1], u1, par[0]) + amplification(h2, state[b, 1], u2, par[0])
        )
        n2 = n1 + rate * (state[b, 4] - state[a, 4])
        rt = par[0] * u2 * state[b, 1]
        if n2 >= par[5] or rt >= par[6] or (trip[b] <= state[b, 4] and rt >= 180.0):
            new = k
            break
        if k == n - 1:
            # the layer of a tail that is laminar to the end is turbulent in the wake
            state[b, 0] = n2
            kind[b] = 0
            break
        state[b, 0] = n2
        kind[b] = 0
    ref = 0.05
    if old < n:
        ref = state[chain[old], 0]
        if kind[chain[old]] == 0:
            ref = 0.05
    for k in range(new, n):
        b = chain[k]
        if k < old:
            k2 = closure(
                np.int64(1), 0.05, state[b, 1], state[b, 2] / state[b, 3], state[b, 3], par
            )
            state[b, 0] = min(max(0.7 * k2[4], 0.02), 0.25) if old == n else max(ref, 0.02)
        kind[b] = 3 if k == new else 1
    return new - old
