# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Kernels of the panel method: linear vorticity and constant sources on straight panels.

Stream function and velocity of one panel in its own frame, x along the panel from 0 to L:
vortex (counter-clockwise) psi = -(1/2pi) int g ln r ds, source psi = (1/2pi) int s theta ds.
Flux through a chord is psi(end) - psi(start); the angle of a source panel has a cut behind
the panel, which is why the flux of a source is computed chord by chord.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.quantity import Array

_TWO_PI = 2.0 * np.pi


@njit(cache=True)
@no_type_check
def _log_integrals(x: float, y: float, length: float) -> tuple[float, float]:
    """Int ln r ds and int s ln r ds over the panel."""
    r1, r2 = x * x + y * y, (x - length) ** 2 + y * y
    l1 = np.log(r1) if r1 > 1e-30 else 0.0
    l2 = np.log(r2) if r2 > 1e-30 else 0.0
    span = np.arctan2(y * length, x * (x - length) + y * y)
    i0 = 0.5 * (x * l1 - (x - length) * l2) - length + y * span
    i1 = x * i0 - 0.25 * (r1 * l1 - r1 - r2 * l2 + r2)
    return i0, i1


@njit(cache=True)
@no_type_check
def _local(
    px: float, py: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float]:
    dx, dy = bx - ax, by - ay
    length = np.sqrt(dx * dx + dy * dy)
    return (
        ((px - ax) * dx + (py - ay) * dy) / length,
        (-(px - ax) * dy + (py - ay) * dx) / length,
        length,
    )


@njit(cache=True)
@no_type_check
def _angle_term(x: float, y: float, length: float, side: float) -> float:
    """Int theta ds; ``side`` settles the cut for points on the panel's line."""
    r1, r2 = x * x + y * y, (x - length) ** 2 + y * y
    tiny = 1e-10 * length
    if abs(y) < tiny:
        y = 0.0
        t1 = 0.0 if x > 0.0 else np.pi * side
        t2 = 0.0 if x - length > 0.0 else np.pi * side
        return (x * t1 if r1 > 1e-30 else 0.0) - ((x - length) * t2 if r2 > 1e-30 else 0.0)
    t1, t2 = np.arctan2(y, x), np.arctan2(y, x - length)
    return x * t1 - (x - length) * t2 + 0.5 * y * (np.log(r1) - np.log(r2))


@njit(cache=True)
@no_type_check
def source_flux(
    p1x: float,
    p1y: float,
    p2x: float,
    p2y: float,
    ax: float,
    ay: float,
    bx: float,
    by: float,
) -> float:
    """Flux through the chord p1-p2, on its inner (left) side, of a unit source panel a-b."""
    x1, y1, length = _local(p1x, p1y, ax, ay, bx, by)
    x2, y2, _ = _local(p2x, p2y, ax, ay, bx, by)
    tiny = 1e-10 * length
    z1, z2 = abs(y1) < tiny, abs(y2) < tiny
    s1 = 1.0 if z2 or y2 > 0.0 else -1.0
    s2 = 1.0 if z1 or y1 > 0.0 else -1.0
    flux = _angle_term(x2, y2, length, s2) - _angle_term(x1, y1, length, s1)
    if not z1 and not z2 and y1 * y2 < 0.0:
        cross = x1 + (x2 - x1) * y1 / (y1 - y2)
        if cross < 0.0:
            flux += _TWO_PI * length if y2 < 0.0 else -_TWO_PI * length
    return flux / _TWO_PI


@njit(cache=True, fastmath=True)
@no_type_check
def _add_psi(
    px: Array, py: Array, nx: Array, ny: Array, sign: float, out: Array, column: int
) -> None:
    """Add the stream function of nodal vorticity; each logarithm serves two panels.

    Far panels subtend small angles, for which five terms of the arctangent are exact to 1e-12.
    """
    n = nx.size
    ux, uy, size = np.empty(n - 1), np.empty(n - 1), np.empty(n - 1)
    for j in range(n - 1):
        dx, dy = nx[j + 1] - nx[j], ny[j + 1] - ny[j]
        size[j] = np.sqrt(dx * dx + dy * dy)
        ux[j], uy[j] = dx / size[j], dy / size[j]
    k = sign / _TWO_PI
    for i in range(px.size):
        ax, ay = px[i] - nx[0], py[i] - ny[0]
        r1 = ax * ax + ay * ay
        l1 = np.log(r1) if r1 > 1e-30 else 0.0
        for j in range(n - 1):
            length = size[j]
            x, y = ax * ux[j] + ay * uy[j], ay * ux[j] - ax * uy[j]
            ax, ay = px[i] - nx[j + 1], py[i] - ny[j + 1]
            r2 = ax * ax + ay * ay
            l2 = np.log(r2) if r2 > 1e-30 else 0.0
            rise, run = y * length, x * (x - length) + y * y
            if abs(rise) < 0.1 * run:
                t = rise / run
                q = t * t
                span = t * (1.0 - q * (1 / 3 - q * (0.2 - q * (1 / 7 - q / 9))))
            else:
                span = np.arctan2(rise, run)
            i0 = 0.5 * (x * l1 - (x - length) * l2) - length + y * span
            i1 = (x * i0 - 0.25 * (r1 * l1 - r1 - r2 * l2 + r2)) / length
            out[i, column + j] -= k * (i0 - i1)
            out[i, column + j + 1] -= k * i1
            r1, l1 = r2, l2


