"""Section contours: checks with the place named, spline fit, reported shape."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from tuftwork.errors import InputError
from tuftwork.quantity import Array

_CORNER = np.deg2rad(30.0)  # sharper turns than this are corners, kept as corners by the spline
_EDGE = np.deg2rad(70.0)  # a sharp edge turns by more, each corner of a blunt one by about 90
FEWEST_POINTS = 21  # a nose needs more points than 20 to be a nose


@dataclass(frozen=True, slots=True, kw_only=True)
class Contour:
    """One closed section outline, from the upper trailing edge over the nose to the lower.

    Attributes
    ----------
    x, y : (n_point,)
        Points in the user's own unit of length.
    name
        How the section is called in messages and legends.
    notices
        What was mended on the way in (order reversed, duplicate dropped).
    """

    x: Array
    y: Array
    name: str = "section"
    notices: tuple[str, ...] = field(default=())

    @property
    def chord(self) -> float:
        """Largest distance from the middle of the trailing edge to a point. [length]"""
        tail = self.trailing_edge
        return float(np.hypot(self.x - tail[0], self.y - tail[1]).max())

    @property
    def trailing_edge(self) -> tuple[float, float]:
        """Middle of the trailing edge. [length]"""
        return 0.5 * float(self.x[0] + self.x[-1]), 0.5 * float(self.y[0] + self.y[-1])

    @property
    def edge_gap(self) -> float:
        """Thickness of the trailing edge. [length]"""
        return float(np.hypot(self.x[0] - self.x[-1], self.y[0] - self.y[-1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeReport:
    """What a contour is: chord, thickness, camber, nose radius, edge; lengths over the chord."""

    chord: float
    thickness: float
    thickness_at: float
    camber: float
    camber_at: float
    nose_radius: float
    edge_thickness: float
    edge_angle: float
    smoothness: float
    roughest_at: tuple[float, float]
    notices: tuple[str, ...] = ()


def check_contour(x: ArrayLike, y: ArrayLike, *, name: str = "section") -> Contour:
    """Return a checked contour in the house order, or refuse it with the place named.

    Clockwise order is turned round and repeated neighbours are dropped, with a notice.
    An outline that crosses itself, is open, has fewer than 21 points or is not finite is refused.

    Parameters
    ----------
    x, y : (n_point,)
        Outline, starting and ending at the trailing edge. [any length]
    name
        Name used in messages.

    Returns
    -------
    contour : Contour

    Raises
    ------
    InputError
        If the outline cannot be a section; the message names the point.
    """
    px, py = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    if px.size != py.size:
        raise InputError(name, f"{px.size} x and {py.size} y", "", "must be equal in number")
    bad = ~(np.isfinite(px) & np.isfinite(py))
    if bad.any():
        raise InputError(name, f"point {int(np.argmax(bad)) + 1}", "", "is not a finite number")
    notices = []
    step = np.hypot(np.diff(px), np.diff(py))
    size = max(float(np.ptp(px)), float(np.ptp(py)), 1e-300)
    keep = np.concatenate([[True], step > 1e-9 * size])
    if not keep.all():
        notices.append(f"{name}: repeated point {int(np.argmin(keep)) + 1} dropped")
        px, py = px[keep], py[keep]
    if px.size < FEWEST_POINTS:
        raise InputError(
            name,
            px.size,
            "points",
            f"must be at least {FEWEST_POINTS}",
            "Give the nose more points.",
        )
    px, py, more = _in_order(px, py, name)
    notices += more
    px, py, more = _from_edge(px, py, name)
    notices += more
    _refuse_open(px, py, name)
    _refuse_crossing(px, py, name)
    return Contour(x=px, y=py, name=name, notices=tuple(notices))


def _in_order(px: Array, py: Array, name: str) -> tuple[Array, Array, list[str]]:
    """Counter-clockwise, that is upper side first."""
    area = 0.5 * float(np.sum(px * np.roll(py, -1) - np.roll(px, -1) * py))
    if area < 0.0:
        return px[::-1].copy(), py[::-1].copy(), [f"{name}: order reversed, upper side first"]
    return px, py, []


def _from_edge(px: Array, py: Array, name: str) -> tuple[Array, Array, list[str]]:
    """Turn a closed outline so that it starts at its trailing edge, its only sharp corner."""
    size = max(float(np.ptp(px)), float(np.ptp(py)))
    if float(np.hypot(px[0] - px[-1], py[0] - py[-1])) > 1e-6 * size:
        return px, py, []
    x, y = px[:-1], py[:-1]
    ahead = np.arctan2(np.roll(y, -1) - y, np.roll(x, -1) - x)
    turn = np.abs((ahead - np.roll(ahead, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    sharp = np.flatnonzero(turn > _EDGE)
    if turn[0] > _EDGE or sharp.size not in (1, 2):
        return px, py, []
    # of a blunt edge's two corners the one that its base leads to comes first
    last = sharp.size == 2 and (sharp[1] - sharp[0]) % x.size == 1
    k = int(sharp[-1] if last else sharp[0])
    if sharp.size == 2 and not last:
        if (sharp[0] - sharp[1]) % x.size != 1:
            return px, py, []
        k = int(sharp[0])
    keep = 0 if sharp.size == 2 else 1  # the base of a blunt edge is no part of the outline
    order = (k + np.arange(x.size + keep)) % x.size
    return x[order], y[order], [f"{name}: started at point {k + 1}, its trailing edge"]


def _refuse_open(px: Array, py: Array, name: str) -> None:
    gap = float(np.hypot(px[0] - px[-1], py[0] - py[-1]))
    far = float(np.hypot(px - 0.5 * (px[0] + px[-1]), py - 0.5 * (py[0] + py[-1])).max())
    if gap > 0.1 * far:
        raise InputError(
            name,
            f"end points ({px[0]:g}, {py[0]:g}) and ({px[-1]:g}, {py[-1]:g})",
            "",
            "the outline is open by more than a tenth of the chord",
            "Start and end at the trailing edge: upper side, nose, lower side.",
        )


def crossing(px: Array, py: Array) -> tuple[int, int] | None:
    """Return indices of the first two segments of an open polyline that cross, or None."""
    ax, ay, bx, by = px[:-1], py[:-1], px[1:], py[1:]
    tiny = 1e-14 * max(float(np.ptp(px)), float(np.ptp(py))) ** 2  # touching is not crossing

    def side(ox: Array, oy: Array, qx: Array, qy: Array, rx: Array, ry: Array) -> Array:
        area = np.asarray((qx - ox) * (ry - oy) - (qy - oy) * (rx - ox))
        return np.where(np.abs(area) < tiny, 0.0, area)

    i, j = np.triu_indices(ax.size, k=2)
    d1 = side(ax[i], ay[i], bx[i], by[i], ax[j], ay[j])
    d2 = side(ax[i], ay[i], bx[i], by[i], bx[j], by[j])
    d3 = side(ax[j], ay[j], bx[j], by[j], ax[i], ay[i])
    d4 = side(ax[j], ay[j], bx[j], by[j], bx[i], by[i])
    hit = (d1 * d2 < 0) & (d3 * d4 < 0)
    if not hit.any():
        return None
    first = int(np.argmax(hit))
    return int(i[first]), int(j[first])


def _refuse_crossing(px: Array, py: Array, name: str) -> None:
    pair = crossing(px, py)
    if pair is not None:
        raise InputError(
            name,
            f"segments {pair[0] + 1} and {pair[1] + 1} near ({px[pair[0]]:.4g}, {py[pair[0]]:.4g})",
            "",
            "the outline crosses itself",
            "Check the order of the points and the trailing edge.",
        )


@dataclass(frozen=True, slots=True)
class SplinePath:
    """A contour as pieces of cubic spline over arc length, corners kept."""

    knots: Array
    pieces: tuple[tuple[CubicSpline, CubicSpline], ...]
    nose: float

    def at(self, s: Array) -> tuple[Array, Array]:
        """Points at arc lengths ``s``."""
        which = np.clip(np.searchsorted(self.knots, s, side="right") - 1, 0, len(self.pieces) - 1)
        x, y = np.empty_like(s), np.empty_like(s)
        for k, (fx, fy) in enumerate(self.pieces):
            mine = which == k
            x[mine], y[mine] = fx(s[mine]), fy(s[mine])
        return x, y

    def curvature(self, s: Array) -> Array:
        """Signed curvature, positive where the outline turns round the nose. [1/length]"""
        which = np.clip(np.searchsorted(self.knots, s, side="right") - 1, 0, len(self.pieces) - 1)
        out = np.empty_like(s)
        for k, (fx, fy) in enumerate(self.pieces):
            mine = which == k
            t = s[mine]
            dx, dy, ddx, ddy = fx(t, 1), fy(t, 1), fx(t, 2), fy(t, 2)
            out[mine] = (dx * ddy - dy * ddx) / np.maximum((dx**2 + dy**2) ** 1.5, 1e-300)
        return out


def fit_spline(contour: Contour) -> SplinePath:
    """Return the spline through the points, split at corners sharper than 30 degrees."""
    x, y = contour.x, contour.y
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    angle = np.arctan2(np.diff(y), np.diff(x))
    turn = np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi)
    step = np.diff(s)
    coarse = turn / np.minimum(step[1:], step[:-1]) * contour.chord
    corner = np.flatnonzero((turn > _CORNER) & (coarse > 60.0)) + 1
    nose_point = int(
        np.argmax(np.hypot(x - contour.trailing_edge[0], y - contour.trailing_edge[1]))
    )
    corner = corner[np.abs(corner - nose_point) > 2]
    ends = np.concatenate([[0], corner, [x.size - 1]])
    pieces = []
    for a, b in pairwise(ends):
        seg = slice(a, b + 1)
        kind: Literal["not-a-knot", "natural"] = "not-a-knot" if b - a > 2 else "natural"
        pieces.append(
            (CubicSpline(s[seg], x[seg], bc_type=kind), CubicSpline(s[seg], y[seg], bc_type=kind))
        )
    path = SplinePath(np.asarray(s[ends[:-1]]), tuple(pieces), float(s[nose_point]))
    lo, hi = s[max(nose_point - 2, 0)], s[min(nose_point + 2, x.size - 1)]
    fine = np.linspace(lo, hi, 401)
    fx, fy = path.at(fine)
    tail = contour.trailing_edge
    nose = float(fine[int(np.argmax(np.hypot(fx - tail[0], fy - tail[1])))])
    return SplinePath(path.knots, path.pieces, nose)


def panel_nodes(contour: Contour, n_panel: int, *, tail: float = 0.90) -> tuple[Array, Array]:
    """Return panel nodes, fine at the nose and moderately fine at the trailing edge.

    Parameters
    ----------
    contour
        The section.
    n_panel
        Panels round the contour, even. [-]
    tail
        The cosine spacing of each side ends at this share of half a turn: at 1 the last
        panels are so short that the wake displacement becomes stiff. [-]

    Returns
    -------
    x, y : (n_panel + 1,)
        Nodes in the house order.
    """
    path = fit_spline(contour)
    total = float(np.hypot(np.diff(contour.x), np.diff(contour.y)).sum())
    half = n_panel // 2
    phi = np.linspace(0.0, tail * np.pi, half + 1)
    share = (1.0 - np.cos(phi)) / (1.0 - np.cos(tail * np.pi))
    upper = path.nose * (1.0 - share[::-1])
    lower = path.nose + (total - path.nose) * share
    x, y = path.at(np.concatenate([upper, lower[1:]]))
    x[0], y[0], x[-1], y[-1] = contour.x[0], contour.y[0], contour.x[-1], contour.y[-1]
    return x, y


def describe(contour: Contour) -> ShapeReport:
    """Return chord, thickness, camber, nose radius, edge and smoothness of a contour.

    Thickness is measured square to the chord line, camber is half the sum of both sides.
    ``smoothness`` is the largest jump of curvature between neighbouring points in units of
    ``1 + |curvature| chord``; above about 1 the outline has a kink a client would feel.
    """
    path = fit_spline(contour)
    total = float(np.hypot(np.diff(contour.x), np.diff(contour.y)).sum())
    s = np.linspace(0.0, total, 4001)
    x, y = path.at(s)
    tail = contour.trailing_edge
    nx, ny = (float(v[0]) for v in path.at(np.array([path.nose])))
    chord = float(np.hypot(tail[0] - nx, tail[1] - ny))
    turn = np.arctan2(tail[1] - ny, tail[0] - nx)
    cx = ((x - nx) * np.cos(turn) + (y - ny) * np.sin(turn)) / chord
    cy = (-(x - nx) * np.sin(turn) + (y - ny) * np.cos(turn)) / chord
    upper = s <= path.nose
    grid = 0.5 * (1 - np.cos(np.linspace(0.02, np.pi - 1e-3, 400)))
    yu = np.interp(grid, cx[upper][::-1], cy[upper][::-1])
    yl = np.interp(grid, cx[~upper], cy[~upper])
    thickness, camber = yu - yl, 0.5 * (yu + yl)
    at_nose = path.curvature(path.nose + np.linspace(-1, 1, 21) * 4e-4 * chord)
    k = path.curvature(s) * chord
    rough = np.abs(np.diff(k)) / (1.0 + np.abs(k[:-1]))
    rough[(cx[:-1] < 0.02) | (cx[:-1] > 0.98)] = 0.0
    worst = int(np.argmax(rough))
    i, j = int(np.argmax(thickness)), int(np.argmax(np.abs(camber)))
    sides = [np.arctan2(cy[m] - cy[e], cx[e] - cx[m]) for e, m in ((0, 60), (-1, -61))]
    return ShapeReport(
        chord=chord,
        thickness=float(thickness[i]),
        thickness_at=float(grid[i]),
        camber=float(camber[j]),
        camber_at=float(grid[j]),
        nose_radius=float(1.0 / max(np.abs(at_nose).mean() * chord, 1e-12)),
        edge_thickness=contour.edge_gap / chord,
        edge_angle=float(sides[0] - sides[1]),
        smoothness=float(rough[worst]),
        roughest_at=(float(x[worst]), float(y[worst])),
        notices=contour.notices,
    )


def thicken_edge(contour: Contour, thickness: float, *, start: float = 0.0) -> Contour:
    """Return the section with its trailing edge opened to ``thickness`` (share of the chord).

    The extra thickness grows with the square of the distance from ``start``, half a side.
    """
    if not 0.0 <= thickness < 0.1:
        raise InputError("thickness", thickness, "chord", "must be from 0 to 0.1")
    path_x = (contour.x - contour.x.min()) / contour.chord
    nose = int(np.argmin(contour.x))
    extra = thickness * contour.chord - contour.edge_gap
    grow = np.clip((path_x - start) / (1.0 - start), 0.0, 1.0) ** 2 * 0.5 * extra
    side = np.where(np.arange(contour.x.size) <= nose, 1.0, -1.0)
    return Contour(
        x=contour.x, y=contour.y + side * grow, name=f"{contour.name}, edge {100 * thickness:.2f} %"
    )


def transform(
    contour: Contour,
    *,
    scale: float = 1.0,
    turn: float = 0.0,
    about: tuple[float, float] = (0.0, 0.0),
    shift: tuple[float, float] = (0.0, 0.0),
) -> Contour:
    """Return the contour scaled, turned nose-down-positive is ``turn`` < 0, then shifted. [rad]"""
    dx, dy = (contour.x - about[0]) * scale, (contour.y - about[1]) * scale
    c, s = np.cos(turn), np.sin(turn)
    return Contour(
        x=about[0] + c * dx - s * dy + shift[0],
        y=about[1] + s * dx + c * dy + shift[1],
        name=contour.name,
        notices=contour.notices,
    )


def mirror(contour: Contour) -> Contour:
    """Return the section upside down, in the house order."""
    return Contour(
        x=contour.x[::-1].copy(),
        y=-contour.y[::-1],
        name=f"{contour.name} inverted",
        notices=contour.notices,
    )
