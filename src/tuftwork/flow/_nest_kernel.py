"""Coupling of two levels, generated from recipe.py by nest_text.py. Do not edit."""

# ruff: noqa
# fmt: off
# mypy: ignore-errors
from typing import no_type_check

import numpy as np
from numba import njit, prange

THIRD, NINTH, SIXTH, TWOTHIRD = 1.0 / 3.0, 1.0 / 9.0, 1.0 / 6.0, 2.0 / 3.0
VEL = np.array([[0, 0, 0], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [1, 1, 0], [-1, -1, 0], [1, 0, 1], [-1, 0, -1], [1, 0, -1], [-1, 0, 1], [1, -1, 0], [-1, 1, 0], [0, 1, 1], [0, -1, -1], [0, 1, -1], [0, -1, 1], [1, 1, 1], [-1, -1, -1], [1, 1, -1], [-1, -1, 1], [1, -1, 1], [-1, 1, -1], [1, -1, -1], [-1, 1, 1]])
OPP = np.array([0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15, 18, 17, 20, 19, 22, 21, 24, 23, 26, 25])
BLOCK = 64


@njit(cache=True, error_model="numpy")
@no_type_check
def neighbours(shape, cell, first, count, line):
    """Per axis the places of the cells before, at and after some listed cells, wrapped round."""
    lx, ly, lz = shape[0], shape[1], shape[2]
    for c in range(count):
        n = cell[first + c]
        i, j, k = n % lx, (n // lx) % ly, n // (lx * ly)
        line[0, c] = i - 1 if i > 0 else lx - 1
        line[1, c] = i
        line[2, c] = i + 1 if i + 1 < lx else 0
        line[3, c] = (j - 1 if j > 0 else ly - 1) * lx
        line[4, c] = j * lx
        line[5, c] = (j + 1 if j + 1 < ly else 0) * lx
        line[6, c] = (k - 1 if k > 0 else lz - 1) * lx * ly
        line[7, c] = k * lx * ly
        line[8, c] = (k + 1 if k + 1 < lz else 0) * lx * ly


@njit(cache=True, error_model="numpy")
@no_type_check
def read_cells(f, shape, cell, thin, first, count, even, force, line, a, ten):
    """Ten moments of some listed cells before collision; ``line``, ``a`` are room to work in."""
    if not even:
        neighbours(shape, cell, first, count, line)
    for q in range(27):
        if even:
            for c in range(count):
                a[q * BLOCK + c] = f[q, cell[first + c]]
        else:
            x, y, z, o = 1 - VEL[q, 0], 4 - VEL[q, 1], 7 - VEL[q, 2], OPP[q]
            for c in range(count):
                a[q * BLOCK + c] = f[o, line[x, c] + line[y, c] + line[z, c]]
    if not even:
        for c in range(count):
            if thin[first + c] != 0:
                for q in range(1, 27):
                    if (thin[first + c] >> q) & 1:
                        a[q * BLOCK + c] = f[q, cell[first + c]]
    Fx, Fy, Fz = force[0], force[1], force[2]
    for c in range(count):
        f0 = a[0 * BLOCK + c]
        f1 = a[1 * BLOCK + c]
        f2 = a[2 * BLOCK + c]
        f3 = a[3 * BLOCK + c]
        f4 = a[4 * BLOCK + c]
        f5 = a[5 * BLOCK + c]
        f6 = a[6 * BLOCK + c]
        f7 = a[7 * BLOCK + c]
        f8 = a[8 * BLOCK + c]
        f9 = a[9 * BLOCK + c]
        f10 = a[10 * BLOCK + c]
        f11 = a[11 * BLOCK + c]
        f12 = a[12 * BLOCK + c]
        f13 = a[13 * BLOCK + c]
        f14 = a[14 * BLOCK + c]
        f15 = a[15 * BLOCK + c]
        f16 = a[16 * BLOCK + c]
        f17 = a[17 * BLOCK + c]
        f18 = a[18 * BLOCK + c]
        f19 = a[19 * BLOCK + c]
        f20 = a[20 * BLOCK + c]
        f21 = a[21 * BLOCK + c]
        f22 = a[22 * BLOCK + c]
        f23 = a[23 * BLOCK + c]
        f24 = a[24 * BLOCK + c]
        f25 = a[25 * BLOCK + c]
        f26 = a[26 * BLOCK + c]
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
        ten[0 * BLOCK + c] = d
        ten[1 * BLOCK + c] = u
        ten[2 * BLOCK + c] = v
        ten[3 * BLOCK + c] = w
        ten[4 * BLOCK + c] = pxx
        ten[5 * BLOCK + c] = pyy
        ten[6 * BLOCK + c] = pzz
        ten[7 * BLOCK + c] = pxy
        ten[8 * BLOCK + c] = pxz
        ten[9 * BLOCK + c] = pyz


@njit(cache=True, error_model="numpy")
@no_type_check
def write_cells(f, shape, cell, thin, first, count, even, force, by_dev, by_trace, line, a, ten):
    """Populations of some listed cells before collision from their ten moments."""
    Fx, Fy, Fz = -force[0], -force[1], -force[2]
    for c in range(count):
        m0 = ten[0 * BLOCK + c]
        m1 = ten[1 * BLOCK + c]
        m2 = ten[2 * BLOCK + c]
        m3 = ten[3 * BLOCK + c]
        m4 = ten[4 * BLOCK + c]
        m5 = ten[5 * BLOCK + c]
        m6 = ten[6 * BLOCK + c]
        m7 = ten[7 * BLOCK + c]
        m8 = ten[8 * BLOCK + c]
        m9 = ten[9 * BLOCK + c]
        mean = (m4 + m5 + m6) * THIRD
        d = m0
        rho = 1.0 + d
        ir = 1.0 / rho
        u = m1
        v = m2
        w = m3
        qxx = by_dev * (m4 - mean) + by_trace * mean
        qyy = by_dev * (m5 - mean) + by_trace * mean
        qzz = by_dev * (m6 - mean) + by_trace * mean
        qxy = by_dev * m7
        qxz = by_dev * m8
        qyz = by_dev * m9
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
        a[0 * BLOCK + c] = g0
        a[1 * BLOCK + c] = g1
        a[2 * BLOCK + c] = g2
        a[3 * BLOCK + c] = g3
        a[4 * BLOCK + c] = g4
        a[5 * BLOCK + c] = g5
        a[6 * BLOCK + c] = g6
        a[7 * BLOCK + c] = g7
        a[8 * BLOCK + c] = g8
        a[9 * BLOCK + c] = g9
        a[10 * BLOCK + c] = g10
        a[11 * BLOCK + c] = g11
        a[12 * BLOCK + c] = g12
        a[13 * BLOCK + c] = g13
        a[14 * BLOCK + c] = g14
        a[15 * BLOCK + c] = g15
        a[16 * BLOCK + c] = g16
        a[17 * BLOCK + c] = g17
        a[18 * BLOCK + c] = g18
        a[19 * BLOCK + c] = g19
        a[20 * BLOCK + c] = g20
        a[21 * BLOCK + c] = g21
        a[22 * BLOCK + c] = g22
        a[23 * BLOCK + c] = g23
        a[24 * BLOCK + c] = g24
        a[25 * BLOCK + c] = g25
        a[26 * BLOCK + c] = g26
    if not even:
        neighbours(shape, cell, first, count, line)
    for q in range(27):
        if even:
            for c in range(count):
                f[q, cell[first + c]] = a[q * BLOCK + c]
        else:
            x, y, z, o = 1 - VEL[q, 0], 4 - VEL[q, 1], 7 - VEL[q, 2], OPP[q]
            for c in range(count):
                if (thin[first + c] >> q) & 1:
                    f[q, cell[first + c]] = a[q * BLOCK + c]
                else:
                    f[o, line[x, c] + line[y, c] + line[z, c]] = a[q * BLOCK + c]


@njit(cache=True, error_model="numpy")
@no_type_check
def read_block(block, f, shape, cell, thin, even, force, ten):
    """Ten moments of one block of listed cells."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    read_cells(f, shape, cell, thin, first, count, even, force, line, a, held)
    for c in range(count):
        for n in range(10):
            ten[first + c, n] = held[n * BLOCK + c]


@njit(cache=True, error_model="numpy")
@no_type_check
def fill_block(block, f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace):
    """One block of fine cells outside the interface from the coarse moments round them."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    for c in range(count):
        own, home = kind[first + c], row[first + c]
        m0 = 0.0
        m1 = 0.0
        m2 = 0.0
        m3 = 0.0
        m4 = 0.0
        m5 = 0.0
        m6 = 0.0
        m7 = 0.0
        m8 = 0.0
        m9 = 0.0
        for s in range(27):
            w, n = weight[own, s], near[home, s]
            m0 += w * ten[n, 0]
            m1 += w * ten[n, 1]
            m2 += w * ten[n, 2]
            m3 += w * ten[n, 3]
            m4 += w * ten[n, 4]
            m5 += w * ten[n, 5]
            m6 += w * ten[n, 6]
            m7 += w * ten[n, 7]
            m8 += w * ten[n, 8]
            m9 += w * ten[n, 9]
        held[0 * BLOCK + c] = m0
        held[1 * BLOCK + c] = m1
        held[2 * BLOCK + c] = m2
        held[3 * BLOCK + c] = m3
        held[4 * BLOCK + c] = m4
        held[5 * BLOCK + c] = m5
        held[6 * BLOCK + c] = m6
        held[7 * BLOCK + c] = m7
        held[8 * BLOCK + c] = m8
        held[9 * BLOCK + c] = m9
    # before the first step every population stands in its own cell
    write_cells(f, shape, cell, cell, first, count, True, force, by_dev, by_trace, line, a, held)


@njit(cache=True, error_model="numpy")
@no_type_check
def restrict_block(
    block, fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace
):
    """One block of coarse cells from the mean of their open children."""
    first = block * BLOCK
    count = min(BLOCK, cell.size - first)
    line, a, held = np.empty((9, BLOCK), np.int64), np.empty(27 * BLOCK), np.empty(10 * BLOCK)
    got, many, one = np.zeros(10 * BLOCK), np.zeros(BLOCK), np.empty(BLOCK, np.int64)
    for s in range(8):
        for c in range(count):
            one[c] = max(child[s, first + c], 0)
        read_cells(fine, fine_shape, one, one, 0, count, True, fine_force, line, a, held)
        for c in range(count):
            if child[s, first + c] >= 0:
                many[c] += 1.0
                for n in range(10):
                    got[n * BLOCK + c] += held[n * BLOCK + c]
    for n in range(10):
        for c in range(count):
            got[n * BLOCK + c] /= many[c]
    write_cells(f, shape, cell, thin, first, count, even, force, by_dev, by_trace, line, a, got)


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def read_shell(f, shape, cell, thin, even, force, ten):
    for block in prange((cell.size + BLOCK - 1) // BLOCK):
        read_block(block, f, shape, cell, thin, even, force, ten)


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def fill_ghosts(f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace):
    for block in prange((cell.size + BLOCK - 1) // BLOCK):
        fill_block(block, f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace)


@njit(cache=True, parallel=True, error_model="numpy")
@no_type_check
def restrict_cells(fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace):
    for block in prange((cell.size + BLOCK - 1) // BLOCK):
        restrict_block(block, fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace)


@njit(cache=True, error_model="numpy")
@no_type_check
def read_shell_alone(f, shape, cell, thin, even, force, ten):
    for block in range((cell.size + BLOCK - 1) // BLOCK):
        read_block(block, f, shape, cell, thin, even, force, ten)


@njit(cache=True, error_model="numpy")
@no_type_check
def fill_ghosts_alone(f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace):
    for block in range((cell.size + BLOCK - 1) // BLOCK):
        fill_block(block, f, shape, cell, near, row, kind, weight, ten, force, by_dev, by_trace)


@njit(cache=True, error_model="numpy")
@no_type_check
def restrict_cells_alone(fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace):
    for block in range((cell.size + BLOCK - 1) // BLOCK):
        restrict_block(block, fine, fine_shape, child, f, shape, cell, thin, even, fine_force, force, by_dev, by_trace)
