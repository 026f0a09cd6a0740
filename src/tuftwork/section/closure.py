# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Closures of the integral boundary layer and the residuals of one interval.

State of a station: ``c`` (amplification ln n while laminar, root of the shear-stress
coefficient when turbulent), momentum thickness ``t``, displacement thickness ``d``, edge speed
``u``, arc length from stagnation ``x``, dead-air thickness ``w`` of a blunt edge.
Closures of [drela1987] and [swafford1983], lag in the manner of [green1977].

``par``: 0 Reynolds number, 1 lag K, 2 A and 3 B of the equilibrium locus, 4 drift switch,
5 critical amplification, 6 bypass Re_theta, 7 separated-side constant of the shape relation,
8 roughness increase of wall friction.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.quantity import Array

LAMINAR, TURBULENT, WAKE, TRANSITION = 0, 1, 2, 3
TRIP_RE_THETA = 180.0  # below this a tripped layer has no turbulent solution


@njit(cache=True)
@no_type_check
def _laminar(h: float, rt: float) -> tuple[float, float, float]:
    """H*, cf, 2 CD/H* of the laminar layer."""
    if h < 4.0:
        hs = 1.515 + 0.076 * (4.0 - h) ** 2 / h
        dis = 0.207 + 0.00205 * (4.0 - h) ** 5.5
    else:
        hs = 1.515 + 0.040 * (h - 4.0) ** 2 / h
        dis = 0.207 - 0.003 * (h - 4.0) ** 2 / (1.0 + 0.02 * (h - 4.0) ** 2)
    if h < 7.4:
        cf = -0.067 + 0.01977 * (7.4 - h) ** 2 / (h - 1.0)
    else:
        cf = -0.067 + 0.022 * (1.0 - 1.4 / (h - 6.0)) ** 2
    return hs, 2.0 * cf / rt, dis / rt


@njit(cache=True)
@no_type_check
def _turbulent_shape(h: float, rt: float, far: float) -> float:
    """H* of the turbulent layer, with a smooth barrier near H = 1."""
    r = max(rt, 200.0)
    h0 = 4.0 if r < 400.0 else 3.0 + 400.0 / r
    if h < h0:
        part = (h0 - h) / (h0 - 1.0)
        hs = (0.5 - 4.0 / r) * part * part * 1.5 / (h + 0.5) + 1.5 + 4.0 / r
    else:
        lr = np.log(r)
        part = h - h0 + 4.0 / lr
        hs = (h - h0) ** 2 * (0.007 * lr / (part * part) + far / h) + 1.5 + 4.0 / r
    if h < 1.25:
        hs += 0.01 * ((1.25 - h) / (h - 1.0)) ** 2
    return hs


@njit(cache=True)
@no_type_check
def closure(
    kind: int, c: float, t: float, d: float, u: float, par: Array
) -> tuple[float, float, float, float, float, float, float]:
    """(H, H*, cf, 2 CD/H*, equilibrium root of C_tau, delta, drift 1/length)."""
    h = max(d / t, 1.0005)
    rt = max(par[0] * u * t, 1.0)
    if kind == 0:
        hs, cf, dis = _laminar(max(h, 1.05), rt)
        return h, hs, cf, dis, 0.0, 0.0, 0.0
    hs = _turbulent_shape(h, rt, par[7])
    us = 0.5 * hs * (1.0 - (h - 1.0) / (par[3] * h))
    if kind == 1:
        us = min(us, 0.95)
        lr = max(np.log10(rt), 1.3)
        cf = 0.3 * np.exp(-1.33 * h) * lr ** (-1.74 - 0.31 * h)
        cf = par[8] * cf + 1.1e-4 * (np.tanh(4.0 - h / 0.875) - 1.0)
        hc = max(h - 1.0 - 18.0 / rt, 0.01)
    else:
        us = min(us, 0.9995)
        cf = 0.0
        hc = max(h - 1.0, 0.001)
    dis = 2.0 / hs * (0.5 * cf * us + c * c * (0.995 - us) + 0.15 * (0.995 - us) ** 2 / rt)
    if kind == 2:
        dis *= 2.0
    con = 0.5 / (par[2] * par[2] * par[3])
    s2 = con * hs * (h - 1.0) * hc * hc / ((1.0 - us) * h**3)
    delta = min((3.15 + 1.72 / (h - 1.0)) * t + d, 12.0 * t)
    drift = (0.5 * cf - (hc / (par[2] * h)) ** 2) / (par[3] * d)
    return h, hs, cf, dis, np.sqrt(max(s2, 1e-12)), delta, drift


