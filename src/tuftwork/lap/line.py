"""Circuits from points: a centre line with widths, laps logged by satellite, marks on a drawing."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline

from tuftwork.errors import InputError
from tuftwork.lap.circuit import Circuit, circuit_of
from tuftwork.quantity import Array

_EARTH = 6_371_008.8  # [m]  mean radius; over a circuit's extent the error is below 0.4 %
_FINE = 0.5  # [m]  spacing at which curvature is kept


def circuit_from_line(
    name: str,
    points: Array,
    *,
    widths: Array | None = None,
    height: Array | None = None,
    bank: Array | None = None,
    smoothing: float = 0.0,
    closed: bool = True,
    crossing_allowed: bool = False,
) -> Circuit:
    """Build a circuit from points on its line.

    A periodic cubic spline through the points by chord length; with a smoothing length ℓ, x and y
    are passed through 1/(1 + (ωℓ)⁴), the smoothing spline of an endless evenly sampled line.

    Parameters
    ----------
    name : ()
        Name of the circuit. [-]
    points : (n, 2)
        x and y, the first not repeated at the end. [m]
    widths : (n, 2)
        To the right and to the left edge. [m]
    height, bank : (n,)
        Height of the road [m] and bank, down to the left positive [rad].
    smoothing : ()
        Length ℓ: bends shorter than about 2πℓ are taken for noise. [m]
    closed : ()
        Whether the line is a loop. [-]
    crossing_allowed : ()
        Whether the line may cross itself (a bridge). [-]

    Returns
    -------
    circuit : ()
        With notices on closure and noise. [-]

    Raises
    ------
    InputError
        If the line is open, crosses itself, is in other units, spikes or is not made of numbers.

    References
    ----------
    [craven1978] for the smoothing spline as a filter.
    """
    points = np.asarray(points, dtype=float)
    _check_points(points, closed)
    if closed and np.hypot(*(points[0] - points[-1])) < 0.05:
        points = points[:-1]
        widths = None if widths is None else np.asarray(widths)[: len(points)]
        height = None if height is None else np.asarray(height)[: len(points)]
        bank = None if bank is None else np.asarray(bank)[: len(points)]
    chord, loop = _chord(points, closed)
    spline = CubicSpline(chord, loop, bc_type="periodic" if closed else "natural")
    spline, at, length = _by_arc(spline, chord, closed)
    raw = _curvature(spline, at)
    if smoothing > 0.0:
        if not closed:
            raise InputError("smoothing", smoothing, "m", "needs a closed line", "Close the line.")
        spline, at, length = _smooth(spline, at, smoothing)
    curvature = _curvature(spline, at)
    station = np.linspace(0.0, length, at.size)
    xy = spline(at)
    if not crossing_allowed:
        _check_crossing(xy)
    share = chord / chord[-1]

    def spread(values: Array | None) -> Array:
        if values is None:
            return np.zeros_like(station)
        column = np.asarray(values, dtype=float)
        column = np.r_[column, column[0]] if closed else column
        return np.interp(station / length, share, column)

    grade, crest = _profile(station, spread(height), closed)
    fields: dict[str, object] = {"bank": spread(bank), "grade": grade, "crest": crest}
    if widths is not None:
        widths = np.asarray(widths, dtype=float)
        fields |= {"width_right": spread(widths[:, 0]), "width_left": spread(widths[:, 1])}
    made = circuit_of(name, station, curvature, (xy[:, 0], xy[:, 1]), closed=closed, **fields)
    return replace(made, notices=_noise(made, raw, smoothing, closed))


def _check_points(points: Array, closed: bool) -> None:
    """Refuse points that are no line."""
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 8:
        raise InputError("points", str(points.shape), "", "needs at least 8 rows of x, y")
    if not np.all(np.isfinite(points)):
        row = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0])
        raise InputError("points", "nan", "m", f"row {row} is not a number", "Remove that row.")
    step = np.hypot(*np.diff(points, axis=0).T)
    if np.any(step == 0.0):
        raise InputError(
            "points", int(np.argmin(step)), "", "point repeated", "Remove one of them."
        )
    if not float(step.sum()) > 50.0:
        raise InputError(
            "length", float(step.sum()), "m", "too short for a circuit",
            "Given in km? Multiply by 1000.",
        )  # fmt: skip
    gap = float(np.hypot(*(points[0] - points[-1])))
    if closed and gap > max(4.0 * float(np.median(step)), 3.0 * float(step.max()), 20.0):
        raise InputError(
            "closure", gap, "m", "the end does not meet the start", "Open line? Say closed=False."
        )


def _chord(points: Array, closed: bool) -> tuple[Array, Array]:
    """Return chord parameter and points, the first repeated on a loop."""
    loop = np.vstack([points, points[:1]]) if closed else points
    return np.r_[0.0, np.cumsum(np.hypot(*np.diff(loop, axis=0).T))], loop


def _by_arc(spline: CubicSpline, chord: Array, closed: bool) -> tuple[CubicSpline, Array, float]:
    """Return the spline, parameters even in arc length, and the length."""
    fine = np.linspace(chord[0], chord[-1], 8 * len(chord) * 4 + 1)
    speed = np.hypot(*spline(fine, 1).T)
    arc = np.r_[0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(fine))]
    n = int(np.ceil(arc[-1] / _FINE)) + 1
    return spline, np.interp(np.linspace(0.0, arc[-1], n), arc, fine), float(arc[-1])


def _smooth(spline: CubicSpline, at: Array, scale: float) -> tuple[CubicSpline, Array, float]:
    """Return a smoothed closed spline, even in arc length."""
    xy = spline(at)[:-1]
    ds = float(np.mean(np.hypot(*np.diff(spline(at), axis=0).T)))
    omega = 2.0 * np.pi * np.fft.rfftfreq(len(xy), ds)
    keep = 1.0 / (1.0 + (omega * scale) ** 4)
    xy = np.fft.irfft(np.fft.rfft(xy, axis=0) * keep[:, None], n=len(xy), axis=0)
    chord, loop = _chord(xy, True)
    return _by_arc(CubicSpline(chord, loop, bc_type="periodic"), chord, True)


def _curvature(spline: CubicSpline, at: Array) -> Array:
    """Return signed curvature along a plane spline."""
    (dx, dy), (ddx, ddy) = spline(at, 1).T, spline(at, 2).T
    return np.asarray((dx * ddy - dy * ddx) / (dx * dx + dy * dy) ** 1.5)


def _check_crossing(xy: Array) -> None:
    """Refuse a line that crosses itself."""
    from shapely import LineString

    thin = xy[:: max(1, len(xy) // 3000)]
    if not LineString(thin[:-1]).is_simple:
        raise InputError(
            "line", "crossing", "", "crosses itself",
            "Mend the order of points, or allow crossing if there is a bridge.",
        )  # fmt: skip


def _profile(station: Array, height: Array, closed: bool) -> tuple[Array, Array]:
    """Return grade and vertical curvature from heights, smoothed over 30 m."""
    if not np.any(height):
        return np.zeros_like(station), np.zeros_like(station)
    if closed:
        h = height[:-1]
        ds = station[1] - station[0]
        omega = 2.0 * np.pi * np.fft.rfftfreq(h.size, ds)
        wave = np.fft.rfft(h) / (1.0 + (omega * 30.0) ** 4)
        slope = np.fft.irfft(wave * 1j * omega, n=h.size)
        bend = np.fft.irfft(-wave * omega**2, n=h.size)
        return np.arctan(np.r_[slope, slope[0]]), np.r_[bend, bend[0]]
    slope = np.gradient(height, station)
    return np.arctan(slope), np.gradient(slope, station)


def _noise(circuit: Circuit, raw: Array, smoothing: float, closed: bool) -> tuple[str, ...]:
    """Return what closure and noise checks have to say."""
    notices = []
    if closed and abs(abs(circuit.turns) - round(abs(circuit.turns))) > 0.01:
        notices.append(f"heading does not close: {circuit.turns:.3f} turns")
    # a kept line bends smoothly over a car length; what is left of it is noise
    n = max(3, round(5.0 / _FINE))
    smooth = np.convolve(np.r_[raw[-n:], raw, raw[:n]], np.ones(n) / n, "same")[n:-n]
    rough = float(np.sqrt(np.mean((raw - smooth) ** 2)))
    if rough > 0.002 and smoothing == 0.0:
        notices.append(
            f"curvature is noisy (±{rough:.4f} 1/m about its 5 m mean): smooth over 5 m to 10 m"
        )
    return tuple(notices)


def circuit_from_laps(
    name: str, laps: Sequence[Array], *, degrees: bool = True, smoothing: float = 8.0,
    half_width: float = 5.0,
) -> Circuit:  # fmt: skip
    """Build a circuit from several laps logged by satellite: averaged, closed, smoothed.

    Parameters
    ----------
    name : ()
        Name of the circuit. [-]
    laps : (n_lap,) of (n, 2)
        Latitude and longitude [deg], or x and y [m] if not degrees. Each one lap.
    degrees : ()
        Whether the laps are latitude and longitude. [-]
    smoothing : ()
        Smoothing length ℓ. [m]
    half_width : ()
        Width assumed to either side; a log does not show the edges. [m]

    Returns
    -------
    circuit : ()
        The driven line, averaged square to the first lap. [-]

    Raises
    ------
    InputError
        If a lap is not a loop or the laps are not of the same circuit.
    """
    if not laps:
        raise InputError("laps", 0, "", "needs at least one lap")
    plane = [np.asarray(lap, dtype=float) for lap in laps]
    if degrees:
        lat0, lon0 = plane[0].mean(axis=0)
        plane = [_to_plane(lap, lat0, lon0) for lap in plane]
    first = _even(plane[0])
    for _ in range(2):  # the second pass measures square to the mean of the first
        tangent = np.roll(first, -1, axis=0) - np.roll(first, 1, axis=0)
        tangent /= np.hypot(*tangent.T)[:, None]
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
        offsets = np.stack([_offset(first, normal, _even(lap)) for lap in plane])
        first = first + np.mean(offsets, axis=0)[:, None] * normal
    spread = float(np.mean(np.std(offsets, axis=0)))
    made = circuit_from_line(
        name, first, widths=np.full((len(first), 2), half_width), smoothing=smoothing
    )
    note = f"mean of {len(laps)} laps, scatter ±{spread:.2f} m, smoothed over {smoothing:g} m"
    return replace(made, notices=(note, *made.notices))


def _to_plane(lap: Array, lat0: float, lon0: float) -> Array:
    """Return metres east and north on a plane touching at the mean point."""
    rad = np.pi / 180.0
    east = (lap[:, 1] - lon0) * rad * _EARTH * np.cos(lat0 * rad)
    return np.stack([east, (lap[:, 0] - lat0) * rad * _EARTH], axis=1)


def _even(lap: Array) -> Array:
    """Return a lap closed and resampled about every 5 m."""
    _check_points(lap, True)
    gap = lap[-1] - lap[0]
    if np.hypot(*gap) < 0.05:
        lap = lap[:-1]
    chord, loop = _chord(lap, True)
    n = int(chord[-1] / 5.0)
    at = np.linspace(0.0, chord[-1], n, endpoint=False)
    return np.stack([np.interp(at, chord, loop[:, j]) for j in range(2)], axis=1)


def _offset(line: Array, normal: Array, lap: Array) -> Array:
    """Return the offset of a lap from a line, square to the line."""
    from scipy.spatial import cKDTree

    closed = np.vstack([lap, lap[:1]])
    # ten-fold finer points make nearest-point distance a square distance
    fine = np.concatenate(
        [np.linspace(closed[i], closed[i + 1], 10, False) for i in range(len(lap))]
    )
    distance, index = cKDTree(fine).query(line)
    if float(np.max(distance)) > 25.0:
        raise InputError(
            "laps", float(np.max(distance)), "m", "apart: not laps of one circuit",
            "Cut the log at the line; leave out pit laps.",
        )  # fmt: skip
    return np.asarray(np.sum((fine[index] - line) * normal, axis=1))


def circuit_from_drawing(
    name: str, marks: Array, metres_per_pixel: float, *, half_width: float = 5.0,
    smoothing: float = 15.0,
) -> Circuit:  # fmt: skip
    """Build a circuit from marks set along its line on a drawing.

    Parameters
    ----------
    name : ()
        Name of the circuit. [-]
    marks : (n, 2)
        Pixel column and row, in driving order. [px]
    metres_per_pixel : ()
        Scale of the drawing. [m/px]
    half_width : ()
        Width to either side. [m]
    smoothing : ()
        Smoothing length ℓ; hand-set marks wander. [m]

    Returns
    -------
    circuit : ()
        The line drawn, smoothed. [-]

    Raises
    ------
    InputError
        If the scale is not above 0 or the line is none.
    """
    if not metres_per_pixel > 0.0:
        raise InputError("metres_per_pixel", metres_per_pixel, "m/px", "must be above 0")
    points = np.asarray(marks, dtype=float) * [1.0, -1.0] * metres_per_pixel  # rows grow downward
    made = circuit_from_line(
        name, points, widths=np.full((len(points), 2), half_width), smoothing=smoothing
    )
    note = f"from a drawing, smoothed over {smoothing:g} m: radii are good to about 10 %"
    return replace(made, notices=(note, *made.notices))
