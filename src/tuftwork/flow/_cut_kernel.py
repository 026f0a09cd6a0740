"""Geometry kernels: inside test by parity, distance to triangles, links cut by triangles.

Coordinates are in cells; the centre of cell (i, j, k) is the point (i, j, k).
"""

# mypy: disable-error-code="no-untyped-def,untyped-decorator,misc,no-untyped-call"
from math import ceil, floor, sqrt
from typing import no_type_check

from numba import njit

SHIFT_Y, SHIFT_Z = 1.234567e-5, 2.718281e-5
"""The scan lines miss shared edges that lie on cell centres. [cells]"""


@njit(cache=True, error_model="numpy")
@no_type_check
def mark_inside(tri, toggle):
    """Mark cells inside a closed surface by the parity of crossings along x."""
    lz, ly, lx = toggle.shape
    for t in range(tri.shape[0]):
        y0, y1, y2 = tri[t, 0, 1], tri[t, 1, 1], tri[t, 2, 1]
        z0, z1, z2 = tri[t, 0, 2], tri[t, 1, 2], tri[t, 2, 2]
        area = (y1 - y0) * (z2 - z0) - (y2 - y0) * (z1 - z0)
        if area == 0.0:
            continue
        for k in range(max(0, ceil(min(z0, z1, z2)) - 1), min(lz - 1, floor(max(z0, z1, z2))) + 1):
            for j in range(
                max(0, ceil(min(y0, y1, y2)) - 1), min(ly - 1, floor(max(y0, y1, y2))) + 1
            ):
                y, z = j + SHIFT_Y, k + SHIFT_Z
                b1 = ((y - y0) * (z2 - z0) - (y2 - y0) * (z - z0)) / area
                b2 = ((y1 - y0) * (z - z0) - (y - y0) * (z1 - z0)) / area
                if b1 < 0.0 or b2 < 0.0 or b1 + b2 > 1.0:
                    continue
                x = tri[t, 0, 0] * (1.0 - b1 - b2) + tri[t, 1, 0] * b1 + tri[t, 2, 0] * b2
                i = max(0, ceil(x))
                if i < lx:
                    toggle[k, j, i] ^= 1
    for k in range(lz):
        for j in range(ly):
            for i in range(1, lx):
                toggle[k, j, i] ^= toggle[k, j, i - 1]


@njit(inline="always")
@no_type_check
def _less(a, b):
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@njit(inline="always")
@no_type_check
def _dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(inline="always")
@no_type_check
def _along(a, v, s):
    return a[0] + s * v[0], a[1] + s * v[1], a[2] + s * v[2]


@njit(cache=True, error_model="numpy")
@no_type_check
def _corner(tri, t, c):
    return tri[t, c, 0], tri[t, c, 1], tri[t, c, 2]


@njit(cache=True, error_model="numpy")
@no_type_check
def foot_on_triangle(p, a, b, c):
    """Return the point of a triangle nearest to p, by the region of the plane p projects to."""
    ab, ac, ap = _less(b, a), _less(c, a), _less(p, a)
    d1, d2 = _dot(ab, ap), _dot(ac, ap)
    if d1 <= 0.0 and d2 <= 0.0:
        return a
    bp = _less(p, b)
    d3, d4 = _dot(ab, bp), _dot(ac, bp)
    if d3 >= 0.0 and d4 <= d3:
        return b
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return _along(a, ab, d1 / (d1 - d3))
    cp = _less(p, c)
    d5, d6 = _dot(ab, cp), _dot(ac, cp)
    if d6 >= 0.0 and d5 <= d6:
        return c
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return _along(a, ac, d2 / (d2 - d6))
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and (d4 - d3) >= 0.0 and (d5 - d6) >= 0.0:
        return _along(b, _less(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6)))
    total = va + vb + vc
    return _along(_along(a, ab, vb / total), ac, vc / total)


@njit(cache=True, error_model="numpy")
@no_type_check
def feet(tri, nearest, centre, out):
    """Nearest point on its own triangle for each of a list of cells."""
    for m in range(nearest.size):
        t = nearest[m]
        p = (float(centre[m, 0]), float(centre[m, 1]), float(centre[m, 2]))
        f = foot_on_triangle(p, _corner(tri, t, 0), _corner(tri, t, 1), _corner(tri, t, 2))
        out[m, 0], out[m, 1], out[m, 2] = f[0], f[1], f[2]


@njit(cache=True, error_model="numpy")
@no_type_check
def _range(t, tri, axis, pad, count):
    low = min(tri[t, 0, axis], tri[t, 1, axis], tri[t, 2, axis]) - pad
    high = max(tri[t, 0, axis], tri[t, 1, axis], tri[t, 2, axis]) + pad
    return max(0, ceil(low)), min(count - 1, floor(high)) + 1