@njit(cache=True)
@no_type_check
def amplification(h: float, t: float, u: float, reynolds: float) -> float:
    """dn/dx of the envelope of amplified waves [drela1987]."""
    rt = max(reynolds * u * t, 1.0)
    hm = 1.0 / (max(h, 1.05) - 1.0)
    onset = (1.415 * hm - 0.489) * np.tanh(20.0 * hm - 12.9) + 3.295 * hm + 0.44
    ramp = (np.log10(rt) - (onset - 0.08)) / 0.16
    if ramp <= 0.0:
        return 0.0
    ramp = 1.0 if ramp >= 1.0 else ramp * ramp * (3.0 - 2.0 * ramp)
    slope = 0.01 * np.sqrt((2.4 * h - 3.7 + 2.5 * np.tanh(1.5 * h - 4.65)) ** 2 + 0.25)
    ell = (6.54 * h - 14.07) / (h * h)
    m1 = (0.058 * (4.0 - h) ** 2 / (h - 1.0) - 0.068) + ell
    return ramp * slope * 0.5 * m1 / t


@njit(cache=True)
@no_type_check
def balance(
    kind: int,
    x1: float,
    c1: float,
    t1: float,
    d1: float,
    u1: float,
    w1: float,
    k1: tuple[float, float, float, float, float, float, float],
    x2: float,
    c2: float,
    t2: float,
    d2: float,
    u2: float,
    w2: float,
    k2: tuple[float, float, float, float, float, float, float],
    par: Array,
) -> tuple[float, float, float]:
    """Residuals of momentum, kinetic energy and lag (or amplification) over one interval."""
    h1, hs1, cf1, di1, se1, de1, dr1 = k1
    h2, hs2, cf2, di2, se2, de2, dr2 = k2
    jump = np.log((h2 - 1.0) / (h1 - 1.0))
    sharp = 1.0 if kind == 2 else 5.0 / (h2 * h2)
    up = 1.0 - 0.5 * np.exp(-min(jump * jump * sharp, 15.0))
    lx, lu = np.log(x2 / x1), np.log(u2 / u1)
    ha = 0.5 * (h1 + h2) + 0.5 * (w1 / t1 + w2 / t2)
    drag_x = (1.0 - up) * cf1 * x1 / t1 + up * cf2 * x2 / t2
    dix = (1.0 - up) * di1 * x1 / t1 + up * di2 * x2 / t2
    mom = np.log(t2 / t1) + (ha + 2.0) * lu - 0.5 * drag_x * lx
    shape = np.log(hs2 / hs1) + (1.0 - ha) * lu - (dix - 0.5 * drag_x) * lx
    dx = x2 - x1
    if kind == 0:
        a1 = amplification(h1, t1, u1, par[0])
        a2 = amplification(h2, t2, u2, par[0])
        return mom, shape, c2 - c1 - 0.5 * (a1 + a2) * dx
    s1, s2 = max(c1, 1e-6), max(c2, 1e-6)
    gap = (1.0 - up) * (se1 - c1) + up * (se2 - c2)
    lag = np.log(s2 / s1) - par[1] * gap * dx / (de1 + de2)
    lag -= par[4] * (0.5 * (dr1 + dr2) * dx - lu)
    return mom, shape, lag


