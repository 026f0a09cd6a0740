# mypy: disable-error-code="untyped-decorator,import-untyped,no-untyped-def,no-untyped-call"
"""The arithmetic of one point run backwards: slopes with every parameter for one evaluation."""

from math import sqrt
from typing import no_type_check

from tuftwork.lap.kernel import platform, reserve
from tuftwork.lap.physics import (
    BOTH,
    BRAKE,
    BRAKE_LIMIT,
    DRIVE,
    FRONT,
    POWER,
    ROLL,
    TURN,
    aero_at,
    assemble,
    capacity,
    deflection,
    drive_force,
    grip_force,
    inner,
)


@inner
@no_type_check
def _deflection_back(bar, force, rate, travel, bump, second_travel, second):
    """Return adjoints of force, rate, and travel and rate of both stops."""
    contact = rate * travel
    width = 0.02 * contact
    u = force - contact
    r = sqrt(u * u + width * width)
    ramp, d = 0.5 * (u + r), 0.5 * (1.0 + u / r)
    soft = 1.0 / rate - 1.0 / bump
    turn = -d + 0.5 * width / r * 0.02
    b_force = 1.0 / rate - soft * d
    b_rate = (ramp - force) / (rate * rate) - soft * travel * turn
    b_travel = -soft * rate * turn
    b_bump = -ramp / (bump * bump)
    b_second_travel = b_second = 0.0
    soft = 1.0 / bump - 1.0 / second
    if soft != 0.0:
        contact += bump * (second_travel - travel)
        width = 0.02 * contact
        u = force - contact
        r = sqrt(u * u + width * width)
        ramp, d = 0.5 * (u + r), 0.5 * (1.0 + u / r)
        turn = -d + 0.5 * width / r * 0.02
        b_force -= soft * d
        b_rate -= soft * travel * turn
        b_travel -= soft * (rate - bump) * turn
        b_bump += ramp / (bump * bump) - soft * (second_travel - travel) * turn
        b_second_travel = -soft * bump * turn
        b_second = -ramp / (second * second)
    return (
        bar * b_force,
        bar * b_rate,
        bar * b_travel,
        bar * b_bump,
        bar * b_second_travel,
        bar * b_second,
    )