@njit(cache=True)
@no_type_check
def vortex_psi(px: Array, py: Array, nx: Array, ny: Array, mirror: bool) -> Array:
    """Stream function at points of unit nodal vorticity on a chain of nodes (no edge panel)."""
    out = np.zeros((px.size, nx.size))
    _add_psi(px, py, nx, ny, 1.0, out, 0)
    if mirror:
        _add_psi(px, -py, nx, ny, -1.0, out, 0)
    return out


@njit(cache=True)
@no_type_check
def all_psi(px: Array, py: Array, start: Array, mirror: bool) -> Array:
    """Stream function at the nodes of all elements of unit vorticity at each of them."""
    out = np.zeros((px.size, px.size))
    for e in range(start.size - 1):
        a, b = start[e], start[e + 1]
        _add_psi(px, py, px[a:b], py[a:b], 1.0, out, a)
        if mirror:
            _add_psi(px, -py, px[a:b], py[a:b], -1.0, out, a)
    return out


@njit(cache=True)
@no_type_check
def source_fluxes(
    cx: Array, cy: Array, ax: Array, ay: Array, bx: Array, by: Array, mirror: bool
) -> Array:
    """Flux through each chord of the node chain c of unit source panels a-b."""
    n, m = ax.size, cx.size - 1
    out = np.zeros((m, n))
    for i in range(m):
        for j in range(n):
            out[i, j] = source_flux(cx[i], cy[i], cx[i + 1], cy[i + 1], ax[j], ay[j], bx[j], by[j])
            if mirror:
                out[i, j] -= source_flux(
                    cx[i], -cy[i], cx[i + 1], -cy[i + 1], ax[j], ay[j], bx[j], by[j]
                )
    return out


@njit(cache=True)
@no_type_check
def source_potential(
    px: Array, py: Array, ax: Array, ay: Array, bx: Array, by: Array, mirror: bool
) -> Array:
    """Potential at points of unit source panels."""
    out = np.zeros((px.size, ax.size))
    for i in range(px.size):
        for j in range(ax.size):
            x, y, length = _local(px[i], py[i], ax[j], ay[j], bx[j], by[j])
            i0, _ = _log_integrals(x, y, length)
            out[i, j] = i0 / _TWO_PI
            if mirror:
                x, y, length = _local(px[i], -py[i], ax[j], ay[j], bx[j], by[j])
                i0, _ = _log_integrals(x, y, length)
                out[i, j] += i0 / _TWO_PI
    return out


@njit(cache=True)
@no_type_check
def _vortex_panel_velocity(
    px: float, py: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float, float]:
    """Velocity of unit start-node and end-node vorticity: (u1, v1, u2, v2)."""
    x, y, length = _local(px, py, ax, ay, bx, by)
    r1, r2 = x * x + y * y + 1e-30, (x - length) ** 2 + y * y + 1e-30
    span = np.arctan2(y * length, x * (x - length) + y * y)
    half = 0.5 * np.log(r1 / r2)
    su, sv = x * span - y * half, x * half - length + y * span
    u2, v2 = -su / length / _TWO_PI, sv / length / _TWO_PI
    u1, v1 = -span / _TWO_PI - u2, half / _TWO_PI - v2
    c, s = (bx - ax) / length, (by - ay) / length
    return u1 * c - v1 * s, u1 * s + v1 * c, u2 * c - v2 * s, u2 * s + v2 * c


@njit(cache=True)
@no_type_check
def vortex_velocity(
    px: Array, py: Array, nx: Array, ny: Array, mirror: bool
) -> tuple[Array, Array]:
    """Velocity at points of unit nodal vorticity on a chain of nodes."""
    n, m = nx.size, px.size
    u, v = np.zeros((m, n)), np.zeros((m, n))
    for i in range(m):
        for j in range(n - 1):
            a, b, c, d = _vortex_panel_velocity(px[i], py[i], nx[j], ny[j], nx[j + 1], ny[j + 1])
            u[i, j] += a
            v[i, j] += b
            u[i, j + 1] += c
            v[i, j + 1] += d
            if mirror:
                a, b, c, d = _vortex_panel_velocity(
                    px[i], -py[i], nx[j], ny[j], nx[j + 1], ny[j + 1]
                )
                u[i, j] += a
                v[i, j] -= b
                u[i, j + 1] += c
                v[i, j + 1] -= d
    return u, v


@njit(cache=True)
@no_type_check
def source_velocity(
    px: Array, py: Array, ax: Array, ay: Array, bx: Array, by: Array, mirror: bool
) -> tuple[Array, Array]:
    """Velocity at points of unit source panels."""
    n, m = ax.size, px.size
    u, v = np.zeros((m, n)), np.zeros((m, n))
    for i in range(m):
        for j in range(n):
            for k in range(2 if mirror else 1):
                sign = 1.0 - 2.0 * k
                x, y, length = _local(px[i], sign * py[i], ax[j], ay[j], bx[j], by[j])
                r1, r2 = x * x + y * y + 1e-30, (x - length) ** 2 + y * y + 1e-30
                lu = 0.5 * np.log(r1 / r2) / _TWO_PI
                lv = np.arctan2(y * length, x * (x - length) + y * y) / _TWO_PI
                c, s = (bx[j] - ax[j]) / length, (by[j] - ay[j]) / length
                u[i, j] += lu * c - lv * s
                v[i, j] += sign * (lu * s + lv * c)
    return u, v
