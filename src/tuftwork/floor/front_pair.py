"""Tables of a splitter's channels: one by one with walls between them, or two that exchange air.

Two channels with an open edge between them are solved together, see ``pair``; each gets a table of
its own whose variables hold the other's driving pressure and the opening between them.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.errors import NotConverged
from tuftwork.floor.front_kernel import N_OUT, N_VAR
from tuftwork.floor.front_make import (
    DISCHARGE,
    FINE,
    GAPS,
    NODES,
    Each,
    channel_at,
    design_points,
    fitted_table,
    measured_tables,
    one_by_one,
    outputs_of,
    strip_design,
    strip_table,
)
from tuftwork.floor.front_spec import FrontSpec
from tuftwork.floor.front_table import StripTable
from tuftwork.floor.pair import Channel, PairResult, solve_pair
from tuftwork.quantity import Array

_MARGIN = 2.0  # [-] design points per coefficient: what crosses makes the quadratics less smooth
_APART = 0.30  # [-] log of one's driving pressure over the other's; beyond it one empties the other
_BEND = 0.34  # [-] of the gap: droop of the design, which reaches a quarter beyond


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTask:
    """Some points of the design of two channels, over all clearances."""

    spec: FrontSpec
    gaps: Array
    points: Array


def strip_tables(
    spec: FrontSpec, *, each: Each | None = None, gaps: int = GAPS
) -> list[StripTable]:
    """Return the tables of a splitter's channels.

    Parameters
    ----------
    spec
        The plate; where ``passage`` is set its first two channels exchange air.
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
    if spec.passage is None or len(spec.strips) != 2:
        return [strip_table(spec, strip, each=each, gaps=gaps) for strip in spec.strips]
    middle, half = pair_design(spec)
    unit = design_points(half, margin=_MARGIN)
    nodes, values = np.geomspace(*spec.gap, gaps), middle + half * unit
    chunks = np.array_split(np.arange(unit.shape[0]), 8)
    tasks = [PairTask(spec=spec, gaps=nodes, points=values[c]) for c in chunks]
    out = np.full((2, nodes.size, unit.shape[0], N_OUT), np.nan)
    for k, found in (each or one_by_one)(pair_outputs, tasks):
        out[:, :, chunks[k]] = found
    made, turns = [], np.stack([np.eye(N_VAR), as_second(half)])
    for s, strip in enumerate(spec.strips):
        made.append(fitted_table(spec, strip, nodes, (middle, half), unit @ turns[s].T, out[s]))

    def outputs(gap: float, point: Array) -> Array:
        fine = solve_channels(spec, gap, point, n_node=FINE)
        return both_outputs(spec, fine, gap, float(point[3]))

    # both move with one factor: what counts is what their sum leaves open
    return measured_tables(made, turns, outputs, spec)


def pair_design(spec: FrontSpec) -> tuple[Array, Array]:
    """Return middle and half width of every variable, as the first channel has them."""
    second = spec.strips[1]
    # sides, ramp and mixing are the second's: the first has walls, and the second, beside it
    middle, half = strip_design(spec, replace(second, is_throttled=False))
    middle[8], half[8] = 0.0, _APART
    if spec.bends:
        middle[1] = 0.5 * np.log(1 - _BEND)
        half[1] = -middle[1]
    assert spec.passage is not None
    low, high = np.sqrt(DISCHARGE[0] * spec.passage[0]), np.sqrt(DISCHARGE[1] * spec.passage[1])
    middle[9], half[9] = 0.5 * (low + high), 0.5 * (high - low)
    return middle, half


def as_second(half: Array) -> Array:
    """Return what makes the first one's place in the design, in half widths, the second's."""
    turn = np.eye(N_VAR)
    turn[2, 8], turn[8, 8] = half[8] / half[2], -1.0
    return turn


def solve_channels(
    spec: FrontSpec, gap: float, point: Array, *, n_node: int = NODES,
    near: PairResult | None = None,
) -> PairResult:  # fmt: skip
    """Return both channels at a clearance and one place of the first one's design.

    Raises
    ------
    NotConverged
        If they have no answer.
    """
    other = point.copy()
    other[2] += point[8]
    first, second = (
        Channel(shape=shape, stand=stand, closure=closure)
        for shape, stand, closure in (
            channel_at(spec, strip, gap, at)
            for strip, at in zip(spec.strips, (point, other), strict=True)
        )
    )
    opening = float(np.square(max(point[9], 0.0)))
    return solve_pair(first, second, discharge=opening, n_node=n_node, start=near)


def both_outputs(spec: FrontSpec, r: PairResult, gap: float, head: float) -> Array:
    """Return the outputs ``(2, n_out)`` of two solved channels."""
    rows = zip(spec.strips, (r.first, r.second), (r.passed, -r.passed), strict=True)
    return np.stack([outputs_of(spec, s, line, gap, head, passed=q) for s, line, q in rows])


def pair_outputs(task: Any) -> Array:
    """Return the outputs ``(2, n_gap, n_point, n_out)`` of design points, NaN where unsolved."""
    out = np.full((2, task.gaps.size, len(task.points), N_OUT), np.nan)
    low = task.gaps.size // 2
    for j, point in enumerate(task.points):
        # from a middling clearance down, and from there up: wide gaps are found from near ones only
        start: PairResult | None = None
        for order in (range(low, -1, -1), range(low + 1, task.gaps.size)):
            near = start
            for i in order:
                gap = float(task.gaps[i])
                try:
                    near = solve_channels(task.spec, gap, point, near=near)
                except NotConverged:
                    near = None
                    continue
                start = near if i == low else start
                out[:, i, j] = both_outputs(task.spec, near, gap, float(point[3]))
    return out