@inner
@no_type_check
def _sweep(seed, mode, energy, ax, hf, hr, road, mix, p, aero, out):
    """Reverse sweep through loads and capacities. Adds to out, returns adjoints of E and curvature.

    seed = adjoints of (x front, x rear, C front, C rear, Fy front, Fy rear, resistance).
    """
    bxf, bxr, bcf, bcr, byf, byr, bres = seed
    m, wf, h, wb, g, rho = p[0], p[1], p[2], p[3], p[44], p[37]
    k, sinb, cosb, sing, cosg, kv = road
    q = rho * energy
    gn = g * cosb * cosg + 2.0 * energy * (k * sinb + kv)
    ay = 2.0 * energy * k * cosb - g * sinb * cosg
    roll2 = (p[34] * ay) ** 2
    rf, rr = 1.0 / (1.0 + p[35] * roll2), 1.0 / (1.0 + p[36] * roll2)
    t = aero_at(aero, mix, hf, hr)
    caf, car, cax = t[0] * p[41] + p[38], t[3] * p[42] + p[39], t[6] * p[43] + p[40]
    lf, lr = q * caf * rf, q * car * rr
    inertia = ax + g * sing
    mhl = m * h / wb
    shift = mhl * inertia
    wr = 1.0 - wf
    nf, nr = m * gn * wf + lf - shift, m * gn * wr + lr + shift
    keep_f = 1.0 - p[27] if mode == BRAKE else 1.0
    keep_r = 1.0 - p[28] if mode == BRAKE else 1.0 - p[29]
    ff = lf + m * (gn - g) * wf - keep_f * shift
    fr = lr + m * (gn - g) * wr + keep_r * shift
    b_m = b_g = b_gn = b_ay = b_wf = b_wr = b_h = 0.0
    # capacities
    sf, sr = p[6] * m * h / p[4], (1.0 - p[6]) * m * h / p[5]
    b_nf = b_nr = 0.0
    for axle in range(2):
        if axle == 0:
            bc, n, s, lossi, nomi, gripi, margi, transfer = bcf, nf, sf, 9, 11, 7, 21, sf * ay
        else:
            bc, n, s, lossi, nomi, gripi, margi, transfer = bcr, nr, sr, 10, 12, 8, 22, sr * ay
        if bc == 0.0:
            continue
        c, cn, ct = capacity(p[gripi], p[lossi], p[nomi], p[margi], n, transfer * transfer)
        if cn == 0.0:
            continue
        gain = (1.0 - p[margi]) * p[gripi]
        out[margi] -= bc * c / (1.0 - p[margi])
        out[gripi] += bc * c / p[gripi]
        t2 = transfer * transfer if ct != 0.0 or p[lossi] == 0.0 else 0.25 * n * n
        out[lossi] += bc * gain * (n * p[nomi] - 0.5 * n * n - 2.0 * t2)
        out[nomi] += bc * gain * n * p[lossi]
        if axle == 0:
            b_nf += bc * cn
        else:
            b_nr += bc * cn
        b_tr = bc * ct * 2.0 * transfer
        b_m += b_tr * transfer / m
        b_ay += b_tr * s
        share = p[6] if axle == 0 else 1.0 - p[6]
        track = p[4] if axle == 0 else p[5]
        b_h += b_tr * share * m * ay / track
        out[4 + axle] -= b_tr * transfer / track
        out[6] += (1.0 if axle == 0 else -1.0) * b_tr * m * ay * h / track
    # lateral demand
    b_m += (byf * wf + byr * wr) * ay
    b_ay += (byf * wf + byr * wr) * m
    b_wf += byf * m * ay
    b_wr += byr * m * ay
    # deflections
    b_ff, b1, b2, b3, b4, b5 = _deflection_back(bxf, ff, p[25], p[30], p[31], p[47], p[48])
    out[25] += b1
    out[30] += b2
    out[31] += b3
    out[47] += b4
    out[48] += b5
    b_fr, b1, b2, b3, b4, b5 = _deflection_back(bxr, fr, p[26], p[32], p[33], p[49], p[50])
    out[26] += b1
    out[32] += b2
    out[33] += b3
    out[49] += b4
    out[50] += b5
    if mode == BRAKE:
        out[27] += b_ff * shift
        out[28] -= b_fr * shift
    else:
        out[29] -= b_fr * shift
    # resistance = drag + rolling + grade
    b_drag = bres
    b_roll = bres
    b_m += bres * g * sing
    b_g += bres * m * sing
    out[16] += b_roll * (m * gn + lf + lr)
    b_m += b_roll * p[16] * gn
    b_gn += b_roll * p[16] * m
    # axle loads
    b_m += b_nf * gn * wf + b_nr * gn * wr + (b_ff * wf + b_fr * wr) * (gn - g)
    b_gn += m * ((b_nf + b_ff) * wf + (b_nr + b_fr) * wr)
    b_g -= m * (b_ff * wf + b_fr * wr)
    b_wf += b_nf * m * gn + b_ff * m * (gn - g)
    b_wr += b_nr * m * gn + b_fr * m * (gn - g)
    b_shift = -b_nf - keep_f * b_ff + b_nr + keep_r * b_fr
    b_m += b_shift * shift / m
    b_h += b_shift * m / wb * inertia
    out[3] -= b_shift * shift / wb
    b_g += b_shift * mhl * sing
    # aero
    b_lf = b_ff + b_nf + p[16] * b_roll
    b_lr = b_fr + b_nr + p[16] * b_roll
    b_q = b_lf * caf * rf + b_lr * car * rr + b_drag * cax
    b_rf, b_rr = b_lf * q * caf, b_lr * q * car
    out[38] += b_lf * q * rf
    out[41] += b_lf * q * rf * t[0]
    out[39] += b_lr * q * rr
    out[42] += b_lr * q * rr * t[3]
    out[40] += b_drag * q
    out[43] += b_drag * q * t[6]
    out[37] += b_q * energy
    b_e = b_q * rho
    b_rf, b_rr = -b_rf * rf * rf, -b_rr * rr * rr
    out[35] += b_rf * roll2
    out[36] += b_rr * roll2
    b_roll2 = b_rf * p[35] + b_rr * p[36]
    out[34] += b_roll2 * 2.0 * p[34] * ay * ay
    b_ay += b_roll2 * 2.0 * p[34] * p[34] * ay
    b_e += b_ay * 2.0 * k * cosb + b_gn * 2.0 * (k * sinb + kv)
    b_g += b_gn * cosb * cosg - b_ay * sinb * cosg
    out[0] += b_m
    out[1] += b_wf - b_wr
    out[2] += b_h
    out[44] += b_g
    return b_e, 2.0 * energy * (b_ay * cosb + b_gn * sinb)


