# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Kernels that find every point where springs and air agree, patch by patch.

On a patch of the smooth surface, cut where a stop touches, the residuals

    R_f = F_f(h_f) − q CzS_f(h_f, h_r),   R_r = F_r(h_r) − q CzS_r(h_f, h_r)

are bicubic polynomials. Each lies between the least and greatest of its Bernstein ordinates, so a
box is thrown away only when one of them, or a linear combination of them, cannot be zero in it. A
box is settled when the slopes prove that it holds one root at most and Newton finds it inside;
otherwise it is halved both ways. Nothing is ever lost by sampling.
"""

from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.aeromap.patch import ordinates

MOST_ROOTS = 16  # [-] per draw and speed
_MOST_BOXES = 512  # [-] waiting at once; a surface that needs more is not solved but refused
_MOST_LOOKS = 20_000  # [-] boxes looked at in one cell; a fold needs some hundred
_SMALLEST = 1e-9  # [m] a box this small that cannot be thrown away is a root that touches
_SAME = 2e-8  # [m] roots nearer than this were found from two neighbouring boxes
_ZERO = 1e-7  # [N] rounding of a residual: a root on an edge must not be lost by both sides

DONE, TOO_MANY = 0, 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def spring_force(travel_at, load_at, rate_at, travel):
    """Load and rate of a piecewise linear spring at a travel."""
    piece = 0
    while piece + 1 < travel_at.size and travel >= travel_at[piece + 1]:
        piece += 1
    return load_at[piece] + rate_at[piece] * (travel - travel_at[piece]), rate_at[piece]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _restrict(p, t0, t1, along_first):
    """Cut Bernstein ordinates ``(4, 4)`` in place to [t0, t1] of one coordinate."""
    for c in range(4):
        if along_first:
            a, b, e, f = p[0, c], p[1, c], p[2, c], p[3, c]
        else:
            a, b, e, f = p[c, 0], p[c, 1], p[c, 2], p[c, 3]
        s0, s1 = 1.0 - t0, 1.0 - t1
        # blossom: ordinate k takes k arguments t1 and 3 − k arguments t0
        a0, b0, e0 = s0 * a + t0 * b, s0 * b + t0 * e, s0 * e + t0 * f
        a1, b1, e1 = s1 * a + t1 * b, s1 * b + t1 * e, s1 * e + t1 * f
        a00, b00 = s0 * a0 + t0 * b0, s0 * b0 + t0 * e0
        a11, b11 = s1 * a1 + t1 * b1, s1 * b1 + t1 * e1
        r0, r1 = s0 * a00 + t0 * b00, s1 * a00 + t1 * b00
        r2, r3 = s0 * a11 + t0 * b11, s1 * a11 + t1 * b11
        if along_first:
            p[0, c], p[1, c], p[2, c], p[3, c] = r0, r1, r2, r3
        else:
            p[c, 0], p[c, 1], p[c, 2], p[c, 3] = r0, r1, r2, r3


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _copy(p, out):
    for a in range(4):  # a slice assignment takes the compiler ten times as long
        for b in range(4):
            out[a, b] = p[a, b]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _cubic(a, b, c, d, t):
    """Value and slope of a cubic from its ordinates."""
    s = 1.0 - t
    ab, bc, cd = s * a + t * b, s * b + t * c, s * c + t * d
    left, right = s * ab + t * bc, s * bc + t * cd
    return s * left + t * right, 3.0 * (right - left)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _bicubic(p, u, v):
    """Value and both slopes over unit coordinates."""
    g0, d0 = _cubic(p[0, 0], p[1, 0], p[2, 0], p[3, 0], u)
    g1, d1 = _cubic(p[0, 1], p[1, 1], p[2, 1], p[3, 1], u)
    g2, d2 = _cubic(p[0, 2], p[1, 2], p[2, 2], p[3, 2], u)
    g3, d3 = _cubic(p[0, 3], p[1, 3], p[2, 3], p[3, 3], u)
    value, over_v = _cubic(g0, g1, g2, g3, v)
    over_u, _ = _cubic(d0, d1, d2, d3, v)
    return value, over_u, over_v


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _one_signed(p):
    low = high = p[0, 0]
    for a in range(4):
        for b in range(4):
            low, high = min(low, p[a, b]), max(high, p[a, b])
    return low > _ZERO or high < -_ZERO


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _judge(r1, r2, p1, p2):
    """Say of a box: 0 no root, 1 one root at most, 2 cannot tell."""
    if _one_signed(r1) or _one_signed(r2):
        return 0
    a = b = c = d = 0.0  # mean slopes over unit coordinates
    for k in range(4):
        a, b = a + r1[3, k] - r1[0, k], b + r1[k, 3] - r1[k, 0]
        c, d = c + r2[3, k] - r2[0, k], d + r2[k, 3] - r2[k, 0]
    det = a * d - b * c
    size = abs(a * d) + abs(b * c)
    if not abs(det) > 1e-10 * size:
        return 2
    # P = J⁻¹ R: nearly the coordinates themselves, so its ordinates tell more than R's
    m11, m12, m21, m22 = 4 * d / det, -4 * b / det, -4 * c / det, 4 * a / det
    noise = _ZERO * max(abs(m11) + abs(m12), abs(m21) + abs(m22))
    low1 = low2 = np.inf
    high1 = high2 = -np.inf
    for i in range(4):
        for j in range(4):
            p1[i, j] = m11 * r1[i, j] + m12 * r2[i, j]
            p2[i, j] = m21 * r1[i, j] + m22 * r2[i, j]
            low1, high1 = min(low1, p1[i, j]), max(high1, p1[i, j])
            low2, high2 = min(low2, p2[i, j]), max(high2, p2[i, j])
    if low1 > noise or high1 < -noise or low2 > noise or high2 < -noise:
        return 0
    own1 = own2 = np.inf
    other1 = other2 = 0.0
    for i in range(3):
        for j in range(4):
            own1, other1 = (
                min(own1, p1[i + 1, j] - p1[i, j]),
                max(other1, abs(p1[j, i + 1] - p1[j, i])),
            )
            own2, other2 = (
                min(own2, p2[j, i + 1] - p2[j, i]),
                max(other2, abs(p2[i + 1, j] - p2[i, j])),
            )
    return 1 if own1 > other1 and own2 > other2 else 2


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _newton(r1, r2):
    """Root of a box that holds one at most: whether found inside, its place, slopes there."""
    u = v = 0.5
    for _ in range(30):
        f, fu, fv = _bicubic(r1, u, v)
        g, gu, gv = _bicubic(r2, u, v)
        det = fu * gv - fv * gu
        if det == 0.0:
            break
        du, dv = (f * gv - g * fv) / det, (g * fu - f * gu) / det
        u, v = u - du, v - dv
        if not (abs(u - 0.5) < 2.0 and abs(v - 0.5) < 2.0):
            break
        if abs(du) + abs(dv) < 1e-11:
            inside = abs(u - 0.5) <= 0.5 + 1e-9 and abs(v - 0.5) <= 0.5 + 1e-9
            return inside, u, v
    return False, 0.5, 0.5


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _keep(h1, h2, found, count):
    """Add a root unless it is there already; the new count."""
    for k in range(count):
        if abs(found[k, 0] - h1) < _SAME and abs(found[k, 1] - h2) < _SAME:
            return count
    if count < found.shape[0]:
        found[count, 0], found[count, 1] = h1, h2
    return count + 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _search_box(boxes, spans, scratch, found, count):
    """Find all roots in box 0 of the stack; the new count, or −1 where boxes ran out."""
    waiting = 1
    looked_at = 0
    while waiting > 0:
        waiting -= 1
        looked_at += 1
        if looked_at > _MOST_LOOKS or count > found.shape[0]:
            return -1
        r1, r2 = boxes[waiting, 0], boxes[waiting, 1]
        x0, x1, y0, y1 = spans[waiting]
        verdict = _judge(r1, r2, scratch[0], scratch[1])
        if verdict == 0:
            continue
        if verdict == 1:
            inside, u, v = _newton(r1, r2)
            if inside:
                count = _keep(x0 + u * (x1 - x0), y0 + v * (y1 - y0), found, count)
                continue
        if x1 - x0 < _SMALLEST and y1 - y0 < _SMALLEST:
            count = _keep(0.5 * (x0 + x1), 0.5 * (y0 + y1), found, count)
            continue
        if waiting + 4 > boxes.shape[0]:
            return -1
        xm, ym = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
        for k in range(3, -1, -1):  # the last to be written is the parent's own place
            right, up = k // 2, k % 2
            target = boxes[waiting + k]
            for eq in range(2):
                if k > 0:
                    _copy(boxes[waiting, eq], target[eq])
                _restrict(target[eq], 0.5 * right, 0.5 + 0.5 * right, True)
                _restrict(target[eq], 0.5 * up, 0.5 + 0.5 * up, False)
            spans[waiting + k, 0] = xm if right else x0
            spans[waiting + k, 1] = x1 if right else xm
            spans[waiting + k, 2] = ym if up else y0
            spans[waiting + k, 3] = y1 if up else ym
        waiting += 4
    return count


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _cuts(top, travel_at, low, high, out):
    """Heights from low to high at which the spring bends, ends included; how many."""
    out[0] = low
    n = 1
    for piece in range(travel_at.size - 1, 0, -1):  # most travel is least height
        height = top - travel_at[piece]
        if out[n - 1] + _SMALLEST < height < high - _SMALLEST:
            out[n] = height
            n += 1
    out[n] = high
    return n + 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _load_box(patch, q, cut, spring, along_first, box):
    """Write one residual's ordinates over a cut cell: spring less air."""
    u0, u1, v0, v1 = cut
    _copy(patch, box)
    if u0 > 0.0 or u1 < 1.0:
        _restrict(box, u0, u1, True)
    if v0 > 0.0 or v1 < 1.0:
        _restrict(box, v0, v1, False)
    low, high = spring
    for a in range(4):
        for b in range(4):
            t = (a if along_first else b) / 3.0
            box[a, b] = (1.0 - t) * low + t * high - q * box[a, b]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _search_cell(axes, node, i, j, q, tops, springs, work, found, count):
    """Find all roots in one cell, cut where a stop touches."""
    x, y = axes
    patches, boxes, spans, cuts = work
    (ft, fl, fr), (rt, rl, rr) = springs
    hx, hy = x[i + 1] - x[i], y[j + 1] - y[j]
    ordinates(x, y, node[0], i, j, patches[0])
    ordinates(x, y, node[1], i, j, patches[1])
    nx = _cuts(tops[0], ft, x[i], x[i + 1], cuts[0])
    ny = _cuts(tops[1], rt, y[j], y[j + 1], cuts[1])
    for a in range(nx - 1):
        x0, x1 = cuts[0, a], cuts[0, a + 1]
        # both ends on the piece of the middle: a stop's own height belongs to two pieces
        mid, k1 = spring_force(ft, fl, fr, tops[0] - 0.5 * (x0 + x1))
        front = mid + 0.5 * k1 * (x1 - x0), mid - 0.5 * k1 * (x1 - x0)
        for b in range(ny - 1):
            y0, y1 = cuts[1, b], cuts[1, b + 1]
            mid, k2 = spring_force(rt, rl, rr, tops[1] - 0.5 * (y0 + y1))
            rear = mid + 0.5 * k2 * (y1 - y0), mid - 0.5 * k2 * (y1 - y0)
            cut = (x0 - x[i]) / hx, (x1 - x[i]) / hx, (y0 - y[j]) / hy, (y1 - y[j]) / hy
            _load_box(patches[0], q, cut, front, True, boxes[0, 0])
            if _one_signed(boxes[0, 0]):
                continue
            _load_box(patches[1], q, cut, rear, False, boxes[0, 1])
            spans[0, 0], spans[0, 1], spans[0, 2], spans[0, 3] = x0, x1, y0, y1
            count = _search_box(boxes, spans, patches[2:], found, count)
            if count < 0:
                return -1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def make_work(n_front, n_rear):
    """Scratch arrays of one thread; arguments are the numbers of spring pieces."""
    return (
        np.empty((4, 4, 4)),
        np.empty((_MOST_BOXES, 2, 4, 4)),
        np.empty((_MOST_BOXES, 4)),
        np.empty((2, max(n_front, n_rear) + 2)),
    )


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def find_roots(axes, node, ranges, q, tops, springs, work, found):
    """Find all roots of one draw at one dynamic pressure, sorted by falling front height.

    ``ranges`` holds least and greatest CzSf and CzSr of each cell ``(n_front − 1, n_rear − 1, 4)``
    and least and greatest CzSf of each row of cells ``(n_front − 1, 2)``.
    Returns the number found; −1 where the search ran out of room.
    """
    x, y = axes
    bounds, rows = ranges
    (ft, fl, fr), (rt, rl, rr) = springs
    rear = np.empty(y.size)
    for j in range(y.size):
        rear[j] = spring_force(rt, rl, rr, tops[1] - y[j])[0]
    count = np.int64(0)  # typed: a literal would be compiled for on its own
    above = spring_force(ft, fl, fr, tops[0] - x[0])[0]
    for i in range(x.size - 1):
        here, above = above, spring_force(ft, fl, fr, tops[0] - x[i + 1])[0]
        if above - q * rows[i, 1] > _ZERO or here - q * rows[i, 0] < -_ZERO:
            continue
        for j in range(y.size - 1):
            c = bounds[i, j]
            if above - q * c[1] > _ZERO or here - q * c[0] < -_ZERO:
                continue
            if rear[j + 1] - q * c[3] > _ZERO or rear[j] - q * c[2] < -_ZERO:
                continue
            count = _search_cell(axes, node, i, j, q, tops, springs, work, found, count)
            if count < 0 or count > found.shape[0]:
                return -1
    for a in range(1, count):
        for b in range(a, 0, -1):
            if found[b, 0] <= found[b - 1, 0]:
                break
            for c in range(2):
                found[b, c], found[b - 1, c] = found[b - 1, c], found[b, c]
    return count
