"""The kernel that settles a splitter: flow against hand-over pressure, load against droop.

Draws beyond 1.25 half widths of the table's design are held there; a lip that droops by more than
0.40 of the gap counts as drawn to the road (``front_table.MOST_BEND``).
"""

from typing import no_type_check

import numpy as np
from numba import njit


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _place(i, j):
    """Return where a term of two solved numbers lies among 1, g, d, k, gg, gd, gk, dd, dk, kk."""
    if i < 0 and j < 0:
        return 0
    if i < 0:
        return 1 + j
    if j < 0:
        return 1 + i
    a, b = min(i, j), max(i, j)
    return 4 + b if a == 0 else (6 + b if a == 1 else 9)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _collapse(gap, first, step, terms, x, solved, out):
    """Interpolate in clearance and put in what is known; leaves quadratics in three numbers."""
    n = terms.shape[0] - 2
    a = min(max((np.log(gap) - first) / step, 0.0), n - 1.0)
    i = min(int(a), n - 2)
    t = a - i
    w = (
        0.5 * (-t + 2 * t * t - t * t * t), 0.5 * (2 - 5 * t * t + 3 * t * t * t),
        0.5 * (t + 4 * t * t - 3 * t * t * t), 0.5 * (-t * t + t * t * t),
    )  # fmt: skip
    n_var, n_out = x.size, terms.shape[1]
    out[:, :] = 0.0
    c = 0
    for p in range(-1, n_var):
        for q in range(max(p, 0) if p >= 0 else -1, n_var):
            # p = -1, q = -1: the constant; p = -1, q: linear; else the product
            value = 1.0
            place = _place(solved[p] if p >= 0 else -1, solved[q] if q >= 0 else -1)
            if p >= 0 and solved[p] < 0:
                value *= x[p]
            if q >= 0 and solved[q] < 0:
                value *= x[q]
            if value != 0.0:
                for e in range(n_out):
                    found = 0.0
                    for s in range(4):
                        found += w[s] * terms[i + s, e, c]
                    out[e, place] += value * found
            c += 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _at(c, g, d, k):
    return (
        c[0] + c[1] * g + c[2] * d + c[3] * k + c[4] * g * g + c[5] * g * d + c[6] * g * k
        + c[7] * d * d + c[8] * d * k + c[9] * k * k
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _held(value, middle, half):
    x = (value - middle) / half if half > 0.0 else 0.0
    return min(max(x, -1.25), 1.25)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _strip(c, gap, head, mid, half, g, k, p0, flow, outlet, share, width):
    """Return hand-over pressure and its place in the design, settled with the channel's flow."""
    low, high = p0, head - 0.05
    p = min(p0, high)
    d = _held(np.log(max(head - p, 0.05)), mid[2], half[2])
    if not outlet < 1e6:
        return p, d
    # what the way out adds grows with the flow, and the flow falls with the pressure
    for _ in range(40):
        q = share * width * gap * np.exp(_at(c[3], g, d, k))
        wanted = p0 + (2.0 * flow * q + q * q) / (outlet * outlet)
        if wanted > p:
            low = p
        else:
            high = p
        fresh = 0.5 * (p + wanted)
        if not low <= fresh <= high:
            fresh = 0.5 * (low + high)
        moved = abs(fresh - p)
        p = fresh
        d = _held(np.log(max(head - p, 0.05)), mid[2], half[2])
        if moved < 1e-6:
            break
    return p, d


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _lip(gap, slope, projection, droop, radius, onset, tolerance):
    """Return loss at the lip and how far its rolled edge has separated."""
    clear = max(gap - slope * projection - droop, 1e-4)
    smooth = 0.5 / (1.0 + 36.0 * (radius / (2.0 * clear)) ** 1.2)
    over = (onset + droop / projection) / max(tolerance, 1e-4) - 1.0
    gone = 1.0 / (1.0 + np.exp(-min(max(over / 0.15, -40.0), 40.0)))
    return smooth + (0.5 - smooth) * gone, gone


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def settle(front, strips, firsts, steps, mids, halves, terms, scales, imposed, out, whole):
    """Settle states ``front (n, 10)``, ``strips (n_strip, n, 8)``; ``imposed`` bend below 0: solve.

    ``out (n_strip, n, 9)`` and ``whole (n, 4)``: droop, loss, separated, drawn.
    """
    n_strip, n = strips.shape[0], front.shape[0]
    c = np.empty((n_strip, 8, 10))
    x = np.empty(8)
    solved = np.full(8, -1)
    solved[1], solved[2], solved[6] = 0, 1, 2
    ps, ds = np.empty(n_strip), np.empty(n_strip)
    for m in range(n):
        gap, slope, head, upper, soft, projection, radius, onset, tolerance, gain = front[m]
        for s in range(n_strip):
            for v in range(8):
                x[v] = 0.0
            x[0] = _held(slope, mids[s, 0], halves[s, 0])
            x[3] = _held(head, mids[s, 3], halves[s, 3])
            x[4] = _held(np.sqrt(max(strips[s, m, 5], 0.0)), mids[s, 4], halves[s, 4])
            x[5] = _held(strips[s, m, 6], mids[s, 5], halves[s, 5])
            x[7] = _held(strips[s, m, 7], mids[s, 7], halves[s, 7])
            _collapse(gap, firsts[s], steps[s], terms[s], x, solved, c[s])
        bend, last, last_miss = max(imposed, 0.0), 0.0, 0.0
        drawn, loss, gone = 0.0, 0.0, 0.0
        for turn in range(60):
            loss, gone = _lip(gap, slope, projection, bend * gap, radius, onset, tolerance)
            plate = upper
            for s in range(n_strip):
                g = _held(np.log(1.0 - bend), mids[s, 1], halves[s, 1])
                k = _held(loss, mids[s, 6], halves[s, 6])
                ps[s], ds[s] = _strip(
                    c[s], gap, head, mids[s], halves[s], g, k, strips[s, m, 1], strips[s, m, 2],
                    strips[s, m, 3], strips[s, m, 4], strips[s, m, 0],
                )  # fmt: skip
                own = np.exp(_at(c[s, 2], g, ds[s], k)) - head
                plate += gain * scales[s] * strips[s, m, 0] * projection * own
            if imposed >= 0.0 or not soft > 0.0:
                break
            miss = soft * plate / gap - bend
            if abs(miss) < 1e-5 or (bend <= 0.0 and miss < 0.0):
                break
            if bend >= 0.40 and miss > 0.0:
                drawn = 1.0
                break
            fresh = bend + miss
            if turn > 0 and miss < last_miss and miss > 0.0:
                # straight on through the last two: ahead of the root where load grows with droop
                fresh = bend + miss * (bend - last) / (last_miss - miss)
            elif miss < 0.0:
                fresh = bend - miss * (bend - last) / (miss - last_miss)
            last, last_miss = bend, miss
            bend = min(max(fresh, 0.0), 0.40)
        for s in range(n_strip):
            g = _held(np.log(1.0 - bend), mids[s, 1], halves[s, 1])
            k = _held(loss, mids[s, 6], halves[s, 6])
            d, width = ds[s], strips[s, m, 0]
            total = np.exp(_at(c[s, 0], g, d, k))
            out[s, m, 0] = scales[s] * width * (total - head)
            out[s, m, 1] = width * total * _at(c[s, 1], g, d, k)
            out[s, m, 2] = width * gap * _at(c[s, 7], g, d, k)
            out[s, m, 3] = width * gap * np.exp(_at(c[s, 3], g, d, k))
            out[s, m, 4] = ps[s]
            out[s, m, 5] = _at(c[s, 4], g, d, k)
            out[s, m, 6] = np.exp(_at(c[s, 5], g, d, k))
            out[s, m, 7] = np.exp(_at(c[s, 6], g, d, k))
            own = np.exp(_at(c[s, 2], g, d, k)) - head
            out[s, m, 8] = scales[s] * width * projection * own
        whole[m, 0], whole[m, 1], whole[m, 2], whole[m, 3] = bend * gap, loss, gone, drawn
