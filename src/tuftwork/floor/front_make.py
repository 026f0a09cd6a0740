"""A splitter's table worked out: the channel engine at nodes of clearance, for a design of states.

What the table costs in accuracy is measured on states it was not made from, on a grid three times
finer, and travels with every answer.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.stats import qmc

from tuftwork.errors import NotConverged
from tuftwork.floor.front_kernel import N_OUT, N_VAR
from tuftwork.floor.front_spec import FOOTED, WALLED, FrontSpec, FrontStrip, strip_shape
from tuftwork.floor.front_table import MOST_BEND, N_TERM, StripTable
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.quantity import Array

NODES, FINE = 40, 120
GAPS = 8
_MARGIN = 1.6  # [-] design points per coefficient
_TRIALS = 20
_MIDDLE = np.array([0.0, 0.0, np.log(1.12), 0.94, 0.0, 0.7, 0.25, 1.0, 0.0, 0.0])
_HALF = np.array([0.012, 0.0, 0.55, 0.15, 0.0, 0.4, 0.25, 0.3, 0.0, 0.0])
DISCHARGE = (0.30, 0.85)  # [-] that the design covers
_HELD = 0.10  # [-] head less hand-over Cp where a way out holds a channel's air back
_CLOSED = 0.06  # [-] of the clearance that footplates leave at the least

Each = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[tuple[int, Any]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class StripTask:
    """Some points of one channel's design, over all clearances."""

    spec: FrontSpec
    strip: FrontStrip
    gaps: Array
    points: Array


def strip_table(
    spec: FrontSpec, strip: FrontStrip, *, each: Each | None = None, gaps: int = GAPS
) -> StripTable:
    """Return the table of one channel.

    Parameters
    ----------
    spec, strip
        The plate and the channel.
    each
        Runs a function over tasks somewhere and yields number and answer as they come.
    gaps
        Nodes of clearance.

    Raises
    ------
    NotConverged
        If a tenth of the states or more have no answer.
    InputError
        If the shape is impossible.
    """
    middle, half = strip_design(spec, strip)
    unit = design_points(half)
    nodes = np.geomspace(*spec.gap, gaps)
    values = middle + half * unit
    chunks = np.array_split(np.arange(unit.shape[0]), 8)
    tasks = [StripTask(spec=spec, strip=strip, gaps=nodes, points=values[c]) for c in chunks]
    out = np.full((nodes.size, unit.shape[0], N_OUT), np.nan)
    for k, found in (each or one_by_one)(strip_outputs, tasks):
        out[:, chunks[k]] = found
    table = fitted_table(spec, strip, nodes, (middle, half), unit, out)

    def outputs(gap: float, point: Array) -> Array:
        fine = solve_strip(spec, strip, gap, point, n_node=FINE)
        return outputs_of(spec, strip, fine, gap, point[3])[None]

    alone = replace(spec, strips=(strip,))
    return measured_tables([table], np.eye(N_VAR)[None], outputs, alone)[0]


def design_points(half: Array, *, margin: float = _MARGIN) -> Array:
    """Return the design's points ``(n_point, 10)`` in half widths, its middle first."""
    used = np.flatnonzero(half > 0)
    count = (used.size + 1) * (used.size + 2) // 2
    unit = np.zeros((int(margin * count) + 1, N_VAR))
    unit[1:, used] = 2 * qmc.Halton(used.size, seed=5).random(unit.shape[0] - 1) - 1
    return unit


def fitted_table(
    spec: FrontSpec, strip: FrontStrip, nodes: Array, design: tuple[Array, Array], unit: Array,
    out: Array,
) -> StripTable:  # fmt: skip
    """Return a channel's table from solved states ``out (n_gap, n_point, n_out)``.

    Raises
    ------
    NotConverged
        If a tenth of the states or more have no answer.
    """
    failed = int(np.isnan(out[..., 0]).sum())
    if failed > 0.1 * out[..., 0].size:
        raise NotConverged(
            f"the splitter's table, {strip.name}: {failed} of {out[..., 0].size} states unsolved"
        )
    return StripTable(
        gap=nodes, middle=design[0], half=design[1], terms=_fitted(unit, out), scale=1.0, error=0.0,
        peak=np.nan, length=strip.end - spec.lip,
    )  # fmt: skip


