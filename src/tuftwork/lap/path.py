"""The room on a road, and the line of least curvature in it. Off unless asked for."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix, diags, vstack
from scipy.sparse.linalg import spsolve

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.line import circuit_from_line
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A road as points on its line and how far a car may leave them.

    Attributes
    ----------
    circuit, at : (), (n,)
        The road, and stations on it. [m]
    base, normal : (n, 2)
        Points of its line and the direction to the left of it. [m], [-]
    lowest, highest : (n,)
        Offsets at which half a car still fits, left positive. [m]
    """

    circuit: Circuit
    at: Array
    base: Array
    normal: Array
    lowest: Array
    highest: Array

    def on(self, name: str) -> Array:
        """Return a field of the circuit at the points."""
        return np.asarray(np.interp(self.at, self.circuit.station, getattr(self.circuit, name)))

    def line(self, offset: Array) -> Array:
        """Return the points moved by offsets, (n, 2). [m]"""
        return np.asarray(self.base + offset[:, None] * self.normal)


def room_on(circuit: Circuit, car_width: float, spacing: float) -> Room:
    """Return the room a car has on a closed circuit.

    Raises
    ------
    InputError
        If the circuit is open, somewhere narrower than the car, or the spacing is not above 0.
    """
    if not circuit.closed:
        raise InputError("circuit", circuit.name, "", "is open", "A path needs a closed circuit.")
    if not 0.5 <= spacing <= 25.0:
        raise InputError("spacing", spacing, "m", "must be 0.5 to 25")
    n = 3 * max(10, round(circuit.length / spacing / 3.0))  # in threes: see the slopes of a line
    at = np.linspace(0.0, circuit.length, n, endpoint=False) + circuit.station[0]
    x, y = plan_at(circuit, at)
    base = np.stack([x, y], axis=1)
    tangent = np.roll(base, -1, axis=0) - np.roll(base, 1, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / np.hypot(*tangent.T)[:, None]
    right = np.interp(at, circuit.station, circuit.width_right)
    left = np.interp(at, circuit.station, circuit.width_left)
    lowest, highest = -(right - 0.5 * car_width), left - 0.5 * car_width
    if not np.all(np.isfinite(highest - lowest)):
        raise InputError("width", "nan", "m", "must be numbers all round")
    if np.any(highest - lowest <= 0.0):
        where = float(at[int(np.argmin(highest - lowest))])
        raise InputError(
            "width", float(np.min(right + left)), "m", f"narrower than the car at {where:.0f} m"
        )
    middle = 0.5 * (lowest + highest)
    thin = highest - lowest < 2e-6  # an interior path needs an inside
    return Room(
        circuit=circuit, at=at, base=base, normal=normal,
        lowest=np.where(thin, middle - 1e-6, lowest),
        highest=np.where(thin, middle + 1e-6, highest),
    )  # fmt: skip


def least_curvature_line(
    circuit: Circuit, *, car_width: float = 1.9, spacing: float = 5.0, rounds: int = 3
) -> Circuit:
    """Return the line of least curvature within the widths.

    Minimise Σ|r''|² over offsets square to the line, bounded by the road less half a car to
    either side; again from the line found, because curvature is not linear in the offset.

    Parameters
    ----------
    circuit : ()
        Closed circuit with widths. [-]
    car_width : ()
        Width that must fit. [m]
    spacing : ()
        Distance between points. [m]
    rounds : ()
        How often it is done. [-]

    Returns
    -------
    circuit : ()
        The same road with its station on the new line, widths measured from it. [-]

    Raises
    ------
    InputError
        If the circuit is open or somewhere narrower than the car.
    NotConverged
        If the bounded least squares stops short.

    References
    ----------
    [heilmeier2020] for the minimum-curvature problem.
    """
    room = room_on(circuit, car_width, spacing)
    offset = least_curvature(room, rounds)
    return circuit_on(room, offset, "least-curvature line, not the line given")


def least_curvature(room: Room, rounds: int = 3) -> Array:
    """Return the offsets of least curvature, (n,). [m]"""
    moved = np.zeros(room.at.size)
    for _ in range(rounds):
        line = room.line(moved)
        second = _second_difference(np.hypot(*(np.roll(line, -1, axis=0) - line).T))
        matrix = vstack([second.multiply(room.normal[:, j]) for j in range(2)]).tocsr()
        target = -np.concatenate([second @ room.base[:, j] for j in range(2)])
        quadratic = (matrix.T @ matrix).tocsc()
        moved = bounded_least(quadratic, -(matrix.T @ target), room.lowest, room.highest)
    return moved


def circuit_on(room: Room, offset: Array, notice: str) -> Circuit:
    """Return the road with its station on another line, widths measured from it.

    Parameters
    ----------
    room, offset : (), (n,)
        The road and the line on it. [m]
    notice : ()
        What is to be said of the line. [-]
    """
    circuit = room.circuit
    made = circuit_from_line(
        circuit.name, room.line(offset),
        widths=np.stack([room.on("width_right") + offset, room.on("width_left") - offset], axis=1),
        bank=room.on("bank"), crossing_allowed=True,
    )  # fmt: skip
    # place on the road → place on the line, by the chords between the points
    line = room.line(offset)
    chord = np.hypot(*(np.roll(line, -1, axis=0) - line).T)
    place = np.r_[0.0, np.cumsum(chord)] / chord.sum() * made.length
    road = np.r_[room.at, room.at[0] + circuit.length]

    def moved(station: float) -> float:
        return float(np.interp(station, road, place))

    corners = tuple(
        replace(
            c, start=moved(c.start), apex=moved(c.apex), end=moved(c.end),
            radius=_radius_between(made, moved(c.start), moved(c.end)),
        )
        for c in circuit.corners
    )  # fmt: skip
    back = np.interp(made.station, place, road)
    return replace(
        made, notices=(notice, *circuit.notices, *made.notices), corners=corners,
        grade=np.interp(back, circuit.station, circuit.grade),
        crest=np.interp(back, circuit.station, circuit.crest),
    )  # fmt: skip


def _radius_between(circuit: Circuit, start: float, end: float) -> float:
    """Return the tightest radius between two stations. [m]"""
    inside = (circuit.station >= start) & (circuit.station <= end)
    tightest = float(np.max(np.abs(circuit.curvature[inside]), initial=1e-5))
    return 1.0 / tightest


def plan_at(circuit: Circuit, at: Array) -> tuple[Array, Array]:
    """Return plan points at stations, following the curvature between the circuit's own."""
    if circuit.station.size > 0.3 * circuit.length:
        return np.interp(at, circuit.station, circuit.x), np.interp(at, circuit.station, circuit.y)
    fine = np.unique(np.r_[np.linspace(0.0, circuit.length, int(circuit.length / 0.2)), at])
    k = np.interp(fine, circuit.station, circuit.curvature)
    ds = np.diff(fine)
    heading = np.r_[0.0, np.cumsum(0.5 * (k[1:] + k[:-1]) * ds)]
    mid = 0.5 * (heading[1:] + heading[:-1])
    x = np.r_[0.0, np.cumsum(np.cos(mid) * ds)]
    y = np.r_[0.0, np.cumsum(np.sin(mid) * ds)]
    return np.interp(at, fine, x), np.interp(at, fine, y)


def bounded_least(quadratic: csc_matrix, linear: Array, lo: Array, hi: Array) -> Array:
    """Return x between bounds that minimises ½ xᵀ Q x + gᵀ x, by an interior path.

    Parameters
    ----------
    quadratic : (n, n)
        Q, sparse, not negative. [-]
    linear : (n,)
        g. [-]
    lo, hi : (n,)
        Bounds, each pair apart. [-]

    Raises
    ------
    NotConverged
        If the path stops short of the least value.

    Notes
    -----
    Minimise Q(x) - t Σ ln(x - lo) - t Σ ln(hi - x) with t falling to nothing; sparse throughout.
    """
    x = 0.5 * (lo + hi)
    scale = max(float(quadratic.diagonal().max()), 1e-12)
    zl, zu = scale * 1e-2 / (x - lo), scale * 1e-2 / (hi - x)
    force = max(scale, float(np.max(np.abs(linear))))
    for _ in range(120):
        gap = float(np.mean(zl * (x - lo) + zu * (hi - x))) / 2.0
        slope = quadratic @ x + linear - zl + zu
        if gap < 1e-12 * force and np.max(np.abs(slope)) < 1e-9 * force:
            return np.asarray(x)
        t = 0.1 * gap
        left, right = x - lo, hi - x
        rhs = -(quadratic @ x + linear) + t / left - t / right
        dx = spsolve(quadratic + diags(zl / left + zu / right, format="csc"), rhs)
        dzl = t / left - zl - zl / left * dx
        dzu = t / right - zu + zu / right * dx
        moves = ((left, dx), (right, -dx), (zl, dzl), (zu, dzu))
        step = min(
            1.0, *(0.99 * float(np.min(-v[d < 0] / d[d < 0], initial=9.0)) for v, d in moves)
        )
        x, zl, zu = x + step * dx, zl + step * dzl, zu + step * dzu
    raise NotConverged("line within the road: the bounded least squares stopped short")


def _second_difference(step: Array) -> coo_matrix:
    """Return the periodic second-derivative matrix on uneven steps, weighted by root of length."""
    n = step.size
    after, before = step, np.roll(step, 1)
    i = np.arange(n)
    scale = np.sqrt(0.5 * (after + before))
    a = 2.0 / (before * (before + after)) * scale
    c = 2.0 / (after * (before + after)) * scale
    rows = np.concatenate([i, i, i])
    cols = np.concatenate([(i - 1) % n, i, (i + 1) % n])
    return coo_matrix((np.concatenate([a, -a - c, c]), (rows, cols)), shape=(n, n))
