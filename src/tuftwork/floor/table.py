"""A floor as a table: the plan engine worked out once, then thousands of states in one call.

At nodes of front and rear ride height the engine is solved for a design of exit pressure,
discharge, mixing and head; the logarithm of downforce and the place of its centre are quadratic in
these there, and cubic between nodes. Lengths and angles move the answer by their measured
slopes. What this costs in accuracy is measured on states it was not made from, on the finer grid,
and travels with every answer.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, no_type_check

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.stats import qmc

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import FloorShape, Stand, kinks
from tuftwork.quantity import Array

CLOSURES = ("exit_pressure", "discharge", "mixing", "head")
# exit pressure, log of discharge, mixing, head: middle and half width of the design
_MIDDLE = np.array([-0.36, np.log(0.52), 0.5, 0.93])
_HALF = np.array([0.34, 0.5, 0.5, 0.17])
_OVER = 1.2  # [-] of the half width, where a draw is held
_GRID, _FINE = (36, 6), (60, 10)
N_OUT = 4  # log of downforce, centre, drag over downforce, log of the greatest shape factor

Moved = Callable[[str, float], FloorShape]


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSize:
    """How many ride heights, design points and fresh states a table is made of."""

    front: int = 5
    rear: int = 7
    design: int = 20
    trials: int = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorTable:
    """What a floor makes over ride heights and closures.

    Attributes
    ----------
    front, rear : (n_front,), (n_rear,)
        Even grids of ride height. [m]
    terms : (n_front, n_rear, n_out, 15)
        Coefficients of the quadratics.
    slopes : (n_length, 2)
        Change of log downforce [1/m, 1/rad] and of the centre [-, m/rad] with each of ``lengths``.
    lengths
        Names of the numbers that have a slope.
    scale
        Fine grid over table: their mean ratio, already in the answers. [-]
    error
        Half of the 80 % range of what is left, measured. [-]
    peak : (n_front,)
        Height of the last kink at which load is greatest for each front height, NaN where it
        still rises at the lowest. [m]
    closure, wheelbase
        What stays fixed.
    seconds
        It took.
    """

    front: Array
    rear: Array
    terms: Array
    slopes: Array
    lengths: tuple[str, ...]
    scale: float
    error: float
    peak: Array
    wheelbase: float
    notices: tuple[str, ...]

    def tree(self) -> dict[str, Any]:
        """Return it as plain arrays, for a store."""
        return {f.name: getattr(self, f.name) for f in fields(self)} | {
            "lengths": list(self.lengths), "notices": list(self.notices),
        }  # fmt: skip

    @classmethod
    def of(cls, tree: dict[str, Any]) -> "FloorTable":
        """Return the table of a stored tree."""
        arrays: dict[str, Any] = {
            k: np.asarray(tree[k]) for k in ("front", "rear", "terms", "slopes", "peak")
        }
        numbers: dict[str, Any] = {k: float(tree[k]) for k in ("scale", "error", "wheelbase")}
        texts: dict[str, Any] = {k: tuple(tree[k]) for k in ("lengths", "notices")}
        return cls(**arrays, **numbers, **texts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLoads:
    """What a table gives; fields share one shape.

    Attributes
    ----------
    downforce, centre, drag
        CzS, station of its centre, CxS of the inclined underside. [m²], [m], [m²]
    shape_factor
        Greatest H of the layer; above 3 it has separated. [-]
    is_outside
        Beyond the table, whose edge is held.
    """

    downforce: Array
    centre: Array
    drag: Array
    shape_factor: Array
    is_outside: NDArray[np.bool_]


def closure_at(point: Array, base: FloorClosure) -> FloorClosure:
    """Return the closure at a place of the design, -1 to 1 each."""
    value = _MIDDLE + _HALF * point
    return replace(
        base, exit_pressure=float(value[0]), discharge=float(np.exp(value[1])),
        mixing=float(max(value[2], 0.0)), head=float(value[3]),
    )  # fmt: skip


def floor_table(
    shape: FloorShape,
    closure: FloorClosure,
    *,
    front: tuple[float, float],
    rear: tuple[float, float],
    wheelbase: float,
    lengths: tuple[str, ...] = (),
    moved: Moved | None = None,
    beat: Callable[[float], None] | None = None,
    size: TableSize | None = None,
) -> FloorTable:
    """Return the table of a floor.

    Parameters
    ----------
    shape, closure
        At best values; the four closures of the design are taken from it, the rest from here.
    front, rear
        Lowest and highest ride heights. [m]
    wheelbase
        [m]
    lengths, moved
        Names of numbers that get a slope, and the floor with one of them changed by so much.
    beat
        Told the share done.
    size
        Of the table.

    Raises
    ------
    NotConverged
        If a tenth of the states or more have no answer.
    """
    told = beat or (lambda share: None)
    own_size = size or TableSize()
    hf, hr = np.linspace(*front, own_size.front), np.linspace(*rear, own_size.rear)
    points = np.vstack([np.zeros(4), 2 * qmc.Halton(4, seed=3).random(own_size.design) - 1])
    out = np.full((hf.size, hr.size, points.shape[0], N_OUT), np.nan)
    failed = 0
    for k, point in enumerate(points):
        own = closure_at(point, closure)
        row: PlanResult | None = None
        for i in range(hf.size - 1, -1, -1):
            near = row
            for j in range(hr.size - 1, -1, -1):
                stand = Stand(front=float(hf[i]), rear=float(hr[j]), wheelbase=wheelbase)
                try:
                    near = solve_plan(shape, stand, own, n_x=_GRID[0], n_y=_GRID[1], near=near)
                except NotConverged:
                    failed += 1
                    continue
                row = near if j == hr.size - 1 else row
                out[i, j, k] = _outputs(near)
        told(0.9 * (k + 1) / points.shape[0])
    if failed > 0.1 * out[..., 0].size:
        raise NotConverged(f"the floor's table: {failed} of {out[..., 0].size} states unsolved")
    terms = _fitted(points, out)
    table = FloorTable(
        front=hf, rear=hr, terms=terms, slopes=np.zeros((len(lengths), 2)), lengths=lengths,
        scale=1.0, error=0.0, peak=np.full(hf.size, np.nan), wheelbase=wheelbase,
        notices=(f"{failed} states of the floor's table left out: unsolved",) if failed else (),
    )  # fmt: skip
    if lengths and moved is not None:
        table = replace(table, slopes=_slopes(table, closure, shape, lengths, moved))
    scale, error = _measured(table, shape, closure, own_size.trials)
    table = replace(table, scale=scale, error=error)
    told(1.0)
    return replace(table, peak=_peaks(table, shape))


def _outputs(r: PlanResult) -> Array:
    if not r.downforce > 0:
        raise InputError("floor", r.downforce, "m²", "lifts: its table wants downforce")
    return np.array([
        np.log(r.downforce), r.centre, r.drag / r.downforce,
        np.log(float(r.line.shape_factor.max())),
    ])  # fmt: skip


def basis(point: Array) -> Array:
    """Return the 15 terms of a quadratic in four numbers, last axis of ``point``."""
    p = np.asarray(point)
    columns = [np.ones(p.shape[:-1]), *(p[..., k] for k in range(4))]
    columns += [p[..., a] * p[..., b] for a in range(4) for b in range(a, 4)]
    return np.stack(columns, axis=-1)


def _fitted(points: Array, out: Array) -> Array:
    phi = basis(points)
    terms = np.empty((*out.shape[:2], N_OUT, 15))
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            good = np.isfinite(out[i, j, :, 0])
            if good.sum() < 15:
                raise NotConverged("the floor's table: too few states at one ride height")
            terms[i, j] = np.linalg.lstsq(phi[good], out[i, j, good], rcond=None)[0].T
    return terms


def _slopes(
    table: FloorTable, closure: FloorClosure, shape: FloorShape, lengths: tuple[str, ...],
    moved: Moved,
) -> Array:  # fmt: skip
    """Return slopes with lengths, means over four places of the ride heights."""
    places = [(0.35, 0.35), (0.35, 0.7), (0.7, 0.35), (0.7, 0.7)]
    found = np.zeros((len(places), len(lengths), 2))
    for m, (a, b) in enumerate(places):
        stand = Stand(
            front=float(table.front[0] + a * np.ptp(table.front)),
            rear=float(table.rear[0] + b * np.ptp(table.rear)), wheelbase=table.wheelbase,
        )  # fmt: skip
        own = closure_at(np.zeros(4), closure)
        base = solve_plan(shape, stand, own, n_x=_GRID[0], n_y=_GRID[1])
        for k, name in enumerate(lengths):
            step = 0.01 if name != "edge_gap" else 0.002
            there = solve_plan(moved(name, step), stand, own, n_x=_GRID[0], n_y=_GRID[1], near=base)
            found[m, k, 0] = np.log(there.downforce / base.downforce) / step
            found[m, k, 1] = (there.centre - base.centre) / step
    return np.asarray(np.median(found, axis=0))


def _measured(
    table: FloorTable, shape: FloorShape, closure: FloorClosure, trials: int
) -> tuple[float, float]:
    """Return fine grid over table and the 80 % half-range of what is left, on fresh states."""
    fresh = qmc.Halton(6, seed=11).random(trials)
    ratio = []
    for row in fresh:
        point = 1.6 * (row[2:] - 0.5)
        front = float(table.front[0] + row[0] * np.ptp(table.front))
        rear = float(table.rear[0] + row[1] * np.ptp(table.rear))
        stand = Stand(front=front, rear=rear, wheelbase=table.wheelbase)
        try:
            true = solve_plan(shape, stand, closure_at(point, closure), n_x=_FINE[0], n_y=_FINE[1])
        except NotConverged:
            continue
        values = read_terms(table, np.array([front]), np.array([rear]), point[None, :])
        ratio.append(np.log(true.downforce) - values[0, 0])
    if len(ratio) < trials // 2:
        raise NotConverged("the floor's table: too few fresh states to measure its error on")
    spread = float(np.std(ratio, ddof=1))
    return float(np.exp(np.mean(ratio))), 1.2816 * spread


def _peaks(table: FloorTable, shape: FloorShape) -> Array:
    """Return the last kink's height of greatest load for each front height."""
    turned = kinks(shape)
    if not turned:
        return np.full(table.front.size, np.nan)
    fine = np.linspace(table.rear[0], table.rear[-1], 121)
    out = np.full(table.front.size, np.nan)
    for i, hf in enumerate(table.front):
        point = np.zeros((fine.size, 4))
        load = read_terms(table, np.full(fine.size, hf), fine, point)[:, 0]
        k = int(np.argmax(load))
        if 0 < k < fine.size - 1:
            out[i] = hf + (fine[k] - hf) * turned[-1] / table.wheelbase
    return out


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _read(front, rear, point, f0, df, r0, dr, terms, out):
    """Cubic between nodes (Catmull and Rom), quadratic in the closures; ``terms`` padded by one."""
    nf, nr = terms.shape[0] - 2, terms.shape[1] - 2
    n_out, n_term = terms.shape[2], terms.shape[3]
    wf, wr, phi = np.empty(4), np.empty(4), np.empty(15)
    for k in range(front.size):
        a = min(max((front[k] - f0) / df, 0.0), nf - 1.0)
        b = min(max((rear[k] - r0) / dr, 0.0), nr - 1.0)
        i, j = min(int(a), nf - 2), min(int(b), nr - 2)
        for w, t in ((wf, a - i), (wr, b - j)):
            w[0] = 0.5 * (-t + 2 * t * t - t * t * t)
            w[1] = 0.5 * (2 - 5 * t * t + 3 * t * t * t)
            w[2] = 0.5 * (t + 4 * t * t - 3 * t * t * t)
            w[3] = 0.5 * (-t * t + t * t * t)
        phi[0] = 1.0
        c = 5
        for m in range(4):
            phi[1 + m] = point[k, m]
            for n in range(m, 4):
                phi[c] = point[k, m] * point[k, n]
                c += 1
        for e in range(n_out):
            out[k, e] = 0.0
        for s in range(4):
            for t in range(4):
                w2 = wf[s] * wr[t]
                for e in range(n_out):
                    total = 0.0
                    for c in range(n_term):
                        total += phi[c] * terms[i + s, j + t, e, c]
                    out[k, e] += w2 * total


