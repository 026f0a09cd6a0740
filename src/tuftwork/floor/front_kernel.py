"""The kernel that settles a splitter: flow against hand-over pressure, load against droop.

Where air crosses between two channels, or both leave by one node, their pressures are one system.

Draws beyond 1.25 half widths of the table's design are held there; a lip that droops by more than
0.40 of the gap counts as drawn to the road (``front_table.MOST_BEND``).
"""

from typing import no_type_check

import numpy as np
from numba import njit

N_VAR, N_OUT = 10, 9  # of a table: variables and outputs, see front_table
N_LEFT = 15  # terms of a quadratic in the four numbers that are solved for


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _place(i, j):
    """Return where a term of two of the four solved numbers lies among 1, g, d, k, b, gg…"""
    if i < 0 and j < 0:
        return 0
    if i < 0:
        return 1 + j
    if j < 0:
        return 1 + i
    a, b = min(i, j), max(i, j)
    first = 5 if a == 0 else (8 if a == 1 else (10 if a == 2 else 11))
    return first + b


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _collapse(gap, first, step, terms, x, solved, out):
    """Interpolate in clearance and put in what is known; leaves quadratics in four numbers."""
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
def _at(c, g, d, k, b):
    return (
        c[0] + c[1] * g + c[2] * d + c[3] * k + c[4] * b
        + g * (c[5] * g + c[6] * d + c[7] * k + c[8] * b)
        + d * (c[9] * d + c[10] * k + c[11] * b)
        + k * (c[12] * k + c[13] * b) + c[14] * b * b
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _held(value, middle, half):
    x = (value - middle) / half if half > 0.0 else 0.0
    return min(max(x, -1.25), 1.25)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _drive(p, head, mid, half):
    """Return where a hand-over pressure lies in a design."""
    return _held(np.log(max(head - p, 0.05)), mid, half)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _apart(ps, s, head, mid, half):
    """Return where the driving pressure of the channel beside one, over its own, lies."""
    if not half > 0.0:
        return 0.0
    other = np.log(max(head - ps[ps.size - 1 - s], 0.05))
    return _held(other - np.log(max(head - ps[s], 0.05)), mid, half)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _strip(c, gap, head, mid, half, g, k, row):
    """Return the hand-over pressure of a channel that meets no other, settled with its flow."""
    p0, flow, outlet, share, width, loss = row[1], row[2], row[3], row[4], row[0], row[9]
    low, high = p0, head - 0.05
    p = min(p0, high)
    if not outlet < 1e6 and not loss > 0.0:
        return p
    # what the way out adds grows with the flow, and the flow falls with the pressure
    for _ in range(40):
        q = share * width * gap * np.exp(_at(c[3], g, _drive(p, head, mid[2], half[2]), k, 0.0))
        wanted = p0 + loss * q * q + (2.0 * flow * q + q * q) / (outlet * outlet)
        if wanted > p:
            low = p
        else:
            high = p
        fresh = 0.5 * (p + wanted)
        if not low <= fresh <= high:
            fresh = 0.5 * (low + high)
        moved = abs(fresh - p)
        p = fresh
        if moved < 1e-6:
            break
    return p


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _misses(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, out):
    """Fill by how much each hand-over pressure misses what all flows make of it; return the most.

    ``g``, ``ks``: bend and lip loss in each channel's design; ``nodes``: whose ways out are one.
    """
    n = ps.size
    for s in range(n):
        d = _drive(ps[s], head, mids[s, 2], halves[s, 2])
        b = _apart(ps, s, head, mids[s, 8], halves[s, 8])
        flows[s] = rows[s, 4] * rows[s, 0] * gap * np.exp(_at(c[s, 3], g[s], d, ks[s], b))
    most = 0.0
    for s in range(n):
        total = 0.0
        for t in range(n):
            if t == s or (nodes[s] >= 0 and nodes[t] == nodes[s]):
                total += flows[t]
        wanted = rows[s, 1] + rows[s, 9] * flows[s] * flows[s]
        wanted += (2.0 * rows[s, 2] * total + total * total) / (rows[s, 3] * rows[s, 3])
        out[s] = ps[s] - min(wanted, head - 0.05)
        most = max(most, abs(out[s]))
    return most


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _both(ps, c, gap, head, mids, halves, g, ks, rows, nodes):
    """Settle the hand-over pressures of two channels that feel each other; return the miss left."""
    here, there, flows, try_ = np.empty(2), np.empty(2), np.empty(2), np.empty(2)
    slope = np.empty((2, 2))
    most = _misses(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, here)
    for _ in range(60):
        if most < 1e-8:
            break
        for t in range(2):
            for s in range(2):
                try_[s] = ps[s]
            try_[t] -= 1e-6
            _misses(try_, c, gap, head, mids, halves, g, ks, rows, nodes, flows, there)
            for s in range(2):
                slope[s, t] = (here[s] - there[s]) / 1e-6
        whole = slope[0, 0] * slope[1, 1] - slope[0, 1] * slope[1, 0]
        if not abs(whole) > 1e-12:
            break
        a = (here[0] * slope[1, 1] - here[1] * slope[0, 1]) / whole
        b = (here[1] * slope[0, 0] - here[0] * slope[1, 0]) / whole
        share, fresh = 1.0, most
        for _ in range(20):
            try_[0] = min(ps[0] - share * a, head - 0.05)
            try_[1] = min(ps[1] - share * b, head - 0.05)
            fresh = _misses(try_, c, gap, head, mids, halves, g, ks, rows, nodes, flows, there)
            if fresh < most:
                break
            share *= 0.5
        if not fresh < most:
            break
        most = fresh
        for s in range(2):
            ps[s], here[s] = try_[s], there[s]
    if most < 1e-6:
        return most
    return _in_turn(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, here)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _in_turn(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, out):
    """Halve each one's bracket with the other held, half a step at a time; slow, but it holds."""
    most = 1.0
    for _ in range(120):
        before = (ps[0], ps[1])
        for s in range(2):
            low, high = min(rows[s, 1], head - 0.05), head - 0.05
            for _ in range(40):
                ps[s] = 0.5 * (low + high)
                _misses(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, out)
                if out[s] < 0.0:
                    low = ps[s]
                else:
                    high = ps[s]
            # the other one's flow moves with it: half of the way at a time
            ps[s] = 0.5 * (before[s] + 0.5 * (low + high))
        most = _misses(ps, c, gap, head, mids, halves, g, ks, rows, nodes, flows, out)
        if most < 1e-6:
            break
    return most


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
def _pressures(ps, c, gap, head, mids, halves, bend, loss, rows, nodes, is_tied, gs, ks):
    """Settle all hand-over pressures, fill bend and loss in the designs; return the miss left."""
    n = ps.size
    for s in range(n):
        gs[s] = _held(np.log(1.0 - bend), mids[s, 1], halves[s, 1])
        ks[s] = _held(loss, mids[s, 6], halves[s, 6])
    if is_tied:
        for s in range(n):
            ps[s] = min(rows[s, 1], head - 0.05)
        return _both(ps, c, gap, head, mids, halves, gs, ks, rows, nodes)
    for s in range(n):
        ps[s] = _strip(c[s], gap, head, mids[s], halves[s], gs[s], ks[s], rows[s])
    return 0.0


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def settle(front, strips, nodes, firsts, steps, mids, halves, terms, scales, imposed, out, whole):
    """Settle states ``front (n, 10)``, ``strips (n, n_strip, 10)``; ``imposed`` bend < 0: solve.

    ``nodes (n_strip,)``: number of the node each channel's air goes to, below 0 for none of its
    own. ``out (n_strip, n, 10)`` and ``whole (n, 5)``: droop, loss, separated, drawn,
    miss of pressure.
    """
    n, n_strip = strips.shape[0], strips.shape[1]
    c = np.empty((n_strip, N_OUT, N_LEFT))
    x = np.empty(N_VAR)
    solved = np.full(N_VAR, -1)
    solved[1], solved[2], solved[6], solved[8] = 0, 1, 2, 3
    ps, ds, bs = np.empty(n_strip), np.empty(n_strip), np.empty(n_strip)
    gs, ks = np.empty(n_strip), np.empty(n_strip)
    # two channels feel each other by one node or by air that crosses between them
    is_tied = n_strip == 2 and (halves[0, 9] > 0.0 or (nodes[0] >= 0 and nodes[0] == nodes[1]))
    for m in range(n):
        gap, slope, head, upper, soft, projection, radius, onset, tolerance, gain = front[m]
        for s in range(n_strip):
            for v in range(N_VAR):
                x[v] = 0.0
            x[0] = _held(slope, mids[s, 0], halves[s, 0])
            x[3] = _held(head, mids[s, 3], halves[s, 3])
            x[4] = _held(np.sqrt(max(strips[m, s, 5], 0.0)), mids[s, 4], halves[s, 4])
            x[5] = _held(strips[m, s, 6], mids[s, 5], halves[s, 5])
            x[7] = _held(strips[m, s, 7], mids[s, 7], halves[s, 7])
            x[9] = _held(np.sqrt(max(strips[m, s, 8], 0.0)), mids[s, 9], halves[s, 9])
            _collapse(gap, firsts[s], steps[s], terms[s], x, solved, c[s])
        bend, last, last_miss = max(imposed, 0.0), 0.0, 0.0
        drawn, loss, gone, left = 0.0, 0.0, 0.0, 0.0
        for turn in range(60):
            loss, gone = _lip(gap, slope, projection, bend * gap, radius, onset, tolerance)
            left = _pressures(
                ps, c, gap, head, mids, halves, bend, loss, strips[m], nodes, is_tied, gs, ks
            )
            plate = upper
            for s in range(n_strip):
                ds[s] = _drive(ps[s], head, mids[s, 2], halves[s, 2])
                bs[s] = _apart(ps, s, head, mids[s, 8], halves[s, 8])
                own = np.exp(_at(c[s, 2], gs[s], ds[s], ks[s], bs[s])) - head
                plate += gain * scales[s] * strips[m, s, 0] * projection * own
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
            g, d, k, b, width = gs[s], ds[s], ks[s], bs[s], strips[m, s, 0]
            total = np.exp(_at(c[s, 0], g, d, k, b))
            out[s, m, 0] = scales[s] * width * (total - head)
            out[s, m, 1] = width * total * _at(c[s, 1], g, d, k, b)
            out[s, m, 2] = width * gap * _at(c[s, 7], g, d, k, b)
            out[s, m, 3] = width * gap * np.exp(_at(c[s, 3], g, d, k, b))
            out[s, m, 4] = ps[s]
            out[s, m, 5] = _at(c[s, 4], g, d, k, b)
            out[s, m, 6] = np.exp(_at(c[s, 5], g, d, k, b))
            out[s, m, 7] = np.exp(_at(c[s, 6], g, d, k, b))
            own = np.exp(_at(c[s, 2], g, d, k, b)) - head
            out[s, m, 8] = scales[s] * width * projection * own
            out[s, m, 9] = width * gap * _at(c[s, 8], g, d, k, b)
        if n_strip == 2:
            # what one gives the other gets, whatever the two tables lose in being fitted
            out[1, m, 9] = -out[0, m, 9]
        whole[m, 0], whole[m, 1], whole[m, 2] = bend * gap, loss, gone
        whole[m, 3], whole[m, 4] = drawn, left