@inner
@no_type_check
def _axle_back(share, ratio, c, fy, bar):
    """Return adjoints of capacity, lateral demand and the force ratio from that of X/share."""
    a = 1.0 - (fy / c) ** 2
    if a <= 1e-12:
        return 0.0, 0.0, 0.0
    s = sqrt(a)
    bar = bar / share
    return bar * ratio / s, -bar * ratio * fy / (c * s), bar * c * s


@inner
@no_type_check
def point_back(weight, mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step, out):
    """Add weight × d(ax)/dp to out; return weight × d(ax)/dE and d(ax)/d(curvature)."""
    _, jac, limit, by = assemble(mode, energy, ax, hf, hr, road, mix, p, flags, aero, power, step)
    j11, j12, j13, j21, j22, j23, j31, j32, j33 = jac
    det = j11 * j22 - j12 * j21
    sf, sr = (j13 * j22 - j12 * j23) / det, (j11 * j23 - j21 * j13) / det
    schur = j33 - j31 * sf - j32 * sr
    if mode != TURN and abs(schur) < 0.02 * p[0]:
        return (
            0.0,
            0.0,
        )  # at a fold two answers meet: the point follows its limit, not its own slope
    mu3 = weight / schur
    # transposed platform block: [j11 j21; j12 j22] (mu1, mu2) = -mu3 (j31, j32)
    mu1 = -mu3 * (j31 * j22 - j21 * j32) / det
    mu2 = -mu3 * (j11 * j32 - j12 * j31) / det
    out[23] += mu1
    out[24] += mu2
    out[45] += 2.0 * energy * mu1
    out[46] += 2.0 * energy * mu2
    b3 = -mu3
    grown = 2.0 * (p[45] * mu1 + p[46] * mu2)
    m = p[0]
    if mode == TURN:
        side = b3 if by[4] > 0.0 else -b3
        seed = (-mu1, -mu2, -b3, 0.0, side, 0.0, 0.0)
        b_e, b_k = _sweep(seed, mode, energy, ax, hf, hr, road, mix, p, aero, out)
        return b_e + grown, b_k
    out[0] += b3 * ax * (1.0 + p[17])
    out[17] += b3 * m * ax
    force, cf, cr, fyf, fyr = by[7], by[2], by[3], by[4], by[5]
    b_force = -b3 if mode == DRIVE else b3
    bcf = bcr = byf = byr = 0.0
    b_e = grown
    if mode == ROLL:
        pass
    elif limit == POWER:
        _, slope = drive_force(power, step, p, energy)
        out[14] += b_force * force / p[14]
        out[15] += b_force * force / p[15]
        b_e += b_force * slope
    elif limit == BRAKE_LIMIT:
        out[19] += b_force
    elif limit == BOTH:
        _, slope_f, slope_r, _ = grip_force(flags[0] or flags[1], 0.5, p[13], cf, cr, fyf, fyr)
        bcf, bcr = b_force * slope_f, b_force * slope_r
        out[13] += b_force * force / p[13]
        af, ar = 1.0 - (fyf / cf) ** 2, 1.0 - (fyr / cr) ** 2
        total = p[13] * (cf + cr) * b_force
        if af < ar:
            byf = -total * fyf / (cf * cf * sqrt(af)) if af > 1e-12 else 0.0
        else:
            byr = -total * fyr / (cr * cr * sqrt(ar)) if ar > 1e-12 else 0.0
    else:
        who = 20 if mode == DRIVE else 18
        if limit == FRONT:
            share = p[who]
            bcf, byf, ratio = _axle_back(share, p[13], cf, fyf, b_force)
            out[13] += ratio
            out[who] -= b_force * force / share
        else:
            share = 1.0 - p[who]
            bcr, byr, ratio = _axle_back(share, p[13], cr, fyr, b_force)
            out[13] += ratio
            out[who] += b_force * force / share
    seed = (-mu1, -mu2, bcf, bcr, byf, byr, b3)
    swept, b_k = _sweep(seed, mode, energy, ax, hf, hr, road, mix, p, aero, out)
    return b_e + swept, b_k


