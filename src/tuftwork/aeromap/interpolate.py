"""Reading a map between its nodes: bilinear, and smooth without overshoot, at many points at once.

The smooth surface is bicubic Hermite with one continuous first derivative everywhere. Slopes are
the parabola's through three nodes, limited as in [fritsch1980] and [hyman1983]: zero where the data
turn, at most three times the flatter secant; the twist is limited so that no Bernstein ordinate of
a patch leaves the range of its four corners. So the surface is monotone along grid lines wherever
the map is, a cliff does not ring, and a patch never shows more or less load than its corners do.
The price: a maximum between two nodes is cut off flat, by up to an eighth of the second difference.

Loops run without the interpreter's lock on plain threads, because the compiler's own thread pool
must not be entered from two threads at once, which a web server does.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import Literal

import numpy as np
from jaxtyping import Float, Int

from tuftwork.aeromap.patch import MOST_BUCKETS, fill_all, read_draws
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import Array, Source

SOURCES = (
    Source(key="fritsch1980", place="region of monotonicity", status="memory"),
    Source(key="hyman1983", place="limit on parabolic slopes", status="memory"),
)
Method = Literal["smooth", "bilinear"]
METHODS: tuple[Method, ...] = ("smooth", "bilinear")
_SERIAL = 20_000  # [values] fewer than this are done sooner on one thread


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Fields over two ride heights, ready to be read between the nodes.

    Attributes
    ----------
    front, rear : (n_front,), (n_rear,)
        Ride heights of the nodes, rising. [m]
    nodes : (n_draw, n_field, n_front, n_rear, 4)
        Value, slope along front, slope along rear, twist.
    start_front, start_rear : (n_bucket,)
        First guess of the cell by equal steps of the axis.
    """

    front: Float[np.ndarray, " n_front"]
    rear: Float[np.ndarray, " n_rear"]
    nodes: Float[np.ndarray, "n_draw n_field n_front n_rear 4"]
    start_front: Int[np.ndarray, " n_bucket_front"]
    start_rear: Int[np.ndarray, " n_bucket_rear"]

    @property
    def n_draw(self) -> int:
        """Number of draws."""
        return int(self.nodes.shape[0])

    @property
    def n_field(self) -> int:
        """Number of fields."""
        return int(self.nodes.shape[1])


def surface_of(
    front: Float[np.ndarray, " n_front"],
    rear: Float[np.ndarray, " n_rear"],
    fields: Float[np.ndarray, "n_field n_front n_rear n_draw"],
) -> Surface:
    """Return the smooth surface through fields given at nodes.

    Parameters
    ----------
    front, rear : (n_front,), (n_rear,)
        Ride heights, rising, two at least. [m]
    fields : (n_field, n_front, n_rear, n_draw)
        Values at the nodes.

    Returns
    -------
    surface
        With limited slopes and twists filled in.

    Raises
    ------
    InputError
        If an axis does not rise.
    NotCovered
        If a value is missing (not a number).
    """
    for name, axis in (("front", front), ("rear", rear)):
        if axis.size < 2 or not np.all(np.diff(axis) > 0):
            raise InputError(f"{name} axis", axis.size, "nodes", "must rise, and have 2 at least")
    if not np.all(np.isfinite(fields)):
        bad = np.any(~np.isfinite(fields), axis=(0, 3))
        i, j = np.argwhere(bad)[0]
        raise NotCovered(
            f"{int(bad.sum())} of {bad.size} cells of the map hold no number, the first at "
            f"front {front[i] * 1e3:.1f} mm, rear {rear[j] * 1e3:.1f} mm."
        )
    nodes = np.zeros((fields.shape[3], fields.shape[0], front.size, rear.size, 4))
    nodes[..., 0] = np.moveaxis(fields, 3, 0)
    x, y = np.ascontiguousarray(front, dtype=float), np.ascontiguousarray(rear, dtype=float)
    in_threads(lambda a, b: fill_all(x, y, nodes, a, b), nodes.shape[0], fields.size)
    return Surface(front=x, rear=y, nodes=nodes, start_front=_starts(x), start_rear=_starts(y))


def evaluate(
    surface: Surface,
    ride_height_front: Array,
    ride_height_rear: Array,
    *,
    method: Method | str = "smooth",
) -> Array:
    """Return all fields at points.

    Parameters
    ----------
    surface
        The map's surface.
    ride_height_front, ride_height_rear : (n_point,) or (n_point, n_draw)
        One point for all draws, or every draw at its own point. [m]
    method
        ``"smooth"`` or ``"bilinear"``.

    Returns
    -------
    values : (n_field, n_point, n_draw)
        In the fields' own unit.

    Raises
    ------
    NotCovered
        If a point lies outside the nodes.
    """
    if method not in METHODS:
        raise UnknownName("method", method, METHODS)
    return _read(surface, ride_height_front, ride_height_rear, method)


