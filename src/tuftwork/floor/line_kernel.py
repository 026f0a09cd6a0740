"""The channel averaged over its width with the layers of floor and road: one banded Newton system.

Six unknowns per node: momentum thickness, shape factor, volume flow, total pressure of the core,
edge-vortex strength, displacement of the road's layer. Density and road speed are 1; pressure is
over the density.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.floor.layer import (
    entrainment,
    entrainment_shape,
    orifice,
    positive,
    skin_friction,
)

N_VALUE = 18
N_UNKNOWN = 6
# node values: 0 θ, 1 H, 2 u, 3 usθH1, 4 cf/2, 5 us(E+Ev), 6 Q, 7 leak, 8 H0, 9 loss, 10 G,
# 11 growth of G, 12 p, 13 u²θ of the road's layer, 14 its friction, 15 its δ*, 16 loss by merging,
# 17 speed at the floor


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def node_values(z, g, par, out):
    """Fill a node's values from its unknowns ``z`` and its geometry ``g``.

    ``g``: gap, width, discharge times gap of both sides, outside pressure, loss per length, speed
    at the floor over the mean, less 1.
    ``par``: mixing loss, vortex mixing, breakdown swirl, Reynolds per metre, road friction.
    """
    theta, shape, flow, head, vortex, road = z[0], z[1], z[2], z[3], z[4], z[5]
    gap, width, leak, outside = g[0], g[1], g[2], g[3]
    depth = gap - theta * shape - road
    u = flow / (width * depth)
    fast = np.sqrt(u * u + 1e-6)
    slip = u - 1.0
    # where the core outruns the road their friction is a layer's, where it lags the road drives it
    over = positive(slip, 1e-2)
    under = over - slip
    rub = par[4] * over * over
    p = head - 0.5 * u * u
    h1 = entrainment_shape(shape)
    near = fast * (1.0 + g[5])
    cf = skin_friction(shape, near * theta * par[3])
    jet = orifice(outside - p, 1e-3)
    m = leak * jet
    swirl = vortex / (np.pi * gap * fast)
    mixed = 2.0 * par[1] * vortex / (fast * width) / (1.0 + (swirl / par[2]) ** 4)
    # the road runs at speed 1: its layer is a deficit of u - 1 that goes with the power 1/7, so
    # that δ* = δ/8 and θ/δ* = 1 - 2/9 of the deficit over u
    thick = theta * (h1 + shape)
    thick += 8.0 * np.sqrt(road * road + 1e-10) * fast / (over + 0.05)
    fill = (thick / gap) ** 4
    # air that leaks in has the road's speed and what the pressure adds, less what its mixing costs
    fall = outside - p
    free = np.sqrt(1.0 + fall + np.sqrt(fall * fall + 1e-6))
    short = u - 1.0 - (1.0 - par[0]) * (free - 1.0)
    # where the layers fill the gap their friction is the core's
    merged = 0.5 * (fill / (1.0 + fill) * (cf * u * fast + rub) - par[4] * under * under) / depth
    out[0] = theta
    out[1] = shape
    out[2] = u
    out[3] = near * theta * h1
    out[4] = 0.5 * cf
    out[5] = near * (entrainment(h1) + mixed)
    out[6] = flow
    out[7] = m
    out[8] = head
    out[9] = short * positive(m, 1e-5) / (width * depth) + merged + 0.5 * g[4] * u * fast
    out[10] = vortex
    sealed = leak / (leak + 0.02 * gap)
    out[11] = sealed * positive(outside - p, 1e-3) / fast
    out[12] = p
    out[13] = road * u * (u - 2.0 / 9.0 * slip)
    out[14] = 0.5 * rub
    out[15] = road
    out[16] = merged
    out[17] = near


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def cell_residual(a, b, dx, out):
    """Fill the six residuals of a cell from its ends' values; trapezoidal, second order."""
    um = 0.5 * (a[17] + b[17])
    hm = 0.5 * (a[1] + b[1])
    tm = 0.5 * (a[0] + b[0])
    out[0] = b[0] - a[0] - 0.5 * dx * (a[4] + b[4]) + (hm + 2.0) * tm * (b[17] - a[17]) / um
    out[1] = b[3] - a[3] - 0.5 * dx * (a[5] + b[5])
    out[2] = b[6] - a[6] - 0.5 * dx * (a[7] + b[7])
    out[3] = b[8] - a[8] + 0.5 * dx * (a[9] + b[9])
    out[4] = b[10] - a[10] - 0.5 * dx * (a[11] + b[11])
    # momentum of the road's layer: (u² θ)' + δ* u u' = friction
    drawn = 0.25 * (a[15] + b[15]) * (a[2] + b[2]) * (b[2] - a[2])
    out[5] = b[13] - a[13] + drawn - 0.5 * dx * (a[14] + b[14])


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def banded_solve(band, rhs, kl, ku):
    """Solve in place a banded system with row pivoting; ``band[row, col - row + kl]``."""
    n = rhs.size
    top = kl + ku
    for k in range(n):
        last = min(k + kl, n - 1)
        pivot, best = k, abs(band[k, kl])
        for r in range(k + 1, last + 1):
            size = abs(band[r, k - r + kl])
            if size > best:
                pivot, best = r, size
        if best < 1e-300:
            return False
        end = min(k + top, n - 1)
        if pivot != k:
            for c in range(k, end + 1):
                keep = band[k, c - k + kl]
                band[k, c - k + kl] = band[pivot, c - pivot + kl]
                band[pivot, c - pivot + kl] = keep
            keep = rhs[k]
            rhs[k] = rhs[pivot]
            rhs[pivot] = keep
        inverse = 1.0 / band[k, kl]
        for r in range(k + 1, last + 1):
            f = band[r, k - r + kl] * inverse
            if f != 0.0:
                shift = kl - r
                own = kl - k
                for c in range(k + 1, end + 1):
                    band[r, c + shift] -= f * band[k, c + own]
                rhs[r] -= f * rhs[k]
    for k in range(n - 1, -1, -1):
        end = min(k + top, n - 1)
        total = rhs[k]
        for c in range(k + 1, end + 1):
            total -= band[k, c - k + kl] * rhs[c]
        rhs[k] = total / band[k, kl]
    return True


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def all_residuals(z, geo, dx, par, ends, scale, values, res):
    """Fill all residuals and node values and return the root mean square."""
    n = z.shape[0]
    for k in range(n):
        node_values(z[k], geo[k], par, values[k])
    res[0] = (z[0, 0] - ends[0]) / scale[0]
    res[1] = z[0, 1] - ends[1]
    u0 = values[0, 2]
    res[2] = z[0, 3] - ends[2] + 0.5 * ends[4] * u0 * abs(u0)
    res[3] = z[0, 4] / scale[4]
    res[4] = z[0, 5] / scale[5]
    out = np.empty(6)
    for k in range(n - 1):
        cell_residual(values[k], values[k + 1], dx[k], out)
        for e in range(6):
            res[5 + 6 * k + e] = out[e] / scale[e]
    res[6 * n - 1] = values[n - 1, 12] - ends[3]
    total = 0.0
    for k in range(6 * n):
        total += res[k] * res[k]
    return np.sqrt(total / (6 * n))


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def jacobian(z, geo, dx, par, ends, scale, values, band):
    """Fill the band by differences: each unknown moves its node and the cells at its sides."""
    n = z.shape[0]
    band[:, :] = 0.0
    kl = 10
    band[0, kl] = 1.0 / scale[0]
    band[1, kl] = 1.0
    band[2, 1 + kl] = 1.0  # column 3 of row 2
    band[3, 1 + kl] = 1.0 / scale[4]
    band[4, 1 + kl] = 1.0 / scale[5]
    moved = np.empty(N_VALUE)
    there, ahead, behind, zz = np.empty(6), np.empty(6), np.empty(6), np.empty(6)
    for k in range(n):
        if k > 0:
            cell_residual(values[k - 1], values[k], dx[k - 1], ahead)
        if k < n - 1:
            cell_residual(values[k], values[k + 1], dx[k], behind)
        for c in range(6):
            step = 1e-7 * max(abs(z[k, c]), 1e-4 if c == 0 or c == 5 else 1e-2)
            for e in range(6):
                zz[e] = z[k, e]
            zz[c] += step
            node_values(zz, geo[k], par, moved)
            col = 6 * k + c
            if k == 0 and ends[4] != 0.0:
                lost = moved[2] * abs(moved[2]) - values[0, 2] * abs(values[0, 2])
                band[2, c - 2 + kl] += 0.5 * ends[4] * lost / step
            if k > 0:
                cell_residual(values[k - 1], moved, dx[k - 1], there)
                for e in range(6):
                    row = 5 + 6 * (k - 1) + e
                    band[row, col - row + kl] = (there[e] - ahead[e]) / (step * scale[e])
            if k < n - 1:
                cell_residual(moved, values[k + 1], dx[k], there)
                for e in range(6):
                    row = 5 + 6 * k + e
                    band[row, col - row + kl] = (there[e] - behind[e]) / (step * scale[e])
            else:
                row = 6 * n - 1
                band[row, col - row + kl] = (moved[12] - values[k, 12]) / step