def measured_tables(
    tables: Sequence[StripTable], turns: Array, outputs: Callable[[float, Array], Array],
    spec: FrontSpec,
) -> list[StripTable]:  # fmt: skip
    """Return tables solved together with scale, error and clearance of greatest load.

    Parameters
    ----------
    tables
        Of channels that share one design.
    turns : (n_table, 10, 10)
        Make a place in the first one's design, in half widths, one in each one's own.
    outputs
        ``(n_table, n_out)`` on a fine grid at a clearance and a place of the first one's design.
    spec
        The plate.
    """
    scales, error = _measured(tables, turns, outputs, [s.width for s in spec.strips])
    return [
        replace(table, scale=scale, error=error, peak=_peak(table))
        for table, scale in zip(tables, scales, strict=True)
    ]


def strip_design(spec: FrontSpec, strip: FrontStrip) -> tuple[Array, Array]:
    """Return middle and half width of every variable; what a channel cannot feel has no width."""
    middle, half = _MIDDLE.copy(), _HALF.copy()
    if spec.bends:
        middle[1] = half[1] = 0.5 * np.log(1 - MOST_BEND)
        half[1] = -half[1]
    if strip.sides == WALLED:
        half[5] = 0.0
    else:
        reach = 2 * (strip.end - spec.lip) / strip.width
        least = _CLOSED if strip.sides == FOOTED else 0.9
        low, high = np.sqrt(reach * DISCHARGE[0] * least), np.sqrt(reach * DISCHARGE[1])
        middle[4], half[4] = 0.5 * (low + high), 0.5 * (high - low)
    if strip.ramp is None:
        half[7] = 0.0
    if strip.is_throttled:
        low, high = np.log(_HELD), middle[2] + half[2]
        middle[2], half[2] = 0.5 * (low + high), 0.5 * (high - low)
    return middle, half


def solve_strip(
    spec: FrontSpec, strip: FrontStrip, gap: float, point: Array, *, n_node: int = NODES,
    near: LineResult | None = None,
) -> LineResult:  # fmt: skip
    """Return one channel solved at a clearance and one place of the design.

    Raises
    ------
    NotConverged
        If it has no answer.
    """
    shape, stand, closure = channel_at(spec, strip, gap, point)
    return solve_line(shape, stand, closure, n_node=n_node, start=near)


def channel_at(
    spec: FrontSpec, strip: FrontStrip, gap: float, point: Array
) -> tuple[FloorShape, Stand, FloorClosure]:
    """Return one channel at a clearance and one place of the design, as the engine takes it."""
    slope, bend, drive, head, leak, mixing, loss, rise = (float(v) for v in point[:8])
    edge = 0.0 if strip.sides == WALLED else gap
    shape, stand = strip_shape(
        spec, strip, gap=gap, slope=slope, droop=gap * (1 - np.exp(bend)), rise=rise, edge=edge
    )
    # the gap under the edge stands in the leak: discharge over the unit gap carries both
    discharge = leak**2 * strip.width / (2 * (strip.end - spec.lip))
    closure = FloorClosure(
        discharge=discharge, mixing=max(mixing, 0.0), exit_pressure=head - float(np.exp(drive)),
        head=head, inlet_loss=loss, inlet_thickness=2e-4, reynolds=spec.reynolds,
    )  # fmt: skip
    return shape, stand, closure


def strip_outputs(task: Any) -> Array:
    """Return the outputs ``(n_gap, n_point, n_out)`` of some design points, NaN where unsolved."""
    out = np.full((task.gaps.size, len(task.points), N_OUT), np.nan)
    for j, point in enumerate(task.points):
        near: LineResult | None = None
        for i in range(task.gaps.size - 1, -1, -1):
            try:
                near = solve_strip(task.spec, task.strip, float(task.gaps[i]), point, near=near)
            except NotConverged:
                near = None
                continue
            out[i, j] = outputs_of(task.spec, task.strip, near, float(task.gaps[i]), point[3])
    return out


def outputs_of(
    spec: FrontSpec, strip: FrontStrip, r: LineResult, gap: float, head: float, *,
    passed: float = 0.0,
) -> Array:  # fmt: skip
    """Return a solved channel's ``OUTPUTS``; ``passed``: flow to the channel beside it [m²]."""
    pull = head - r.pressure
    length = strip.end - spec.lip
    total = float(np.trapezoid(pull, r.x))
    x = np.linspace(spec.lip, spec.hinge, 41)
    plate = float(np.trapezoid(np.interp(x, r.x, pull), x)) / spec.projection
    return np.array([
        np.log(max(total / length, 1e-3)),
        float(np.trapezoid(pull * (r.x - spec.lip), r.x)) / total / length,
        np.log(max(plate, 1e-3)),
        np.log(max(float(r.flow[-1]) / (strip.width * gap), 1e-3)),
        float(r.head[-1]),
        np.log(max(float(np.max(r.blocked / r.gap)), 1e-4)),
        np.log(float(r.shape_factor.max())),
        float(np.trapezoid(pull * np.gradient(r.gap, r.x), r.x)) / gap,
        passed / (strip.width * gap),
    ])  # fmt: skip


