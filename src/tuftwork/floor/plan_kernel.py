"""Depth-averaged momentum in plan on a staggered grid: residuals.

Second order: fluxes through cell middles and corners are means of neighbours, so that a channel of
one strip keeps p + u²/2 exactly; across the flow an exponential blend of mean and upwind, which
tends to the mean as cells shrink. Flux differences take the conserved form; mass is kept exactly.

Per station: u on the ny faces ahead of its cells, v on ny + 1 side faces, p in ny cells.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.floor.layer import orifice, positive


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _spread(flux, diffusion):
    """Return the exponential scheme's exchange: F/2 coth(F/2D), at least D."""
    x = 0.5 * flux / diffusion
    if abs(x) < 1e-3:
        return diffusion * (1.0 + x * x / 3.0)
    if abs(x) > 40.0:
        return 0.5 * abs(flux)
    return 0.5 * flux / np.tanh(x)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def brought(g, p, mixing, a, b, j, side):
    """Return the speed along the car of air that leaks in at cells a and b, and its slope with p.

    Without loss it has the road's speed and what the pressure it falls through adds, less what its
    speed across takes; ``mixing`` is the share of that gain which is lost.
    """
    hv, barrier, outside, left, right = g[1], g[2], g[4], g[8], g[9]
    ny = p.shape[1]
    f = j + side
    if f == 0:
        out = 0.5 * (left[a] + left[b])
    elif f == ny:
        out = 0.5 * (right[a] + right[b])
    else:
        beside = j + (1 if side else -1)
        out = 0.5 * (outside[a, beside] + outside[b, beside])
    open_a = max(barrier[a, f], 0.0) / hv[a, f]
    open_b = max(barrier[b, f], 0.0) / hv[b, f]
    kept = max(1.0 - 0.5 * (open_a * open_a + open_b * open_b), 0.0)
    dp = out - 0.5 * (p[a, j] + p[b, j])
    root = np.sqrt(dp * dp + 1e-6)
    free = np.sqrt(1.0 + kept * (dp + root))
    slope = -0.5 * kept * (1.0 + dp / root) / free
    return 1.0 + (1.0 - mixing) * (free - 1.0), (1.0 - mixing) * slope


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def seen(v, hv, barrier, i, j, beside):
    """Return the speed across at the face beside, as carried to face j and as mixed with it.

    What passed a wall's gap has spread over this side's depth. Air that passes a step keeps its
    head, but a speed that only the depth changes is no shear: no eddy mixes it.
    """
    spread = hv[i, beside] * v[i, beside] / hv[i, j]
    if barrier[i, beside] >= 0.0:
        return spread, spread
    if barrier[i, beside] < -1.5 or barrier[i, j] < -1.5:
        return v[i, beside], spread
    return v[i, beside], v[i, beside]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _viscous(par, depth, speed):
    return par[1] * depth * depth * np.sqrt(speed * speed + 1e-3)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _rows(u, v, p, g, par, i, j, kind):
    """Return one residual: kind 0 u-momentum at face i, 1 side face (i, j), 2 continuity.

    ``g``: hu, hv, barrier, active, outside, dx, dy, loss, left, right, body.
    ``par``: 0 mixing, 1 eddy, 2 head/2, 3 inlet loss, 4 exit pressure, 5 road friction, 6 softness.
    """
    hu, hv, barrier, active, outside, dx, dy, loss, left, right, body = g
    nx, ny = p.shape
    if kind == 2:
        if not active[i, j]:
            return p[i, j] - outside[i, j]
        return (
            (hu[i + 1, j] * u[i + 1, j] - hu[i, j] * u[i, j]) / dx[i]
            + (hv[i, j + 1] * v[i, j + 1] - hv[i, j] * v[i, j]) / dy[j]
            - body[2, i, j]
        )
    if kind == 1:
        if barrier[i, j] >= 0.0:
            below = left[i] if j == 0 else p[i, j - 1]
            above = right[i] if j == ny else p[i, j]
            return v[i, j] - barrier[i, j] * orifice(below - above, par[6]) / hv[i, j]
        h, wide = hv[i, j], 0.5 * (dy[j - 1] + dy[j])
        total = (p[i, j] - p[i, j - 1]) / wide - body[1, i, j]
        um = 0.25 * (u[i, j - 1] + u[i, j] + u[i + 1, j - 1] + u[i + 1, j])
        nu = _viscous(par, h, um)
        # along the car
        west = 0.5 * (hu[i, j - 1] * u[i, j - 1] + hu[i, j] * u[i, j])
        east = 0.5 * (hu[i + 1, j - 1] * u[i + 1, j - 1] + hu[i + 1, j] * u[i + 1, j])
        if i > 0:
            k = _spread(west, nu / (0.5 * (dx[i] + dx[i - 1])))
            total -= (0.5 * west + k) * (v[i - 1, j] - v[i, j]) / (h * dx[i])
        else:
            total -= positive(west, 1e-4) * (0.0 - v[i, j]) / (h * dx[i])
        if i < nx - 1:
            k = _spread(east, nu / (0.5 * (dx[i] + dx[i + 1])))
            total += (0.5 * east - k) * (v[i + 1, j] - v[i, j]) / (h * dx[i])
        south = 0.5 * (hv[i, j - 1] * v[i, j - 1] + hv[i, j] * v[i, j])
        north = 0.5 * (hv[i, j] * v[i, j] + hv[i, j + 1] * v[i, j + 1])
        k = _spread(south, nu / dy[j - 1])
        near, mixed = seen(v, hv, barrier, i, j, j - 1)
        total -= (0.5 * south * (near - v[i, j]) + k * (mixed - v[i, j])) / (h * wide)
        k = _spread(north, nu / dy[j])
        near, mixed = seen(v, hv, barrier, i, j, j + 1)
        total += (0.5 * north * (near - v[i, j]) - k * (mixed - v[i, j])) / (h * wide)
        slip = np.sqrt((um - 1.0) ** 2 + v[i, j] ** 2 + 1e-6)
        rub = 0.25 * (loss[i, j - 1] + loss[i, j]) * np.sqrt(um * um + v[i, j] ** 2 + 1e-6)
        return total + v[i, j] * (0.5 * par[5] * slip / h + rub)
    before = i > 0 and active[i - 1, j]
    behind = i < nx and active[i, j]
    if not before and not behind:
        return u[i, j] - 1.0
    h = hu[i, j]
    own = u[i, j]
    nu = _viscous(par, h, own)
    if before and behind:
        a, b, span = i - 1, i, 0.5 * (dx[i - 1] + dx[i])
        total = (p[i, j] - p[i - 1, j]) / span - body[0, i, j]
        west = 0.5 * (hu[i - 1, j] * u[i - 1, j] + h * own)
        east = 0.5 * (h * own + hu[i + 1, j] * u[i + 1, j])
        total -= 0.5 * west * (u[i - 1, j] - own) / (h * span)
        total += 0.5 * east * (u[i + 1, j] - own) / (h * span)
        total -= nu / (h * span) * ((u[i + 1, j] - own) / dx[i] - (own - u[i - 1, j]) / dx[i - 1])
    elif behind:  # an inlet: from the head to the first cell's middle
        a, b, span = i, i, 0.5 * dx[i]
        total = (p[i, j] - par[2] + 0.5 * (1.0 + par[3]) * own * np.sqrt(own * own + 1e-6)) / span
        total += 0.5 * own * (u[i + 1, j] - own) / span - body[0, i, j]
    else:  # an exit
        a, b, span = i - 1, i - 1, 0.5 * dx[i - 1]
        there = par[4] if i == nx else outside[i, j]
        total = (there - p[i - 1, j]) / span + 0.5 * own * (own - u[i - 1, j]) / span
        total -= body[0, i, j]
    for side in range(2):
        f = j + side
        sign = 1.0 if side else -1.0
        flux = 0.5 * sign * (hv[a, f] * v[a, f] + hv[b, f] * v[b, f])
        edge = f == 0 or f == ny
        other, met = 0.0, False
        if not edge:
            met = (i == 0 or active[max(i - 1, 0), j + (1 if side else -1)]) and (
                i == nx or active[min(i, nx - 1), j + (1 if side else -1)]
            )
        if met:
            other = u[i, j + (1 if side else -1)]
        else:
            other, _ = brought(g, p, par[0], a, b, j, side)
        if edge or not met or barrier[a, f] >= 0.0 or barrier[b, f] >= 0.0:
            # air that comes through a gap brings its own speed
            total -= positive(-flux, 1e-5) * (other - own) / (h * dy[j])
        else:
            k = _spread(flux, nu / (0.5 * (dy[j] + dy[j + (1 if side else -1)])))
            total += (0.5 * flux - k) * (other - own) / (h * dy[j])
    slip = own - 1.0
    total += 0.5 * par[5] * slip * np.sqrt(slip * slip + 1e-6) / h
    rub = 0.25 * (loss[a, j] + loss[b, j])
    return total + rub * own * np.sqrt(own * own + 1e-6)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def residuals(u, v, p, g, par, out):
    """Fill all residuals in the order of the unknowns and return their root mean square."""
    nx, ny = p.shape
    n = 3 * ny + 1
    total = 0.0
    for i in range(nx + 1):
        for j in range(ny):
            out[i * n + j] = _rows(u, v, p, g, par, i, j, 0)
        if i < nx:
            for j in range(ny + 1):
                out[i * n + ny + j] = _rows(u, v, p, g, par, i, j, 1)
            for j in range(ny):
                out[i * n + 2 * ny + 1 + j] = _rows(u, v, p, g, par, i, j, 2)
    for k in range(out.size):
        total += out[k] * out[k]
    return np.sqrt(total / out.size)
