"""The quickest line within the road: exact slopes of lap time with the line. Off unless asked for.

The line is points a few metres apart, each moved square to the road. A lap of that polygon gives
lap time and, by the passes run backwards, its slope with the curvature at every point and with the
length of every piece; what a moved point does to both is known exactly. Steps minimise the slope
plus a price on changes of curvature within the bounds; the price follows from whether the lap
became as much quicker as the slope promised. Every few steps the line is looked at as a smooth road
with a lap on a finer grid, and the best line looked at is the answer.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.sparse import csc_matrix, csr_matrix, identity

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.mesh import Mesh
from tuftwork.lap.path import Room, bounded_least, circuit_on, least_curvature, room_on
from tuftwork.lap.record import Whole
from tuftwork.lap.solve import Case, prepare, run_kernel, slopes_of
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Surroundings, Vehicle
from tuftwork.quantity import Array

_SMALL = 1e-30  # [m]  step of the complex-step derivative: exact to rounding
_LOOK = 15  # steps between two looks at the line with a full lap
_ENOUGH = 0.005  # [s]  less than this between looks, twice in a row, is the end
_KEPT = 0.8  # [-]  of the mean slope at every step
_REACHES = (60.0, 25.0)  # [m]  over which steps change curvature evenly, in turn
_PRICE = 16.0  # of a change of curvature, to begin with


@dataclass(frozen=True, slots=True, kw_only=True)
class Judge:
    """The car whose lap decides, on a grid fine enough that no line gains by its points."""

    case: Case
    air: Surroundings | None
    state: str | None

    def lap(self, room: Room, offset: Array) -> float:
        """Return the lap time of a line as a smooth road. [s]"""
        road = circuit_on(room, offset, "")
        case = prepare(
            road, self.case.vehicle, self.case.aero, air=self.air, state=self.state, n_point=1500
        )
        return float(run_kernel(case, case.parameters, case.aero.of_draw(0))[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastTime:
    """The quickest line found.

    Attributes
    ----------
    circuit
        The road with its station on that line.
    offset : (n,)
        To the left of the line given. [m]
    times : (n_look,)
        Laps of the lines looked at, the least-curvature line's first. [s]
    """

    circuit: Circuit
    offset: Array
    times: Array


def least_time_line(
    circuit: Circuit,
    vehicle: Vehicle,
    aero: AeroTable,
    *,
    air: Surroundings | None = None,
    state: str | None = None,
    spacing: float = 6.0,
    rounds: int = 600,
) -> LeastTime:
    """Return the quickest line within the widths for one car, from the least-curvature line on.

    Parameters
    ----------
    circuit : ()
        Closed circuit with widths. [-]
    vehicle, aero, air, state : ()
        As for a lap; the car's width has to fit. [-]
    spacing : ()
        Distance between points. [m]
    rounds : ()
        Most steps tried. [-]

    Returns
    -------
    found : ()
        Line and how its time fell. [-]

    Raises
    ------
    InputError
        If the circuit is open or somewhere narrower than the car.
    NotConverged
        If the line still gains after all rounds.

    Notes
    -----
    The least found from one start: a road can have other lines as quick. Tyres that have not
    settled, kerbs and what a driver dares are not in it.

    References
    ----------
    [heilmeier2020] for offsets square to the line; [squire1998] for the complex-step derivative.
    """
    room = room_on(circuit, vehicle.width, spacing)
    if not rounds >= 1:
        raise InputError("rounds", rounds, "", "must be at least 1")
    case = prepare(circuit, vehicle, aero, air=air, state=state, n_point=200)
    judge = Judge(case=case, air=air, state=state)
    offset, times = _descend(room, judge, least_curvature(room), rounds)
    made = circuit_on(room, offset, "quickest line for this car, not the line given")
    return LeastTime(circuit=made, offset=offset, times=np.array(times))


def _descend(room: Room, judge: Judge, offset: Array, rounds: int) -> tuple[Array, list[float]]:
    """Return the best offsets and the laps of the lines looked at on the way.

    Lap time has kinks (an apex takes over from another), where one slope points along the kink's
    side only; slopes of earlier points, refused ones too, are kept in a running mean that points
    along it.
    """
    case = judge.case
    time, slope, bend = _lap(room, case, offset)
    mean, price = slope, _PRICE
    best, times, idle = offset, [judge.lap(room, offset)], 0
    reaches = list(_REACHES)
    for count in range(1, rounds + 1):
        step = _step(room, offset, mean, bend, price, reaches[0])
        promised = -float(mean @ step)
        try:
            trial, trial_slope, trial_bend = _lap(room, case, offset + step)
        except NotConverged:  # a step too far for the car to follow
            price *= 4.0
            continue
        if time - trial > max(0.02 * promised, 0.0):
            price *= 0.8 if time - trial > 0.3 * promised else 1.0
            offset, time, slope, bend = offset + step, trial, trial_slope, trial_bend
            mean = _KEPT * mean + (1.0 - _KEPT) * slope
        else:
            price *= 1.3
            mean = _KEPT * mean + (1.0 - _KEPT) * trial_slope if promised > 0.0 else slope
        if count % _LOOK == 0:
            found = judge.lap(room, offset)
            idle = 0 if found < min(times) - _ENOUGH else idle + 1
            best = offset if found < min(times) else best
            times.append(found)
            if idle == 2:
                del reaches[0]
                if not reaches:
                    return best, times
                offset, price, idle = best, _PRICE, 0
                time, slope, bend = _lap(room, case, offset)
                mean = slope
    raise NotConverged(f"quickest line: still gains after {rounds} steps")


def _step(
    room: Room, offset: Array, slope: Array, bend: csr_matrix, price: float, reach: float
) -> Array:
    """Return the step that gains most for its change of curvature, inside the road."""
    # a change of curvature of 1/100 m over 10 m is priced like a tenth of a second
    change = _differ(bend)
    spacing = room.circuit.length / offset.size
    metric = bend.T @ bend + (reach / spacing) ** 2 * (change.T @ change)
    metric = metric * (1e4 * price) + identity(offset.size) * (1e-4 * price)
    gap = 1e-9
    lo, hi = room.lowest - offset - gap, room.highest - offset + gap
    step = bounded_least(csc_matrix(metric), slope, lo, hi)
    return np.asarray(np.clip(step, room.lowest - offset, room.highest - offset))


def _differ(bend: csr_matrix) -> csr_matrix:
    """Return the change of curvature from each point to the next, for every offset."""
    n = bend.shape[0]
    return csr_matrix(bend[np.r_[1:n, 0]] - bend)


def _lap(room: Room, case: Case, offset: Array) -> tuple[float, Array, csr_matrix]:
    """Return lap time on the polygon, its slope with every offset, and d(curvature)/d(offset)."""
    curvature, length = _shape(room, offset)
    bend, stretch = _shape_slopes(room, offset)
    n = offset.size
    begin = int(np.argmax(np.abs(curvature)))
    order = (np.arange(n) + begin) % n
    mesh = _mesh(room, curvature[order], length[order], order)
    polygon = replace(case, mesh=mesh, mix=np.zeros((n, 3)) + case.mix[:1])
    coefficients = case.aero.of_draw(0)
    record = run_kernel(polygon, case.parameters, coefficients)
    found = slopes_of(polygon, record, case.parameters, coefficients, polygon.mix)
    by_cell, by_node = np.empty(n), np.empty(n)
    by_cell[order], by_length = found[1], np.empty(n)
    by_length[order] = found[3]
    by_node[order] = found[2][:-1]
    by_node[begin] += found[2][-1]
    by_curvature = by_node + 0.5 * (by_cell + np.roll(by_cell, 1))
    by_curvature *= np.sign(curvature)
    slope = bend.T @ by_curvature + stretch.T @ by_length
    return float(record[0]), np.asarray(slope), bend


def _mesh(room: Room, curvature: Array, length: Array, order: Whole) -> Mesh:
    """Return the polygon as cells of a lap that begins where it bends most."""

    def rows(k: Array, at: Array) -> Array:
        bank = at[0] * np.where(k >= 0.0, 1.0, -1.0)
        return np.ascontiguousarray(
            np.stack(
                [np.abs(k), np.sin(bank), np.cos(bank), np.sin(at[1]), np.cos(at[1]), at[2]], axis=1
            )
        )

    fields = np.stack([room.on(name)[order] for name in ("bank", "grade", "crest")])
    after = np.roll(curvature, -1)
    cells = rows(0.5 * (np.abs(curvature) + np.abs(after)) * np.sign(curvature + after), fields)
    nodes = rows(curvature, fields)
    return Mesh(
        station=np.r_[0.0, np.cumsum(length)], length=np.ascontiguousarray(length),
        cell_road=cells, node_road=np.ascontiguousarray(np.vstack([nodes, nodes[:1]])), closed=True,
    )  # fmt: skip


def _shape(room: Room, offset: Any) -> tuple[Any, Any]:
    """Return curvature at the points, left positive, and the length to the next. [1/m], [m]

    Curvature of the circle through a point and its neighbours; analytic in the offsets, so that a
    complex step gives exact slopes.
    """
    x = room.base[:, 0] + offset * room.normal[:, 0]
    y = room.base[:, 1] + offset * room.normal[:, 1]
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    length = np.sqrt(dx * dx + dy * dy)
    bx, by = np.roll(dx, 1), np.roll(dy, 1)
    across = np.sqrt((dx + bx) ** 2 + (dy + by) ** 2)
    return 2.0 * (bx * dy - by * dx) / (length * np.roll(length, 1) * across), length


def _shape_slopes(room: Room, offset: Array) -> tuple[csr_matrix, csr_matrix]:
    """Return d(curvature)/d(offset) and d(length)/d(offset): a point moves its neighbours' only."""
    n = offset.size
    index = np.arange(n)
    bends, stretches = [], []
    for first in range(3):  # every third point at once: their effects do not meet
        moved = offset.astype(complex)
        moved[first::3] += 1j * _SMALL
        curvature, length = _shape(room, moved)
        source = (index - (index - first + 1) % 3 + 1) % n  # the moved point next to each
        bends.append((curvature.imag / _SMALL, source))
        stretches.append((length.imag / _SMALL, source))

    def matrix(parts: list[tuple[Array, Whole]]) -> csr_matrix:
        values = np.concatenate([v for v, _ in parts])
        columns = np.concatenate([c for _, c in parts])
        return csr_matrix((values, (np.tile(index, 3), columns)), shape=(n, n))

    return matrix(bends), matrix(stretches)