def evaluate_with_slopes(
    surface: Surface, ride_height_front: Array, ride_height_rear: Array
) -> tuple[Array, Array, Array]:
    """Return all fields and their slopes over front and rear ride height, on the smooth surface.

    Parameters
    ----------
    surface
        The map's surface.
    ride_height_front, ride_height_rear : (n_point,) or (n_point, n_draw)
        One point for all draws, or every draw at its own point. [m]

    Returns
    -------
    values, over_front, over_rear : (n_field, n_point, n_draw)
        Fields in their own unit, slopes in that over [m].

    Raises
    ------
    NotCovered
        If a point lies outside the nodes.
    """
    args = (surface, ride_height_front, ride_height_rear)
    return _read(*args, "smooth"), _read(*args, "over_front"), _read(*args, "over_rear")


def _read(surface: Surface, hf: Array, hr: Array, way: str) -> Array:
    hf, hr = np.broadcast_arrays(np.asarray(hf, dtype=float), np.asarray(hr, dtype=float))
    if hf.ndim not in (1, 2) or (hf.ndim == 2 and hf.shape[1] != surface.n_draw):
        limit = f"must be (n_point,) or (n_point, {surface.n_draw})"
        raise InputError("ride height's shape", str(hf.shape), "", limit)
    px, py = (np.ascontiguousarray(np.atleast_2d(h.T)) for h in (hf, hr))
    out = np.empty((surface.n_draw, surface.n_field, hf.shape[0]))
    axes = surface.front, surface.rear, surface.start_front, surface.start_rear
    code = _WAYS[way]
    inside: list[bool] = []

    def work(first: int, last: int) -> None:
        if hf.ndim == 1:  # share out the points
            cut = slice(first, last)
            done = read_draws(axes, surface.nodes, px[:, cut], py[:, cut], code, out[:, :, cut])
        else:
            cut = slice(first, last)
            done = read_draws(axes, surface.nodes[cut], px[cut], py[cut], code, out[cut])
        inside.append(done)

    in_threads(work, hf.shape[0] if hf.ndim == 1 else surface.n_draw, out.size)
    if not all(inside):
        raise NotCovered(_outside_text(surface, hf, hr))
    return np.moveaxis(out, 0, 2)


def _outside_text(surface: Surface, hf: Array, hr: Array) -> str:
    span = (
        f"front {surface.front[0] * 1e3:.1f} to {surface.front[-1] * 1e3:.1f} mm, "
        f"rear {surface.rear[0] * 1e3:.1f} to {surface.rear[-1] * 1e3:.1f} mm"
    )
    out = ~((hf >= surface.front[0]) & (hf <= surface.front[-1]))
    out |= ~((hr >= surface.rear[0]) & (hr <= surface.rear[-1]))
    k = tuple(np.argwhere(out)[0])
    where = f"front {hf[k] * 1e3:.1f} mm, rear {hr[k] * 1e3:.1f} mm"
    return f"{int(out.sum())} of {out.size} points lie outside the map ({span}); first {where}."


def in_threads(work: Callable[[int, int], None], count: int, cost: int) -> None:
    """Run ``work(first, last)`` over ``count`` items, on threads where the cost is worth it."""
    workers = min(cpu_count() or 1, count)
    if cost < _SERIAL or workers < 2:
        work(0, count)
        return
    edges = np.linspace(0, count, workers + 1)
    cuts = np.unique(edges.astype(int))
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(work, cuts[:-1].tolist(), cuts[1:].tolist()))


def _starts(axis: Float[np.ndarray, " n"]) -> Int[np.ndarray, " n_bucket"]:
    """Return, for equal steps of the axis, the cell in which each step begins."""
    length = axis[-1] - axis[0]
    n_bucket = int(np.ceil(1.01 * length / np.min(np.diff(axis)))) + 1
    if n_bucket > MOST_BUCKETS:
        raise InputError("axis", n_bucket, "", "its nodes lie too close for its length")
    edges = axis[0] + length * np.arange(n_bucket) / n_bucket
    # a hair lower never hurts: the one comparison that follows goes upward
    found = np.searchsorted(axis, edges - 1e-12 * length, side="right") - 1
    return np.asarray(np.clip(found, 0, axis.size - 2), dtype=np.int64)


_WAYS = {"smooth": 0, "over_front": 1, "over_rear": 2, "bilinear": 3}
