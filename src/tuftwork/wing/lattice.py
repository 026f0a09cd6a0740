# mypy: disable-error-code="untyped-decorator,import-untyped"
"""Vortex lattice: rings on flat strips, wakes straight behind, the road as a mirror.

Strips are level or vertical; incidence, twist, camber and onset enter as the angle of the flow
to the strip, so the influence of a geometry is solved once for all settings. Rings run along
the chord to the trailing edge before they leave, which keeps narrow tip strips regular.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import no_type_check

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.wing.planform import Wing

_FOUR_PI = 4.0 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Lattice:
    """Solved influence of one geometry.

    Attributes
    ----------
    surface : (n_strip,)
        Surface number of a strip; plates carry -1 - surface number.
    y, z, chord, width, x_quarter, twist : (n_strip,)
        Middle of the strip: place, chord, width along the strip, quarter chord, twist.
    edge_a, edge_b : (n_strip, 3)
        Trailing-edge ends of the strip.
    circulation : (n_strip, n_strip)
        Circulation of strips per unit normal speed on strips. [m]
    rings : (n_ring, 4, 3)
        Ring corners: front a, front b, rear b, rear a.
    ring_strip : (n_ring,)
        Strip of a ring.
    ring_gain : (n_ring, n_strip)
        Circulation of rings per unit normal speed on strips. [m]
    is_last : (n_ring,)
        True for the ring at the trailing edge, whose legs go on behind.
    slope : (n_strip,)
        Two-dimensional lift slope of the flat strip at its height. [1/rad]
    """

    surface: NDArray[np.int64]
    y: Array
    z: Array
    chord: Array
    width: Array
    x_quarter: Array
    twist: Array
    edge_a: Array
    edge_b: Array
    circulation: Array
    rings: Array
    ring_strip: NDArray[np.int64]
    ring_gain: Array
    is_last: NDArray[np.bool_]
    slope: Array
    is_grounded: bool
    n_row: int

    @property
    def lifting(self) -> NDArray[np.int64]:
        """Strips of surfaces, plates left out."""
        return np.flatnonzero(self.surface >= 0)


@njit(cache=True)
@no_type_check
def _segment(px: float, py: float, pz: float, a: Array, b: Array, out: Array, gain: float) -> None:
    """Add the velocity of a straight vortex from a to b."""
    ax, ay, az = px - a[0], py - a[1], pz - a[2]
    bx, by, bz = px - b[0], py - b[1], pz - b[2]
    cx, cy, cz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    c2 = cx * cx + cy * cy + cz * cz
    la, lb = np.sqrt(ax * ax + ay * ay + az * az), np.sqrt(bx * bx + by * by + bz * bz)
    sx, sy, sz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    s2 = sx * sx + sy * sy + sz * sz
    if c2 < 1e-12 * s2 * s2 + 1e-24 or la < 1e-9 or lb < 1e-9:
        return
    k = gain / (4.0 * np.pi * c2)
    k *= (sx * ax + sy * ay + sz * az) / la - (sx * bx + sy * by + sz * bz) / lb
    out[0] += k * cx
    out[1] += k * cy
    out[2] += k * cz


@njit(cache=True)
@no_type_check
def _leg(px: float, py: float, pz: float, a: Array, out: Array, gain: float) -> None:
    """Add the velocity of a vortex from a straight back to infinity along x."""
    rx, ry, rz = px - a[0], py - a[1], pz - a[2]
    d2 = ry * ry + rz * rz
    if d2 < 1e-14:
        return
    k = gain / (4.0 * np.pi * d2) * (1.0 + rx / np.sqrt(rx * rx + d2))
    out[1] -= k * rz
    out[2] += k * ry


@njit(cache=True)
@no_type_check
def ring_velocity(
    points: Array, rings: Array, is_last: Array, weights: Array, is_grounded: bool
) -> Array:
    """Velocity at points of rings with weights (n_ring, n_case) -> (n_point, n_case, 3)."""
    n_point, n_ring, n_case = points.shape[0], rings.shape[0], weights.shape[1]
    total = np.zeros((n_point, n_case, 3))
    one = np.zeros(3)
    for i in range(n_point):
        for k in range(n_ring):
            one[:] = 0.0
            for image in range(2 if is_grounded else 1):
                flip = 1.0 - 2.0 * image
                z = flip * points[i, 2]
                v = np.zeros(3)
                px, py = points[i, 0], points[i, 1]
                r = rings[k]
                _segment(px, py, z, r[0], r[1], v, 1.0)
                _segment(px, py, z, r[1], r[2], v, 1.0)
                _segment(px, py, z, r[3], r[0], v, 1.0)
                if is_last[k]:
                    _leg(px, py, z, r[2], v, 1.0)
                    _leg(px, py, z, r[3], v, -1.0)
                else:
                    _segment(px, py, z, r[2], r[3], v, 1.0)
                one[0] += v[0]
                one[1] += v[1]
                one[2] += flip * v[2]
            for c in range(n_case):
                w = weights[k, c]
                total[i, c, 0] += w * one[0]
                total[i, c, 1] += w * one[1]
                total[i, c, 2] += w * one[2]
    return total


@njit(cache=True)
@no_type_check
def _normal_influence(
    points: Array, normals: Array, rings: Array, is_last: Array, is_grounded: bool
) -> Array:
    n_point, n_ring = points.shape[0], rings.shape[0]
    out = np.zeros((n_point, n_ring))
    v = np.zeros(3)
    for i in range(n_point):
        px, py = points[i, 0], points[i, 1]
        for k in range(n_ring):
            total = 0.0
            r = rings[k]
            for image in range(2 if is_grounded else 1):
                flip = 1.0 - 2.0 * image
                z = flip * points[i, 2]
                v[:] = 0.0
                _segment(px, py, z, r[0], r[1], v, 1.0)
                _segment(px, py, z, r[1], r[2], v, 1.0)
                _segment(px, py, z, r[3], r[0], v, 1.0)
                if is_last[k]:
                    _leg(px, py, z, r[2], v, 1.0)
                    _leg(px, py, z, r[3], v, -1.0)
                else:
                    _segment(px, py, z, r[2], r[3], v, 1.0)
                total += v[0] * normals[i, 0] + v[1] * normals[i, 1] + flip * v[2] * normals[i, 2]
            out[i, k] = total
    return out


def plate_slope(height_over_chord: Array, n_row: int) -> Array:
    """Lift slope of a flat plate above a ground by point vortices, as the lattice sees it."""
    h = np.atleast_1d(np.asarray(height_over_chord, float))
    xv = (np.arange(n_row) + 0.25) / n_row
    xc = (np.arange(n_row) + 0.75) / n_row
    dx = xc[:, None] - xv[None, :]
    out = np.empty(h.size)
    for k, hh in enumerate(h):
        gap = 2.0 * hh
        matrix = (1.0 / dx - dx / (dx**2 + gap**2)) / (2.0 * np.pi)
        out[k] = 2.0 * np.linalg.solve(matrix, np.ones(n_row)).sum()
    return out


@dataclass(frozen=True, slots=True)
class _Strip:
    surface: int
    a_nose: Array
    b_nose: Array
    a_tail: Array
    b_tail: Array
    c_nose: Array
    c_tail: Array
    normal: Array
    twist: float


def _surface_strips(wing: Wing, k: int, n_span: int) -> list[_Strip]:
    s = wing.surfaces[k]
    theta = np.linspace(0.0, np.pi, n_span + 1)
    middle = 0.5 * (theta[1:] + theta[:-1])
    centre, half = 0.5 * (s.y[0] + s.y[-1]), 0.5 * s.span
    edges, mids = centre - half * np.cos(theta), centre - half * np.cos(middle)

    def place(y: Array) -> tuple[Array, Array]:
        x, z, c = (np.interp(y, s.y, v) for v in (s.x_nose, s.z, s.chord))
        return np.column_stack([x, y, z]), np.column_stack([x + c, y, z])

    en, et = place(edges)
    mn, mt = place(mids)
    twist = np.interp(mids, s.y, s.twist)
    up = np.array([0.0, 0.0, 1.0])
    out = []
    for i in range(n_span):
        slope = np.array([0.0, -(et[i + 1, 2] - et[i, 2]), et[i + 1, 1] - et[i, 1]])
        normal = slope / np.hypot(*slope[1:]) if slope[1] != 0.0 else up
        out.append(
            _Strip(k, en[i], en[i + 1], et[i], et[i + 1], mn[i], mt[i], normal, float(twist[i]))
        )
    return out


def _plate_strips(wing: Wing, k: int, n_each: int) -> list[_Strip]:
    """Plates as strips along z; an edge lies at the wing so that the legs meet."""
    s = wing.surfaces[k]
    out = []
    for plate in wing.plates[k] if wing.plates else ():
        i = 0 if plate.side < 0 else -1
        y, z0 = float(s.y[i]), float(s.z[i])
        nose = float(s.x_nose[i]) - plate.ahead
        tail = float(s.x_nose[i] + s.chord[i]) + plate.behind
        edges = [z0]
        grow = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, n_each + 1)))
        mids: list[float] = []
        lows = [z0 - plate.below * (1.0 - g) for g in grow] if plate.below > 0.0 else []
        highs = [z0 + plate.above * g for g in grow] if plate.above > 0.0 else []
        edges = [*lows[:-1], z0, *highs[1:]]
        for a, b in pairwise(edges):
            mids.append(0.5 * (a + b))
        for a, b, m in zip(edges[:-1], edges[1:], mids, strict=True):
            # right plate runs upwards, left plate downwards: one continuous sheet with the wing
            lo, hi = (a, b) if plate.side > 0 else (b, a)
            out.append(
                _Strip(
                    -1 - k,
                    np.array([nose, y, lo]),
                    np.array([nose, y, hi]),
                    np.array([tail, y, lo]),
                    np.array([tail, y, hi]),
                    np.array([nose, y, m]),
                    np.array([tail, y, m]),
                    np.array([0.0, -float(plate.side), 0.0]),
                    0.0,
                )
            )
    return out


def build_lattice(wing: Wing, *, n_span: int = 28, n_row: int = 3, n_plate: int = 5) -> Lattice:
    """Return the solved influence of a wing's geometry.

    Parameters
    ----------
    wing
        Surfaces and plates.
    n_span
        Strips across each surface, finer towards the tips. [-]
    n_row
        Rings along the chord. [-]
    n_plate
        Strips of a plate above and below the surface each. [-]
    """
    if not (n_span >= 4 and n_row >= 1 and n_plate >= 1):
        raise InputError("n_span", n_span, "", "must be at least 4, rows and plate strips 1")
    strips: list[_Strip] = []
    for k in range(len(wing.surfaces)):
        strips += _surface_strips(wing, k, n_span)
        strips += _plate_strips(wing, k, n_plate)
    n_strip, n_ring = len(strips), len(strips) * n_row
    rings, points = np.empty((n_ring, 4, 3)), np.empty((n_ring, 3))
    normals, owner = np.empty((n_ring, 3)), np.repeat(np.arange(n_strip), n_row)
    last = np.zeros(n_ring, bool)
    for i, s in enumerate(strips):
        for r in range(n_row):
            k = i * n_row + r
            f = (r + 0.25) / n_row
            g = (r + 1.25) / n_row if r < n_row - 1 else 1.0
            rings[k] = (
                s.a_nose + f * (s.a_tail - s.a_nose),
                s.b_nose + f * (s.b_tail - s.b_nose),
                s.b_nose + g * (s.b_tail - s.b_nose),
                s.a_nose + g * (s.a_tail - s.a_nose),
            )
            points[k] = s.c_nose + (r + 0.75) / n_row * (s.c_tail - s.c_nose)
            normals[k] = s.normal
            last[k] = r == n_row - 1
    matrix = _normal_influence(points, normals, rings, last, wing.is_grounded)
    on_strip = np.zeros((n_ring, n_strip))
    on_strip[np.arange(n_ring), owner] = -1.0  # rings cancel the flow through the strip
    gain = lu_solve(lu_factor(matrix, check_finite=False), on_strip, check_finite=False)
    nose = np.array([s.c_nose for s in strips])
    tail = np.array([s.c_tail for s in strips])
    a, b = np.array([s.a_tail for s in strips]), np.array([s.b_tail for s in strips])
    chord = tail[:, 0] - nose[:, 0]
    height = nose[:, 2] / chord if wing.is_grounded else np.full(n_strip, 1e3)
    keys, where = np.unique(np.round(height, 6), return_inverse=True)
    return Lattice(
        surface=np.array([s.surface for s in strips]),
        y=nose[:, 1],
        z=nose[:, 2],
        chord=chord,
        width=np.hypot(*(b - a)[:, 1:].T),
        x_quarter=nose[:, 0] + 0.25 * chord,
        twist=np.array([s.twist for s in strips]),
        edge_a=a,
        edge_b=b,
        circulation=gain[last],
        rings=rings,
        ring_strip=owner,
        ring_gain=gain,
        is_last=last,
        slope=plate_slope(keys, n_row)[where],
        is_grounded=wing.is_grounded,
        n_row=n_row,
    )


def trefftz_drag(lattice: Lattice, circulation: Array) -> Array:
    """Induced drag area times half of q from the wake far behind, (..., n_strip) -> (...).

    Returns D / (rho U^2 / 2) in m^2 for circulation over the stream speed in m.
    """
    return np.asarray(
        np.einsum("...i,ij,...j->...", circulation, trefftz_matrix(lattice), circulation)
    )


def trefftz_matrix(lattice: Lattice) -> Array:
    """Quadratic form of the induced drag: D / q = g^T T g, g circulation over speed. [-]"""
    n = lattice.y.size
    # middle of each strip's trace; on cosine strips the trace of the control point
    mid = np.column_stack([lattice.y, lattice.z])
    a, b = lattice.edge_a[:, 1:], lattice.edge_b[:, 1:]
    normal = np.column_stack([-(b - a)[:, 1], (b - a)[:, 0]])
    wash = np.zeros((n, n))
    for image in range(2 if lattice.is_grounded else 1):
        for ends, sign in ((a, -1.0), (b, 1.0)):
            dy = mid[:, None, 0] - ends[None, :, 0]
            dz = mid[:, None, 1] - (1 - 2 * image) * ends[None, :, 1]
            r2 = dy**2 + dz**2
            # unit vortex along +x at ends: v = -dz/(2 pi r2), w = dy/(2 pi r2)
            s = sign * (1 - 2 * image) / (2.0 * np.pi) / np.maximum(r2, 1e-16)
            wash += s * (-dz * normal[:, None, 0] + dy * normal[:, None, 1])
    return np.asarray(-wash)