@njit(cache=True)
@no_type_check
def transition_place(
    x1: float,
    n1: float,
    t1: float,
    d1: float,
    u1: float,
    x2: float,
    t2: float,
    d2: float,
    u2: float,
    trip: float,
    par: Array,
) -> float:
    """Where the layer turns turbulent inside the interval, clamped to it.

    A trip below zero is where the solver holds a transition that went round in a ring.
    """
    dx = x2 - x1
    if trip < 0.0:
        return min(max(-trip, x1 + 0.01 * dx), x2 - 0.001 * dx)
    r1, r2 = par[0] * u1 * t1, par[0] * u2 * t2
    rise = max(r2 - r1, 1e-6)
    forced = max(trip, x1 + dx * (TRIP_RE_THETA - r1) / rise if r1 < TRIP_RE_THETA else trip)
    place = min(forced, x1 + dx * (par[6] - r1) / rise if r1 < par[6] else x1)
    h1 = d1 / t1
    a1 = amplification(h1, t1, u1, par[0])
    f = 0.5
    for _ in range(6):
        # the far station already looks turbulent: never let its low shape factor slow the waves
        tt, dd, uu = t1 + f * (t2 - t1), d1 + f * (d2 - d1), u1 + f * (u2 - u1)
        rate = 0.5 * (a1 + amplification(max(h1, dd / tt), tt, uu, par[0]))
        f = min(max((par[5] - n1) / max(rate * dx, 1e-9), 0.0), 1.0)
    place = min(place, x1 + f * dx)
    return min(max(place, x1 + 0.01 * dx), x2 - 0.001 * dx)


@njit(cache=True)
@no_type_check
def interval(
    kind: int,
    x1: float,
    c1: float,
    t1: float,
    d1: float,
    u1: float,
    w1: float,
    x2: float,
    c2: float,
    t2: float,
    d2: float,
    u2: float,
    w2: float,
    trip: float,
    par: Array,
) -> tuple[float, float, float]:
    """Residuals over one interval of any kind, transition inside it included."""
    if kind != 3:
        k1 = closure(kind, c1, t1, d1, u1, par)
        k2 = closure(kind, c2, t2, d2, u2, par)
        return balance(kind, x1, c1, t1, d1, u1, w1, k1, x2, c2, t2, d2, u2, w2, k2, par)
    # constants in calls would compile kernels of their own for each of them
    lam, tur = np.int64(0), np.int64(1)
    xt = transition_place(x1, c1, t1, d1, u1, x2, t2, d2, u2, trip, par)
    f = (xt - x1) / (x2 - x1)
    tt, dt, ut = t1 + f * (t2 - t1), d1 + f * (d2 - d1), u1 + f * (u2 - u1)
    k1 = closure(lam, c1, t1, d1, u1, par)
    kl = closure(lam, c1, tt, dt, ut, par)
    a = balance(lam, x1, c1, t1, d1, u1, w1, k1, xt, c1, tt, dt, ut, w1, kl, par)
    kt = closure(tur, 0.03, tt, dt, ut, par)
    st = kt[4] * min(1.8 * np.exp(-3.3 / max(kt[0] - 1.0, 0.2)), 0.9)
    st = max(st, 0.005)
    kt = closure(tur, st, tt, dt, ut, par)
    k2 = closure(tur, c2, t2, d2, u2, par)
    b = balance(tur, xt, st, tt, dt, ut, w1, kt, x2, c2, t2, d2, u2, w2, k2, par)
    return a[0] + b[0], a[1] + b[1], b[2]


@njit(cache=True)
@no_type_check
def similarity(
    x: float, c: float, t: float, d: float, u: float, par: Array
) -> tuple[float, float, float]:
    """Residuals of the stagnation profile, speed growing with distance."""
    k = closure(np.int64(0), c, t, d, u, par)
    mom = k[0] + 2.0 - 0.5 * k[2] * x / t
    shape = 1.0 - k[0] - (k[3] - 0.5 * k[2]) * x / t
    return mom, shape, c
