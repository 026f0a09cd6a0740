"""A splitter's channels as a table: load, bending and hand-over pressure of thousands of states.

At nodes of clearance every output is quadratic in slope, bending, driving pressure, head, leak,
mixing, lip loss and rise of the ramp. A state is settled in one call: the pressure a channel hands
over at depends on its own flow where it shares a way out, and the lip's droop on the load of all
channels. ``front_make`` works the table out and measures its error.
"""

from dataclasses import dataclass, fields
from typing import Any, no_type_check

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tuftwork.quantity import Array

VARIABLES = ("slope", "bend", "drive", "head", "leak", "mixing", "loss", "rise")
"""Rearward rise [rad]; log of lip gap over gap; log of head less hand-over Cp; head; root of the
leak over the channel; mixing; loss at the lip; rise of the ramp over the drawn one."""
OUTPUTS = ("load", "centre", "plate", "flow", "head", "choke", "shape", "drag")
"""Logs of head less mean Cp over channel and plate, of flow over width and gap, of the gap's share
filled by the layer and of the greatest shape factor; the head handed over; centre of head less Cp
over the channel's length; what head less Cp pushes rearward over the gap. [-]"""
N_VAR, N_OUT, N_TERM = len(VARIABLES), len(OUTPUTS), 45
MOST_BEND = 0.40  # [-] of the gap that the lip may droop before it counts as drawn to the road
N_GIVEN = 8  # outputs of one channel, see StripLoads
_OVER = 1.25  # [-] of the half width, where a draw is held
_SOLVED = (1, 2, 6)  # bend, drive, loss: what settling moves


