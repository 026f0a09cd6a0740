"""A floor's table worked out: the plan engine at nodes of ride height, for a design of closures.

What the table costs in accuracy is measured on states it was not made from, on the finer grid, and
travels with every answer.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.stats import qmc

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure, solve_line
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import FloorShape, Stand, kinks
from tuftwork.floor.table import N_OUT, FloorTable, closure_at, read_terms
from tuftwork.quantity import Array

_GRID, _FINE = (36, 10), (60, 10)
_NODES = 60  # of the width-averaged channel: half as many move the load by 0.1 %
_AHEAD: Mapping[int, tuple[float, ...]] = {1: (1.0,), 2: (-1.0, 2.0), 3: (1.0, -3.0, 3.0)}
"""Weights of the last states, oldest first, that say where the next one on an even grid lies."""
Moved = Callable[[str, float], tuple[FloorShape, FloorClosure]]
# about half of what is usually not known; losses and shares bend the answer
_STEPS = {"edge_gap": 0.002, "pressure": 0.03, "share": 0.03, "loss": 0.25}  # [m], [-]

Each = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[tuple[int, Any]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointTask:
    """One point of the design over all ride heights, highest first."""

    shape: FloorShape
    closure: FloorClosure
    front: Array
    rear: Array
    wheelbase: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSize:
    """How many ride heights, design points and fresh states a table is made of."""

    front: int = 5
    rear: int = 7
    design: int = 20
    trials: int = 16


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
    each: Each | None = None,
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
        Names of numbers that get a slope, and floor and closure with one of them changed by so
        much.
    beat
        Told the share done.
    size
        Of the table.
    each
        Runs a function over tasks somewhere and yields number and answer as they come.

    Raises
    ------
    NotConverged
        If a tenth of the states or more have no answer.
    """
    told = beat or (lambda share: None)
    own_size = size or TableSize()
    hf, hr = np.linspace(*front, own_size.front), np.linspace(*rear, own_size.rear)
    points = np.vstack([np.zeros(4), 2 * qmc.Halton(4, seed=3).random(own_size.design) - 1])
    tasks = [
        PointTask(shape=shape, closure=closure_at(p, closure), front=hf, rear=hr,
                  wheelbase=wheelbase)
        for p in points
    ]  # fmt: skip
    out = np.full((hf.size, hr.size, points.shape[0], N_OUT), np.nan)
    for done, (k, found) in enumerate((each or _one_by_one)(point_outputs, tasks), 1):
        out[:, :, k] = found
        told(0.8 * done / len(tasks))
    failed = int(np.isnan(out[..., 0]).sum())
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


def point_outputs(task: Any) -> Array:
    """Return the outputs ``(n_front, n_rear, n_out)`` of one design point, NaN where unsolved."""
    out = np.full((task.front.size, task.rear.size, N_OUT), np.nan)
    first: list[PlanResult] = []
    for i in range(task.front.size - 1, -1, -1):
        row: list[PlanResult] = []
        for j in range(task.rear.size - 1, -1, -1):
            stand = Stand(
                front=float(task.front[i]), rear=float(task.rear[j]), wheelbase=task.wheelbase
            )
            try:
                found = _next_state(task.shape, stand, task.closure, row or first)
            except NotConverged:
                continue
            row.append(found)
            if j == task.rear.size - 1:
                first.append(found)
            out[i, j] = _outputs(found)
    return out


def _next_state(
    shape: FloorShape, stand: Stand, closure: FloorClosure, before: Sequence[PlanResult]
) -> PlanResult:
    """Return a state, started from where the ones before it point to."""
    line, near = None, None
    if before:
        last = before[-len(_AHEAD) :]
        weights = _AHEAD[len(last)]
        near = replace(last[-1], state=_ahead(weights, [r.state for r in last]))
        layer = np.asarray(sum(w * r.line.state for w, r in zip(weights, last, strict=True)))
        # a layer that would vanish is no start
        good = bool(np.all(layer[:, 0] > 0) and np.all(layer[:, 1] > 1.01))
        line = replace(last[-1].line, state=layer) if good else last[-1].line
    found = solve_line(shape, stand, closure, n_node=_NODES, start=line)
    return solve_plan(shape, stand, closure, n_x=_GRID[0], n_y=_GRID[1], layer=found, near=near)


def _ahead(
    weights: Sequence[float], states: Sequence[tuple[Array, Array, Array]]
) -> tuple[Array, Array, Array]:
    u, v, p = (
        np.asarray(sum(w * s[k] for w, s in zip(weights, states, strict=True))) for k in range(3)
    )
    return u, v, p


def _one_by_one(function: Callable[[Any], Any], tasks: Sequence[Any]) -> Iterable[tuple[int, Any]]:
    for k, task in enumerate(tasks):
        yield k, function(task)


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
            step = _STEPS.get(name.rpartition(".")[2], 0.01)
            other, left = moved(name, step)
            there = solve_plan(
                other, stand, closure_at(np.zeros(4), left), n_x=_GRID[0], n_y=_GRID[1], near=base
            )
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
