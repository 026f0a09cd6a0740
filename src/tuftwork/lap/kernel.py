# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""Solving one point of the lap: driven or braked, settled platform, limit of steady speed."""

from typing import no_type_check

from numba import njit

from tuftwork.lap.physics import (
    BRAKE,
    COAST,
    DRIVE,
    FRONT,
    POWER,
    REAR,
    TURN,
    TURNING,
    aero_at,
    assemble,
    capacity,
    deflection,
    drive_force,
    inner,
)

_FAR = 40  # Newton steps before a point counts as not converged


@inner
@no_type_check
def _heights(mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step):
    """Return ride heights at a given acceleration, the residual there, limit and by-products."""
    for _ in range(_FAR):
        res, jac, limit, by = assemble(
            mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step
        )
        det = jac[0] * jac[4] - jac[1] * jac[3]
        df = -(res[0] * jac[4] - jac[1] * res[1]) / det
        dr = -(jac[0] * res[1] - jac[3] * res[0]) / det
        big = max(abs(df), abs(dr))
        if big < 1e-9:
            return hf, hr, res[2], limit, by, True
        cut = 0.006 / big if big > 0.006 else 1.0
        hf, hr = hf + cut * df, hr + cut * dr
    return hf, hr, res[2], limit, by, False


@inner
@no_type_check
def _bracketed(mode, energy, hf, hr, road, mix, p, flags, aero, power, step):
    """Solve a point where Newton bounces: close to the limit grip falls away like a root.

    Between coasting, where tyres give nothing, and more than they can give, the balance changes
    sign; the bracket is halved by false position with the Illinois weight.
    """
    lo, ok = 0.0, True
    hf, hr, f_lo, limit, by, ok = _heights(
        mode, energy, lo, hf, hr, road, mix, p, flags, aero, power, step
    )
    if mode == DRIVE and f_lo >= 0.0 and limit != POWER:
        return -by[6] / (p[0] * (1.0 + p[17])), hf, hr, COAST, ok, by
    if mode == BRAKE or f_lo >= 0.0:
        for _ in range(4):  # coasting acceleration: resistance only
            hf, hr, f_lo, limit, by, ok = _heights(
                mode, energy, lo, hf, hr, road, mix, p, flags, aero, power, step
            )
            lo = -by[6] / (p[0] * (1.0 + p[17]))
        hf, hr, f_lo, limit, by, ok = _heights(
            mode, energy, lo, hf, hr, road, mix, p, flags, aero, power, step
        )
    sign = 1.0 if mode == DRIVE else -1.0
    hi = lo + sign * (p[13] * (by[2] + by[3]) * 2.0 / p[0] + 5.0)
    _, _, f_hi, _, _, _ = _heights(mode, energy, hi, hf, hr, road, mix, p, flags, aero, power, step)
    f_lo, f_hi = sign * f_lo, sign * f_hi
    if f_lo >= 0.0:  # nothing to give even when coasting
        return lo, hf, hr, COAST, ok, by
    if f_hi <= 0.0:
        return lo, hf, hr, COAST, False, by
    ax = lo
    side = 0
    for i in range(120):
        ax = (lo * f_hi - hi * f_lo) / (f_hi - f_lo) if i % 3 else 0.5 * (lo + hi)
        hf, hr, f, limit, by, ok = _heights(
            mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step
        )
        f *= sign
        if not ok:
            break
        if abs(f) < 1e-7 * p[0] or abs(hi - lo) < 1e-11:
            return ax, hf, hr, limit, True, by
        if f < 0.0:
            lo, f_lo = ax, f
            if side == -1:
                f_hi *= 0.5
            side = -1
        else:
            hi, f_hi = ax, f
            if side == 1:
                f_lo *= 0.5
            side = 1
    return ax, hf, hr, limit, False, by