@inner
@no_type_check
def cap_back(weight, energy, hf, hr, road, mix, p, flags, aero, out):
    """Add weight × d(limit E)/dp to out; return weight × d(limit E)/d(curvature)."""
    hf, hr, hf_e, hr_e, t, _ = platform(energy, hf, hr, road, mix, p, aero)
    _, slope, axle = reserve(energy, hf, hr, hf_e, hr_e, t, road, p, flags)
    # L = -μ3 Ψ with μ3 = weight / (dΨ/dE, ride heights following); then the platform's share
    mu3 = weight / slope
    m, wf, g, rho = p[0], p[1], p[44], p[37]
    k, sinb, cosb, sing, cosg, kv = road
    q = rho * energy
    gn = g * cosb * cosg + 2.0 * energy * (k * sinb + kv)
    ay = 2.0 * energy * k * cosb - g * sinb * cosg
    roll2 = (p[34] * ay) ** 2
    rf, rr = 1.0 / (1.0 + p[35] * roll2), 1.0 / (1.0 + p[36] * roll2)
    lf = q * (t[0] * p[41] + p[38]) * rf
    lr = q * (t[3] * p[42] + p[39]) * rr
    shift = m * p[2] / p[3] * g * sing
    hold = q * (t[6] * p[43] + p[40]) + p[16] * (m * gn + lf + lr) + m * g * sing
    tf, tr = p[6] * m * ay * p[2] / p[4], (1.0 - p[6]) * m * ay * p[2] / p[5]
    nf, nr = m * gn * wf + lf - shift, m * gn * (1.0 - wf) + lr + shift
    cf, cfn, _ = capacity(p[7], p[9], p[11], p[21], nf, tf * tf)
    cr, crn, _ = capacity(p[8], p[10], p[12], p[22], nr, tr * tr)
    b_psi = -mu3
    ratio = p[13]
    front = axle == FRONT
    c, w = (cf, wf) if front else (cr, 1.0 - wf)
    fy = m * ay * w
    b_fy = -2.0 * b_psi * fy / (c * c)
    b_c = 2.0 * b_psi * fy * fy / (c * c * c)
    bcf = bcr = byf = byr = 0.0
    if flags[0]:
        both = cf + cr
        x = hold / (ratio * both)
        b_hold = -2.0 * b_psi * x / (ratio * both)
        out[13] += 2.0 * b_psi * x * x / ratio
        bcf = bcr = 2.0 * b_psi * x * x / both
    else:
        share = p[20] if front else 1.0 - p[20]
        x = share * hold / (ratio * c)
        b_hold = -2.0 * b_psi * x * share / (ratio * c)
        out[13] += 2.0 * b_psi * x * x / ratio
        out[20] += (1.0 if front else -1.0) * (-2.0 * b_psi * x * hold / (ratio * c))
        b_c += 2.0 * b_psi * x * x / c
    if front:
        bcf, byf = bcf + b_c, b_fy
    else:
        bcr, byr = bcr + b_c, b_fy
    # slopes of L with the ride heights, to be carried by the platform equations
    lf_f, lf_r = q * p[41] * rf * t[1], q * p[41] * rf * t[2]
    lr_f, lr_r = q * p[42] * rr * t[4], q * p[42] * rr * t[5]
    roll = p[16] * b_hold
    gf, gr = bcf * cfn + roll, bcr * crn + roll
    l_hf = gf * lf_f + gr * lr_f + b_hold * q * p[43] * t[7]
    l_hr = gf * lf_r + gr * lr_r + b_hold * q * p[43] * t[8]
    ff = lf + m * (gn - g) * wf - shift
    fr = lr + m * (gn - g) * (1.0 - wf) + (1.0 - p[29]) * shift
    _, dxf = deflection(ff, p[25], p[30], p[31], p[47], p[48])
    _, dxr = deflection(fr, p[26], p[32], p[33], p[49], p[50])
    j11, j12, j21, j22 = 1.0 + dxf * lf_f, dxf * lf_r, dxr * lr_f, 1.0 + dxr * lr_r
    det = j11 * j22 - j12 * j21
    mu1, mu2 = (l_hf * j22 - j21 * l_hr) / det, (j11 * l_hr - j12 * l_hf) / det
    out[23] += mu1
    out[24] += mu2
    out[45] += 2.0 * energy * mu1
    out[46] += 2.0 * energy * mu2
    seed = (-mu1, -mu2, bcf, bcr, byf, byr, b_hold)
    return _sweep(seed, DRIVE, energy, 0.0, hf, hr, road, mix, p, aero, out)[1]