@dataclass(frozen=True, slots=True, kw_only=True)
class StripTable:
    """One channel over clearance and what its equations leave open.

    Attributes
    ----------
    gap : (n_gap,)
        Clearance at the bodywork's edge, evenly spaced in its logarithm. [m]
    middle, half : (8,)
        Of the design of ``VARIABLES``.
    terms : (n_gap, 8, 45)
        Coefficients of the quadratics.
    scale, error
        Fine grid over table: mean ratio of loads, in the answers already, and half of the 80 %
        range of what is left. [-]
    peak
        Clearance of greatest load, NaN where it still rises at the lowest. [m]
    length
        From lip to hand-over. [m]
    """

    gap: Array
    middle: Array
    half: Array
    terms: Array
    scale: float
    error: float
    peak: float
    length: float

    def tree(self) -> dict[str, Any]:
        """Return it as plain arrays, for a store."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @classmethod
    def of(cls, tree: dict[str, Any]) -> "StripTable":
        """Return the table of a stored tree."""
        arrays: dict[str, Any] = {
            k: np.asarray(tree[k]) for k in ("gap", "middle", "half", "terms")
        }
        numbers: dict[str, Any] = {k: float(tree[k]) for k in ("scale", "error", "peak", "length")}
        return cls(**arrays, **numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class StripState:
    """What one channel meets; fields broadcast against the front's own.

    Attributes
    ----------
    width
        [m]
    pressure
        Cp where it hands over, with no flow of its own in the shared way out. [-]
    beside
        Flow of others through that way, over the road speed. [m²]
    outlet
        Open area of that way; infinite where nothing is shared. [m²]
    share
        Of the channel's flow that goes there. [-]
    leak
        2 Cd g/(h w) over the channel's length. [-]
    mixing, rise
        As in ``VARIABLES``. [-]
    """

    width: Array
    pressure: Array
    beside: Array
    outlet: Array
    share: Array
    leak: Array
    mixing: Array
    rise: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontState:
    """What the whole front meets; fields broadcast.

    Attributes
    ----------
    gap, slope
        Clearance at the bodywork's edge with the plate unbent, and rise rearward. [m], [rad]
    head
        Total pressure of the air at the lip. [-]
    upper
        CzS on top of the plate. [m²]
    softness
        Droop of the lip per CzS of the plate: dynamic pressure over stiffness. [1/m]
    projection
        Length of plate. [m]
    lip_radius
        [m]
    onset, tolerance
        Angle of the air at the lip, from above, and what the rolled edge bears. [rad]
    """

    gap: Array
    slope: Array
    head: Array
    upper: Array
    softness: Array
    projection: Array
    lip_radius: Array
    onset: Array
    tolerance: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class StripLoads:
    """What one channel makes; fields share one shape.

    Attributes
    ----------
    under, centre
        CzS from below, and its place behind the lip. [m²], [m]
    drag
        CxS of the inclined underside. [m²]
    flow
        At the hand-over, over the road speed. [m²]
    pressure, head
        Cp and total pressure where it hands over. [-]
    choke
        Share of the narrowest gap that its layer fills. [-]
    shape_factor
        Greatest H; above 3 the layer has separated. [-]
    """

    under: Array
    centre: Array
    drag: Array
    flow: Array
    pressure: Array
    head: Array
    choke: Array
    shape_factor: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontLoads:
    """What a front makes.

    Attributes
    ----------
    strips
        Channel by channel.
    droop
        Of the lip. [m]
    loss
        At the lip, dynamic pressures of the air under it. [-]
    separated
        How far its rolled edge has let go, 0 to 1.
    is_drawn
        Load and bending find no balance: the plate is drawn to the road; held at ``MOST_BEND``.
    is_outside
        Beyond the table, whose edge is held.
    """

    strips: tuple[StripLoads, ...]
    droop: Array
    loss: Array
    separated: Array
    is_drawn: NDArray[np.bool_]
    is_outside: NDArray[np.bool_]


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _place(i, j):
    """Return where a term of two solved numbers lies among 1, g, d, k, gg, gd, gk, dd, dk, kk."""
    if i < 0 and j < 0:
        return 0
    if i < 0:
        return 1 + j
    if j < 0:
        return 1 + i
    a, b = min(i, j), max(i, j)
    return 4 + b if a == 0 else (6 + b if a == 1 else 9)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _collapse(gap, first, step, terms, x, solved, out):
    """Interpolate in clearance and put in what is known; leaves quadratics in three numbers."""
    n = terms.shape[0] - 2
    a = min(max((np.log(gap) - first) / step, 0.0), n - 1.0)
    i = min(int(a), n - 2)
    t = a - i
    w = (
        0.5 * (-t + 2 * t * t - t * t * t), 0.5 * (2 - 5 * t * t + 3 * t * t * t),
        0.5 * (t + 4 * t * t - 3 * t * t * t), 0.5 * (-t * t + t * t * t),
    )  # fmt: skip
    n_var, n_out = x.size, terms.shape[1]
    out[:, :] = 0.0
    c = 0
    for p in range(-1, n_var):
        for q in range(max(p, 0) if p >= 0 else -1, n_var):
            # p = -1, q = -1: the constant; p = -1, q: linear; else the product
            value = 1.0
            place = _place(solved[p] if p >= 0 else -1, solved[q] if q >= 0 else -1)
            if p >= 0 and solved[p] < 0:
                value *= x[p]
            if q >= 0 and solved[q] < 0:
                value *= x[q]
            if value != 0.0:
                for e in range(n_out):
                    found = 0.0
                    for s in range(4):
                        found += w[s] * terms[i + s, e, c]
                    out[e, place] += value * found
            c += 1


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _at(c, g, d, k):
    return (
        c[0] + c[1] * g + c[2] * d + c[3] * k + c[4] * g * g + c[5] * g * d + c[6] * g * k
        + c[7] * d * d + c[8] * d * k + c[9] * k * k
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _held(value, middle, half):
    x = (value - middle) / half if half > 0.0 else 0.0
    return min(max(x, -1.25), 1.25)


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _strip(c, gap, head, mid, half, g, k, p0, flow, outlet, share, width):
    """Return hand-over pressure and its place in the design, settled with the channel's flow."""
    low, high = p0, head - 0.05
    p = min(p0, high)
    d = _held(np.log(max(head - p, 0.05)), mid[2], half[2])
    if not outlet < 1e6:
        return p, d
    # what the way out adds grows with the flow, and the flow falls with the pressure
    for _ in range(40):
        q = share * width * gap * np.exp(_at(c[3], g, d, k))
        wanted = p0 + (2.0 * flow * q + q * q) / (outlet * outlet)
        if wanted > p:
            low = p
        else:
            high = p
        fresh = 0.5 * (p + wanted)
        if not low <= fresh <= high:
            fresh = 0.5 * (low + high)
        moved = abs(fresh - p)
        p = fresh
        d = _held(np.log(max(head - p, 0.05)), mid[2], half[2])
        if moved < 1e-6:
            break
    return p, d


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _lip(gap, slope, projection, droop, radius, onset, tolerance):
    """Return loss at the lip and how far its rolled edge has separated."""
    clear = max(gap - slope * projection - droop, 1e-4)
    smooth = 0.5 / (1.0 + 36.0 * (radius / (2.0 * clear)) ** 1.2)
    over = (onset + droop / projection) / max(tolerance, 1e-4) - 1.0
    gone = 1.0 / (1.0 + np.exp(-min(max(over / 0.15, -40.0), 40.0)))
    return smooth + (0.5 - smooth) * gone, gone


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _settle(front, strips, firsts, steps, mids, halves, terms, scales, imposed, out, whole):
    """Settle states ``front (n, 9)``, ``strips (n_strip, n, 8)``; ``imposed`` bend below 0: solve.

    ``out (n_strip, n, 8)`` and ``whole (n, 4)``: droop, loss, separated, drawn.
    """
    n_strip, n = strips.shape[0], front.shape[0]
    c = np.empty((n_strip, 8, 10))
    x = np.empty(8)
    solved = np.full(8, -1)
    solved[1], solved[2], solved[6] = 0, 1, 2
    ps, ds = np.empty(n_strip), np.empty(n_strip)
    for m in range(n):
        gap, slope, head, upper, soft, projection, radius, onset, tolerance = front[m]
        for s in range(n_strip):
            for v in range(8):
                x[v] = 0.0
            x[0] = _held(slope, mids[s, 0], halves[s, 0])
            x[3] = _held(head, mids[s, 3], halves[s, 3])
            x[4] = _held(np.sqrt(max(strips[s, m, 5], 0.0)), mids[s, 4], halves[s, 4])
            x[5] = _held(strips[s, m, 6], mids[s, 5], halves[s, 5])
            x[7] = _held(strips[s, m, 7], mids[s, 7], halves[s, 7])
            _collapse(gap, firsts[s], steps[s], terms[s], x, solved, c[s])
        bend, last, last_miss = max(imposed, 0.0), 0.0, 0.0
        drawn, loss, gone = 0.0, 0.0, 0.0
        for turn in range(60):
            loss, gone = _lip(gap, slope, projection, bend * gap, radius, onset, tolerance)
            plate = upper
            for s in range(n_strip):
                g = _held(np.log(1.0 - bend), mids[s, 1], halves[s, 1])
                k = _held(loss, mids[s, 6], halves[s, 6])
                ps[s], ds[s] = _strip(
                    c[s], gap, head, mids[s], halves[s], g, k, strips[s, m, 1], strips[s, m, 2],
                    strips[s, m, 3], strips[s, m, 4], strips[s, m, 0],
                )  # fmt: skip
                own = np.exp(_at(c[s, 2], g, ds[s], k)) - head
                plate += scales[s] * strips[s, m, 0] * projection * own
            if imposed >= 0.0 or not soft > 0.0:
                break
            miss = soft * plate / gap - bend
            if abs(miss) < 1e-5 or (bend <= 0.0 and miss < 0.0):
                break
            if bend >= 0.40 and miss > 0.0:
                drawn = 1.0
                break
            fresh = bend + miss
            if turn > 0 and miss < last_miss and miss > 0.0:
                # straight on through the last two: ahead of the root where load grows with droop
                fresh = bend + miss * (bend - last) / (last_miss - miss)
            elif miss < 0.0:
                fresh = bend - miss * (bend - last) / (miss - last_miss)
            last, last_miss = bend, miss
            bend = min(max(fresh, 0.0), 0.40)
        for s in range(n_strip):
            g = _held(np.log(1.0 - bend), mids[s, 1], halves[s, 1])
            k = _held(loss, mids[s, 6], halves[s, 6])
            d, width = ds[s], strips[s, m, 0]
            total = np.exp(_at(c[s, 0], g, d, k))
            out[s, m, 0] = scales[s] * width * (total - head)
            out[s, m, 1] = width * total * _at(c[s, 1], g, d, k)
            out[s, m, 2] = width * gap * _at(c[s, 7], g, d, k)
            out[s, m, 3] = width * gap * np.exp(_at(c[s, 3], g, d, k))
            out[s, m, 4] = ps[s]
            out[s, m, 5] = _at(c[s, 4], g, d, k)
            out[s, m, 6] = np.exp(_at(c[s, 5], g, d, k))
            out[s, m, 7] = np.exp(_at(c[s, 6], g, d, k))
        whole[m, 0], whole[m, 1], whole[m, 2], whole[m, 3] = bend * gap, loss, gone, drawn