@inner
@no_type_check
def _turning(energy, point, road, mix, p, flags, aero, power, step):
    """Solve a driven point whose undriven front axle would run out: the push unloads it."""
    ax, hf, hr, hi, by = point
    lo = -1.5 * by[6] / (p[0] * (1.0 + p[17]))
    for _ in range(40):
        res, jac, _, by = assemble(TURN, energy, ax, hf, hr, road, mix, p, flags, aero, power, step)
        det = jac[0] * jac[4] - jac[1] * jac[3]
        sf = (jac[2] * jac[4] - jac[1] * jac[5]) / det
        sr = (jac[0] * jac[5] - jac[3] * jac[2]) / det
        bf = (res[0] * jac[4] - jac[1] * res[1]) / det
        br = (jac[0] * res[1] - jac[3] * res[0]) / det
        schur = jac[8] - jac[6] * sf - jac[7] * sr
        dax = -(res[2] - jac[6] * bf - jac[7] * br) / schur if schur > 0.0 else lo - ax
        trial = min(max(ax + dax, lo), hi)
        dax = trial - ax
        dhf, dhr = -bf - sf * dax, -br - sr * dax
        ax, hf, hr = trial, hf + dhf, hr + dhr
        if max(abs(dhf), abs(dhr)) < 2e-6 and abs(dax) < 1e-4:
            coast = -by[6] / (p[0] * (1.0 + p[17]))
            if ax <= coast:  # the front is used up without any push
                return coast, hf, hr, COAST, True, by
            return ax, hf, hr, TURNING, True, by
    return ax, hf, hr, TURNING, False, by


@njit(cache=True, error_model="numpy")
@no_type_check
def solve_point(mode, energy, guess, road, mix, p, flags, aero, power, power_step):
    """Solve acceleration and ride heights together (Newton; bracketed where that bounces).

    Accelerating loads the driven axle, so two roots can exist near the limit of grip; starting
    from the far side finds the one a driver would use.
    """
    ax, hf, hr, turning = guess
    if turning > 0.0:  # as the cell before: try that first, and keep it if the push is there
        by = assemble(TURN, energy, ax, hf, hr, road, mix, p, flags, aero, power, power_step)[3]
        tax, thf, thr, limit, ok, by = _turning(
            energy, (ax, hf, hr, 1e3, by), road, mix, p, flags, aero, power, power_step
        )
        if ok and limit == TURNING and p[0] * (1.0 + p[17]) * tax + by[6] <= by[7]:
            return tax, thf, thr, limit, True, by
    restarted = mode == BRAKE
    for _ in range(12):
        res, jac, limit, by = assemble(
            mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, power_step
        )
        j11, j12, j13, j21, j22, j23, j31, j32, j33 = jac
        det = j11 * j22 - j12 * j21
        sf, sr = (j13 * j22 - j12 * j23) / det, (j11 * j23 - j21 * j13) / det
        bf, br = (res[0] * j22 - j12 * res[1]) / det, (j11 * res[1] - j21 * res[0]) / det
        schur = j33 - j31 * sf - j32 * sr
        if by[7] == 0.0 or schur < 0.02 * p[0]:
            if restarted:
                break
            restarted = True
            ax = drive_force(power, power_step, p, energy)[0] / p[0]
            ax = min(ax, p[13] * (by[2] + by[3]) / p[0] + 1.0)
            continue
        dax = -(res[2] - j31 * bf - j32 * br) / schur
        dhf, dhr = -bf - sf * dax, -br - sr * dax
        big = max(abs(dhf), abs(dhr))
        cut = 0.006 / big if big > 0.006 else 1.0
        ax, hf, hr = ax + cut * dax, hf + cut * dhf, hr + cut * dhr
        if big < 2e-6 and abs(dax) < 1e-4:
            if mode == DRIVE and not flags[0] and p[20] < 1e-9 and abs(by[4]) > by[2]:
                return _turning(
                    energy, (ax, hf, hr, ax, by), road, mix, p, flags, aero, power, power_step
                )
            return ax, hf, hr, limit, True, by
    ax, hf, hr, limit, ok, by = _bracketed(
        mode, energy, guess[1], guess[2], road, mix, p, flags, aero, power, power_step
    )
    if not ok or mode == BRAKE or flags[0] or p[20] > 1e-9 or abs(by[4]) <= by[2]:
        return ax, hf, hr, limit, ok, by
    return _turning(energy, (ax, hf, hr, ax, by), road, mix, p, flags, aero, power, power_step)


