"""CPU kernels, generated from recipe.py by generate.py. Do not edit."""

# ruff: noqa
# fmt: off
# mypy: ignore-errors
from math import exp, log, sqrt
from typing import no_type_check

import numpy as np
from numba import njit, prange

THIRD, NINTH, SIXTH, TWOTHIRD = 1.0 / 3.0, 1.0 / 9.0, 1.0 / 6.0, 2.0 / 3.0


@njit(error_model="numpy")
@no_type_check
def max2(a, b):
    return a if a > b else b


@njit(error_model="numpy")
@no_type_check
def min2(a, b):
    return a if a < b else b


@njit(error_model="numpy")
@no_type_check
def ahead(n, count):
    """Next of ``count`` places in a ring."""
    return n + 1 if n + 1 < count else 0


@njit(error_model="numpy")
@no_type_check
def behind(n, count):
    """The place before in a ring of ``count``."""
    return n - 1 if n > 0 else count - 1


@njit(error_model="numpy")
@no_type_check
def other_surface(table, m, ex, ey, ez, i, j, k, dx, dy, dz):
    """Lattice velocity dotted with the speed of a surface at a point beside a cell."""
    # cell less centre first: whole layers that a slab leaves away change no bit of it
    rx, ry, rz = (i - table[m, 7]) + dx, (j - table[m, 8]) + dy, (k - table[m, 9]) + dz
    vx = table[m, 1] + table[m, 5] * rz - table[m, 6] * ry
    vy = table[m, 2] + table[m, 6] * rx - table[m, 4] * rz
    vz = table[m, 3] + table[m, 4] * ry - table[m, 5] * rx
    fall = (
        (1.0 - table[m, 10] * rx * rx)
        * (1.0 - table[m, 11] * ry * ry)
        * (1.0 - table[m, 12] * rz * rz)
    )
    return fall * (ex * vx + ey * vy + ez * vz)


@njit(error_model="numpy")
@no_type_check
def varies(table, m):
    """Whether a surface without slip moves otherwise at other places."""
    if table[m, 0] != 0.0:
        return 0.0
    out = 0.0
    for n in (4, 5, 6, 10, 11, 12):
        out = max2(out, max2(table[m, n], -table[m, n]))
    return out


VEL = np.array([[0, 0, 0], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [1, 1, 0], [-1, -1, 0], [1, 0, 1], [-1, 0, -1], [1, 0, -1], [-1, 0, 1], [1, -1, 0], [-1, 1, 0], [0, 1, 1], [0, -1, -1], [0, 1, -1], [0, -1, 1], [1, 1, 1], [-1, -1, -1], [1, 1, -1], [-1, -1, 1], [1, -1, 1], [-1, 1, -1], [1, -1, -1], [-1, 1, 1]], dtype=np.int64)
OPP = np.array([0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15, 18, 17, 20, 19, 22, 21, 24, 23, 26, 25], dtype=np.int64)


WIDE = 64
"""Cells collided together: what is read and written of them stays in the nearest cache."""
SHARES = 256
"""Shares in which the rows of a box are given to the cores; room to work in is made for each."""
NUMBERS = np.array([1.0, 0.5, THIRD, 2.0, 1.5, 3.0, NINTH, 8.0, SIXTH, TWOTHIRD])
"""The numbers of the collision, to be had in the precision of the populations."""


@njit(
    cache=True, error_model="numpy", fastmath={"contract", "nsz", "reassoc", "nnan", "ninf"}
)
@no_type_check
def collide_cells(held, count, setting, number):
    """Collide ``count`` cells, in a buffer of 27 rows before and 27 rows after, in place."""
    om, Fx, Fy, Fz, nu = setting[0], setting[1], setting[2], setting[3], setting[4]
    n_1_0 = number[0]
    n_0_5 = number[1]
    n_third = number[2]
    n_2_0 = number[3]
    n_1_5 = number[4]
    n_3_0 = number[5]
    n_ninth = number[6]
    n_8_0 = number[7]
    n_sixth = number[8]
    n_twothird = number[9]
    for n in range(count):
        i = np.uint64(n)  # one buffer and unsigned places: several cells go at once
        f0 = held[i + np.uint64(0)]
        f1 = held[i + np.uint64(64)]
        f2 = held[i + np.uint64(128)]
        f3 = held[i + np.uint64(192)]
        f4 = held[i + np.uint64(256)]
        f5 = held[i + np.uint64(320)]
        f6 = held[i + np.uint64(384)]
        f7 = held[i + np.uint64(448)]
        f8 = held[i + np.uint64(512)]
        f9 = held[i + np.uint64(576)]
        f10 = held[i + np.uint64(640)]
        f11 = held[i + np.uint64(704)]
        f12 = held[i + np.uint64(768)]
        f13 = held[i + np.uint64(832)]
        f14 = held[i + np.uint64(896)]
        f15 = held[i + np.uint64(960)]
        f16 = held[i + np.uint64(1024)]
        f17 = held[i + np.uint64(1088)]
        f18 = held[i + np.uint64(1152)]
        f19 = held[i + np.uint64(1216)]
        f20 = held[i + np.uint64(1280)]
        f21 = held[i + np.uint64(1344)]
        f22 = held[i + np.uint64(1408)]
        f23 = held[i + np.uint64(1472)]
        f24 = held[i + np.uint64(1536)]
        f25 = held[i + np.uint64(1600)]
        f26 = held[i + np.uint64(1664)]
        s1 = f1 + f2
        o1 = f1 - f2
        s3 = f3 + f4
        o3 = f3 - f4
        s5 = f5 + f6
        o5 = f5 - f6
        s7 = f7 + f8
        o7 = f7 - f8
        s9 = f9 + f10
        o9 = f9 - f10
        s11 = f11 + f12
        o11 = f11 - f12
        s13 = f13 + f14
        o13 = f13 - f14
        s15 = f15 + f16
        o15 = f15 - f16
        s17 = f17 + f18
        o17 = f17 - f18
        s19 = f19 + f20
        o19 = f19 - f20
        s21 = f21 + f22
        o21 = f21 - f22
        s23 = f23 + f24
        o23 = f23 - f24
        s25 = f25 + f26
        o25 = f25 - f26
        sxy = s7 + s13
        sxz = s9 + s11
        syz = s15 + s17
        ca = s19 + s21
        cb = s23 + s25
        cc = ca + cb
        cd = s19 - s21
        ce = s23 - s25
        oa = o19 + o21
        ob = o23 + o25
        oc = o19 - o21
        od = o23 - o25
        rxx = s1 + sxy + sxz + cc
        ryy = s3 + sxy + syz + cc
        rzz = s5 + sxz + syz + cc
        d = rxx + s3 + s5 + syz + f0
        rho = n_1_0 + d
        ir = n_1_0 / rho
        u = (o1 + o7 + o13 + o9 + o11 + oa + ob + n_0_5 * Fx) * ir
        v = (o3 + o7 - o13 + o15 + o17 + oa - ob + n_0_5 * Fy) * ir
        w = (o5 + o9 - o11 + o15 - o17 + oc + od + n_0_5 * Fz) * ir
        ru = rho * u
        rv = rho * v
        rw = rho * w
        d3 = d * n_third
        pxx = rxx - ru * u + n_0_5 * (Fx * u + Fx * u) - d3
        pyy = ryy - rv * v + n_0_5 * (Fy * v + Fy * v) - d3
        pzz = rzz - rw * w + n_0_5 * (Fz * w + Fz * w) - d3
        pxy = s7 - s13 + ca - cb - ru * v + n_0_5 * (Fx * v + Fy * u)
        pxz = s9 - s11 + cd + ce - ru * w + n_0_5 * (Fx * w + Fz * u)
        pyz = s15 - s17 + cd - ce - rv * w + n_0_5 * (Fy * w + Fz * v)
        tr = pxx + pyy + pzz
        dxu = -n_0_5 * ir * (om * (n_2_0 * pxx - pyy - pzz) + tr)
        dyv = dxu + n_1_5 * om * ir * (pxx - pyy)
        dzw = dxu + n_1_5 * om * ir * (pxx - pzz)
        cx = u * u * dxu
        cy = v * v * dyv
        cz = w * w * dzw
        ts = -n_1_5 * rho * (cx + cy + cz)
        hw = n_3_0 * rho * (n_1_0 - n_0_5 * om)
        kw = n_1_0 - om
        d1 = kw * (pxx - pyy) - hw * (cx - cy)
        d2 = kw * (pxx - pzz) - hw * (cx - cz)
        qxx = (ts + d1 + d2) * n_third
        qyy = qxx - d1
        qzz = qxx - d2
        qxy = kw * pxy
        qxz = kw * pxz
        qyz = kw * pyz
        ax = qxx * ir
        ay = qyy * ir
        az = qzz * ir
        hxy = qxy * ir
        hxz = qxz * ir
        hyz = qyz * ir
        k200 = qxx + d * n_third
        k020 = qyy + d * n_third
        k002 = qzz + d * n_third
        k110 = qxy
        k220 = (qxx + qyy) * n_third + qxx * ay + n_2_0 * qxy * hxy + d * n_ninth
        k101 = qxz
        k202 = (qxx + qzz) * n_third + qxx * az + n_2_0 * qxz * hxz + d * n_ninth
        k011 = qyz
        k022 = (qyy + qzz) * n_third + qyy * az + n_2_0 * qyz * hyz + d * n_ninth
        k211 = (n_third + ax) * qyz + n_2_0 * qxy * hxz
        k121 = (n_third + ay) * qxz + n_2_0 * qxy * hyz
        k112 = (n_third + az) * qxy + n_2_0 * qxz * hyz
        k222 = (qxx + qyy + qzz) * n_ninth + (qxx * ay + qxx * az + qyy * az) * n_third + qxx * ay * az + n_2_0 * ((n_third + ax) * qyz * hyz + (n_third + ay) * qxz * hxz + (n_third + az) * qxy * hxy) + n_8_0 * qxy * hxz * hyz + d * n_third * n_ninth
        k000 = d
        k100 = n_0_5 * Fx
        k010 = n_0_5 * Fy
        k001 = n_0_5 * Fz
        k120 = n_0_5 * Fx * n_third
        k102 = n_0_5 * Fx * n_third
        k210 = n_0_5 * Fy * n_third
        k012 = n_0_5 * Fy * n_third
        k201 = n_0_5 * Fz * n_third
        k021 = n_0_5 * Fz * n_third
        k122 = n_0_5 * Fx * n_ninth
        k212 = n_0_5 * Fy * n_ninth
        k221 = n_0_5 * Fz * n_ninth
        uu = u * u
        vv = v * v
        ww = w * w
        du = n_2_0 * u
        dv = n_2_0 * v
        dw = n_2_0 * w
        tx00 = k000 + n_1_0
        ex00 = k200 + du * k100 + tx00 * uu
        ox00 = n_0_5 * (k100 + tx00 * u)
        x00m = k000 - ex00
        x00n = n_0_5 * ex00 + ox00
        x00l = n_0_5 * ex00 - ox00
        ex01 = k201 + du * k101 + k001 * uu
        ox01 = n_0_5 * (k101 + k001 * u)
        x01m = k001 - ex01
        x01n = n_0_5 * ex01 + ox01
        x01l = n_0_5 * ex01 - ox01
        tx02 = k002 + n_third
        ex02 = k202 + du * k102 + tx02 * uu
        ox02 = n_0_5 * (k102 + tx02 * u)
        x02m = k002 - ex02
        x02n = n_0_5 * ex02 + ox02
        x02l = n_0_5 * ex02 - ox02
        ex10 = k210 + du * k110 + k010 * uu
        ox10 = n_0_5 * (k110 + k010 * u)
        x10m = k010 - ex10
        x10n = n_0_5 * ex10 + ox10
        x10l = n_0_5 * ex10 - ox10
        ex11 = k211 + k011 * uu
        ox11 = n_0_5 * (k011 * u)
        x11m = k011 - ex11
        x11n = n_0_5 * ex11 + ox11
        x11l = n_0_5 * ex11 - ox11
        ex12 = k212 + du * k112 + k012 * uu
        ox12 = n_0_5 * (k112 + k012 * u)
        x12m = k012 - ex12
        x12n = n_0_5 * ex12 + ox12
        x12l = n_0_5 * ex12 - ox12
        tx20 = k020 + n_third
        ex20 = k220 + du * k120 + tx20 * uu
        ox20 = n_0_5 * (k120 + tx20 * u)
        x20m = k020 - ex20
        x20n = n_0_5 * ex20 + ox20
        x20l = n_0_5 * ex20 - ox20
        ex21 = k221 + du * k121 + k021 * uu
        ox21 = n_0_5 * (k121 + k021 * u)
        x21m = k021 - ex21
        x21n = n_0_5 * ex21 + ox21
        x21l = n_0_5 * ex21 - ox21
        tx22 = k022 + n_third * n_third
        ex22 = k222 + du * k122 + tx22 * uu
        ox22 = n_0_5 * (k122 + tx22 * u)
        x22m = k022 - ex22
        x22n = n_0_5 * ex22 + ox22
        x22l = n_0_5 * ex22 - ox22
        tyl0 = x00l + n_sixth
        eyl0 = x20l + dv * x10l + tyl0 * vv
        oyl0 = n_0_5 * (x10l + tyl0 * v)
        yl0m = x00l - eyl0
        yl0n = n_0_5 * eyl0 + oyl0
        yl0l = n_0_5 * eyl0 - oyl0
        eyl1 = x21l + dv * x11l + x01l * vv
        oyl1 = n_0_5 * (x11l + x01l * v)
        yl1m = x01l - eyl1
        yl1n = n_0_5 * eyl1 + oyl1
        yl1l = n_0_5 * eyl1 - oyl1
        tyl2 = x02l + n_sixth * n_third
        eyl2 = x22l + dv * x12l + tyl2 * vv
        oyl2 = n_0_5 * (x12l + tyl2 * v)
        yl2m = x02l - eyl2
        yl2n = n_0_5 * eyl2 + oyl2
        yl2l = n_0_5 * eyl2 - oyl2
        tym0 = x00m + n_twothird
        eym0 = x20m + dv * x10m + tym0 * vv
        oym0 = n_0_5 * (x10m + tym0 * v)
        ym0m = x00m - eym0
        ym0n = n_0_5 * eym0 + oym0
        ym0l = n_0_5 * eym0 - oym0
        eym1 = x21m + dv * x11m + x01m * vv
        oym1 = n_0_5 * (x11m + x01m * v)
        ym1m = x01m - eym1
        ym1n = n_0_5 * eym1 + oym1
        ym1l = n_0_5 * eym1 - oym1
        tym2 = x02m + n_twothird * n_third
        eym2 = x22m + dv * x12m + tym2 * vv
        oym2 = n_0_5 * (x12m + tym2 * v)
        ym2m = x02m - eym2
        ym2n = n_0_5 * eym2 + oym2
        ym2l = n_0_5 * eym2 - oym2
        tyn0 = x00n + n_sixth
        eyn0 = x20n + dv * x10n + tyn0 * vv
        oyn0 = n_0_5 * (x10n + tyn0 * v)
        yn0m = x00n - eyn0
        yn0n = n_0_5 * eyn0 + oyn0
        yn0l = n_0_5 * eyn0 - oyn0
        eyn1 = x21n + dv * x11n + x01n * vv
        oyn1 = n_0_5 * (x11n + x01n * v)
        yn1m = x01n - eyn1
        yn1n = n_0_5 * eyn1 + oyn1
        yn1l = n_0_5 * eyn1 - oyn1
        tyn2 = x02n + n_sixth * n_third
        eyn2 = x22n + dv * x12n + tyn2 * vv
        oyn2 = n_0_5 * (x12n + tyn2 * v)
        yn2m = x02n - eyn2
        yn2n = n_0_5 * eyn2 + oyn2
        yn2l = n_0_5 * eyn2 - oyn2
        tzll = yl0l + n_sixth * n_sixth
        ezll = yl2l + dw * yl1l + tzll * ww
        ozll = n_0_5 * (yl1l + tzll * w)
        g8 = yl0l - ezll
        g22 = n_0_5 * ezll + ozll
        g20 = n_0_5 * ezll - ozll
        tzlm = yl0m + n_sixth * n_twothird
        ezlm = yl2m + dw * yl1m + tzlm * ww
        ozlm = n_0_5 * (yl1m + tzlm * w)
        g2 = yl0m - ezlm
        g12 = n_0_5 * ezlm + ozlm
        g10 = n_0_5 * ezlm - ozlm
        tzln = yl0n + n_sixth * n_sixth
        ezln = yl2n + dw * yl1n + tzln * ww
        ozln = n_0_5 * (yl1n + tzln * w)
        g14 = yl0n - ezln
        g26 = n_0_5 * ezln + ozln
        g24 = n_0_5 * ezln - ozln
        tzml = ym0l + n_twothird * n_sixth
        ezml = ym2l + dw * ym1l + tzml * ww
        ozml = n_0_5 * (ym1l + tzml * w)
        g4 = ym0l - ezml
        g18 = n_0_5 * ezml + ozml
        g16 = n_0_5 * ezml - ozml
        tzmm = ym0m + n_twothird * n_twothird
        ezmm = ym2m + dw * ym1m + tzmm * ww
        ozmm = n_0_5 * (ym1m + tzmm * w)
        g0 = ym0m - ezmm
        g5 = n_0_5 * ezmm + ozmm
        g6 = n_0_5 * ezmm - ozmm
        tzmn = ym0n + n_twothird * n_sixth
        ezmn = ym2n + dw * ym1n + tzmn * ww
        ozmn = n_0_5 * (ym1n + tzmn * w)
        g3 = ym0n - ezmn
        g15 = n_0_5 * ezmn + ozmn
        g17 = n_0_5 * ezmn - ozmn
        tznl = yn0l + n_sixth * n_sixth
        eznl = yn2l + dw * yn1l + tznl * ww
        oznl = n_0_5 * (yn1l + tznl * w)
        g13 = yn0l - eznl
        g23 = n_0_5 * eznl + oznl
        g25 = n_0_5 * eznl - oznl
        tznm = yn0m + n_sixth * n_twothird
        eznm = yn2m + dw * yn1m + tznm * ww
        oznm = n_0_5 * (yn1m + tznm * w)
        g1 = yn0m - eznm
        g9 = n_0_5 * eznm + oznm
        g11 = n_0_5 * eznm - oznm
        tznn = yn0n + n_sixth * n_sixth
        eznn = yn2n + dw * yn1n + tznn * ww
        oznn = n_0_5 * (yn1n + tznn * w)
        g7 = yn0n - eznn
        g19 = n_0_5 * eznn + oznn
        g21 = n_0_5 * eznn - oznn
        held[i + np.uint64(1728)] = g0
        held[i + np.uint64(1792)] = g1
        held[i + np.uint64(1856)] = g2
        held[i + np.uint64(1920)] = g3
        held[i + np.uint64(1984)] = g4
        held[i + np.uint64(2048)] = g5
        held[i + np.uint64(2112)] = g6
        held[i + np.uint64(2176)] = g7
        held[i + np.uint64(2240)] = g8
        held[i + np.uint64(2304)] = g9
        held[i + np.uint64(2368)] = g10
        held[i + np.uint64(2432)] = g11
        held[i + np.uint64(2496)] = g12
        held[i + np.uint64(2560)] = g13
        held[i + np.uint64(2624)] = g14
        held[i + np.uint64(2688)] = g15
        held[i + np.uint64(2752)] = g16
        held[i + np.uint64(2816)] = g17
        held[i + np.uint64(2880)] = g18
        held[i + np.uint64(2944)] = g19
        held[i + np.uint64(3008)] = g20
        held[i + np.uint64(3072)] = g21
        held[i + np.uint64(3136)] = g22
        held[i + np.uint64(3200)] = g23
        held[i + np.uint64(3264)] = g24
        held[i + np.uint64(3328)] = g25
        held[i + np.uint64(3392)] = g26