def one_by_one(function: Callable[[Any], Any], tasks: Sequence[Any]) -> Iterable[tuple[int, Any]]:
    """Run a function over tasks here and yield number and answer."""
    for k, task in enumerate(tasks):
        yield k, function(task)


def quadratic(unit: Array) -> Array:
    """Return the 66 terms of a quadratic in ten numbers, last axis of ``unit``."""
    columns = [np.ones(unit.shape[:-1]), *(unit[..., k] for k in range(N_VAR))]
    columns += [unit[..., a] * unit[..., b] for a in range(N_VAR) for b in range(a, N_VAR)]
    return np.stack(columns, axis=-1)


def _fitted(unit: Array, out: Array) -> Array:
    phi = quadratic(unit)
    live = np.any(phi != 0, axis=0)
    terms = np.zeros((out.shape[0], N_OUT, N_TERM))
    for i in range(out.shape[0]):
        good = np.isfinite(out[i, :, 0])
        if good.sum() < live.sum():
            raise NotConverged("the splitter's table: too few states at one clearance")
        fit = np.linalg.lstsq(phi[np.ix_(good, live)], out[i, good], rcond=None)[0]
        terms[i][:, live] = fit.T
    return terms


def _read(table: StripTable, gap: float, unit: Array) -> Array:
    """Return the outputs of the table, straight between nodes' cubic in clearance."""
    from tuftwork.floor.front_table import padded

    t = padded(table.terms)
    step = np.log(table.gap[1] / table.gap[0])
    a = float(np.clip(np.log(gap / table.gap[0]) / step, 0, table.gap.size - 1))
    i = min(int(a), table.gap.size - 2)
    u = a - i
    w = 0.5 * np.array([
        -u + 2 * u**2 - u**3, 2 - 5 * u**2 + 3 * u**3, u + 4 * u**2 - 3 * u**3, -(u**2) + u**3,
    ])  # fmt: skip
    return np.asarray(np.tensordot(w, t[i : i + 4], axes=1) @ quadratic(unit))


def _measured(
    tables: Sequence[StripTable], turns: Array, outputs: Callable[[float, Array], Array],
    widths: Sequence[float],
) -> tuple[list[float], float]:  # fmt: skip
    """Return fine grid over table and the 80 % half-range of what is left, on fresh states.

    On the channels' loads, against their heads': what a channel without suction misses counts. The
    scale is each one's own, the range that of their sum.
    """
    first = tables[0]
    varied = N_VAR if first.half[9] > 0 else N_VAR - 2
    rows = qmc.Halton(varied + 1, seed=13).random(_TRIALS)
    true, told, near = [], [], []
    for row in rows:
        unit = np.zeros(N_VAR)
        unit[:varied] = np.where(first.half[:varied] > 0, 1.5 * (row[1:] - 0.5), 0.0)
        gap = float(np.exp(np.interp(row[0], [0, 1], np.log(first.gap[[0, -1]]))))
        point = first.middle + first.half * unit
        try:
            found = outputs(gap, point)
        except NotConverged:
            continue
        near.append(point[3])
        true.append(found[:, 0])
        told.append([_read(t, gap, turn @ unit)[0] for t, turn in zip(tables, turns, strict=True)])
    if len(true) < _TRIALS // 2:
        raise NotConverged("the splitter's table: too few fresh states to measure its error on")
    head = np.array(near)[:, None]
    have, want = np.exp(told) - head, np.exp(true) - head
    scale = np.sum(have * want, axis=0) / np.sum(have * have, axis=0)
    size = np.array([w * t.length for w, t in zip(widths, tables, strict=True)])
    left, whole = (want - scale * have) @ size, want @ size
    error = float(1.2816 * np.std(left, ddof=1) / np.mean(np.abs(whole)))
    return [float(v) for v in scale], error


def _peak(table: StripTable) -> float:
    """Return the clearance of greatest load of the unbent plate, else at the design's middle."""
    fine = np.geomspace(table.gap[0], table.gap[-1], 81)
    unit = np.zeros(N_VAR)
    if table.half[1] > 0:
        unit[1] = -table.middle[1] / table.half[1]
    load = np.array([_read(table, float(g), unit)[0] for g in fine])
    k = int(np.argmax(load))
    return float(fine[k]) if 0 < k < fine.size - 1 else float("nan")
