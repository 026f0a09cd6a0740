"""Slopes of the plan's residuals by hand, into the band that Newton's method solves.

The same equations as in ``plan_kernel``, differentiated term by term: one pass over the rows costs
a fifth of moving every unknown and looking what changes. A row touches its own station and the two
beside it, so a half band of one station's unknowns, ``width = 3 ny + 1``, holds them all.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.floor.plan_kernel import brought, seen


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _exchange(flux, diffusion):
    """Return the exponential scheme's exchange and its slopes with flux and diffusion."""
    x = 0.5 * flux / diffusion
    if abs(x) < 1e-3:
        return diffusion * (1.0 + x * x / 3.0), x / 3.0, 1.0 - x * x / 3.0
    if abs(x) > 40.0:
        return 0.5 * abs(flux), 0.5 * np.sign(flux), 0.0
    t = 1.0 / np.tanh(x)
    steep = t * t - 1.0
    return 0.5 * flux * t, 0.5 * t - 0.5 * x * steep, x * x * steep


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _above(x, soft):
    """Return the smooth max(x, 0) and its slope."""
    root = np.sqrt(x * x + soft * soft)
    return 0.5 * (x + root), 0.5 * (1.0 + x / root)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _put(band, width, row, col, value):
    band[2 * width + row - col, col] += value


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _along(u, v, p, g, par, i, j, band, width):
    """Slopes of u-momentum at face i."""
    hu, hv, barrier, active, _, dx, dy, loss, _, _, _ = g
    nx, ny = p.shape
    n = 3 * ny + 1
    row = i * n + j
    before = i > 0 and active[i - 1, j]
    behind = i < nx and active[i, j]
    if not before and not behind:
        _put(band, width, row, row, 1.0)
        return
    h, own = hu[i, j], u[i, j]
    root = np.sqrt(own * own + 1e-3)
    nu, dnu = par[1] * h * h * root, par[1] * h * h * own / root
    slope = 0.0
    if before and behind:
        a, b, span = i - 1, i, 0.5 * (dx[i - 1] + dx[i])
        k = 1.0 / (h * span)
        first, last = u[i - 1, j], u[i + 1, j]
        west = 0.5 * (hu[i - 1, j] * first + h * own)
        east = 0.5 * (h * own + hu[i + 1, j] * last)
        bend = (last - own) / dx[i] - (own - first) / dx[i - 1]
        _put(band, width, row, i * n + 2 * ny + 1 + j, 1.0 / span)
        _put(band, width, row, (i - 1) * n + 2 * ny + 1 + j, -1.0 / span)
        to_first = -0.5 * (0.5 * hu[i - 1, j] * (first - own) + west) - nu / dx[i - 1]
        to_last = 0.5 * (0.5 * hu[i + 1, j] * (last - own) + east) - nu / dx[i]
        _put(band, width, row, row - n, k * to_first)
        _put(band, width, row, row + n, k * to_last)
        slope += k * (0.5 * west - 0.25 * h * (first - own) - 0.5 * east + 0.25 * h * (last - own))
        slope += k * (nu * (1.0 / dx[i] + 1.0 / dx[i - 1]) - dnu * bend)
    elif behind:
        a, b, span = i, i, 0.5 * dx[i]
        fast = np.sqrt(own * own + 1e-6)
        slope += 0.5 * (1.0 + par[3]) * (fast + own * own / fast) / span
        slope += 0.5 * (u[i + 1, j] - 2.0 * own) / span
        _put(band, width, row, i * n + 2 * ny + 1 + j, 1.0 / span)
        _put(band, width, row, row + n, 0.5 * own / span)
    else:
        a, b, span = i - 1, i - 1, 0.5 * dx[i - 1]
        slope += 0.5 * (2.0 * own - u[i - 1, j]) / span
        _put(band, width, row, (i - 1) * n + 2 * ny + 1 + j, -1.0 / span)
        _put(band, width, row, row - n, -0.5 * own / span)
    for side in range(2):
        f, sign = j + side, 1.0 if side else -1.0
        beside = j + (1 if side else -1)
        flux = 0.5 * sign * (hv[a, f] * v[a, f] + hv[b, f] * v[b, f])
        edge = f == 0 or f == ny
        other, met, by_p = 0.0, False, 0.0
        if not edge:
            met = (i == 0 or active[max(i - 1, 0), beside]) and (
                i == nx or active[min(i, nx - 1), beside]
            )
        if met:
            other = u[i, beside]
        else:
            other, by_p = brought(g, p, par[0], a, b, j, side)
        k = 1.0 / (h * dy[j])
        if edge or not met or barrier[a, f] >= 0.0 or barrier[b, f] >= 0.0:
            inward, steep = _above(-flux, 1e-5)
            to_flux = steep * (other - own) * k
            to_other = -inward * k
        else:
            apart = 0.5 * (dy[j] + dy[beside])
            crossed, by_flux, by_nu = _exchange(flux, nu / apart)
            to_flux = (0.5 - by_flux) * (other - own) * k
            to_other = (0.5 * flux - crossed) * k
            slope -= by_nu * dnu / apart * (other - own) * k
        slope -= to_other
        if met:
            _put(band, width, row, i * n + beside, to_other)
        else:
            _put(band, width, row, a * n + 2 * ny + 1 + j, 0.5 * to_other * by_p)
            _put(band, width, row, b * n + 2 * ny + 1 + j, 0.5 * to_other * by_p)
        _put(band, width, row, a * n + ny + f, 0.5 * sign * hv[a, f] * to_flux)
        _put(band, width, row, b * n + ny + f, 0.5 * sign * hv[b, f] * to_flux)
    slip = own - 1.0
    rub, fast = np.sqrt(slip * slip + 1e-6), np.sqrt(own * own + 1e-6)
    slope += 0.5 * par[5] * (rub + slip * slip / rub) / h
    slope += 0.25 * (loss[a, j] + loss[b, j]) * (fast + own * own / fast)
    _put(band, width, row, row, slope)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _across(u, v, p, g, par, i, j, band, width):
    """Slopes of the side face (i, j): an orifice's law or v-momentum."""
    hu, hv, barrier, _, _, dx, dy, loss, left, right, _ = g
    nx, ny = p.shape
    n = 3 * ny + 1
    row = i * n + ny + j
    at_p = i * n + 2 * ny + 1 + j
    h, own = hv[i, j], v[i, j]
    if barrier[i, j] >= 0.0:
        below = left[i] if j == 0 else p[i, j - 1]
        above = right[i] if j == ny else p[i, j]
        d = below - above
        r = d * d + par[6] * par[6]
        steep = np.sqrt(2.0) * r**-0.25 * (1.0 - 0.5 * d * d / r)
        to_below = -barrier[i, j] * steep / h
        _put(band, width, row, row, 1.0)
        if j > 0:
            _put(band, width, row, at_p - 1, to_below)
        if j < ny:
            _put(band, width, row, at_p, -to_below)
        return
    wide = 0.5 * (dy[j - 1] + dy[j])
    _put(band, width, row, at_p, 1.0 / wide)
    _put(band, width, row, at_p - 1, -1.0 / wide)
    um = 0.25 * (u[i, j - 1] + u[i, j] + u[i + 1, j - 1] + u[i + 1, j])
    root = np.sqrt(um * um + 1e-3)
    nu = par[1] * h * h * root
    west = 0.5 * (hu[i, j - 1] * u[i, j - 1] + hu[i, j] * u[i, j])
    east = 0.5 * (hu[i + 1, j - 1] * u[i + 1, j - 1] + hu[i + 1, j] * u[i + 1, j])
    slope, to_nu, to_west, to_east = 0.0, 0.0, 0.0, 0.0
    k = 1.0 / (h * dx[i])
    if i > 0:
        apart = 0.5 * (dx[i] + dx[i - 1])
        crossed, by_flux, by_nu = _exchange(west, nu / apart)
        rise = v[i - 1, j] - own
        to_west = -(0.5 + by_flux) * rise * k
        to_nu -= by_nu / apart * rise * k
        _put(band, width, row, row - n, -(0.5 * west + crossed) * k)
        slope += (0.5 * west + crossed) * k
    else:
        inward, steep = _above(west, 1e-4)
        to_west = steep * own * k
        slope += inward * k
    if i < nx - 1:
        apart = 0.5 * (dx[i] + dx[i + 1])
        crossed, by_flux, by_nu = _exchange(east, nu / apart)
        rise = v[i + 1, j] - own
        to_east = (0.5 - by_flux) * rise * k
        to_nu -= by_nu / apart * rise * k
        _put(band, width, row, row + n, (0.5 * east - crossed) * k)
        slope -= (0.5 * east - crossed) * k
    k = 1.0 / (h * wide)
    for side in range(2):
        at, sign = j + 2 * side - 1, 2.0 * side - 1.0
        cell = dy[j - 1 + side]
        flux = 0.5 * (hv[i, at] * v[i, at] + h * own)
        crossed, by_flux, by_nu = _exchange(flux, nu / cell)
        near, mixed = seen(v, hv, barrier, i, j, at)
        spread = hv[i, at] / h
        carries = spread if barrier[i, at] >= 0.0 else 1.0
        is_even = barrier[i, at] < 0.0 and barrier[i, at] > -1.5 and barrier[i, j] > -1.5
        mixes = 1.0 if is_even else spread
        near, mixed = near - own, mixed - own
        to_flux = sign * (0.5 * near - sign * by_flux * mixed) * k
        to_nu -= by_nu / cell * mixed * k
        straight = (0.5 * sign * flux * carries - crossed * mixes) * k
        _put(band, width, row, row + 2 * side - 1, 0.5 * hv[i, at] * to_flux + straight)
        slope += 0.5 * h * to_flux - (0.5 * sign * flux - crossed) * k
    slip = np.sqrt((um - 1.0) ** 2 + own * own + 1e-6)
    fast = np.sqrt(um * um + own * own + 1e-6)
    road, rub = 0.5 * par[5] / h, 0.25 * (loss[i, j - 1] + loss[i, j])
    slope += road * (slip + own * own / slip) + rub * (fast + own * own / fast)
    _put(band, width, row, row, slope)
    mean = 0.25 * (to_nu * par[1] * h * h * um / root
                   + own * (road * (um - 1.0) / slip + rub * um / fast))  # fmt: skip
    for side in range(2):
        at = i * n + j - 1 + side
        _put(band, width, row, at, mean + 0.5 * hu[i, j - 1 + side] * to_west)
        _put(band, width, row, at + n, mean + 0.5 * hu[i + 1, j - 1 + side] * to_east)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def slopes(u, v, p, g, par, band):
    """Fill ``band[2 w + row - col, col]``, ``w = 3 ny + 1``, at a state ``u, v, p``.

    ``g`` and ``par`` as for :func:`tuftwork.floor.plan_kernel.residuals`.
    """
    hu, hv, _, active, _, dx, dy, _, _, _, _ = g
    nx, ny = p.shape
    n = 3 * ny + 1
    band[:, :] = 0.0
    for i in range(nx + 1):
        for j in range(ny):
            _along(u, v, p, g, par, i, j, band, n)
        if i == nx:
            break
        for j in range(ny + 1):
            _across(u, v, p, g, par, i, j, band, n)
        for j in range(ny):
            row = i * n + 2 * ny + 1 + j
            if not active[i, j]:
                _put(band, n, row, row, 1.0)
                continue
            _put(band, n, row, (i + 1) * n + j, hu[i + 1, j] / dx[i])
            _put(band, n, row, i * n + j, -hu[i, j] / dx[i])
            _put(band, n, row, i * n + ny + j + 1, hv[i, j + 1] / dy[j])
            _put(band, n, row, i * n + ny + j, -hv[i, j] / dy[j])
