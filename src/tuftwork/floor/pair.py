"""Two channels beside each other whose air may cross the edge between them.

Each is the channel averaged over its width, see ``line``; between them lies an edge with a gap
under it along their common length. Air crosses it by the law of a side edge,

    m = 2 Cd g sqrt(2 |p_a − p_b|),

and brings the speed along the car of the channel it comes from: mass and momentum are handed over
whole, the head that the slower stream lacks is lost to mixing.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import (
    FloorClosure,
    LineResult,
    channel_of,
    first_guess,
    line_result,
    nodes_of,
)
from tuftwork.floor.line_kernel import N_UNKNOWN, N_VALUE, banded_solve
from tuftwork.floor.line_newton import allowed_step, continued
from tuftwork.floor.pair_kernel import (
    ABOVE,
    BELOW,
    WIDTH,
    exchanged,
    pair_jacobian,
    pair_residuals,
)
from tuftwork.floor.shape import FloorShape, Stand, check_shape
from tuftwork.quantity import Array

_DONE, _ROUNDED = 1e-10, 1e-7  # [-] root mean square of the residuals, see line_newton
_LEAST_DEPTH = 0.02
_FIRST, _LEAST = 0.2, 0.02  # [-] of the edge, by which it is opened where not at once


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One of the two: shape, stand and what its equations leave open."""

    shape: FloorShape
    stand: Stand
    closure: FloorClosure


@dataclass(frozen=True, slots=True, kw_only=True)
class PairResult:
    """Two channels and what passes between them.

    Attributes
    ----------
    first, second
        Channel by channel.
    x : (n,)
        Stations of the common length. [m]
    crossing : (n,)
        Flow from the first to the second per length, over the road speed. [m]
    passed
        The same over the whole length. [m²]
    state
        The unknowns, to start a neighbour from.
    """

    first: LineResult
    second: LineResult
    x: Array
    crossing: Array
    passed: float
    state: Array


@dataclass(slots=True, kw_only=True)
class _System:
    x: Array
    geo: Array
    width: tuple[Array, Array]
    passage: Array
    last: Array
    par: Array
    ends: Array

    @property
    def dx(self) -> Array:
        return np.diff(self.x)


def solve_pair(
    first: Channel, second: Channel, *, discharge: float, edge_share: float = 1.0,
    n_node: int = 120, start: PairResult | None = None,
) -> PairResult:  # fmt: skip
    """Return two channels that begin at the same station, with air crossing between them.

    Parameters
    ----------
    first, second
        Both sides of the car taken together; each may end at a station of its own.
    discharge
        Of the edge between them. [-]
    edge_share
        Share of the first channel's gap that stands open under the edge, 0 to 1. [-]
    n_node
        Stations along the longer one.
    start
        A neighbour's result with as many nodes.

    Raises
    ------
    InputError
        If they begin apart, one touches the road, or the share lies outside 0 to 1.
    NotConverged
        If no state was found.

    References
    ----------
    The law of the edge is that of the floor's sides; see the model's page.
    """
    if not 0 <= edge_share <= 1:
        raise InputError("edge_share", edge_share, "", "must lie between 0 and 1")
    if abs(first.shape.front - second.shape.front) > 1e-9:
        raise InputError("front", second.shape.front, "m", "must be the other channel's too")
    own = _system(first, second, 2 * discharge * edge_share, n_node)
    bare, full = (np.empty((2, n_node, N_VALUE)) for _ in range(2))
    size, count = 0.0, -1
    if start is not None and start.state.shape == (n_node, 2 * N_UNKNOWN):
        z = start.state.copy()
        size, count = _newton(z, own, own.passage, 25, bare, full)
    if count < 0:
        z = _apart(own)
        size, count = _newton(z, own, own.passage, 40, bare, full)
    if count < 0:
        z = _apart(own)
        size, count = _opened(z, own, bare, full)
    if count < 0:
        raise NotConverged(
            f"two channels beside each other: residual {size:.1e} at ride heights "
            f"{1e3 * first.stand.front:.1f} and {1e3 * first.stand.rear:.1f} mm"
        )
    return _pair_result(own, z, full, count)


def _system(first: Channel, second: Channel, discharge: float, n_node: int) -> _System:
    both = (first, second)
    for one in both:
        check_shape(one.shape, one.stand, n_x=n_node)
    x, last = _stations(first, second, n_node)
    geo, width = np.empty((2, n_node, 6)), []
    for s, one in enumerate(both):
        own, w = channel_of(one.shape, one.stand, one.closure, x[: last[s] + 1])
        geo[s, : last[s] + 1], geo[s, last[s] + 1 :] = own, own[-1]
        width.append(w)
    # nothing crosses at the node where one ends and the other goes on: half a cell would be lost
    near = int(last.min()) + (1 if last[0] == last[1] else 0)
    passage = np.where(np.arange(n_node) < near, discharge * geo[0, :, 0], 0.0)
    par = np.array([
        [c.mixing, c.vortex_mixing, c.vortex_limit, c.reynolds, c.road_friction]
        for c in (first.closure, second.closure)
    ])  # fmt: skip
    ends = np.array([
        [c.inlet_thickness, 1.45, 0.5 * c.head, 0.5 * c.exit_pressure, c.inlet_loss]
        for c in (first.closure, second.closure)
    ])  # fmt: skip
    return _System(
        x=x, geo=geo, width=(width[0], width[1]), passage=passage, last=last, par=par, ends=ends
    )


