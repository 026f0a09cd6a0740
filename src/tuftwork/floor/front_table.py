"""A splitter's channels as a table: load, bending and hand-over pressure of thousands of states.

At nodes of clearance every output is quadratic in slope, bending, driving pressure, head, leak,
mixing, lip loss, rise of the ramp and, where air crosses to the channel beside it, that one's
driving pressure and the opening between them. A state is settled in one call: the pressure a
channel hands over at depends on its own flow where it shares a way out, and the lip's droop on the
load of all channels. ``front_make`` works the table out and measures its error.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import NotConverged
from tuftwork.floor.front_kernel import settle
from tuftwork.quantity import Array

VARIABLES = (
    "slope",
    "bend",
    "drive",
    "head",
    "leak",
    "mixing",
    "loss",
    "rise",
    "beside",
    "passage",
)
"""Rearward rise [rad]; log of lip gap over gap; log of head less hand-over Cp; head; root of the
leak over the channel; mixing; loss at the lip; rise of the ramp over the drawn one."""
OUTPUTS = ("load", "centre", "plate", "flow", "head", "choke", "shape", "drag", "passed")
"""Logs of head less mean Cp over channel and plate, of flow over width and gap, of the gap's share
filled by the layer and of the greatest shape factor; the head handed over; centre of head less Cp
over the channel's length; what head less Cp pushes rearward over the gap. [-]"""
N_TERM = 66
MOST_BEND = 0.40  # [-] of the gap that the lip may droop before it counts as drawn to the road
_SETTLED = 1e-4  # [-] Cp by which hand-over pressures may miss what their flows make of them
_HELD = 1.25  # [-] half widths of the design, beyond which the kernel holds a number
N_GIVEN = 10  # outputs of one channel, see StripLoads


@dataclass(frozen=True, slots=True, kw_only=True)
class StripTable:
    """One channel over clearance and what its equations leave open.

    Attributes
    ----------
    gap : (n_gap,)
        Clearance at the bodywork's edge, evenly spaced in its logarithm. [m]
    middle, half : (10,)
        Of the design of ``VARIABLES``.
    terms : (n_gap, 9, 66)
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
    passage
        Discharge times open share of the edge to the channel beside it. [-]
    loss
        Of its own way ahead of what it shares: Cp per flow squared. [1/m⁴]
    node
        Number of the node its air goes to; two channels with one number leave by one way out. Below
        0: by itself.
    """

    width: Array
    pressure: Array
    beside: Array
    outlet: Array
    share: Array
    leak: Array
    mixing: Array
    rise: Array
    passage: Array = field(default_factory=lambda: np.zeros(1))
    loss: Array = field(default_factory=lambda: np.zeros(1))
    node: int = -1


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
    gain
        On the channels' load where it bends the plate. [-]
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
    gain: Array


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
    plate
        CzS from below on the plate ahead of the bodywork, which bends it. [m²]
    passed
        Flow that crosses to the channel beside it, over the road speed. [m²]
    """

    under: Array
    centre: Array
    drag: Array
    flow: Array
    pressure: Array
    head: Array
    choke: Array
    shape_factor: Array
    plate: Array
    passed: Array


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
        Beyond the table in clearance, rise, droop or what drives a channel: its edge is held.
    """

    strips: tuple[StripLoads, ...]
    droop: Array
    loss: Array
    separated: Array
    is_drawn: NDArray[np.bool_]
    is_outside: NDArray[np.bool_]


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

    Raises
    ------
    NotConverged
        If the pressures of two channels that feel each other find no balance within their tables.
    """
    names = ("gap", "slope", "head", "upper", "softness", "projection", "lip_radius", "onset",
             "tolerance", "gain")  # fmt: skip
    own = (
        "width",
        "pressure",
        "beside",
        "outlet",
        "share",
        "leak",
        "mixing",
        "rise",
        "passage",
        "loss",
    )
    full = np.broadcast_arrays(
        *(getattr(front, k) for k in names), *(getattr(s, k) for s in strips for k in own)
    )
    shape, n = full[0].shape, full[0].size
    flat = [np.ravel(v).astype(float) for v in full]
    given = np.ascontiguousarray(np.stack(flat[: len(names)], axis=-1))
    rows = np.stack(flat[len(names) :]).reshape(len(strips), len(own), n)
    rows = np.ascontiguousarray(np.moveaxis(rows, 2, 0))
    floor = np.array([t.gap[0] for t in tables])
    given[:, 0] = np.maximum(given[:, 0], 1e-4)
    out, whole = np.empty((len(strips), n, N_GIVEN)), np.empty((n, 5))
    settle(
        given, rows, np.array([s.node for s in strips]), np.log(floor),
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
    for k, table in enumerate(tables):
        pull = np.log(np.maximum(given[:, 2] - out[k, :, 4], 1e-3))
        beyond |= np.abs(pull - table.middle[2]) > (_HELD + 1e-9) * table.half[2]
        if table.half[8] > 0:
            apart = np.log(np.maximum(given[:, 2] - out[1 - k, :, 4], 1e-3)) - pull
            beyond |= np.abs(apart - table.middle[8]) > (_HELD + 1e-9) * table.half[8]
    # beyond the tables, whose edge is held, there may be no balance: those states are told anyway
    loose = np.flatnonzero((whole[:, 4] > _SETTLED) & ~beyond)
    if loose.size:
        at = int(loose[0])
        raise NotConverged(
            f"a splitter's channels: pressures where they hand over miss by {whole[at, 4]:.1e} at "
            f"{1e3 * given[at, 0]:.1f} mm of clearance"
        )
    for table in tables:
        shape_of = {0: given[:, 1], 1: np.log1p(-whole[:, 0] / given[:, 0])}
        for k, value in shape_of.items():
            beyond |= np.abs(value - table.middle[k]) > (_HELD + 1e-9) * table.half[k] + 1e-9
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
        plate=out[..., 8], passed=out[..., 9],
    )  # fmt: skip


def front_tables(trees: Mapping[str, Sequence[dict[str, Any]]]) -> dict[str, list[StripTable]]:
    """Return the tables of stored trees, by the key of their splitter."""
    return {key: [StripTable.of(row) for row in rows] for key, rows in trees.items()}