@njit(cache=True, error_model="numpy")
@no_type_check
def nearest_triangle(tri, reach, distance, nearest):
    """Distance to the nearest triangle and its number, for cells within ``reach``."""
    lz, ly, lx = distance.shape
    for t in range(tri.shape[0]):
        a, b, c = _corner(tri, t, 0), _corner(tri, t, 1), _corner(tri, t, 2)
        i0, i1 = _range(t, tri, 0, reach, lx)
        j0, j1 = _range(t, tri, 1, reach, ly)
        k0, k1 = _range(t, tri, 2, reach, lz)
        for k in range(k0, k1):
            for j in range(j0, j1):
                for i in range(i0, i1):
                    p = (float(i), float(j), float(k))
                    r = _less(p, foot_on_triangle(p, a, b, c))
                    d = sqrt(_dot(r, r))
                    if d < distance[k, j, i]:
                        distance[k, j, i] = d
                        nearest[k, j, i] = t


@njit(cache=True)
@no_type_check
def touch_wall_cells(removed, velocity, touched):
    """Mark kept cells with a removed neighbour and return how many there are."""
    lz, ly, lx = removed.shape
    count = 0
    for k in range(lz):
        for j in range(ly):
            for i in range(lx):
                if removed[k, j, i] == 0:
                    continue
                for q in range(1, 27):
                    kk, jj = (k + velocity[q, 2]) % lz, (j + velocity[q, 1]) % ly
                    ii = (i + velocity[q, 0]) % lx
                    if removed[kk, jj, ii] == 0 and touched[kk, jj, ii] == 0:
                        touched[kk, jj, ii] = 1
                        count += 1
    return count


@njit(cache=True)
@no_type_check
def list_wall_cells(removed, touched, label, velocity, cell, cut, sid):
    """List the marked cells, their links to removed cells cut half way."""
    lz, ly, lx = removed.shape
    m = 0
    for k in range(lz):
        for j in range(ly):
            for i in range(lx):
                if touched[k, j, i] == 0:
                    continue
                cell[m] = (k * ly + j) * lx + i
                for q in range(1, 27):
                    kk, jj = (k + velocity[q, 2]) % lz, (j + velocity[q, 1]) % ly
                    ii = (i + velocity[q, 0]) % lx
                    if removed[kk, jj, ii]:
                        cut[q - 1, m] = 0.5
                        sid[q - 1, m] = label[kk, jj, ii]
                m += 1


@njit(cache=True, error_model="numpy")
@no_type_check
def cut_links(tri, part, reach, velocity, index, links, hit, sid):
    """Shorten each link to the first triangle it meets within ``reach`` of its length.

    ``index`` (lz, ly, lx) numbers the wall cells of this block, −1 elsewhere; ``links`` marks the
    links that need a wall; ``hit`` starts at a large number.
    """
    lz, ly, lx = index.shape
    for t in range(tri.shape[0]):
        a, b, c = tri[t, 0], tri[t, 1], tri[t, 2]
        ab, ac = b - a, c - a
        nx = ab[1] * ac[2] - ab[2] * ac[1]
        ny = ab[2] * ac[0] - ab[0] * ac[2]
        nz = ab[0] * ac[1] - ab[1] * ac[0]
        nn = nx * nx + ny * ny + nz * nz
        if nn == 0.0:
            continue
        i0, i1 = _range(t, tri, 0, reach, lx)
        j0, j1 = _range(t, tri, 1, reach, ly)
        k0, k1 = _range(t, tri, 2, reach, lz)
        for k in range(k0, k1):
            for j in range(j0, j1):
                for i in range(i0, i1):
                    m = index[k, j, i]
                    if m < 0:
                        continue
                    height = nx * (a[0] - i) + ny * (a[1] - j) + nz * (a[2] - k)
                    for q in range(1, 27):
                        if links[q - 1, m] == 0.0:
                            continue
                        ex, ey, ez = velocity[q, 0], velocity[q, 1], velocity[q, 2]
                        rate = nx * ex + ny * ey + nz * ez
                        if rate == 0.0:
                            continue
                        s = height / rate
                        if s <= 0.0 or s > reach or s >= hit[q - 1, m]:
                            continue
                        rx, ry, rz = i + s * ex - a[0], j + s * ey - a[1], k + s * ez - a[2]
                        # barycentric coordinates by signed areas along the face normal
                        b2 = (
                            nx * (ab[1] * rz - ab[2] * ry)
                            + ny * (ab[2] * rx - ab[0] * rz)
                            + nz * (ab[0] * ry - ab[1] * rx)
                        ) / nn
                        b1 = (
                            nx * (ry * ac[2] - rz * ac[1])
                            + ny * (rz * ac[0] - rx * ac[2])
                            + nz * (rx * ac[1] - ry * ac[0])
                        ) / nn
                        if b1 >= -1e-7 and b2 >= -1e-7 and b1 + b2 <= 1.0 + 1e-7:
                            hit[q - 1, m] = s
                            sid[q - 1, m] = part[t]