@inner
@no_type_check
def platform(energy, hf, hr, road, mix, p, aero):
    """Return ride heights at steady speed and their slope with E."""
    m, wf, g, rho = p[0], p[1], p[44], p[37]
    k, sinb, cosb, sing, cosg, kv = road
    q = rho * energy
    gn = g * cosb * cosg + 2.0 * energy * (k * sinb + kv)
    gn_e = 2.0 * (k * sinb + kv)
    ay = 2.0 * energy * k * cosb - g * sinb * cosg
    ay_e = 2.0 * k * cosb
    roll2, roll2_e = (p[34] * ay) ** 2, 2.0 * p[34] ** 2 * ay * ay_e
    rf, rr = 1.0 / (1.0 + p[35] * roll2), 1.0 / (1.0 + p[36] * roll2)
    shift = m * p[2] / p[3] * g * sing
    ok = False
    t = aero_at(aero, mix, hf, hr)
    for _ in range(_FAR):
        cf, cr = t[0] * p[41] + p[38], t[3] * p[42] + p[39]
        ff = q * cf * rf + m * (gn - g) * wf - shift
        fr = q * cr * rr + m * (gn - g) * (1.0 - wf) + (1.0 - p[29]) * shift
        xf, dxf = deflection(ff, p[25], p[30], p[31], p[47], p[48])
        xr, dxr = deflection(fr, p[26], p[32], p[33], p[49], p[50])
        j11, j12 = 1.0 + dxf * q * p[41] * rf * t[1], dxf * q * p[41] * rf * t[2]
        j21, j22 = dxr * q * p[42] * rr * t[4], 1.0 + dxr * q * p[42] * rr * t[5]
        r1 = hf - p[23] - 2.0 * energy * p[45] + xf
        r2 = hr - p[24] - 2.0 * energy * p[46] + xr
        det = j11 * j22 - j12 * j21
        df, dr = -(r1 * j22 - j12 * r2) / det, -(j11 * r2 - j21 * r1) / det
        big = max(abs(df), abs(dr))
        cut = 0.006 / big if big > 0.006 else 1.0
        if big < 2e-8:
            ok = True
            break
        hf, hr = hf + cut * df, hr + cut * dr
        t = aero_at(aero, mix, hf, hr)
        if big < 1e-7:
            ok = True
            break
    lf_e = rho * cf * rf - q * cf * p[35] * rf * rf * roll2_e
    lr_e = rho * cr * rr - q * cr * p[36] * rr * rr * roll2_e
    b1 = dxf * (lf_e + m * gn_e * wf) - 2.0 * p[45]
    b2 = dxr * (lr_e + m * gn_e * (1.0 - wf)) - 2.0 * p[46]
    hf_e, hr_e = -(b1 * j22 - j12 * b2) / det, -(j11 * b2 - j21 * b1) / det
    return hf, hr, hf_e, hr_e, t, ok