def padded(terms: Array) -> Array:
    """Return the terms with a node more at both ends, going on straight."""
    more = np.concatenate([[2 * terms[0] - terms[1]], terms, [2 * terms[-1] - terms[-2]]])
    return np.ascontiguousarray(more)


def evaluate(
    tables: tuple[StripTable, ...], spans: tuple[float, ...], front: FrontState,
    strips: tuple[StripState, ...], *, bend: float = -1.0,
) -> FrontLoads:  # fmt: skip
    """Return loads for arrays of states at once.

    Parameters
    ----------
    tables, spans
        One a channel, and its ramp's rise as drawn. [m]
    front, strips
        What the front meets, and its channels; everything broadcasts.
    bend
        Droop of the lip over the gap, imposed; below 0 it is solved for. [-]
    """
    names = ("gap", "slope", "head", "upper", "softness", "projection", "lip_radius", "onset",
             "tolerance")  # fmt: skip
    own = ("width", "pressure", "beside", "outlet", "share", "leak", "mixing", "rise")
    full = np.broadcast_arrays(
        *(getattr(front, k) for k in names), *(getattr(s, k) for s in strips for k in own)
    )
    shape, n = full[0].shape, full[0].size
    flat = [np.ravel(v).astype(float) for v in full]
    given = np.ascontiguousarray(np.stack(flat[: len(names)], axis=-1))
    rows = np.stack(flat[len(names) :]).reshape(len(strips), len(own), n)
    rows = np.ascontiguousarray(np.moveaxis(rows, 1, 2))
    floor = np.array([t.gap[0] for t in tables])
    given[:, 0] = np.maximum(given[:, 0], 1e-4)
    out, whole = np.empty((len(strips), n, N_GIVEN)), np.empty((n, 4))
    _settle(
        given, rows, np.log(floor),
        np.array([np.log(t.gap[1] / t.gap[0]) for t in tables]),
        np.stack([t.middle for t in tables]), np.stack([t.half for t in tables]),
        np.stack([padded(t.terms) for t in tables]), np.array([t.scale for t in tables]),
        float(bend), out, whole,
    )  # fmt: skip
    droop = whole[:, 0].reshape(shape)
    found = tuple(
        _loads(table, span, front, state, out[k].reshape(*shape, N_GIVEN), droop)
        for k, (table, span, state) in enumerate(zip(tables, spans, strips, strict=True))
    )
    top = np.array([t.gap[-1] for t in tables])
    beyond = (given[:, 0] < floor.max() - 1e-9) | (given[:, 0] > top.min() + 1e-9)
    return FrontLoads(
        strips=found, droop=droop, loss=whole[:, 1].reshape(shape),
        separated=whole[:, 2].reshape(shape), is_drawn=whole[:, 3].reshape(shape) > 0,
        is_outside=beyond.reshape(shape),
    )  # fmt: skip


def _loads(
    table: StripTable, span: float, front: FrontState, state: StripState, out: Array,
    droop: Array,
) -> StripLoads:  # fmt: skip
    length = table.length
    under = length * out[..., 0]
    # moments of head less Cp and of the head itself, about the lip
    moment = length**2 * (table.scale * out[..., 1] - 0.5 * table.scale * front.head * state.width)
    safe = np.where(np.abs(under) > 1e-6, under, np.where(under < 0, -1e-6, 1e-6))
    climb = front.slope * length + span * state.rise + droop
    return StripLoads(
        under=under, centre=moment / safe,
        drag=table.scale * (out[..., 2] - front.head * state.width * climb),
        flow=out[..., 3], pressure=out[..., 4], head=out[..., 5], choke=out[..., 6],
        shape_factor=out[..., 7],
    )  # fmt: skip