def _stations(first: Channel, second: Channel, n_node: int) -> tuple[Array, Array]:
    """Return stations that are dense where either channel has a kink, and where each ends."""
    both = (first.shape, second.shape)
    end = max(s.exit for s in both)
    fine = np.linspace(both[0].front, end, 4001)
    share = np.linspace(0, 1, n_node)
    grown = sum(np.interp(fine, nodes_of(c.shape, c.stand, n_node), share) for c in (first, second))
    grown = np.asarray(grown) + 1e-3 * (fine - fine[0]) / (end - fine[0])
    x = np.interp(grown[-1] * share, grown, fine)
    x[0], x[-1] = both[0].front, end
    last = np.full(2, n_node - 1)
    for s, shape in enumerate(both):
        if shape.exit < end - 1e-9:
            last[s] = min(max(int(np.argmin(np.abs(x - shape.exit))), 2), n_node - 2)
            x[last[s]] = shape.exit
    if not np.all(np.diff(x) > 0):
        raise InputError("exit", float(min(s.exit for s in both)), "m",
                         "lies too near the front, or too few stations")  # fmt: skip
    return x, last


def _apart(own: _System) -> Array:
    """Return both channels solved with the edge between them shut."""
    n = own.x.size
    z = np.empty((n, 2 * N_UNKNOWN))
    for s in range(2):
        end = int(own.last[s]) + 1
        geo = np.ascontiguousarray(own.geo[s, :end])
        found, values = first_guess(own.x[:end], geo, own.ends[s]), np.empty((end, N_VALUE))
        size, count = continued(found, geo, own.dx[: end - 1], own.par[s], own.ends[s], values)
        if count < 0:
            raise NotConverged(f"one of two channels beside each other: residual {size:.1e}")
        part = z[:, N_UNKNOWN * s : N_UNKNOWN * (s + 1)]
        part[:end], part[end:] = found, found[-1]
    return z


def _opened(z: Array, own: _System, bare: Array, full: Array) -> tuple[float, int]:
    """Open the edge step by step from shut; return as :func:`_newton` does."""
    done, step, total, kept = 0.0, _FIRST, 0, z.copy()
    while True:
        want = min(done + step, 1.0)
        size, count = _newton(z, own, want * own.passage, 20, bare, full)
        total += abs(count)
        if count >= 0:
            if want >= 1.0:
                return size, total
            kept[:, :], done, step = z, want, 1.5 * step
        elif step < _LEAST:
            return size, -max(total, 1)
        else:
            z[:, :], step = kept, 0.4 * step


def _newton(
    z: Array, own: _System, passage: Array, limit: int, bare: Array, full: Array
) -> tuple[float, int]:
    """Solve from ``z`` in place; return residual and iterations (negative: not converged)."""
    n = z.shape[0]
    scale = np.array([
        [1e-3, 1e-2, g[0, 0] * g[0, 1], 1.0, 1.0, 1e-3] for g in own.geo
    ])  # fmt: skip
    fixed = (own.geo, passage, own.last, own.dx, own.par, own.ends, scale, bare, full)
    res, fresh_res = np.empty(12 * n), np.empty(12 * n)
    band = np.empty((12 * n, WIDTH))
    size = pair_residuals(z, *fixed, res)
    for it in range(limit):
        if size < _DONE:
            return size, it
        pair_jacobian(z, *fixed, band)
        step = -res
        if not banded_solve(band, step, BELOW, ABOVE):
            return size, -it - 1
        move = step.reshape(n, 2 * N_UNKNOWN)
        share = min(allowed_step(z[:, o : o + 6], move[:, o : o + 6]) for o in (0, 6))
        for _ in range(12):
            trial = z + share * move
            is_deep = True
            for s, o in enumerate((0, 6)):
                np.maximum(trial[:, o], 0.3 * z[:, o], out=trial[:, o])
                np.maximum(trial[:, o + 1], 0.7 + 0.3 * z[:, o + 1], out=trial[:, o + 1])
                left = own.geo[s, :, 0] - trial[:, o] * trial[:, o + 1] - trial[:, o + 5]
                is_deep &= bool(np.all(left >= _LEAST_DEPTH * own.geo[s, :, 0]))
            if is_deep:
                fresh = pair_residuals(trial, *fixed, fresh_res)
                if fresh < (1.0 - 0.1 * share) * size or fresh < _DONE:
                    break
            share *= 0.5
        else:
            size = pair_residuals(z, *fixed, res)
            return size, it if size < _ROUNDED else -it - 1
        z[:, :] = trial
        res, fresh_res, size = fresh_res, res, fresh
    return size, -limit


def _pair_result(own: _System, z: Array, full: Array, count: int) -> PairResult:
    found = []
    for s in range(2):
        end = int(own.last[s]) + 1
        part = z[:end, N_UNKNOWN * s : N_UNKNOWN * (s + 1)].copy()
        found.append(
            line_result(own.x[:end], own.geo[s, :end], own.width[s], full[s, :end], part, count)
        )
    near = int(own.last.min()) + 1
    crossing = np.array([
        exchanged(z[k, :6], z[k, 6:], own.geo[0, k], own.geo[1, k], own.passage[k],
                  full[0, k].copy(), full[1, k].copy())
        for k in range(near)
    ])  # fmt: skip
    x = own.x[:near]
    return PairResult(
        first=found[0], second=found[1], x=x, crossing=crossing,
        passed=float(np.trapezoid(crossing, x)), state=z,
    )  # fmt: skip