@inner
@no_type_check
def reserve(energy, hf, hr, hf_e, hr_e, t, road, p, flags):
    """Return what is left of the more used axle at steady speed, its slope with E, and the axle.

    Ψ = 1 - (Fx/Cx)² - (Fy/Cy)²; the force that holds the speed counts in Fx.
    """
    m, wf, g, rho = p[0], p[1], p[44], p[37]
    k, sinb, cosb, sing, cosg, kv = road
    q = rho * energy
    gn = g * cosb * cosg + 2.0 * energy * (k * sinb + kv)
    gn_e = 2.0 * (k * sinb + kv)
    ay = 2.0 * energy * k * cosb - g * sinb * cosg
    ay_e = 2.0 * k * cosb
    roll2, roll2_e = (p[34] * ay) ** 2, 2.0 * p[34] ** 2 * ay * ay_e
    rf, rr = 1.0 / (1.0 + p[35] * roll2), 1.0 / (1.0 + p[36] * roll2)
    cfa, cra, cxa = t[0] * p[41] + p[38], t[3] * p[42] + p[39], t[6] * p[43] + p[40]
    lf, lr = q * cfa * rf, q * cra * rr
    lf_e = rho * cfa * rf - q * cfa * p[35] * rf * rf * roll2_e
    lf_e += q * rf * p[41] * (t[1] * hf_e + t[2] * hr_e)
    lr_e = rho * cra * rr - q * cra * p[36] * rr * rr * roll2_e
    lr_e += q * rr * p[42] * (t[4] * hf_e + t[5] * hr_e)
    d_e = rho * cxa + q * p[43] * (t[7] * hf_e + t[8] * hr_e)
    shift = m * p[2] / p[3] * g * sing
    nf, nr = m * gn * wf + lf - shift, m * gn * (1.0 - wf) + lr + shift
    nf_e, nr_e = m * gn_e * wf + lf_e, m * gn_e * (1.0 - wf) + lr_e
    hold = q * cxa + p[16] * (m * gn + lf + lr) + m * g * sing
    hold_e = d_e + p[16] * (m * gn_e + lf_e + lr_e)
    sf, sr = p[6] * m * p[2] / p[4], (1.0 - p[6]) * m * p[2] / p[5]
    cf, cfn, cft = capacity(p[7], p[9], p[11], p[21], nf, (sf * ay) ** 2)
    cr, crn, crt = capacity(p[8], p[10], p[12], p[22], nr, (sr * ay) ** 2)
    cf_e = cfn * nf_e + cft * 2.0 * sf * sf * ay * ay_e
    cr_e = crn * nr_e + crt * 2.0 * sr * sr * ay * ay_e
    if flags[0]:
        both = p[13] * (cf + cr)
        xf = xr = hold / both
        xf_e = xr_e = (hold_e - xf * p[13] * (cf_e + cr_e)) / both
    else:
        xf, xr = p[20] * hold / (p[13] * cf), (1.0 - p[20]) * hold / (p[13] * cr)
        xf_e = p[20] * hold_e / (p[13] * cf) - xf * cf_e / cf
        xr_e = (1.0 - p[20]) * hold_e / (p[13] * cr) - xr * cr_e / cr
    yf, yr = m * ay * wf / cf, m * ay * (1.0 - wf) / cr
    yf_e = m * ay_e * wf / cf - yf * cf_e / cf
    yr_e = m * ay_e * (1.0 - wf) / cr - yr * cr_e / cr
    front, rear = 1.0 - xf * xf - yf * yf, 1.0 - xr * xr - yr * yr
    if front < rear:
        return front, -2.0 * (xf * xf_e + yf * yf_e), FRONT
    return rear, -2.0 * (xr * xr_e + yr * yr_e), REAR


@njit(cache=True, error_model="numpy")
@no_type_check
def cap_energy(ceiling, hf, hr, road, mix, p, flags, aero):
    """Return the largest steady E not above the ceiling (Newton kept inside a bracket)."""
    lo, hi, energy = 0.0, ceiling, ceiling
    first_hf, first_hr = hf, hr
    hf, hr, hf_e, hr_e, t, ok = platform(energy, hf, hr, road, mix, p, aero)
    for _ in range(12):  # far above any speed met the springs may have no answer: come down
        if ok:
            break
        hi = energy = 0.7 * energy
        hf, hr, hf_e, hr_e, t, ok = platform(energy, first_hf, first_hr, road, mix, p, aero)
    psi, slope, axle = reserve(energy, hf, hr, hf_e, hr_e, t, road, p, flags)
    if psi >= 0.0 or not ok:
        return energy, hf, hr, axle, False, ok
    for _ in range(80):
        step = -psi / slope if slope < 0.0 else -0.5 * (energy - lo)
        trial = energy + step
        if not lo < trial < hi:
            trial = 0.5 * (lo + hi)
            step = trial - energy
        hf, hr = hf + hf_e * step, hr + hr_e * step
        energy = trial
        hf, hr, hf_e, hr_e, t, ok = platform(energy, hf, hr, road, mix, p, aero)
        psi, slope, axle = reserve(energy, hf, hr, hf_e, hr_e, t, road, p, flags)
        if not ok:
            break
        if psi < 0.0:
            hi = energy
        else:
            lo = energy
        if abs(psi) < 1e-10 or hi - lo < 1e-12 * hi:
            return energy, hf, hr, axle, True, True
    return energy, hf, hr, axle, True, False