def _padded(terms: Array) -> Array:
    """Return the terms with a node more on every side, going on straight."""
    for axis in (0, 1):
        t = np.moveaxis(terms, axis, 0)
        t = np.concatenate([[2 * t[0] - t[1]], t, [2 * t[-1] - t[-2]]])
        terms = np.moveaxis(t, 0, axis)
    return np.ascontiguousarray(terms)


def read_terms(table: FloorTable, front: Array, rear: Array, point: Array) -> Array:
    """Return the outputs ``(n, n_out)`` at ride heights ``(n,)`` and closures ``(n, 4)``."""
    out = np.empty((front.size, N_OUT))
    _read(
        np.ascontiguousarray(front, float), np.ascontiguousarray(rear, float),
        np.ascontiguousarray(point, float), table.front[0], table.front[1] - table.front[0],
        table.rear[0], table.rear[1] - table.rear[0], _padded(table.terms), out,
    )  # fmt: skip
    return out


def evaluate(
    table: FloorTable,
    *,
    front: Array,
    rear: Array,
    exit_pressure: Array,
    discharge: Array,
    mixing: Array,
    head: Array,
    lengths: dict[str, Array] | None = None,
) -> TableLoads:
    """Return loads for arrays of states at once; everything broadcasts.

    Parameters
    ----------
    front, rear : (...)
        Ride heights. [m]
    exit_pressure, discharge, mixing, head : (...)
        See :class:`tuftwork.floor.line.FloorClosure`. [-]
    lengths
        Changes from the drawn floor, of names the table has a slope for. [m], [rad]
    """
    given = (exit_pressure, np.log(np.maximum(discharge, 1e-3)), mixing, head)
    full = np.broadcast_arrays(front, rear, *given, *(lengths or {}).values())
    point = np.stack([(v - m) / h for v, m, h in zip(full[2:6], _MIDDLE, _HALF, strict=True)], -1)
    flat = np.clip(point.reshape(-1, 4), -_OVER, _OVER)
    out = read_terms(table, full[0].ravel(), full[1].ravel(), flat).reshape(*full[0].shape, N_OUT)
    load, centre = out[..., 0], out[..., 1]
    for name, change in zip(lengths or {}, full[6:], strict=True):
        slope = table.slopes[table.lengths.index(name)]
        load, centre = load + slope[0] * change, centre + slope[1] * change
    downforce = table.scale * np.exp(load)
    beyond = np.any(np.abs(point) > _OVER, axis=-1)
    for value, axis in ((full[0], table.front), (full[1], table.rear)):
        beyond |= (value < axis[0] - 1e-9) | (value > axis[-1] + 1e-9)
    return TableLoads(
        downforce=downforce, centre=centre, drag=out[..., 2] * downforce,
        shape_factor=np.exp(out[..., 3]), is_outside=beyond,
    )  # fmt: skip
