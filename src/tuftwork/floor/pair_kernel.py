"""Two channels side by side with an open edge between them: one banded Newton system.

Per node the six unknowns of either channel, see ``line_kernel``. Where the edge is open air passes
from the higher to the lower pressure by the law of a side edge, m = 2 Cd g sqrt(2|Δp|); it brings
the speed it had along the car and its share of the layers of floor and road, so that what one
channel loses in mass, momentum and deficit of momentum the other gets.
A channel that ends before the other keeps its last node's numbers beyond its end.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.floor.layer import orifice, positive
from tuftwork.floor.line_kernel import N_VALUE, cell_residual, node_values

BELOW, ABOVE = 21, 13  # diagonals of the band
WIDTH = 2 * BELOW + ABOVE + 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def exchanged(za, zb, ga, gb, open_gap, a, b):
    """Add to both nodes' values what passes between them; return it, a to b positive [m]."""
    m = open_gap * orifice(a[12] - b[12], 1e-3)
    a[7] -= m
    b[7] += m
    core_a = ga[1] * (ga[0] - za[0] * za[1] - za[5])
    core_b = gb[1] * (gb[0] - zb[0] * zb[1] - zb[5])
    # the same rounded positive part on both sides: their difference is m to the last digit
    over, back = positive(m, 1e-5), positive(-m, 1e-5)
    a[9] += (a[2] - b[2]) * back / core_a
    b[9] += (b[2] - a[2]) * over / core_b
    # what crosses is the whole column: its layers go along, as shares of the stream that leaves
    fast_a, fast_b = np.sqrt(a[2] * a[2] + 1e-3), np.sqrt(b[2] * b[2] + 1e-3)
    per_a, per_b = over * ga[1] / (core_a * fast_a), back * gb[1] / (core_b * fast_b)
    lack = per_a * a[2] * a[2] * a[0] - per_b * b[2] * b[2] * b[0]
    a[4] -= lack / (fast_a * fast_a * ga[1])
    b[4] += lack / (fast_b * fast_b * gb[1])
    slow = per_a * a[3] - per_b * b[3]
    a[5] -= slow / ga[1]
    b[5] += slow / gb[1]
    drawn = per_a * a[13] - per_b * b[13]
    a[14] -= drawn / ga[1]
    b[14] += drawn / gb[1]
    return m


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def pair_residuals(z, geo, passage, last, dx, par, ends, scale, bare, full, res):
    """Fill residuals and node values of both channels and return the root mean square.

    ``z (n, 12)``, ``geo (2, n, 6)``, ``passage (n,)``: 2 Cd g; ``last``: node each ends at;
    ``bare``, ``full (2, n, N_VALUE)``: without and with what passes.
    """
    n = z.shape[0]
    for k in range(n):
        for s in range(2):
            node_values(z[k, 6 * s : 6 * s + 6], geo[s, k], par[s], bare[s, k])
            for v in range(N_VALUE):
                full[s, k, v] = bare[s, k, v]
        exchanged(z[k, :6], z[k, 6:], geo[0, k], geo[1, k], passage[k], full[0, k], full[1, k])
    out = np.empty(6)
    for s in range(2):
        at, o = 5 * s, 6 * s
        u0 = full[s, 0, 2]
        res[at] = (z[0, o] - ends[s, 0]) / scale[s, 0]
        res[at + 1] = z[0, o + 1] - ends[s, 1]
        res[at + 2] = z[0, o + 3] - ends[s, 2] + 0.5 * ends[s, 4] * u0 * abs(u0)
        res[at + 3] = z[0, o + 4] / scale[s, 4]
        res[at + 4] = z[0, o + 5] / scale[s, 5]
        for k in range(n - 1):
            at = 10 + 12 * k + o
            if k < last[s]:
                cell_residual(full[s, k], full[s, k + 1], dx[k], out)
                for e in range(6):
                    res[at + e] = out[e] / scale[s, e]
            else:
                for e in range(6):
                    res[at + e] = 0.0
        row = 12 * n - 2 + s if last[s] == n - 1 else 10 + 12 * last[s] + o
        if last[s] < n - 1:
            res[12 * n - 2 + s] = 0.0
        res[row] = full[s, last[s], 12] - ends[s, 3]
    total = 0.0
    for k in range(12 * n):
        total += res[k] * res[k]
    return np.sqrt(total / (12 * n))


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def pair_jacobian(z, geo, passage, last, dx, par, ends, scale, bare, full, band):
    """Fill the band by differences: each unknown moves its node, and what passes there."""
    n = z.shape[0]
    band[:, :] = 0.0
    kl = BELOW
    for s in range(2):
        at, o = 5 * s, 6 * s
        band[at, o - at + kl] = 1.0 / scale[s, 0]
        band[at + 1, o + 1 - (at + 1) + kl] = 1.0
        band[at + 2, o + 3 - (at + 2) + kl] = 1.0
        band[at + 3, o + 4 - (at + 3) + kl] = 1.0 / scale[s, 4]
        band[at + 4, o + 5 - (at + 4) + kl] = 1.0 / scale[s, 5]
        # beyond a channel's end its unknowns stay: one slot later than a cell's, the exit's first
        for k in range(last[s], n - 1):
            for e in range(6):
                row = 10 + 12 * k + o + 1 + e if e < 5 else 10 + 12 * (k + 1) + o
                if e == 5 and k == n - 2:
                    row = 12 * n - 2 + s
                col = 12 * (k + 1) + o + e
                band[row, col - row + kl] = 1.0
    moved, zz = np.empty((2, N_VALUE)), np.empty(6)
    there, ahead, behind = np.empty(6), np.empty((2, 6)), np.empty((2, 6))
    for k in range(n):
        for s in range(2):
            if 0 < k <= last[s]:
                cell_residual(full[s, k - 1], full[s, k], dx[k - 1], ahead[s])
            if k < last[s]:
                cell_residual(full[s, k], full[s, k + 1], dx[k], behind[s])
        for c in range(12):
            own, e0 = c // 6, c % 6
            if k > last[own]:
                continue
            step = 1e-7 * max(abs(z[k, c]), 1e-4 if e0 == 0 or e0 == 5 else 1e-2)
            for e in range(6):
                zz[e] = z[k, 6 * own + e]
            zz[e0] += step
            node_values(zz, geo[own, k], par[own], moved[own])
            for v in range(N_VALUE):
                moved[1 - own, v] = bare[1 - own, k, v]
            if own == 0:
                exchanged(zz, z[k, 6:], geo[0, k], geo[1, k], passage[k], moved[0], moved[1])
            else:
                exchanged(z[k, :6], zz, geo[0, k], geo[1, k], passage[k], moved[0], moved[1])
            col = 12 * k + c
            if k == 0 and ends[own, 4] != 0.0:
                u0, u1 = full[own, 0, 2], moved[own, 2]
                row = 5 * own + 2
                band[row, col - row + kl] += (
                    0.5 * ends[own, 4] * (u1 * abs(u1) - u0 * abs(u0)) / step
                )
            for s in range(2):
                if 0 < k <= last[s]:
                    cell_residual(full[s, k - 1], moved[s], dx[k - 1], there)
                    for e in range(6):
                        row = 10 + 12 * (k - 1) + 6 * s + e
                        slope = (there[e] - ahead[s, e]) / (step * scale[s, e])
                        band[row, col - row + kl] = slope
                if k < last[s]:
                    cell_residual(moved[s], full[s, k + 1], dx[k], there)
                    for e in range(6):
                        row = 10 + 12 * k + 6 * s + e
                        slope = (there[e] - behind[s, e]) / (step * scale[s, e])
                        band[row, col - row + kl] = slope
                if k == last[s]:
                    row = 12 * n - 2 + s if k == n - 1 else 10 + 12 * k + 6 * s
                    band[row, col - row + kl] = (moved[s, 12] - full[s, k, 12]) / step
