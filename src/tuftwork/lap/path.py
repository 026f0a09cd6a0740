"""A line within the road: least curvature, by bounded least squares. Off unless asked for."""

from dataclasses import replace

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags, vstack
from scipy.sparse.linalg import spsolve

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.line import circuit_from_line
from tuftwork.quantity import Array


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
    if not circuit.closed:
        raise InputError("circuit", circuit.name, "", "is open", "A path needs a closed circuit.")
    n = int(circuit.length / spacing)
    at = np.linspace(0.0, circuit.length, n, endpoint=False) + circuit.station[0]

    def on(values: Array) -> Array:
        return np.asarray(np.interp(at, circuit.station, values))

    x, y = plan_at(circuit, at)
    right, left = on(circuit.width_right), on(circuit.width_left)
    lo, hi = -(right - 0.5 * car_width), left - 0.5 * car_width
    if np.any(hi - lo <= 0.0):
        where = float(at[int(np.argmin(hi - lo))])
        raise InputError(
            "width", float(np.min(right + left)), "m", f"narrower than the car at {where:.0f} m"
        )
    lo, hi = np.minimum(lo, -1e-6), np.maximum(hi, 1e-6)
    moved = np.zeros(n)
    base = np.stack([x, y], axis=1)
    tangent = np.roll(base, -1, axis=0) - np.roll(base, 1, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / np.hypot(*tangent.T)[:, None]
    for _ in range(rounds):
        line = base + moved[:, None] * normal
        second = _second_difference(np.hypot(*(np.roll(line, -1, axis=0) - line).T))
        matrix = vstack([second.multiply(normal[:, j]) for j in range(2)]).tocsr()
        target = -np.concatenate([second @ base[:, j] for j in range(2)])
        moved = _bounded(matrix, target, lo, hi)
    line = base + moved[:, None] * normal
    made = circuit_from_line(
        circuit.name, line, widths=np.stack([right + moved, left - moved], axis=1),
        bank=on(circuit.bank), crossing_allowed=True,
    )  # fmt: skip
    grade = np.interp(made.station / made.length, (at - at[0]) / circuit.length, on(circuit.grade))
    crest = np.interp(made.station / made.length, (at - at[0]) / circuit.length, on(circuit.crest))
    return replace(
        made, grade=grade, crest=crest,
        notices=("least-curvature line, not the centre line", *made.notices),
    )  # fmt: skip


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


def _bounded(matrix: csr_matrix, target: Array, lo: Array, hi: Array) -> Array:
    """Return the bounded least-squares solution by an interior path, sparse throughout.

    Minimise ½|Ax - b|² - t Σ ln(x - lo) - t Σ ln(hi - x) with t falling to nothing.
    """
    h = (matrix.T @ matrix).tocsc()
    g = -(matrix.T @ target)
    x = 0.5 * (lo + hi)
    zl, zu = 1.0 / (x - lo), 1.0 / (hi - x)
    scale = float(h.diagonal().max())
    zl, zu = zl * scale * 1e-2, zu * scale * 1e-2
    for _ in range(120):
        gap = float(np.mean(zl * (x - lo) + zu * (hi - x))) / 2.0
        slope = h @ x + g - zl + zu
        if gap < 1e-12 * scale and np.max(np.abs(slope)) < 1e-9 * scale:
            return np.asarray(x)
        t = 0.1 * gap
        left, right = x - lo, hi - x
        rhs = -(h @ x + g) + t / left - t / right
        dx = spsolve(h + diags(zl / left + zu / right, format="csc"), rhs)
        dzl = t / left - zl - zl / left * dx
        dzu = t / right - zu + zu / right * dx
        moves = ((left, dx), (right, -dx), (zl, dzl), (zu, dzu))
        step = min(
            1.0, *(0.99 * float(np.min(-v[d < 0] / d[d < 0], initial=9.0)) for v, d in moves)
        )
        x, zl, zu = x + step * dx, zl + step * dzl, zu + step * dzu
    raise NotConverged("least-curvature line: the bounded least squares stopped short")


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