@njit(error_model="numpy")
@no_type_check
def carry(to, at, of, begin, count):
    """Copy ``count`` values from one flat array into another."""
    to_n, of_n = np.uint64(at), np.uint64(begin)
    for n in range(count):  # unsigned places: copied several at once
        to[to_n + np.uint64(n)] = of[of_n + np.uint64(n)]


@njit(cache=True, error_model="numpy")
@no_type_check
def plain_runs(flag, here, first, last, run):
    """Find the runs of plain cells in part of a row; returns how many."""
    runs = 0
    beside = False
    for i in range(first, last):
        plain = flag[here + i] == 0
        if plain:
            if not beside:
                run[runs, 0] = i
                runs += 1
            run[runs - 1, 1] = i + 1
        beside = plain
    return runs


@njit(cache=True, error_model="numpy")
@no_type_check
def bulk_row(row, f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge, room):
    """Advance the plain cells of one row by one step in place."""
    held, run, number = room
    lx, ly, lz = shape[0], shape[1], shape[2]
    k, j = row // ly, row % ly
    here, size = row * lx, lx * ly * lz
    for start in range(0, lx, WIDE):
        runs = plain_runs(flag, here, start, min(start + WIDE, lx), run)
        if runs == 0:
            continue
        first, last = run[0, 0], run[runs - 1, 1]
        for q in range(27):
            to, o = q * WIDE, OPP[q]
            if even:
                carry(held, to, f, q * size + here + first, last - first)
                continue
            ex, ey, ez = VEL[q, 0], VEL[q, 1], VEL[q, 2]
            back = o * size + (((k - ez) % lz) * ly + (j - ey) % ly) * lx
            begin, end = max(first, ex), min(last, lx + ex)
            if begin > first:
                held[to] = f[back + lx - 1]
            carry(held, to + begin - first, f, back + begin - ex, end - begin)
            if end < last:
                held[to + end - first] = f[back]
        collide_cells(held, (last - first + 15) // 16 * 16, setting, number)
        if has_sponge:
            G = stream[row if stream.shape[0] > 1 else 0]
            across = max2(sy[j], sz[k])
            for i in range(first, last):
                sigma = max2(across, sx[i])
                if sigma > 0.0:
                    for q in range(27):
                        at = (27 + q) * WIDE + i - first
                        held[at] += sigma * (G[q] - held[at])
        for q in range(27):
            of, o = (27 + q) * WIDE - first, OPP[q]
            ex, ey, ez = VEL[q, 0], VEL[q, 1], VEL[q, 2]
            ahead = q * size + (((k + ez) % lz) * ly + (j + ey) % ly) * lx
            for r in range(runs):
                begin, end = run[r, 0], run[r, 1]
                if even:
                    carry(f, o * size + here + begin, held, of + begin, end - begin)
                    continue
                if begin + ex < 0:
                    f[ahead + lx - 1] = held[of]
                    begin += 1
                if end + ex > lx:
                    end -= 1
                    f[ahead] = held[of + end]
                carry(f, ahead + begin + ex, held, of + begin, end - begin)


@njit(cache=True, error_model="numpy")
@no_type_check
def room_for(f):
    """Room for the cells that one core collides, and the numbers, in the precision of ``f``."""
    return np.zeros(54 * WIDE, f.dtype), np.empty((WIDE, 2), np.int64), NUMBERS.astype(f.dtype)


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def step_bulk(f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge):
    """Advance every plain cell on all cores."""
    flat, own = f.reshape(-1), setting.astype(f.dtype)
    rows = shape[1] * shape[2]
    shares = min(rows, SHARES)
    for share in prange(shares):
        room, n = room_for(f), np.int64(share)
        for row in range(rows * n // shares, rows * (n + 1) // shares):
            bulk_row(row, flat, flag, shape, even, own, stream, sx, sy, sz, has_sponge, room)


@njit(cache=True, error_model="numpy")
@no_type_check
def step_bulk_alone(f, flag, shape, even, setting, stream, sx, sy, sz, has_sponge):
    """Advance every plain cell on one core."""
    flat, own, room = f.reshape(-1), setting.astype(f.dtype), room_for(f)
    for row in range(shape[1] * shape[2]):
        bulk_row(row, flat, flag, shape, even, own, stream, sx, sy, sz, has_sponge, room)


@njit(cache=True, error_model="numpy")
@no_type_check
def wall_cell(
    m, f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance one cell beside a wall by one step in place."""
    lx, ly, lz = shape[0], shape[1], shape[2]
    Fx, Fy, Fz, nu = setting[1], setting[2], setting[3], setting[4]
    n = cell[m]
    i, j, k = n % lx, (n // lx) % ly, n // (lx * ly)
    ip, jp, kp = ahead(i, lx), ahead(j, ly), ahead(k, lz)
    im, jm, km = behind(i, lx), behind(j, ly), behind(k, lz)
    sigma = max2(sx[i], max2(sy[j], sz[k]))
    G = stream[k * ly + j if stream.shape[0] > 1 else 0]
    side = main[m]
    nx, ny, nz, y = geo[m, 0], geo[m, 1], geo[m, 2], geo[m, 3]
    wall_law = table[side, 0]
    turns = varies(table, side)
    foot = max2(y, -y)
    px, py, pz = -foot * nx, -foot * ny, -foot * nz
    vx = other_surface(table, side, 1.0, 0.0, 0.0, i, j, k, px, py, pz)
    vy = other_surface(table, side, 0.0, 1.0, 0.0, i, j, k, px, py, pz)
    vz = other_surface(table, side, 0.0, 0.0, 1.0, i, j, k, px, py, pz)
    Fxw, Fyw, Fzw = 0.0, 0.0, 0.0
    fill, part = full[m], zone[m]
    w1, sid1 = cut[m, 0], sid[m, 0]
    q1 = w1 - 4.0 if w1 > 4.0 else w1
    w2, sid2 = cut[m, 1], sid[m, 1]
    q2 = w2 - 4.0 if w2 > 4.0 else w2
    w3, sid3 = cut[m, 2], sid[m, 2]
    q3 = w3 - 4.0 if w3 > 4.0 else w3
    w4, sid4 = cut[m, 3], sid[m, 3]
    q4 = w4 - 4.0 if w4 > 4.0 else w4
    w5, sid5 = cut[m, 4], sid[m, 4]
    q5 = w5 - 4.0 if w5 > 4.0 else w5
    w6, sid6 = cut[m, 5], sid[m, 5]
    q6 = w6 - 4.0 if w6 > 4.0 else w6
    w7, sid7 = cut[m, 6], sid[m, 6]
    q7 = w7 - 4.0 if w7 > 4.0 else w7
    w8, sid8 = cut[m, 7], sid[m, 7]
    q8 = w8 - 4.0 if w8 > 4.0 else w8
    w9, sid9 = cut[m, 8], sid[m, 8]
    q9 = w9 - 4.0 if w9 > 4.0 else w9
    w10, sid10 = cut[m, 9], sid[m, 9]
    q10 = w10 - 4.0 if w10 > 4.0 else w10
    w11, sid11 = cut[m, 10], sid[m, 10]
    q11 = w11 - 4.0 if w11 > 4.0 else w11
    w12, sid12 = cut[m, 11], sid[m, 11]
    q12 = w12 - 4.0 if w12 > 4.0 else w12
    w13, sid13 = cut[m, 12], sid[m, 12]
    q13 = w13 - 4.0 if w13 > 4.0 else w13
    w14, sid14 = cut[m, 13], sid[m, 13]
    q14 = w14 - 4.0 if w14 > 4.0 else w14
    w15, sid15 = cut[m, 14], sid[m, 14]
    q15 = w15 - 4.0 if w15 > 4.0 else w15
    w16, sid16 = cut[m, 15], sid[m, 15]
    q16 = w16 - 4.0 if w16 > 4.0 else w16
    w17, sid17 = cut[m, 16], sid[m, 16]
    q17 = w17 - 4.0 if w17 > 4.0 else w17
    w18, sid18 = cut[m, 17], sid[m, 17]
    q18 = w18 - 4.0 if w18 > 4.0 else w18
    w19, sid19 = cut[m, 18], sid[m, 18]
    q19 = w19 - 4.0 if w19 > 4.0 else w19
    w20, sid20 = cut[m, 19], sid[m, 19]
    q20 = w20 - 4.0 if w20 > 4.0 else w20
    w21, sid21 = cut[m, 20], sid[m, 20]
    q21 = w21 - 4.0 if w21 > 4.0 else w21
    w22, sid22 = cut[m, 21], sid[m, 21]
    q22 = w22 - 4.0 if w22 > 4.0 else w22
    w23, sid23 = cut[m, 22], sid[m, 22]
    q23 = w23 - 4.0 if w23 > 4.0 else w23
    w24, sid24 = cut[m, 23], sid[m, 23]
    q24 = w24 - 4.0 if w24 > 4.0 else w24
    w25, sid25 = cut[m, 24], sid[m, 24]
    q25 = w25 - 4.0 if w25 > 4.0 else w25
    w26, sid26 = cut[m, 25], sid[m, 25]
    q26 = w26 - 4.0 if w26 > 4.0 else w26
    if even:
        f0 = f[0, n]
        f1 = f[1, n]
        f2 = f[2, n]
        f3 = f[3, n]
        f4 = f[4, n]
        f5 = f[5, n]
        f6 = f[6, n]
        f7 = f[7, n]
        f8 = f[8, n]
        f9 = f[9, n]
        f10 = f[10, n]
        f11 = f[11, n]
        f12 = f[12, n]
        f13 = f[13, n]
        f14 = f[14, n]
        f15 = f[15, n]
        f16 = f[16, n]
        f17 = f[17, n]
        f18 = f[18, n]
        f19 = f[19, n]
        f20 = f[20, n]
        f21 = f[21, n]
        f22 = f[22, n]
        f23 = f[23, n]
        f24 = f[24, n]
        f25 = f[25, n]
        f26 = f[26, n]
    else:
        f0 = f[0, (k * ly + j) * lx + i]
        f1 = f[1, n] if w2 > 4.0 else f[2, (k * ly + j) * lx + im]
        f2 = f[2, n] if w1 > 4.0 else f[1, (k * ly + j) * lx + ip]
        f3 = f[3, n] if w4 > 4.0 else f[4, (k * ly + jm) * lx + i]
        f4 = f[4, n] if w3 > 4.0 else f[3, (k * ly + jp) * lx + i]
        f5 = f[5, n] if w6 > 4.0 else f[6, (km * ly + j) * lx + i]
        f6 = f[6, n] if w5 > 4.0 else f[5, (kp * ly + j) * lx + i]
        f7 = f[7, n] if w8 > 4.0 else f[8, (k * ly + jm) * lx + im]
        f8 = f[8, n] if w7 > 4.0 else f[7, (k * ly + jp) * lx + ip]
        f9 = f[9, n] if w10 > 4.0 else f[10, (km * ly + j) * lx + im]
        f10 = f[10, n] if w9 > 4.0 else f[9, (kp * ly + j) * lx + ip]
        f11 = f[11, n] if w12 > 4.0 else f[12, (kp * ly + j) * lx + im]
        f12 = f[12, n] if w11 > 4.0 else f[11, (km * ly + j) * lx + ip]
        f13 = f[13, n] if w14 > 4.0 else f[14, (k * ly + jp) * lx + im]
        f14 = f[14, n] if w13 > 4.0 else f[13, (k * ly + jm) * lx + ip]
        f15 = f[15, n] if w16 > 4.0 else f[16, (km * ly + jm) * lx + i]
        f16 = f[16, n] if w15 > 4.0 else f[15, (kp * ly + jp) * lx + i]
        f17 = f[17, n] if w18 > 4.0 else f[18, (kp * ly + jm) * lx + i]
        f18 = f[18, n] if w17 > 4.0 else f[17, (km * ly + jp) * lx + i]
        f19 = f[19, n] if w20 > 4.0 else f[20, (km * ly + jm) * lx + im]
        f20 = f[20, n] if w19 > 4.0 else f[19, (kp * ly + jp) * lx + ip]
        f21 = f[21, n] if w22 > 4.0 else f[22, (kp * ly + jm) * lx + im]
        f22 = f[22, n] if w21 > 4.0 else f[21, (km * ly + jp) * lx + ip]
        f23 = f[23, n] if w24 > 4.0 else f[24, (km * ly + jp) * lx + im]
        f24 = f[24, n] if w23 > 4.0 else f[23, (kp * ly + jm) * lx + ip]
        f25 = f[25, n] if w26 > 4.0 else f[26, (kp * ly + jp) * lx + im]
        f26 = f[26, n] if w25 > 4.0 else f[25, (km * ly + jm) * lx + ip]
    wayx = core[part, 0]
    wayy = core[part, 1]
    wayz = core[part, 2]
    linear = core[part, 3]
    square = core[part, 4]
    lift = core[part, 5]
    across = core[part, 6]
    bendxx = geo[m, 4]
    bendyy = geo[m, 5]
    bendzz = geo[m, 6]
    bendxy = geo[m, 7]
    bendxz = geo[m, 8]
    bendyz = geo[m, 9]
    smooth = geo[m, 10]
    facex = geo[m, 11]
    facey = geo[m, 12]
    facez = geo[m, 13]
    faced = geo[m, 14]
    lately, kept = out[m, 13], out[m, 14]
    keptx, kepty, keptz = out[m, 15], out[m, 16], out[m, 17]
    renew = 0.2 if even else 0.0
    later = 0.0 if even else 1.0
    Rx = 0.0
    Ry = 0.0
    Rz = 0.0
    if fill > 0.0:
        held = 1.0 + (f0 + f1 + f2 + f3 + f4 + f5 + f6 + f7 + f8 + f9 + f10 + f11 + f12 + f13 + f14 + f15 + f16 + f17 + f18 + f19 + f20 + f21 + f22 + f23 + f24 + f25 + f26)
        ih = 1.0 / held
        jx = (f1 - f2 + f7 - f8 + f9 - f10 + f11 - f12 + f13 - f14 + f19 - f20 + f21 - f22 + f23 - f24 + f25 - f26 + 0.5 * Fx) * ih
        jy = (f3 - f4 + f7 - f8 - f13 + f14 + f15 - f16 + f17 - f18 + f19 - f20 + f21 - f22 - f23 + f24 - f25 + f26 + 0.5 * Fy) * ih
        jz = (f5 - f6 + f9 - f10 - f11 + f12 + f15 - f16 - f17 + f18 + f19 - f20 - f21 + f22 + f23 - f24 - f25 + f26 + 0.5 * Fz) * ih
        ja = jx * wayx + jy * wayy + jz * wayz
        sa = ja + 0.5 * fill * lift
        half = 1.0 + 0.5 * fill * linear
        root = sqrt(half * half + 2.0 * fill * square * max2(sa, -sa))
        va = 2.0 * sa / (half + root)
        keep = 1.0 / (1.0 + 0.5 * fill * across)
        more = va - keep * ja
        Rx = 2.0 * held * ((1.0 - keep) * jx - more * wayx)
        Fx = Fx - Rx
        Ry = 2.0 * held * ((1.0 - keep) * jy - more * wayy)
        Fy = Fy - Ry
        Rz = 2.0 * held * ((1.0 - keep) * jz - more * wayz)
        Fz = Fz - Rz
    s1 = f1 + f2
    o1 = f1 - f2
    s3 = f3 + f4
    o3 = f3 - f4
    s5 = f5 + f6
    o5 = f5 - f6
    s7 = f7 + f8
    o7 = f7 - f8
    s9 = f9 + f10
    o9 = f9 - f10
    s11 = f11 + f12
    o11 = f11 - f12
    s13 = f13 + f14
    o13 = f13 - f14
    s15 = f15 + f16
    o15 = f15 - f16
    s17 = f17 + f18
    o17 = f17 - f18
    s19 = f19 + f20
    o19 = f19 - f20
    s21 = f21 + f22
    o21 = f21 - f22
    s23 = f23 + f24
    o23 = f23 - f24
    s25 = f25 + f26
    o25 = f25 - f26
    sxy = s7 + s13
    sxz = s9 + s11
    syz = s15 + s17
    ca = s19 + s21
    cb = s23 + s25
    cc = ca + cb
    cd = s19 - s21
    ce = s23 - s25
    oa = o19 + o21
    ob = o23 + o25
    oc = o19 - o21
    od = o23 - o25
    rxx = s1 + sxy + sxz + cc
    ryy = s3 + sxy + syz + cc
    rzz = s5 + sxz + syz + cc
    d = rxx + s3 + s5 + syz + f0
    rho = 1.0 + d
    ir = 1.0 / rho
    u = (o1 + o7 + o13 + o9 + o11 + oa + ob + 0.5 * Fx) * ir
    v = (o3 + o7 - o13 + o15 + o17 + oa - ob + 0.5 * Fy) * ir
    w = (o5 + o9 - o11 + o15 - o17 + oc + od + 0.5 * Fz) * ir
    ru = rho * u
    rv = rho * v
    rw = rho * w
    d3 = d * THIRD
    pxx = rxx - ru * u + 0.5 * (Fx * u + Fx * u) - d3
    pyy = ryy - rv * v + 0.5 * (Fy * v + Fy * v) - d3
    pzz = rzz - rw * w + 0.5 * (Fz * w + Fz * w) - d3
    pxy = s7 - s13 + ca - cb - ru * v + 0.5 * (Fx * v + Fy * u)
    pxz = s9 - s11 + cd + ce - ru * w + 0.5 * (Fx * w + Fz * u)
    pyz = s15 - s17 + cd - ce - rv * w + 0.5 * (Fy * w + Fz * v)
    un = (u - vx) * nx + (v - vy) * ny + (w - vz) * nz
    tx = u - vx - un * nx
    ty = v - vy - un * ny
    tz = w - vz - un * nz
    ut = sqrt(tx * tx + ty * ty + tz * tz) + 1e-12
    us = 0.0
    om = 1.0 / (3.0 * nu + 0.5)
    less = 0.0
    if wall_law > 0.0:
        far = max2(y, -y)
        deep = max2(wall_law, 2.0)
        if deep > 100.0:
            deep = deep - 100.0
        yn = max2(far, 0.5) / nu
        rey = max2(ut * yn, 1e-12)
        up = sqrt(rey)
        if rey > 139.5:
            up = 6.372 * sqrt(sqrt(sqrt(rey)))
        us = ut / up
        yp = 0.0
        e1 = 0.0
        e2 = 0.0
        law = 0.0
        slope = 0.0
        yp = yn * us
        e1 = exp(-yp * 0.09090909090909091)
        e2 = exp(-yp * 0.3333333333333333)
        law = log(1.0 + 0.41 * yp) * 2.4390243902439024 + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)
        slope = 1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091 * (e1 - e2 + yp * 0.3333333333333333 * e2)
        us = us + (ut / us - law) / (ut / (us * us) + slope * yn)
        yp = yn * us
        e1 = exp(-yp * 0.09090909090909091)
        e2 = exp(-yp * 0.3333333333333333)
        law = log(1.0 + 0.41 * yp) * 2.4390243902439024 + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)
        slope = 1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091 * (e1 - e2 + yp * 0.3333333333333333 * e2)
        us = us + (ut / us - law) / (ut / (us * us) + slope * yn)
        yp = yn * us
        e1 = exp(-yp * 0.09090909090909091)
        e2 = exp(-yp * 0.3333333333333333)
        law = log(1.0 + 0.41 * yp) * 2.4390243902439024 + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)
        slope = 1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091 * (e1 - e2 + yp * 0.3333333333333333 * e2)
        us = us + (ut / us - law) / (ut / (us * us) + slope * yn)
        yp = yn * us
        e1 = exp(-yp * 0.09090909090909091)
        e2 = exp(-yp * 0.3333333333333333)
        law = log(1.0 + 0.41 * yp) * 2.4390243902439024 + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)
        slope = 1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091 * (e1 - e2 + yp * 0.3333333333333333 * e2)
        us = us + (ut / us - law) / (ut / (us * us) + slope * yn)
        if wall_law < 0.75:
            us = 0.0
        mixing = 2.0 * max2(y, 0.5) + 1.0
        if y < 0.0:
            damp = 1.0 - exp(-0.03846153846153846 * yn * us)
            mixing = far * damp * damp
            if wall_law > 100.0:
                mixing = nu * (1.0 / slope - 1.0) / (0.41 * us)
            mixing = mixing * min2(1.0, max2(0.0, (deep - far) / (deep - 1.0)))
        else:
            if wall_law > 100.0:
                yp = (max2(y, 0.5) + 1.0) * us / nu
                e1 = exp(-yp * 0.09090909090909091)
                e2 = exp(-yp * 0.3333333333333333)
                law = log(1.0 + 0.41 * yp) * 2.4390243902439024 + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)
                slope = 1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091 * (e1 - e2 + yp * 0.3333333333333333 * e2)
                step = law - ut / us
                mixing = nu * (1.0 / (2.0 * step * nu / us - slope) - 1.0) / (0.41 * us)
        air = om
        eddy = 0.41 * us * mixing
        if wall_law > 100.0:
            if y < 0.0:
                ax = pxx * nx + pxy * ny + pxz * nz
                ay = pxy * nx + pyy * ny + pyz * nz
                az = pxz * nx + pyz * ny + pzz * nz
                shear_rate = max2(0.0, -3.0 * ir * (ax * tx + ay * ty + az * tz) / ut)
                own = 3.0 * nu + 0.5
                reach = 0.41 * far
                eddy = min2(eddy, 0.3333333333333333 * (sqrt(own * own + 12.0 * reach * reach * shear_rate) - own))
        om = 1.0 / (3.0 * (nu + eddy) + 0.5)
        if wall_law > 100.0:
            if y < 0.0:
                less = air - om
                om = air
    if wall_law < 0.0:
        om = 1.8
    tr = pxx + pyy + pzz
    dxu = -0.5 * ir * (om * (2.0 * pxx - pyy - pzz) + tr)
    dyv = dxu + 1.5 * om * ir * (pxx - pyy)
    dzw = dxu + 1.5 * om * ir * (pxx - pzz)
    cx = u * u * dxu
    cy = v * v * dyv
    cz = w * w * dzw
    ts = -1.5 * rho * (cx + cy + cz)
    hw = 3.0 * rho * (1.0 - 0.5 * om)
    kw = 1.0 - om
    d1 = kw * (pxx - pyy) - hw * (cx - cy)
    d2 = kw * (pxx - pzz) - hw * (cx - cz)
    qxx = (ts + d1 + d2) * THIRD
    qyy = qxx - d1
    qzz = qxx - d2
    qxy = kw * pxy
    qxz = kw * pxz
    qyz = kw * pyz
    pnx = pxx * nx + pxy * ny + pxz * nz
    pny = pxy * nx + pyy * ny + pyz * nz
    pnz = pxz * nx + pyz * ny + pzz * nz
    pnn = pnx * nx + pny * ny + pnz * nz
    mx = less * (pnx - pnn * nx)
    my = less * (pny - pnn * ny)
    mz = less * (pnz - pnn * nz)
    qxx = qxx + mx * nx + mx * nx
    qyy = qyy + my * ny + my * ny
    qzz = qzz + mz * nz + mz * nz
    qxy = qxy + mx * ny + my * nx
    qxz = qxz + mx * nz + mz * nx
    qyz = qyz + my * nz + mz * ny
    ax = qxx * ir
    ay = qyy * ir
    az = qzz * ir
    hxy = qxy * ir
    hxz = qxz * ir
    hyz = qyz * ir
    k200 = qxx + d * THIRD
    k020 = qyy + d * THIRD
    k002 = qzz + d * THIRD
    k110 = qxy
    k220 = (qxx + qyy) * THIRD + qxx * ay + 2.0 * qxy * hxy + d * NINTH
    k101 = qxz
    k202 = (qxx + qzz) * THIRD + qxx * az + 2.0 * qxz * hxz + d * NINTH
    k011 = qyz
    k022 = (qyy + qzz) * THIRD + qyy * az + 2.0 * qyz * hyz + d * NINTH
    k211 = (THIRD + ax) * qyz + 2.0 * qxy * hxz
    k121 = (THIRD + ay) * qxz + 2.0 * qxy * hyz
    k112 = (THIRD + az) * qxy + 2.0 * qxz * hyz
    k222 = (qxx + qyy + qzz) * NINTH + (qxx * ay + qxx * az + qyy * az) * THIRD + qxx * ay * az + 2.0 * ((THIRD + ax) * qyz * hyz + (THIRD + ay) * qxz * hxz + (THIRD + az) * qxy * hxy) + 8.0 * qxy * hxz * hyz + d * THIRD * NINTH
    k000 = d
    k100 = 0.5 * Fx
    k010 = 0.5 * Fy
    k001 = 0.5 * Fz
    k120 = 0.5 * Fx * THIRD
    k102 = 0.5 * Fx * THIRD
    k210 = 0.5 * Fy * THIRD
    k012 = 0.5 * Fy * THIRD
    k201 = 0.5 * Fz * THIRD
    k021 = 0.5 * Fz * THIRD
    k122 = 0.5 * Fx * NINTH
    k212 = 0.5 * Fy * NINTH
    k221 = 0.5 * Fz * NINTH
    uu = u * u
    vv = v * v
    ww = w * w
    du = 2.0 * u
    dv = 2.0 * v
    dw = 2.0 * w
    tx00 = k000 + 1.0
    ex00 = k200 + du * k100 + tx00 * uu
    ox00 = 0.5 * (k100 + tx00 * u)
    x00m = k000 - ex00
    x00n = 0.5 * ex00 + ox00
    x00l = 0.5 * ex00 - ox00
    ex01 = k201 + du * k101 + k001 * uu
    ox01 = 0.5 * (k101 + k001 * u)
    x01m = k001 - ex01
    x01n = 0.5 * ex01 + ox01
    x01l = 0.5 * ex01 - ox01
    tx02 = k002 + THIRD
    ex02 = k202 + du * k102 + tx02 * uu
    ox02 = 0.5 * (k102 + tx02 * u)
    x02m = k002 - ex02
    x02n = 0.5 * ex02 + ox02
    x02l = 0.5 * ex02 - ox02
    ex10 = k210 + du * k110 + k010 * uu
    ox10 = 0.5 * (k110 + k010 * u)
    x10m = k010 - ex10
    x10n = 0.5 * ex10 + ox10
    x10l = 0.5 * ex10 - ox10
    ex11 = k211 + k011 * uu
    ox11 = 0.5 * (k011 * u)
    x11m = k011 - ex11
    x11n = 0.5 * ex11 + ox11
    x11l = 0.5 * ex11 - ox11
    ex12 = k212 + du * k112 + k012 * uu
    ox12 = 0.5 * (k112 + k012 * u)
    x12m = k012 - ex12
    x12n = 0.5 * ex12 + ox12
    x12l = 0.5 * ex12 - ox12
    tx20 = k020 + THIRD
    ex20 = k220 + du * k120 + tx20 * uu
    ox20 = 0.5 * (k120 + tx20 * u)
    x20m = k020 - ex20
    x20n = 0.5 * ex20 + ox20
    x20l = 0.5 * ex20 - ox20
    ex21 = k221 + du * k121 + k021 * uu
    ox21 = 0.5 * (k121 + k021 * u)
    x21m = k021 - ex21
    x21n = 0.5 * ex21 + ox21
    x21l = 0.5 * ex21 - ox21
    tx22 = k022 + THIRD * THIRD
    ex22 = k222 + du * k122 + tx22 * uu
    ox22 = 0.5 * (k122 + tx22 * u)
    x22m = k022 - ex22
    x22n = 0.5 * ex22 + ox22
    x22l = 0.5 * ex22 - ox22
    tyl0 = x00l + SIXTH
    eyl0 = x20l + dv * x10l + tyl0 * vv
    oyl0 = 0.5 * (x10l + tyl0 * v)
    yl0m = x00l - eyl0
    yl0n = 0.5 * eyl0 + oyl0
    yl0l = 0.5 * eyl0 - oyl0
    eyl1 = x21l + dv * x11l + x01l * vv
    oyl1 = 0.5 * (x11l + x01l * v)
    yl1m = x01l - eyl1
    yl1n = 0.5 * eyl1 + oyl1
    yl1l = 0.5 * eyl1 - oyl1
    tyl2 = x02l + SIXTH * THIRD
    eyl2 = x22l + dv * x12l + tyl2 * vv
    oyl2 = 0.5 * (x12l + tyl2 * v)
    yl2m = x02l - eyl2
    yl2n = 0.5 * eyl2 + oyl2
    yl2l = 0.5 * eyl2 - oyl2
    tym0 = x00m + TWOTHIRD
    eym0 = x20m + dv * x10m + tym0 * vv
    oym0 = 0.5 * (x10m + tym0 * v)
    ym0m = x00m - eym0
    ym0n = 0.5 * eym0 + oym0
    ym0l = 0.5 * eym0 - oym0
    eym1 = x21m + dv * x11m + x01m * vv
    oym1 = 0.5 * (x11m + x01m * v)
    ym1m = x01m - eym1
    ym1n = 0.5 * eym1 + oym1
    ym1l = 0.5 * eym1 - oym1
    tym2 = x02m + TWOTHIRD * THIRD
    eym2 = x22m + dv * x12m + tym2 * vv
    oym2 = 0.5 * (x12m + tym2 * v)
    ym2m = x02m - eym2
    ym2n = 0.5 * eym2 + oym2
    ym2l = 0.5 * eym2 - oym2
    tyn0 = x00n + SIXTH
    eyn0 = x20n + dv * x10n + tyn0 * vv
    oyn0 = 0.5 * (x10n + tyn0 * v)
    yn0m = x00n - eyn0
    yn0n = 0.5 * eyn0 + oyn0
    yn0l = 0.5 * eyn0 - oyn0
    eyn1 = x21n + dv * x11n + x01n * vv
    oyn1 = 0.5 * (x11n + x01n * v)
    yn1m = x01n - eyn1
    yn1n = 0.5 * eyn1 + oyn1
    yn1l = 0.5 * eyn1 - oyn1
    tyn2 = x02n + SIXTH * THIRD
    eyn2 = x22n + dv * x12n + tyn2 * vv
    oyn2 = 0.5 * (x12n + tyn2 * v)
    yn2m = x02n - eyn2
    yn2n = 0.5 * eyn2 + oyn2
    yn2l = 0.5 * eyn2 - oyn2
    tzll = yl0l + SIXTH * SIXTH
    ezll = yl2l + dw * yl1l + tzll * ww
    ozll = 0.5 * (yl1l + tzll * w)
    g8 = yl0l - ezll
    g22 = 0.5 * ezll + ozll
    g20 = 0.5 * ezll - ozll
    tzlm = yl0m + SIXTH * TWOTHIRD
    ezlm = yl2m + dw * yl1m + tzlm * ww
    ozlm = 0.5 * (yl1m + tzlm * w)
    g2 = yl0m - ezlm
    g12 = 0.5 * ezlm + ozlm
    g10 = 0.5 * ezlm - ozlm
    tzln = yl0n + SIXTH * SIXTH
    ezln = yl2n + dw * yl1n + tzln * ww
    ozln = 0.5 * (yl1n + tzln * w)
    g14 = yl0n - ezln
    g26 = 0.5 * ezln + ozln
    g24 = 0.5 * ezln - ozln
    tzml = ym0l + TWOTHIRD * SIXTH
    ezml = ym2l + dw * ym1l + tzml * ww
    ozml = 0.5 * (ym1l + tzml * w)
    g4 = ym0l - ezml
    g18 = 0.5 * ezml + ozml
    g16 = 0.5 * ezml - ozml
    tzmm = ym0m + TWOTHIRD * TWOTHIRD
    ezmm = ym2m + dw * ym1m + tzmm * ww
    ozmm = 0.5 * (ym1m + tzmm * w)
    g0 = ym0m - ezmm
    g5 = 0.5 * ezmm + ozmm
    g6 = 0.5 * ezmm - ozmm
    tzmn = ym0n + TWOTHIRD * SIXTH
    ezmn = ym2n + dw * ym1n + tzmn * ww
    ozmn = 0.5 * (ym1n + tzmn * w)
    g3 = ym0n - ezmn
    g15 = 0.5 * ezmn + ozmn
    g17 = 0.5 * ezmn - ozmn
    tznl = yn0l + SIXTH * SIXTH
    eznl = yn2l + dw * yn1l + tznl * ww
    oznl = 0.5 * (yn1l + tznl * w)
    g13 = yn0l - eznl
    g23 = 0.5 * eznl + oznl
    g25 = 0.5 * eznl - oznl
    tznm = yn0m + SIXTH * TWOTHIRD
    eznm = yn2m + dw * yn1m + tznm * ww
    oznm = 0.5 * (yn1m + tznm * w)
    g1 = yn0m - eznm
    g9 = 0.5 * eznm + oznm
    g11 = 0.5 * eznm - oznm
    tznn = yn0n + SIXTH * SIXTH
    eznn = yn2n + dw * yn1n + tznn * ww
    oznn = 0.5 * (yn1n + tznn * w)
    g7 = yn0n - eznn
    g19 = 0.5 * eznn + oznn
    g21 = 0.5 * eznn - oznn
    if sigma > 0.0:
        g0 = g0 + sigma * (G[0] - g0)
        g1 = g1 + sigma * (G[1] - g1)
        g2 = g2 + sigma * (G[2] - g2)
        g3 = g3 + sigma * (G[3] - g3)
        g4 = g4 + sigma * (G[4] - g4)
        g5 = g5 + sigma * (G[5] - g5)
        g6 = g6 + sigma * (G[6] - g6)
        g7 = g7 + sigma * (G[7] - g7)
        g8 = g8 + sigma * (G[8] - g8)
        g9 = g9 + sigma * (G[9] - g9)
        g10 = g10 + sigma * (G[10] - g10)
        g11 = g11 + sigma * (G[11] - g11)
        g12 = g12 + sigma * (G[12] - g12)
        g13 = g13 + sigma * (G[13] - g13)
        g14 = g14 + sigma * (G[14] - g14)
        g15 = g15 + sigma * (G[15] - g15)
        g16 = g16 + sigma * (G[16] - g16)
        g17 = g17 + sigma * (G[17] - g17)
        g18 = g18 + sigma * (G[18] - g18)
        g19 = g19 + sigma * (G[19] - g19)
        g20 = g20 + sigma * (G[20] - g20)
        g21 = g21 + sigma * (G[21] - g21)
        g22 = g22 + sigma * (G[22] - g22)
        g23 = g23 + sigma * (G[23] - g23)
        g24 = g24 + sigma * (G[24] - g24)
        g25 = g25 + sigma * (G[25] - g25)
        g26 = g26 + sigma * (G[26] - g26)
    shear = 0.0
    bx = vx
    by = vy
    bz = vz
    pull = 0.0
    stay = 0.0
    gather = 0.0
    known = 0.0
    made = 0.0
    strx = 0.0
    stry = 0.0
    strz = 0.0
    if wall_law * (1.0 - sigma) > 0.0:
        bx = vx + tx
        by = vy + ty
        bz = vz + tz
        area = 0.0
        grip = 0.0
        it = 1.0 / ut
        if q1 > 0.0:
            et = (tx) * it
            area = area - 0.44444444444444442 * (nx)
            grip = grip + 0.44444444444444442 * et * et
        if q2 > 0.0:
            et = (- tx) * it
            area = area - 0.44444444444444442 * (- nx)
            grip = grip + 0.44444444444444442 * et * et
        if q3 > 0.0:
            et = (ty) * it
            area = area - 0.44444444444444442 * (ny)
            grip = grip + 0.44444444444444442 * et * et
        if q4 > 0.0:
            et = (- ty) * it
            area = area - 0.44444444444444442 * (- ny)
            grip = grip + 0.44444444444444442 * et * et
        if q5 > 0.0:
            et = (tz) * it
            area = area - 0.44444444444444442 * (nz)
            grip = grip + 0.44444444444444442 * et * et
        if q6 > 0.0:
            et = (- tz) * it
            area = area - 0.44444444444444442 * (- nz)
            grip = grip + 0.44444444444444442 * et * et
        if q7 > 0.0:
            et = (tx + ty) * it
            area = area - 0.1111111111111111 * (nx + ny)
            grip = grip + 0.1111111111111111 * et * et
        if q8 > 0.0:
            et = (- tx - ty) * it
            area = area - 0.1111111111111111 * (- nx - ny)
            grip = grip + 0.1111111111111111 * et * et
        if q9 > 0.0:
            et = (tx + tz) * it
            area = area - 0.1111111111111111 * (nx + nz)
            grip = grip + 0.1111111111111111 * et * et
        if q10 > 0.0:
            et = (- tx - tz) * it
            area = area - 0.1111111111111111 * (- nx - nz)
            grip = grip + 0.1111111111111111 * et * et
        if q11 > 0.0:
            et = (tx - tz) * it
            area = area - 0.1111111111111111 * (nx - nz)
            grip = grip + 0.1111111111111111 * et * et
        if q12 > 0.0:
            et = (- tx + tz) * it
            area = area - 0.1111111111111111 * (- nx + nz)
            grip = grip + 0.1111111111111111 * et * et
        if q13 > 0.0:
            et = (tx - ty) * it
            area = area - 0.1111111111111111 * (nx - ny)
            grip = grip + 0.1111111111111111 * et * et
        if q14 > 0.0:
            et = (- tx + ty) * it
            area = area - 0.1111111111111111 * (- nx + ny)
            grip = grip + 0.1111111111111111 * et * et
        if q15 > 0.0:
            et = (ty + tz) * it
            area = area - 0.1111111111111111 * (ny + nz)
            grip = grip + 0.1111111111111111 * et * et
        if q16 > 0.0:
            et = (- ty - tz) * it
            area = area - 0.1111111111111111 * (- ny - nz)
            grip = grip + 0.1111111111111111 * et * et
        if q17 > 0.0:
            et = (ty - tz) * it
            area = area - 0.1111111111111111 * (ny - nz)
            grip = grip + 0.1111111111111111 * et * et
        if q18 > 0.0:
            et = (- ty + tz) * it
            area = area - 0.1111111111111111 * (- ny + nz)
            grip = grip + 0.1111111111111111 * et * et
        if q19 > 0.0:
            et = (tx + ty + tz) * it
            area = area - 0.027777777777777776 * (nx + ny + nz)
            grip = grip + 0.027777777777777776 * et * et
        if q20 > 0.0:
            et = (- tx - ty - tz) * it
            area = area - 0.027777777777777776 * (- nx - ny - nz)
            grip = grip + 0.027777777777777776 * et * et
        if q21 > 0.0:
            et = (tx + ty - tz) * it
            area = area - 0.027777777777777776 * (nx + ny - nz)
            grip = grip + 0.027777777777777776 * et * et
        if q22 > 0.0:
            et = (- tx - ty + tz) * it
            area = area - 0.027777777777777776 * (- nx - ny + nz)
            grip = grip + 0.027777777777777776 * et * et
        if q23 > 0.0:
            et = (tx - ty + tz) * it
            area = area - 0.027777777777777776 * (nx - ny + nz)
            grip = grip + 0.027777777777777776 * et * et
        if q24 > 0.0:
            et = (- tx + ty - tz) * it
            area = area - 0.027777777777777776 * (- nx + ny - nz)
            grip = grip + 0.027777777777777776 * et * et
        if q25 > 0.0:
            et = (tx - ty - tz) * it
            area = area - 0.027777777777777776 * (nx - ny - nz)
            grip = grip + 0.027777777777777776 * et * et
        if q26 > 0.0:
            et = (- tx + ty + tz) * it
            area = area - 0.027777777777777776 * (- nx + ny + nz)
            grip = grip + 0.027777777777777776 * et * et
        shear = rho * us * us * max2(area, 0.0)
        pull = shear * grip / (grip * grip + 1e-4) * it
        wide = max2(y, 0.5)
        share = 0.28
        if wall_law > 1.5:
            share = 0.45
        jump = us * 2.4390243902439024 * log(1.0 + 1.0 / wide)
        if wall_law > 100.0:
            share = 1.0
            jump = 3.0 * us * us / (1.0 / om - 0.5)
        jump = share * rho * jump * it
        strx = jump * tx - 2.0 * rho * (bendxx * tx + bendxy * ty + bendxz * tz)
        stry = jump * ty - 2.0 * rho * (bendxy * tx + bendyy * ty + bendyz * tz)
        strz = jump * tz - 2.0 * rho * (bendxz * tx + bendyz * ty + bendzz * tz)
        stay = 1.0 - 1.0 / om
        gather = 1.5 * om * (tr - pnn) + kw * tr
        known = kept + renew * (lately - kept)
        made = 0.44444444444444442 * smooth * known
    swingx = 0.0
    swingy = 0.0
    swingz = 0.0
    pulsex = 0.0
    pulsey = 0.0
    pulsez = 0.0
    passed = 0.0
    if wall_law < 0.0:
        if later > 0.5:
            swingx = 0.1 * (rho * u - keptx)
            swingy = 0.1 * (rho * v - kepty)
            swingz = 0.1 * (rho * w - keptz)
            pulsex = swingx
            pulsey = swingy
            pulsez = swingz
        else:
            pulsex = 0.0 - keptx
            pulsey = 0.0 - kepty
            pulsez = 0.0 - keptz
            swingx = rho * u
            swingy = rho * v
            swingz = rho * w
    exl = SIXTH + 0.5 * bx * (bx - 1.0)
    exm = TWOTHIRD - bx * bx
    exn = SIXTH + 0.5 * bx * (bx + 1.0)
    eyl = SIXTH + 0.5 * by * (by - 1.0)
    eym = TWOTHIRD - by * by
    eyn = SIXTH + 0.5 * by * (by + 1.0)
    ezl = SIXTH + 0.5 * bz * (bz - 1.0)
    ezm = TWOTHIRD - bz * bz
    ezn = SIXTH + 0.5 * bz * (bz + 1.0)
    f[0, n] = g0
    if q1 > 0.0:
        kick = rho * (exn * eym * ezm - exl * eym * ezm)
        if sid1 != side:
            push = other_surface(table, sid1, 1.0, 0.0, 0.0, i, j, k, q1, 0.0, 0.0)
            apart = push - (vx)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid1, 1.0, 0.0, 0.0, i, j, k, q1, 0.0, 0.0) - (vx))
        h = 2.0 * q1
        r = 0.0
        if h < 1.0:
            r = h * g1 + (1.0 - h) * f1 - kick
        else:
            r = (g1 + (h - 1.0) * g2 - kick) / h
        held = (strx) * (stay - max2(0.0, 0.5 - q1))
        turn = (tx) * pull - (nx) * held
        turn = turn + min2(0.5, q1) * made * (1.0 - 3.0 * ((bx)))
        r = r + 0.44444444444444442 * turn
        if table[sid1, 0] < 0.0:
            flux = other_surface(table, sid1, 1.0, 0.0, 0.0, i, j, k, q1, 0.0, 0.0)
            r = g1 - 0.44444444444444442 * (flux + (pulsex))
            passed = passed + 0.44444444444444442 * flux
        if sid1 > 0:
            Fxw = Fxw + (g1 + r)
        if even and w1 < 4.0:
            f[1, (k * ly + j) * lx + ip] = r
        else:
            f[2, n] = r
    elif even:
        f[2, n] = g1
    else:
        f[1, (k * ly + j) * lx + ip] = g1
    if q2 > 0.0:
        kick = rho * (exl * eym * ezm - exn * eym * ezm)
        if sid2 != side:
            push = other_surface(table, sid2, -1.0, 0.0, 0.0, i, j, k, -q2, 0.0, 0.0)
            apart = push - (- vx)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid2, -1.0, 0.0, 0.0, i, j, k, -q2, 0.0, 0.0) - (- vx))
        h = 2.0 * q2
        r = 0.0
        if h < 1.0:
            r = h * g2 + (1.0 - h) * f2 - kick
        else:
            r = (g2 + (h - 1.0) * g1 - kick) / h
        held = (- strx) * (stay - max2(0.0, 0.5 - q2))
        turn = (- tx) * pull - (- nx) * held
        turn = turn + min2(0.5, q2) * made * (1.0 - 3.0 * ((- bx)))
        r = r + 0.44444444444444442 * turn
        if table[sid2, 0] < 0.0:
            flux = other_surface(table, sid2, -1.0, 0.0, 0.0, i, j, k, -q2, 0.0, 0.0)
            r = g2 - 0.44444444444444442 * (flux + (- pulsex))
            passed = passed + 0.44444444444444442 * flux
        if sid2 > 0:
            Fxw = Fxw - (g2 + r)
        if even and w2 < 4.0:
            f[2, (k * ly + j) * lx + im] = r
        else:
            f[1, n] = r
    elif even:
        f[1, n] = g2
    else:
        f[2, (k * ly + j) * lx + im] = g2
    if q3 > 0.0:
        kick = rho * (exm * eyn * ezm - exm * eyl * ezm)
        if sid3 != side:
            push = other_surface(table, sid3, 0.0, 1.0, 0.0, i, j, k, 0.0, q3, 0.0)
            apart = push - (vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid3, 0.0, 1.0, 0.0, i, j, k, 0.0, q3, 0.0) - (vy))
        h = 2.0 * q3
        r = 0.0
        if h < 1.0:
            r = h * g3 + (1.0 - h) * f3 - kick
        else:
            r = (g3 + (h - 1.0) * g4 - kick) / h
        held = (stry) * (stay - max2(0.0, 0.5 - q3))
        turn = (ty) * pull - (ny) * held
        turn = turn + min2(0.5, q3) * made * (1.0 - 3.0 * ((by)))
        r = r + 0.44444444444444442 * turn
        if table[sid3, 0] < 0.0:
            flux = other_surface(table, sid3, 0.0, 1.0, 0.0, i, j, k, 0.0, q3, 0.0)
            r = g3 - 0.44444444444444442 * (flux + (pulsey))
            passed = passed + 0.44444444444444442 * flux
        if sid3 > 0:
            Fyw = Fyw + (g3 + r)
        if even and w3 < 4.0:
            f[3, (k * ly + jp) * lx + i] = r
        else:
            f[4, n] = r
    elif even:
        f[4, n] = g3
    else:
        f[3, (k * ly + jp) * lx + i] = g3
    if q4 > 0.0:
        kick = rho * (exm * eyl * ezm - exm * eyn * ezm)
        if sid4 != side:
            push = other_surface(table, sid4, 0.0, -1.0, 0.0, i, j, k, 0.0, -q4, 0.0)
            apart = push - (- vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid4, 0.0, -1.0, 0.0, i, j, k, 0.0, -q4, 0.0) - (- vy))
        h = 2.0 * q4
        r = 0.0
        if h < 1.0:
            r = h * g4 + (1.0 - h) * f4 - kick
        else:
            r = (g4 + (h - 1.0) * g3 - kick) / h
        held = (- stry) * (stay - max2(0.0, 0.5 - q4))
        turn = (- ty) * pull - (- ny) * held
        turn = turn + min2(0.5, q4) * made * (1.0 - 3.0 * ((- by)))
        r = r + 0.44444444444444442 * turn
        if table[sid4, 0] < 0.0:
            flux = other_surface(table, sid4, 0.0, -1.0, 0.0, i, j, k, 0.0, -q4, 0.0)
            r = g4 - 0.44444444444444442 * (flux + (- pulsey))
            passed = passed + 0.44444444444444442 * flux
        if sid4 > 0:
            Fyw = Fyw - (g4 + r)
        if even and w4 < 4.0:
            f[4, (k * ly + jm) * lx + i] = r
        else:
            f[3, n] = r
    elif even:
        f[3, n] = g4
    else:
        f[4, (k * ly + jm) * lx + i] = g4
    if q5 > 0.0:
        kick = rho * (exm * eym * ezn - exm * eym * ezl)
        if sid5 != side:
            push = other_surface(table, sid5, 0.0, 0.0, 1.0, i, j, k, 0.0, 0.0, q5)
            apart = push - (vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid5, 0.0, 0.0, 1.0, i, j, k, 0.0, 0.0, q5) - (vz))
        h = 2.0 * q5
        r = 0.0
        if h < 1.0:
            r = h * g5 + (1.0 - h) * f5 - kick
        else:
            r = (g5 + (h - 1.0) * g6 - kick) / h
        held = (strz) * (stay - max2(0.0, 0.5 - q5))
        turn = (tz) * pull - (nz) * held
        turn = turn + min2(0.5, q5) * made * (1.0 - 3.0 * ((bz)))
        r = r + 0.44444444444444442 * turn
        if table[sid5, 0] < 0.0:
            flux = other_surface(table, sid5, 0.0, 0.0, 1.0, i, j, k, 0.0, 0.0, q5)
            r = g5 - 0.44444444444444442 * (flux + (pulsez))
            passed = passed + 0.44444444444444442 * flux
        if sid5 > 0:
            Fzw = Fzw + (g5 + r)
        if even and w5 < 4.0:
            f[5, (kp * ly + j) * lx + i] = r
        else:
            f[6, n] = r
    elif even:
        f[6, n] = g5
    else:
        f[5, (kp * ly + j) * lx + i] = g5
    if q6 > 0.0:
        kick = rho * (exm * eym * ezl - exm * eym * ezn)
        if sid6 != side:
            push = other_surface(table, sid6, 0.0, 0.0, -1.0, i, j, k, 0.0, 0.0, -q6)
            apart = push - (- vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.44444444444444442 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.44444444444444442 * rho * (other_surface(table, sid6, 0.0, 0.0, -1.0, i, j, k, 0.0, 0.0, -q6) - (- vz))
        h = 2.0 * q6
        r = 0.0
        if h < 1.0:
            r = h * g6 + (1.0 - h) * f6 - kick
        else:
            r = (g6 + (h - 1.0) * g5 - kick) / h
        held = (- strz) * (stay - max2(0.0, 0.5 - q6))
        turn = (- tz) * pull - (- nz) * held
        turn = turn + min2(0.5, q6) * made * (1.0 - 3.0 * ((- bz)))
        r = r + 0.44444444444444442 * turn
        if table[sid6, 0] < 0.0:
            flux = other_surface(table, sid6, 0.0, 0.0, -1.0, i, j, k, 0.0, 0.0, -q6)
            r = g6 - 0.44444444444444442 * (flux + (- pulsez))
            passed = passed + 0.44444444444444442 * flux
        if sid6 > 0:
            Fzw = Fzw - (g6 + r)
        if even and w6 < 4.0:
            f[6, (km * ly + j) * lx + i] = r
        else:
            f[5, n] = r
    elif even:
        f[5, n] = g6
    else:
        f[6, (km * ly + j) * lx + i] = g6
    if q7 > 0.0:
        kick = rho * (exn * eyn * ezm - exl * eyl * ezm)
        if sid7 != side:
            push = other_surface(table, sid7, 1.0, 1.0, 0.0, i, j, k, q7, q7, 0.0)
            apart = push - (vx + vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid7, 1.0, 1.0, 0.0, i, j, k, q7, q7, 0.0) - (vx + vy))
        h = 2.0 * q7
        r = 0.0
        if h < 1.0:
            r = h * g7 + (1.0 - h) * f7 - kick
        else:
            r = (g7 + (h - 1.0) * g8 - kick) / h
        held = (strx + stry) * (stay - max2(0.0, 0.5 - q7))
        turn = (tx + ty) * pull - (nx + ny) * held
        turn = turn + min2(0.5, q7) * made * (1.0 - 3.0 * ((bx + by)))
        r = r + 0.1111111111111111 * turn
        if table[sid7, 0] < 0.0:
            flux = other_surface(table, sid7, 1.0, 1.0, 0.0, i, j, k, q7, q7, 0.0)
            r = g7 - 0.1111111111111111 * (flux + (pulsex + pulsey))
            passed = passed + 0.1111111111111111 * flux
        if sid7 > 0:
            Fxw = Fxw + (g7 + r)
            Fyw = Fyw + (g7 + r)
        if even and w7 < 4.0:
            f[7, (k * ly + jp) * lx + ip] = r
        else:
            f[8, n] = r
    elif even:
        f[8, n] = g7
    else:
        f[7, (k * ly + jp) * lx + ip] = g7
    if q8 > 0.0:
        kick = rho * (exl * eyl * ezm - exn * eyn * ezm)
        if sid8 != side:
            push = other_surface(table, sid8, -1.0, -1.0, 0.0, i, j, k, -q8, -q8, 0.0)
            apart = push - (- vx - vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid8, -1.0, -1.0, 0.0, i, j, k, -q8, -q8, 0.0) - (- vx - vy))
        h = 2.0 * q8
        r = 0.0
        if h < 1.0:
            r = h * g8 + (1.0 - h) * f8 - kick
        else:
            r = (g8 + (h - 1.0) * g7 - kick) / h
        held = (- strx - stry) * (stay - max2(0.0, 0.5 - q8))
        turn = (- tx - ty) * pull - (- nx - ny) * held
        turn = turn + min2(0.5, q8) * made * (1.0 - 3.0 * ((- bx - by)))
        r = r + 0.1111111111111111 * turn
        if table[sid8, 0] < 0.0:
            flux = other_surface(table, sid8, -1.0, -1.0, 0.0, i, j, k, -q8, -q8, 0.0)
            r = g8 - 0.1111111111111111 * (flux + (- pulsex - pulsey))
            passed = passed + 0.1111111111111111 * flux
        if sid8 > 0:
            Fxw = Fxw - (g8 + r)
            Fyw = Fyw - (g8 + r)
        if even and w8 < 4.0:
            f[8, (k * ly + jm) * lx + im] = r
        else:
            f[7, n] = r
    elif even:
        f[7, n] = g8
    else:
        f[8, (k * ly + jm) * lx + im] = g8
    if q9 > 0.0:
        kick = rho * (exn * eym * ezn - exl * eym * ezl)
        if sid9 != side:
            push = other_surface(table, sid9, 1.0, 0.0, 1.0, i, j, k, q9, 0.0, q9)
            apart = push - (vx + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid9, 1.0, 0.0, 1.0, i, j, k, q9, 0.0, q9) - (vx + vz))
        h = 2.0 * q9
        r = 0.0
        if h < 1.0:
            r = h * g9 + (1.0 - h) * f9 - kick
        else:
            r = (g9 + (h - 1.0) * g10 - kick) / h
        held = (strx + strz) * (stay - max2(0.0, 0.5 - q9))
        turn = (tx + tz) * pull - (nx + nz) * held
        turn = turn + min2(0.5, q9) * made * (1.0 - 3.0 * ((bx + bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid9, 0] < 0.0:
            flux = other_surface(table, sid9, 1.0, 0.0, 1.0, i, j, k, q9, 0.0, q9)
            r = g9 - 0.1111111111111111 * (flux + (pulsex + pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid9 > 0:
            Fxw = Fxw + (g9 + r)
            Fzw = Fzw + (g9 + r)
        if even and w9 < 4.0:
            f[9, (kp * ly + j) * lx + ip] = r
        else:
            f[10, n] = r
    elif even:
        f[10, n] = g9
    else:
        f[9, (kp * ly + j) * lx + ip] = g9
    if q10 > 0.0:
        kick = rho * (exl * eym * ezl - exn * eym * ezn)
        if sid10 != side:
            push = other_surface(table, sid10, -1.0, 0.0, -1.0, i, j, k, -q10, 0.0, -q10)
            apart = push - (- vx - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid10, -1.0, 0.0, -1.0, i, j, k, -q10, 0.0, -q10) - (- vx - vz))
        h = 2.0 * q10
        r = 0.0
        if h < 1.0:
            r = h * g10 + (1.0 - h) * f10 - kick
        else:
            r = (g10 + (h - 1.0) * g9 - kick) / h
        held = (- strx - strz) * (stay - max2(0.0, 0.5 - q10))
        turn = (- tx - tz) * pull - (- nx - nz) * held
        turn = turn + min2(0.5, q10) * made * (1.0 - 3.0 * ((- bx - bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid10, 0] < 0.0:
            flux = other_surface(table, sid10, -1.0, 0.0, -1.0, i, j, k, -q10, 0.0, -q10)
            r = g10 - 0.1111111111111111 * (flux + (- pulsex - pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid10 > 0:
            Fxw = Fxw - (g10 + r)
            Fzw = Fzw - (g10 + r)
        if even and w10 < 4.0:
            f[10, (km * ly + j) * lx + im] = r
        else:
            f[9, n] = r
    elif even:
        f[9, n] = g10
    else:
        f[10, (km * ly + j) * lx + im] = g10
    if q11 > 0.0:
        kick = rho * (exn * eym * ezl - exl * eym * ezn)
        if sid11 != side:
            push = other_surface(table, sid11, 1.0, 0.0, -1.0, i, j, k, q11, 0.0, -q11)
            apart = push - (vx - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid11, 1.0, 0.0, -1.0, i, j, k, q11, 0.0, -q11) - (vx - vz))
        h = 2.0 * q11
        r = 0.0
        if h < 1.0:
            r = h * g11 + (1.0 - h) * f11 - kick
        else:
            r = (g11 + (h - 1.0) * g12 - kick) / h
        held = (strx - strz) * (stay - max2(0.0, 0.5 - q11))
        turn = (tx - tz) * pull - (nx - nz) * held
        turn = turn + min2(0.5, q11) * made * (1.0 - 3.0 * ((bx - bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid11, 0] < 0.0:
            flux = other_surface(table, sid11, 1.0, 0.0, -1.0, i, j, k, q11, 0.0, -q11)
            r = g11 - 0.1111111111111111 * (flux + (pulsex - pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid11 > 0:
            Fxw = Fxw + (g11 + r)
            Fzw = Fzw - (g11 + r)
        if even and w11 < 4.0:
            f[11, (km * ly + j) * lx + ip] = r
        else:
            f[12, n] = r
    elif even:
        f[12, n] = g11
    else:
        f[11, (km * ly + j) * lx + ip] = g11
    if q12 > 0.0:
        kick = rho * (exl * eym * ezn - exn * eym * ezl)
        if sid12 != side:
            push = other_surface(table, sid12, -1.0, 0.0, 1.0, i, j, k, -q12, 0.0, q12)
            apart = push - (- vx + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid12, -1.0, 0.0, 1.0, i, j, k, -q12, 0.0, q12) - (- vx + vz))
        h = 2.0 * q12
        r = 0.0
        if h < 1.0:
            r = h * g12 + (1.0 - h) * f12 - kick
        else:
            r = (g12 + (h - 1.0) * g11 - kick) / h
        held = (- strx + strz) * (stay - max2(0.0, 0.5 - q12))
        turn = (- tx + tz) * pull - (- nx + nz) * held
        turn = turn + min2(0.5, q12) * made * (1.0 - 3.0 * ((- bx + bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid12, 0] < 0.0:
            flux = other_surface(table, sid12, -1.0, 0.0, 1.0, i, j, k, -q12, 0.0, q12)
            r = g12 - 0.1111111111111111 * (flux + (- pulsex + pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid12 > 0:
            Fxw = Fxw - (g12 + r)
            Fzw = Fzw + (g12 + r)
        if even and w12 < 4.0:
            f[12, (kp * ly + j) * lx + im] = r
        else:
            f[11, n] = r
    elif even:
        f[11, n] = g12
    else:
        f[12, (kp * ly + j) * lx + im] = g12
    if q13 > 0.0:
        kick = rho * (exn * eyl * ezm - exl * eyn * ezm)
        if sid13 != side:
            push = other_surface(table, sid13, 1.0, -1.0, 0.0, i, j, k, q13, -q13, 0.0)
            apart = push - (vx - vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid13, 1.0, -1.0, 0.0, i, j, k, q13, -q13, 0.0) - (vx - vy))
        h = 2.0 * q13
        r = 0.0
        if h < 1.0:
            r = h * g13 + (1.0 - h) * f13 - kick
        else:
            r = (g13 + (h - 1.0) * g14 - kick) / h
        held = (strx - stry) * (stay - max2(0.0, 0.5 - q13))
        turn = (tx - ty) * pull - (nx - ny) * held
        turn = turn + min2(0.5, q13) * made * (1.0 - 3.0 * ((bx - by)))
        r = r + 0.1111111111111111 * turn
        if table[sid13, 0] < 0.0:
            flux = other_surface(table, sid13, 1.0, -1.0, 0.0, i, j, k, q13, -q13, 0.0)
            r = g13 - 0.1111111111111111 * (flux + (pulsex - pulsey))
            passed = passed + 0.1111111111111111 * flux
        if sid13 > 0:
            Fxw = Fxw + (g13 + r)
            Fyw = Fyw - (g13 + r)
        if even and w13 < 4.0:
            f[13, (k * ly + jm) * lx + ip] = r
        else:
            f[14, n] = r
    elif even:
        f[14, n] = g13
    else:
        f[13, (k * ly + jm) * lx + ip] = g13
    if q14 > 0.0:
        kick = rho * (exl * eyn * ezm - exn * eyl * ezm)
        if sid14 != side:
            push = other_surface(table, sid14, -1.0, 1.0, 0.0, i, j, k, -q14, q14, 0.0)
            apart = push - (- vx + vy)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid14, -1.0, 1.0, 0.0, i, j, k, -q14, q14, 0.0) - (- vx + vy))
        h = 2.0 * q14
        r = 0.0
        if h < 1.0:
            r = h * g14 + (1.0 - h) * f14 - kick
        else:
            r = (g14 + (h - 1.0) * g13 - kick) / h
        held = (- strx + stry) * (stay - max2(0.0, 0.5 - q14))
        turn = (- tx + ty) * pull - (- nx + ny) * held
        turn = turn + min2(0.5, q14) * made * (1.0 - 3.0 * ((- bx + by)))
        r = r + 0.1111111111111111 * turn
        if table[sid14, 0] < 0.0:
            flux = other_surface(table, sid14, -1.0, 1.0, 0.0, i, j, k, -q14, q14, 0.0)
            r = g14 - 0.1111111111111111 * (flux + (- pulsex + pulsey))
            passed = passed + 0.1111111111111111 * flux
        if sid14 > 0:
            Fxw = Fxw - (g14 + r)
            Fyw = Fyw + (g14 + r)
        if even and w14 < 4.0:
            f[14, (k * ly + jp) * lx + im] = r
        else:
            f[13, n] = r
    elif even:
        f[13, n] = g14
    else:
        f[14, (k * ly + jp) * lx + im] = g14
    if q15 > 0.0:
        kick = rho * (exm * eyn * ezn - exm * eyl * ezl)
        if sid15 != side:
            push = other_surface(table, sid15, 0.0, 1.0, 1.0, i, j, k, 0.0, q15, q15)
            apart = push - (vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid15, 0.0, 1.0, 1.0, i, j, k, 0.0, q15, q15) - (vy + vz))
        h = 2.0 * q15
        r = 0.0
        if h < 1.0:
            r = h * g15 + (1.0 - h) * f15 - kick
        else:
            r = (g15 + (h - 1.0) * g16 - kick) / h
        held = (stry + strz) * (stay - max2(0.0, 0.5 - q15))
        turn = (ty + tz) * pull - (ny + nz) * held
        turn = turn + min2(0.5, q15) * made * (1.0 - 3.0 * ((by + bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid15, 0] < 0.0:
            flux = other_surface(table, sid15, 0.0, 1.0, 1.0, i, j, k, 0.0, q15, q15)
            r = g15 - 0.1111111111111111 * (flux + (pulsey + pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid15 > 0:
            Fyw = Fyw + (g15 + r)
            Fzw = Fzw + (g15 + r)
        if even and w15 < 4.0:
            f[15, (kp * ly + jp) * lx + i] = r
        else:
            f[16, n] = r
    elif even:
        f[16, n] = g15
    else:
        f[15, (kp * ly + jp) * lx + i] = g15
    if q16 > 0.0:
        kick = rho * (exm * eyl * ezl - exm * eyn * ezn)
        if sid16 != side:
            push = other_surface(table, sid16, 0.0, -1.0, -1.0, i, j, k, 0.0, -q16, -q16)
            apart = push - (- vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid16, 0.0, -1.0, -1.0, i, j, k, 0.0, -q16, -q16) - (- vy - vz))
        h = 2.0 * q16
        r = 0.0
        if h < 1.0:
            r = h * g16 + (1.0 - h) * f16 - kick
        else:
            r = (g16 + (h - 1.0) * g15 - kick) / h
        held = (- stry - strz) * (stay - max2(0.0, 0.5 - q16))
        turn = (- ty - tz) * pull - (- ny - nz) * held
        turn = turn + min2(0.5, q16) * made * (1.0 - 3.0 * ((- by - bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid16, 0] < 0.0:
            flux = other_surface(table, sid16, 0.0, -1.0, -1.0, i, j, k, 0.0, -q16, -q16)
            r = g16 - 0.1111111111111111 * (flux + (- pulsey - pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid16 > 0:
            Fyw = Fyw - (g16 + r)
            Fzw = Fzw - (g16 + r)
        if even and w16 < 4.0:
            f[16, (km * ly + jm) * lx + i] = r
        else:
            f[15, n] = r
    elif even:
        f[15, n] = g16
    else:
        f[16, (km * ly + jm) * lx + i] = g16
    if q17 > 0.0:
        kick = rho * (exm * eyn * ezl - exm * eyl * ezn)
        if sid17 != side:
            push = other_surface(table, sid17, 0.0, 1.0, -1.0, i, j, k, 0.0, q17, -q17)
            apart = push - (vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid17, 0.0, 1.0, -1.0, i, j, k, 0.0, q17, -q17) - (vy - vz))
        h = 2.0 * q17
        r = 0.0
        if h < 1.0:
            r = h * g17 + (1.0 - h) * f17 - kick
        else:
            r = (g17 + (h - 1.0) * g18 - kick) / h
        held = (stry - strz) * (stay - max2(0.0, 0.5 - q17))
        turn = (ty - tz) * pull - (ny - nz) * held
        turn = turn + min2(0.5, q17) * made * (1.0 - 3.0 * ((by - bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid17, 0] < 0.0:
            flux = other_surface(table, sid17, 0.0, 1.0, -1.0, i, j, k, 0.0, q17, -q17)
            r = g17 - 0.1111111111111111 * (flux + (pulsey - pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid17 > 0:
            Fyw = Fyw + (g17 + r)
            Fzw = Fzw - (g17 + r)
        if even and w17 < 4.0:
            f[17, (km * ly + jp) * lx + i] = r
        else:
            f[18, n] = r
    elif even:
        f[18, n] = g17
    else:
        f[17, (km * ly + jp) * lx + i] = g17
    if q18 > 0.0:
        kick = rho * (exm * eyl * ezn - exm * eyn * ezl)
        if sid18 != side:
            push = other_surface(table, sid18, 0.0, -1.0, 1.0, i, j, k, 0.0, -q18, q18)
            apart = push - (- vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.1111111111111111 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.1111111111111111 * rho * (other_surface(table, sid18, 0.0, -1.0, 1.0, i, j, k, 0.0, -q18, q18) - (- vy + vz))
        h = 2.0 * q18
        r = 0.0
        if h < 1.0:
            r = h * g18 + (1.0 - h) * f18 - kick
        else:
            r = (g18 + (h - 1.0) * g17 - kick) / h
        held = (- stry + strz) * (stay - max2(0.0, 0.5 - q18))
        turn = (- ty + tz) * pull - (- ny + nz) * held
        turn = turn + min2(0.5, q18) * made * (1.0 - 3.0 * ((- by + bz)))
        r = r + 0.1111111111111111 * turn
        if table[sid18, 0] < 0.0:
            flux = other_surface(table, sid18, 0.0, -1.0, 1.0, i, j, k, 0.0, -q18, q18)
            r = g18 - 0.1111111111111111 * (flux + (- pulsey + pulsez))
            passed = passed + 0.1111111111111111 * flux
        if sid18 > 0:
            Fyw = Fyw - (g18 + r)
            Fzw = Fzw + (g18 + r)
        if even and w18 < 4.0:
            f[18, (kp * ly + jm) * lx + i] = r
        else:
            f[17, n] = r
    elif even:
        f[17, n] = g18
    else:
        f[18, (kp * ly + jm) * lx + i] = g18
    if q19 > 0.0:
        kick = rho * (exn * eyn * ezn - exl * eyl * ezl)
        if sid19 != side:
            push = other_surface(table, sid19, 1.0, 1.0, 1.0, i, j, k, q19, q19, q19)
            apart = push - (vx + vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid19, 1.0, 1.0, 1.0, i, j, k, q19, q19, q19) - (vx + vy + vz))
        h = 2.0 * q19
        r = 0.0
        if h < 1.0:
            r = h * g19 + (1.0 - h) * f19 - kick
        else:
            r = (g19 + (h - 1.0) * g20 - kick) / h
        held = (strx + stry + strz) * (stay - max2(0.0, 0.5 - q19))
        turn = (tx + ty + tz) * pull - (nx + ny + nz) * held
        turn = turn + min2(0.5, q19) * made * (1.0 - 3.0 * ((bx + by + bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid19, 0] < 0.0:
            flux = other_surface(table, sid19, 1.0, 1.0, 1.0, i, j, k, q19, q19, q19)
            r = g19 - 0.027777777777777776 * (flux + (pulsex + pulsey + pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid19 > 0:
            Fxw = Fxw + (g19 + r)
            Fyw = Fyw + (g19 + r)
            Fzw = Fzw + (g19 + r)
        if even and w19 < 4.0:
            f[19, (kp * ly + jp) * lx + ip] = r
        else:
            f[20, n] = r
    elif even:
        f[20, n] = g19
    else:
        f[19, (kp * ly + jp) * lx + ip] = g19
    if q20 > 0.0:
        kick = rho * (exl * eyl * ezl - exn * eyn * ezn)
        if sid20 != side:
            push = other_surface(table, sid20, -1.0, -1.0, -1.0, i, j, k, -q20, -q20, -q20)
            apart = push - (- vx - vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid20, -1.0, -1.0, -1.0, i, j, k, -q20, -q20, -q20) - (- vx - vy - vz))
        h = 2.0 * q20
        r = 0.0
        if h < 1.0:
            r = h * g20 + (1.0 - h) * f20 - kick
        else:
            r = (g20 + (h - 1.0) * g19 - kick) / h
        held = (- strx - stry - strz) * (stay - max2(0.0, 0.5 - q20))
        turn = (- tx - ty - tz) * pull - (- nx - ny - nz) * held
        turn = turn + min2(0.5, q20) * made * (1.0 - 3.0 * ((- bx - by - bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid20, 0] < 0.0:
            flux = other_surface(table, sid20, -1.0, -1.0, -1.0, i, j, k, -q20, -q20, -q20)
            r = g20 - 0.027777777777777776 * (flux + (- pulsex - pulsey - pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid20 > 0:
            Fxw = Fxw - (g20 + r)
            Fyw = Fyw - (g20 + r)
            Fzw = Fzw - (g20 + r)
        if even and w20 < 4.0:
            f[20, (km * ly + jm) * lx + im] = r
        else:
            f[19, n] = r
    elif even:
        f[19, n] = g20
    else:
        f[20, (km * ly + jm) * lx + im] = g20
    if q21 > 0.0:
        kick = rho * (exn * eyn * ezl - exl * eyl * ezn)
        if sid21 != side:
            push = other_surface(table, sid21, 1.0, 1.0, -1.0, i, j, k, q21, q21, -q21)
            apart = push - (vx + vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid21, 1.0, 1.0, -1.0, i, j, k, q21, q21, -q21) - (vx + vy - vz))
        h = 2.0 * q21
        r = 0.0
        if h < 1.0:
            r = h * g21 + (1.0 - h) * f21 - kick
        else:
            r = (g21 + (h - 1.0) * g22 - kick) / h
        held = (strx + stry - strz) * (stay - max2(0.0, 0.5 - q21))
        turn = (tx + ty - tz) * pull - (nx + ny - nz) * held
        turn = turn + min2(0.5, q21) * made * (1.0 - 3.0 * ((bx + by - bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid21, 0] < 0.0:
            flux = other_surface(table, sid21, 1.0, 1.0, -1.0, i, j, k, q21, q21, -q21)
            r = g21 - 0.027777777777777776 * (flux + (pulsex + pulsey - pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid21 > 0:
            Fxw = Fxw + (g21 + r)
            Fyw = Fyw + (g21 + r)
            Fzw = Fzw - (g21 + r)
        if even and w21 < 4.0:
            f[21, (km * ly + jp) * lx + ip] = r
        else:
            f[22, n] = r
    elif even:
        f[22, n] = g21
    else:
        f[21, (km * ly + jp) * lx + ip] = g21
    if q22 > 0.0:
        kick = rho * (exl * eyl * ezn - exn * eyn * ezl)
        if sid22 != side:
            push = other_surface(table, sid22, -1.0, -1.0, 1.0, i, j, k, -q22, -q22, q22)
            apart = push - (- vx - vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid22, -1.0, -1.0, 1.0, i, j, k, -q22, -q22, q22) - (- vx - vy + vz))
        h = 2.0 * q22
        r = 0.0
        if h < 1.0:
            r = h * g22 + (1.0 - h) * f22 - kick
        else:
            r = (g22 + (h - 1.0) * g21 - kick) / h
        held = (- strx - stry + strz) * (stay - max2(0.0, 0.5 - q22))
        turn = (- tx - ty + tz) * pull - (- nx - ny + nz) * held
        turn = turn + min2(0.5, q22) * made * (1.0 - 3.0 * ((- bx - by + bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid22, 0] < 0.0:
            flux = other_surface(table, sid22, -1.0, -1.0, 1.0, i, j, k, -q22, -q22, q22)
            r = g22 - 0.027777777777777776 * (flux + (- pulsex - pulsey + pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid22 > 0:
            Fxw = Fxw - (g22 + r)
            Fyw = Fyw - (g22 + r)
            Fzw = Fzw + (g22 + r)
        if even and w22 < 4.0:
            f[22, (kp * ly + jm) * lx + im] = r
        else:
            f[21, n] = r
    elif even:
        f[21, n] = g22
    else:
        f[22, (kp * ly + jm) * lx + im] = g22
    if q23 > 0.0:
        kick = rho * (exn * eyl * ezn - exl * eyn * ezl)
        if sid23 != side:
            push = other_surface(table, sid23, 1.0, -1.0, 1.0, i, j, k, q23, -q23, q23)
            apart = push - (vx - vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid23, 1.0, -1.0, 1.0, i, j, k, q23, -q23, q23) - (vx - vy + vz))
        h = 2.0 * q23
        r = 0.0
        if h < 1.0:
            r = h * g23 + (1.0 - h) * f23 - kick
        else:
            r = (g23 + (h - 1.0) * g24 - kick) / h
        held = (strx - stry + strz) * (stay - max2(0.0, 0.5 - q23))
        turn = (tx - ty + tz) * pull - (nx - ny + nz) * held
        turn = turn + min2(0.5, q23) * made * (1.0 - 3.0 * ((bx - by + bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid23, 0] < 0.0:
            flux = other_surface(table, sid23, 1.0, -1.0, 1.0, i, j, k, q23, -q23, q23)
            r = g23 - 0.027777777777777776 * (flux + (pulsex - pulsey + pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid23 > 0:
            Fxw = Fxw + (g23 + r)
            Fyw = Fyw - (g23 + r)
            Fzw = Fzw + (g23 + r)
        if even and w23 < 4.0:
            f[23, (kp * ly + jm) * lx + ip] = r
        else:
            f[24, n] = r
    elif even:
        f[24, n] = g23
    else:
        f[23, (kp * ly + jm) * lx + ip] = g23
    if q24 > 0.0:
        kick = rho * (exl * eyn * ezl - exn * eyl * ezn)
        if sid24 != side:
            push = other_surface(table, sid24, -1.0, 1.0, -1.0, i, j, k, -q24, q24, -q24)
            apart = push - (- vx + vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid24, -1.0, 1.0, -1.0, i, j, k, -q24, q24, -q24) - (- vx + vy - vz))
        h = 2.0 * q24
        r = 0.0
        if h < 1.0:
            r = h * g24 + (1.0 - h) * f24 - kick
        else:
            r = (g24 + (h - 1.0) * g23 - kick) / h
        held = (- strx + stry - strz) * (stay - max2(0.0, 0.5 - q24))
        turn = (- tx + ty - tz) * pull - (- nx + ny - nz) * held
        turn = turn + min2(0.5, q24) * made * (1.0 - 3.0 * ((- bx + by - bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid24, 0] < 0.0:
            flux = other_surface(table, sid24, -1.0, 1.0, -1.0, i, j, k, -q24, q24, -q24)
            r = g24 - 0.027777777777777776 * (flux + (- pulsex + pulsey - pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid24 > 0:
            Fxw = Fxw - (g24 + r)
            Fyw = Fyw + (g24 + r)
            Fzw = Fzw - (g24 + r)
        if even and w24 < 4.0:
            f[24, (km * ly + jp) * lx + im] = r
        else:
            f[23, n] = r
    elif even:
        f[23, n] = g24
    else:
        f[24, (km * ly + jp) * lx + im] = g24
    if q25 > 0.0:
        kick = rho * (exn * eyl * ezl - exl * eyn * ezn)
        if sid25 != side:
            push = other_surface(table, sid25, 1.0, -1.0, -1.0, i, j, k, q25, -q25, -q25)
            apart = push - (vx - vy - vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid25, 1.0, -1.0, -1.0, i, j, k, q25, -q25, -q25) - (vx - vy - vz))
        h = 2.0 * q25
        r = 0.0
        if h < 1.0:
            r = h * g25 + (1.0 - h) * f25 - kick
        else:
            r = (g25 + (h - 1.0) * g26 - kick) / h
        held = (strx - stry - strz) * (stay - max2(0.0, 0.5 - q25))
        turn = (tx - ty - tz) * pull - (nx - ny - nz) * held
        turn = turn + min2(0.5, q25) * made * (1.0 - 3.0 * ((bx - by - bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid25, 0] < 0.0:
            flux = other_surface(table, sid25, 1.0, -1.0, -1.0, i, j, k, q25, -q25, -q25)
            r = g25 - 0.027777777777777776 * (flux + (pulsex - pulsey - pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid25 > 0:
            Fxw = Fxw + (g25 + r)
            Fyw = Fyw - (g25 + r)
            Fzw = Fzw - (g25 + r)
        if even and w25 < 4.0:
            f[25, (km * ly + jm) * lx + ip] = r
        else:
            f[26, n] = r
    elif even:
        f[26, n] = g25
    else:
        f[25, (km * ly + jm) * lx + ip] = g25
    if q26 > 0.0:
        kick = rho * (exl * eyn * ezn - exn * eyl * ezl)
        if sid26 != side:
            push = other_surface(table, sid26, -1.0, 1.0, 1.0, i, j, k, -q26, q26, q26)
            apart = push - (- vx + vy + vz)
            if max2(apart, -apart) > 1e-6:
                kick = 0.027777777777777776 * rho * push
        else:
            if turns > 0.0:
                kick = kick + 0.027777777777777776 * rho * (other_surface(table, sid26, -1.0, 1.0, 1.0, i, j, k, -q26, q26, q26) - (- vx + vy + vz))
        h = 2.0 * q26
        r = 0.0
        if h < 1.0:
            r = h * g26 + (1.0 - h) * f26 - kick
        else:
            r = (g26 + (h - 1.0) * g25 - kick) / h
        held = (- strx + stry + strz) * (stay - max2(0.0, 0.5 - q26))
        turn = (- tx + ty + tz) * pull - (- nx + ny + nz) * held
        turn = turn + min2(0.5, q26) * made * (1.0 - 3.0 * ((- bx + by + bz)))
        r = r + 0.027777777777777776 * turn
        if table[sid26, 0] < 0.0:
            flux = other_surface(table, sid26, -1.0, 1.0, 1.0, i, j, k, -q26, q26, q26)
            r = g26 - 0.027777777777777776 * (flux + (- pulsex + pulsey + pulsez))
            passed = passed + 0.027777777777777776 * flux
        if sid26 > 0:
            Fxw = Fxw - (g26 + r)
            Fyw = Fyw + (g26 + r)
            Fzw = Fzw + (g26 + r)
        if even and w26 < 4.0:
            f[26, (kp * ly + jp) * lx + im] = r
        else:
            f[25, n] = r
    elif even:
        f[25, n] = g26
    else:
        f[26, (kp * ly + jp) * lx + im] = g26
    dwall = d - 3.0 * rho * max2(y, -y) * (u * (bendxx * u + bendxy * v + bendxz * w) + v * (bendxy * u + bendyy * v + bendyz * w) + w * (bendxz * u + bendyz * v + bendzz * w))
    if wall_law < 0.0:
        dwall = d + 1.5 * (pnn + qxx * nx * nx + qxy * nx * ny + qxz * nx * nz + qxy * ny * nx + qyy * ny * ny + qyz * ny * nz + qxz * nz * nx + qyz * nz * ny + qzz * nz * nz)
    Fxp = shear * tx / ut - THIRD * dwall * facex
    Fyp = shear * ty / ut - THIRD * dwall * facey
    Fzp = shear * tz / ut - THIRD * dwall * facez
    if wall_law < 0.0:
        Fxp = Fxp + passed * vx / rho
        Fyp = Fyp + passed * vy / rho
        Fzp = Fzp + passed * vz / rho
    old = 0.0 if even else 0.5
    new = 1.0 if even else 0.5
    out[m, 0] = old * out[m, 0] + new * (Fxw + faced * (Fxp - Fxw))
    out[m, 1] = old * out[m, 1] + new * (Fyw + faced * (Fyp - Fyw))
    out[m, 2] = old * out[m, 2] + new * (Fzw + faced * (Fzp - Fzw))
    out[m, 3] = old * out[m, 3] + new * (dwall)
    out[m, 4] = old * out[m, 4] + new * (shear * tx / ut)
    out[m, 5] = old * out[m, 5] + new * (shear * ty / ut)
    out[m, 6] = old * out[m, 6] + new * (shear * tz / ut)
    out[m, 7] = old * out[m, 7] + new * (Rx)
    out[m, 8] = old * out[m, 8] + new * (Ry)
    out[m, 9] = old * out[m, 9] + new * (Rz)
    out[m, 10] = old * out[m, 10] + new * (Fxw)
    out[m, 11] = old * out[m, 11] + new * (Fyw)
    out[m, 12] = old * out[m, 12] + new * (Fzw)
    out[m, 13] = old * out[m, 13] + new * (gather)
    out[m, 14] = known
    out[m, 15], out[m, 16], out[m, 17] = swingx, swingy, swingz


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def step_wall(
    f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance every cell beside a wall on all cores."""
    for m in prange(cell.size):
        # the loop counts unsigned: without this the cell would be compiled twice
        wall_cell(
            np.int64(m), f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo,
            table, zone, full, core, out
        )


@njit(cache=True, error_model="numpy")
@no_type_check
def step_wall_alone(
    f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
    zone, full, core, out
):
    """Advance every cell beside a wall on one core."""
    for m in range(cell.size):
        wall_cell(
            m, f, shape, even, setting, stream, sx, sy, sz, cell, cut, sid, main, geo, table,
            zone, full, core, out
        )
