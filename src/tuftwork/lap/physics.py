# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""Compiled heart of the lap: what one axle pair can do at one place and speed.

Everything here is explicit arithmetic on the parameter vector of :mod:`tuftwork.lap.parameter`;
``adjoint.py`` holds the same arithmetic run backwards. Kinetic energy per mass E = v²/2 is the
running variable, because dE/ds is the acceleration.

A road row is (curvature ≥ 0, sin bank, cos bank, sin grade, cos grade, vertical curvature), bank
positive when it helps. Flags are (ideal drive shares, ideal brake shares).
"""

from math import sqrt
from typing import Any, no_type_check

import numpy as np
from numba import njit

DRIVE, BRAKE, TURN, ROLL = 1.0, -1.0, 2.0, 3.0
"""What is solved for: driving, braking, the push the turning front axle still allows, coasting.

Floats, because the compiler makes a copy of every function for each whole number written out."""

POWER, FRONT, REAR, BRAKE_LIMIT, BOTH, COAST, TURNING = 0, 1, 2, 3, 4, 5, 6
"""What limits: engine, an axle, the brakes, both axles, nothing left, an undriven front axle."""

inner: Any = njit(  # type: ignore[call-overload]
    cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True
)
"""For functions only compiled ones call: nothing is built that would let Python call them."""

_FLOOR = 1.0  # [N]  an axle keeps this much capacity so that no ratio divides by zero


@inner
@no_type_check
def _locate(axis, h):
    n = axis.shape[0]
    lo, hi = 0, n - 1
    while hi - lo > 1:
        mid = (lo + hi) // 2
        if h < axis[mid]:
            hi = mid
        else:
            lo = mid
    return lo


@njit(cache=True, error_model="numpy")
@no_type_check
def table_at(coef, axis_front, axis_rear, state, hf, hr):
    """Return the three fields and their slopes; linear outside the table, so C1 everywhere."""
    i = _locate(axis_front, hf)
    j = _locate(axis_rear, hr)
    du = axis_front[i + 1] - axis_front[i]
    dw = axis_rear[j + 1] - axis_rear[j]
    u0 = (hf - axis_front[i]) / du
    w0 = (hr - axis_rear[j]) / dw
    u = min(max(u0, 0.0), 1.0)
    w = min(max(w0, 0.0), 1.0)
    f0, f1, f2 = 0.0, 0.0, 0.0
    a0, a1, a2 = 0.0, 0.0, 0.0
    b0, b1, b2 = 0.0, 0.0, 0.0
    for c in range(3):
        k = coef[state, i, j, c]
        r0 = ((k[0, 3] * w + k[0, 2]) * w + k[0, 1]) * w + k[0, 0]
        r1 = ((k[1, 3] * w + k[1, 2]) * w + k[1, 1]) * w + k[1, 0]
        r2 = ((k[2, 3] * w + k[2, 2]) * w + k[2, 1]) * w + k[2, 0]
        r3 = ((k[3, 3] * w + k[3, 2]) * w + k[3, 1]) * w + k[3, 0]
        d0 = (3.0 * k[0, 3] * w + 2.0 * k[0, 2]) * w + k[0, 1]
        d1 = (3.0 * k[1, 3] * w + 2.0 * k[1, 2]) * w + k[1, 1]
        d2 = (3.0 * k[2, 3] * w + 2.0 * k[2, 2]) * w + k[2, 1]
        d3 = (3.0 * k[3, 3] * w + 2.0 * k[3, 2]) * w + k[3, 1]
        value = ((r3 * u + r2) * u + r1) * u + r0
        slope_u = (3.0 * r3 * u + 2.0 * r2) * u + r1
        slope_w = ((d3 * u + d2) * u + d1) * u + d0
        value += slope_u * (u0 - u) + slope_w * (w0 - w)
        if c == 0:
            f0, a0, b0 = value, slope_u / du, slope_w / dw
        elif c == 1:
            f1, a1, b1 = value, slope_u / du, slope_w / dw
        else:
            f2, a2, b2 = value, slope_u / du, slope_w / dw
    return f0, a0, b0, f1, a1, b1, f2, a2, b2


@njit(cache=True, error_model="numpy")
@no_type_check
def aero_at(aero, mix, hf, hr):
    """Return the fields of a mix of two device states: mix = (state, next state, share of next)."""
    coef, axis_front, axis_rear = aero
    first = table_at(coef, axis_front, axis_rear, int(mix[0]), hf, hr)
    share = mix[2]
    if share == 0.0:
        return first
    second = table_at(coef, axis_front, axis_rear, int(mix[1]), hf, hr)
    keep = 1.0 - share
    return (
        keep * first[0] + share * second[0],
        keep * first[1] + share * second[1],
        keep * first[2] + share * second[2],
        keep * first[3] + share * second[3],
        keep * first[4] + share * second[4],
        keep * first[5] + share * second[5],
        keep * first[6] + share * second[6],
        keep * first[7] + share * second[7],
        keep * first[8] + share * second[8],
    )


@njit(cache=True, error_model="numpy")
@no_type_check
def drive_force(power, power_step, p, energy):
    """Return engine force at the wheels and its slope with E (cubic in speed between nodes)."""
    v = sqrt(2.0 * energy)
    crawling = v < 0.5  # below walking pace the force of 0.5 m/s stays: the quotient is finite
    v = max(v, 0.5)
    n = power.shape[0]
    i = min(int(v / power_step), n - 2)
    u = min(v / power_step - i, 1.0)
    y0, y1 = power[i, 0], power[i + 1, 0]
    m0, m1 = power[i, 1] * power_step, power[i + 1, 1] * power_step
    c2 = 3.0 * (y1 - y0) - 2.0 * m0 - m1
    c3 = 2.0 * (y0 - y1) + m0 + m1
    watt = ((c3 * u + c2) * u + m0) * u + y0
    slope = ((3.0 * c3 * u + 2.0 * c2) * u + m0) / power_step
    gain = p[14] * p[15]
    if crawling:
        return gain * watt / v, 0.0
    return gain * watt / v, gain * (slope - watt / v) / (v * v)


@njit(cache=True, error_model="numpy")
@no_type_check
def deflection(force, rate, travel, bump_rate, second_travel, second_rate):
    """Return axle deflection and its slope; each stop comes in over 2 % of its force."""
    contact = rate * travel
    u = force - contact
    r = sqrt(u * u + (0.02 * contact) ** 2)
    soft = 1.0 / rate - 1.0 / bump_rate
    sink = force / rate - soft * 0.5 * (u + r)
    slope = 1.0 / rate - soft * 0.5 * (1.0 + u / r)
    soft = 1.0 / bump_rate - 1.0 / second_rate
    if soft != 0.0:
        contact += bump_rate * (second_travel - travel)
        u = force - contact
        r = sqrt(u * u + (0.02 * contact) ** 2)
        sink -= soft * 0.5 * (u + r)
        slope -= soft * 0.5 * (1.0 + u / r)
    return sink, slope


@njit(cache=True, error_model="numpy")
@no_type_check
def capacity(grip, loss, nominal, margin, load, transfer2):
    """Return lateral capacity of an axle and its slope with load and with squared transfer."""
    gain = (1.0 - margin) * grip
    if transfer2 < 0.25 * load * load:
        c = gain * (load * (1.0 + loss * (nominal - 0.5 * load)) - 2.0 * loss * transfer2)
        slope, slope2 = gain * (1.0 + loss * (nominal - load)), -2.0 * gain * loss
    else:  # the inner wheel is off the ground and carries nothing
        c = gain * load * (1.0 + loss * (nominal - load))
        slope, slope2 = gain * (1.0 + loss * (nominal - 2.0 * load)), 0.0
    if not c > _FLOOR:
        return _FLOOR, 0.0, 0.0
    return c, slope, slope2


@njit(cache=True, error_model="numpy")
@no_type_check
def grip_force(ideal, share, ratio, cf, cr, fyf, fyr):
    """Return the largest longitudinal force, its slope with each capacity, and what limits it."""
    af = 1.0 - (fyf / cf) ** 2
    ar = 1.0 - (fyr / cr) ** 2
    sf = sqrt(af) if af > 1e-12 else 0.0
    sr = sqrt(ar) if ar > 1e-12 else 0.0
    xf, xr = ratio * cf * sf, ratio * cr * sr
    df = ratio / sf if sf > 0.0 else 0.0
    dr = ratio / sr if sr > 0.0 else 0.0
    if ideal:  # shares follow grip: the more used axle sets the force of both
        total = cf + cr
        if af < ar:
            bend = df * total * (fyf / cf) ** 2 / cf
            return ratio * total * sf, ratio * sf + bend, ratio * sf, BOTH
        bend = dr * total * (fyr / cr) ** 2 / cr
        return ratio * total * sr, ratio * sr, ratio * sr + bend, BOTH
    front = xf / share if share > 1e-9 else np.inf
    rear = xr / (1.0 - share) if share < 1.0 - 1e-9 else np.inf
    if front < rear:
        return front, df / share, 0.0, FRONT
    return rear, 0.0, dr / (1.0 - share), REAR


@njit(cache=True, error_model="numpy")
@no_type_check
def assemble(mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, power_step):
    """Return residuals, Jacobian and by-products of platform and longitudinal balance."""
    m, wf, g, rho = p[0], p[1], p[44], p[37]
    k, sinb, cosb, sing, cosg, kv = road
    q = rho * energy
    gn = g * cosb * cosg + 2.0 * energy * (k * sinb + kv)
    ay = 2.0 * energy * k * cosb - g * sinb * cosg
    roll2 = (p[34] * ay) ** 2
    rf, rr = 1.0 / (1.0 + p[35] * roll2), 1.0 / (1.0 + p[36] * roll2)
    t = aero_at(aero, mix, hf, hr)
    lf = q * (t[0] * p[41] + p[38]) * rf
    lr = q * (t[3] * p[42] + p[39]) * rr
    drag = q * (t[6] * p[43] + p[40])
    mhl = m * p[2] / p[3]
    shift = mhl * (ax + g * sing)
    nf = m * gn * wf + lf - shift
    nr = m * gn * (1.0 - wf) + lr + shift
    keep_f = 1.0 - p[27] if mode == BRAKE else 1.0
    keep_r = 1.0 - p[28] if mode == BRAKE else 1.0 - p[29]
    ff = lf + m * (gn - g) * wf - keep_f * shift
    fr = lr + m * (gn - g) * (1.0 - wf) + keep_r * shift
    xf, dxf = deflection(ff, p[25], p[30], p[31], p[47], p[48])
    xr, dxr = deflection(fr, p[26], p[32], p[33], p[49], p[50])
    tf = p[6] * m * ay * p[2] / p[4]
    tr = (1.0 - p[6]) * m * ay * p[2] / p[5]
    cf, cfn, _ = capacity(p[7], p[9], p[11], p[21], nf, tf * tf)
    cr, crn, _ = capacity(p[8], p[10], p[12], p[22], nr, tr * tr)
    fyf, fyr = m * ay * wf, m * ay * (1.0 - wf)
    rolling = p[16] * (m * gn + lf + lr)
    resist = drag + rolling + m * g * sing
    if mode == ROLL:
        force, gf, gr, limit, sign = 0.0, 0.0, 0.0, COAST, 1.0
    elif mode != BRAKE:
        force, gf, gr, limit = grip_force(flags[0], p[20], p[13], cf, cr, fyf, fyr)
        engine, _ = drive_force(power, power_step, p, energy)
        if engine <= force:
            force, gf, gr, limit = engine, 0.0, 0.0, POWER
        sign = 1.0
    else:
        force, gf, gr, limit = grip_force(flags[1], p[18], p[13], cf, cr, fyf, fyr)
        if p[19] <= force:
            force, gf, gr, limit = p[19], 0.0, 0.0, BRAKE_LIMIT
        sign = -1.0
    gf, gr = sign * gf * cfn, sign * gr * crn
    me = m * (1.0 + p[17])
    a11, a12 = q * p[41] * rf * t[1], q * p[41] * rf * t[2]
    a21, a22 = q * p[42] * rr * t[4], q * p[42] * rr * t[5]
    r1 = hf - p[23] - 2.0 * energy * p[45] + xf  # tyres grow with the square of speed
    r2 = hr - p[24] - 2.0 * energy * p[46] + xr
    r3 = me * ax - sign * force + resist
    j11, j12, j13 = 1.0 + dxf * a11, dxf * a12, -dxf * keep_f * mhl
    j21, j22, j23 = dxr * a21, 1.0 + dxr * a22, dxr * keep_r * mhl
    c = p[16]
    j31 = -gf * a11 - gr * a21 + q * p[43] * t[7] + c * (a11 + a21)
    j32 = -gf * a12 - gr * a22 + q * p[43] * t[8] + c * (a12 + a22)
    j33 = me + (gf - gr) * mhl
    if mode == TURN:  # the front axle turns with all it has: the push is what its load still allows
        r3, limit = abs(fyf) - cf, TURNING
        j31, j32, j33 = -cfn * a11, -cfn * a12, cfn * mhl
    res = (r1, r2, r3)
    jac = (j11, j12, j13, j21, j22, j23, j31, j32, j33)
    return res, jac, limit, (nf, nr, cf, cr, fyf, fyr, resist, force)
