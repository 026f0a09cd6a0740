"""Where a car rides at speed: every equilibrium of springs and air, and the one it comes to.

At speed V and for every draw the ride heights satisfy

    F_f(h_0f + r_f V² − h_f) = q CzS_f(h_f, h_r),   F_r(h_0r + r_r V² − h_r) = q CzS_r(h_f, h_r).

A floor that loses load when it comes too low makes more than one solution possible. All of them
are found (``root.py``); the car's own is the one that connects to rest through rising speed
(``follow.py``), and through falling speed it may be another one.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from jaxtyping import Bool, Float, Int

from tuftwork.aeromap.follow import JUMPED, LEFT, STUCK, UNHELD, follow_draws, solve_draws
from tuftwork.aeromap.interpolate import Surface, evaluate, in_threads
from tuftwork.aeromap.platform import AxleSpring, Suspension
from tuftwork.aeromap.root import MOST_ROOTS
from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.quantity import Array, Draws

Direction = Literal["rising", "falling"]
_SPEED_STEP = 1.0  # [m/s] between the speeds at which a branch is followed


@dataclass(frozen=True, slots=True, kw_only=True)
class Equilibria:
    """Every equilibrium at every speed and draw; unused places hold NaN.

    Attributes
    ----------
    speed : (n_speed,)
        [m/s]
    count : (n_speed, n_draw)
        How many there are.
    ride_height_front, ride_height_rear : (n_root, n_speed, n_draw)
        The highest front first. [m]
    margin : (n_root, n_speed, n_draw)
        Against static divergence: 1 at rest, above 0 where the equilibrium holds. [-]
    """

    speed: Float[np.ndarray, " n_speed"]
    count: Int[np.ndarray, "n_speed n_draw"]
    ride_height_front: Float[np.ndarray, "n_root n_speed n_draw"]
    ride_height_rear: Float[np.ndarray, "n_root n_speed n_draw"]
    margin: Float[np.ndarray, "n_root n_speed n_draw"]

    @property
    def stable(self) -> Bool[np.ndarray, "n_root n_speed n_draw"]:
        """Whether each one holds."""
        return np.asarray(self.margin > 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatformPath:
    """The ride heights a car takes on its way through the speeds, and the loads there.

    Attributes
    ----------
    speed : (n_speed,)
        [m/s]
    ride_height_front, ride_height_rear : (n_speed, n_draw)
        [m]
    downforce_front, downforce_rear, drag : (n_speed, n_draw)
        CzSf, CzSr, CxS at those ride heights. [m²]
    load_front, load_rear : (n_speed, n_draw)
        Aerodynamic load at each axle. [N]
    margin : (n_speed, n_draw)
        Against static divergence. [-]
    count : (n_speed, n_draw)
        How many equilibria there are at that speed, this one among them.
    jumped : (n_speed, n_draw)
        Whether the branch ended since the speed before, and the car fell to another one.
    covered : (n_draw,)
        Whether the draw stayed on the map; one that left holds NaN from there on.
    direction
        Through rising or falling speed.
    """

    speed: Float[np.ndarray, " n_speed"]
    ride_height_front: Float[np.ndarray, "n_speed n_draw"]
    ride_height_rear: Float[np.ndarray, "n_speed n_draw"]
    downforce_front: Float[np.ndarray, "n_speed n_draw"]
    downforce_rear: Float[np.ndarray, "n_speed n_draw"]
    drag: Float[np.ndarray, "n_speed n_draw"]
    load_front: Float[np.ndarray, "n_speed n_draw"]
    load_rear: Float[np.ndarray, "n_speed n_draw"]
    margin: Float[np.ndarray, "n_speed n_draw"]
    count: Int[np.ndarray, "n_speed n_draw"]
    jumped: Bool[np.ndarray, "n_speed n_draw"]
    covered: Bool[np.ndarray, " n_draw"]
    direction: Direction = "rising"


def solve_equilibria(
    surface: Surface,
    suspension: Suspension,
    *,
    speed: Float[np.ndarray, " n_speed"],
    density: Draws | float,
) -> Equilibria:
    """Return every equilibrium of springs and air on the map.

    Parameters
    ----------
    surface
        CzSf and CzSr (first two fields) over the ride heights.
    suspension
        Springs, with the surface's number of draws.
    speed : (n_speed,)
        [m/s]
    density : () or (n_draw,)
        Of the air. [kg/m³]

    Returns
    -------
    equilibria
        All of them: the search drops no box in which one could lie.

    Raises
    ------
    InputError
        If speeds or densities are impossible or the numbers of draws differ.
    NotConverged
        If the search ran out of room, which needs a surface that agrees with the springs along a
        whole line.

    Notes
    -----
    Static divergence only: masses and dampers, and so the fast bouncing of a car whose floor
    stalls and recovers, are not looked at.
    """
    found, _ = _solve(surface, suspension, speed, density)
    return _as_equilibria(np.asarray(speed, dtype=float), found)


def follow_path(
    surface: Surface,
    suspension: Suspension,
    *,
    speed: Float[np.ndarray, " n_speed"],
    density: Draws | float,
    partial: bool = False,
) -> tuple[PlatformPath, PlatformPath]:
    """Return the car's path through rising speed, and back through falling speed.

    Parameters
    ----------
    surface
        CzSf, CzSr and CxS over the ride heights.
    suspension
        Springs, with the surface's number of draws.
    speed : (n_speed,)
        At which answers are wanted, in any order. [m/s]
    density : () or (n_draw,)
        Of the air. [kg/m³]
    partial
        Whether draws that leave the map are kept, with NaN from there on, instead of refused.

    Returns
    -------
    rising, falling
        Where they differ, the car has two ride heights at one speed.

    Raises
    ------
    NotCovered
        If a draw leaves the map, or rests outside it.
    NotConverged
        If a draw has nothing but unstable equilibria, or does not settle.
    """
    wanted = np.asarray(speed, dtype=float)
    n_step = max(2, int(np.ceil(float(np.max(wanted, initial=0.0)) / _SPEED_STEP)) + 1)
    fine = np.unique(np.concatenate([np.linspace(0.0, np.max(wanted), n_step), wanted]))
    found, setting = _solve(surface, suspension, fine, density)
    axes, q, tops, front, rear = setting
    shape = surface.n_draw, fine.size
    ways = [(np.full(shape, -1), np.full(shape, LEFT)) for _ in range(2)]

    def work(a: int, b: int) -> None:
        cut = slice(a, b)
        pieces = [tuple(array[cut] for array in group) for group in (front, rear, found, *ways)]
        f, r, roots, up, down = pieces
        follow_draws(axes, surface.nodes[cut], q[cut], tops[cut], f, r, roots, up, down)

    in_threads(work, surface.n_draw, found[0].size)
    for which, status in ways:
        _refuse_lost(fine, which, status, partial)
    at = np.searchsorted(fine, wanted)
    rising = _path(surface, (fine, q, found), ways[0], at, "rising")
    falling = _path(surface, (fine, q, found), ways[1], at, "falling")
    for axle, loads in ((suspension.front, rising.load_front), (suspension.rear, rising.load_rear)):
        if np.any(loads < -axle.static_load):
            raise NotCovered("An axle is lifted by more than its weight: it leaves the ground.")
    return rising, falling


_Found = tuple[Array, Array, Int[np.ndarray, "n_draw n_speed"]]
_Spring = tuple[Array, Array, Array]
_Setting = tuple[tuple[np.ndarray, ...], Array, Array, _Spring, _Spring]


def _solve(
    surface: Surface, suspension: Suspension, speed: Array, density: Draws | float
) -> tuple[_Found, _Setting]:
    """Return heights, margins and counts, draws first, and what the kernels were given."""
    speed = np.asarray(speed, dtype=float)
    _check(surface, suspension, speed, np.asarray(density, dtype=float))
    n_draw = surface.n_draw
    rho = np.broadcast_to(np.asarray(density, dtype=float), (n_draw,))
    q = 0.5 * rho[:, None] * np.square(speed)
    tops = np.stack(
        [a.ride_height[:, None] + a.growth[:, None] * np.square(speed)
         for a in (suspension.front, suspension.rear)], axis=-1,
    )  # fmt: skip
    bounds = _cell_bounds(surface)
    rows = np.stack([bounds[..., 0].min(axis=2), bounds[..., 1].max(axis=2)], axis=-1)
    front, rear = _plain(suspension.front), _plain(suspension.rear)
    axes = surface.front, surface.rear, surface.start_front, surface.start_rear
    heights = np.full((n_draw, speed.size, MOST_ROOTS, 2), np.nan)
    margins = np.full((n_draw, speed.size, MOST_ROOTS), np.nan)
    counts = np.zeros((n_draw, speed.size), dtype=np.int64)
    done: list[bool] = []

    def work(a: int, b: int) -> None:
        cut = slice(a, b)
        f, r = tuple(v[cut] for v in front), tuple(v[cut] for v in rear)
        out = heights[cut], margins[cut], counts[cut]
        args = axes, surface.nodes[cut], (bounds[cut], rows[cut]), q[cut], tops[cut], f, r, out
        done.append(solve_draws(*args))

    in_threads(work, n_draw, 100 * q.size)
    if not all(done):
        raise NotConverged(
            "Springs and air agree along a whole line, or in too many places, within one cell of "
            "the map: the search for equilibria ran out of room."
        )
    return (heights, margins, counts), (axes, q, tops, front, rear)


def _cell_bounds(surface: Surface) -> Float[np.ndarray, "n_draw n_cell_front n_cell_rear 4"]:
    """Return least and greatest CzSf and CzSr of each cell: those of its corners, by limiting."""
    value = surface.nodes[:, :2, :, :, 0]
    corners = np.stack(
        [value[:, :, :-1, :-1], value[:, :, 1:, :-1], value[:, :, :-1, 1:], value[:, :, 1:, 1:]]
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    return np.stack([low[:, 0], high[:, 0], low[:, 1], high[:, 1]], axis=-1)


def _plain(axle: AxleSpring) -> _Spring:
    return (
        np.ascontiguousarray(axle.travel),
        np.ascontiguousarray(axle.load),
        np.ascontiguousarray(axle.rate),
    )


def _as_equilibria(speed: Array, found: _Found) -> Equilibria:
    heights, margins, counts = found
    most = max(1, int(counts.max(initial=0)))
    front, rear, margin = (
        np.ascontiguousarray(np.transpose(field[:, :, :most], (2, 1, 0)))
        for field in (heights[..., 0], heights[..., 1], margins)
    )
    return Equilibria(
        speed=speed, count=counts.T, ride_height_front=front, ride_height_rear=rear, margin=margin
    )


def _path(
    surface: Surface,
    solved: tuple[Array, Array, _Found],
    way: tuple[np.ndarray, np.ndarray],
    at: np.ndarray,
    direction: Direction,
) -> PlatformPath:
    """Return one path at the wanted speeds, with the loads read off the map."""
    fine, q, (heights, margins, counts) = solved
    which, status = way
    lost = which < 0
    pick = np.where(lost, 0, which)[..., None]
    chosen = np.take_along_axis(heights, pick[..., None], axis=2)[:, :, 0]
    chosen[lost] = np.nan
    margin = np.where(lost, np.nan, np.take_along_axis(margins, pick, axis=2)[..., 0])
    passed = np.cumsum(status == JUMPED, axis=1)[:, at]
    jumped = np.diff(passed, axis=1, prepend=0) != 0
    if direction == "falling":
        later = np.cumsum((status == JUMPED)[:, ::-1], axis=1)[:, ::-1][:, at]
        jumped = np.diff(later, axis=1, append=0) != 0
    hf, hr = chosen[:, at, 0].T, chosen[:, at, 1].T
    safe = [
        np.where(np.isfinite(h), np.clip(h, axis[0], axis[-1]), axis[0])
        for h, axis in ((hf, surface.front), (hr, surface.rear))
    ]
    values = evaluate(surface, *safe)
    values = np.where(np.isfinite(hf), values, np.nan)
    return PlatformPath(
        speed=fine[at], ride_height_front=hf, ride_height_rear=hr,
        downforce_front=values[0], downforce_rear=values[1], drag=values[2],
        load_front=q[:, at].T * values[0], load_rear=q[:, at].T * values[1],
        margin=margin[:, at].T, count=counts[:, at].T, jumped=jumped.T,
        covered=~np.any(lost, axis=1), direction=direction,
    )  # fmt: skip


def _refuse_lost(fine: Array, which: np.ndarray, status: np.ndarray, partial: bool) -> None:
    """Refuse a path on which a draw was lost; one that only left the map may be kept."""
    for kind, error, text in (
        (UNHELD, NotConverged, "have no stable ride height: the air answers faster than springs"),
        (STUCK, NotConverged, "do not settle on any ride height"),
        (LEFT, NotCovered, "leave the map. Widen its ride heights"),
    ):
        hit = (which < 0) & (status == kind)
        if not np.any(hit) or (partial and kind == LEFT):
            continue
        slowest = 3.6 * float(fine[np.any(hit, axis=0)].min())
        n, size = int(np.any(hit, axis=1).sum()), which.shape[0]
        raise error(f"From {slowest:.0f} km/h on, {n} of {size} draws {text}.")


def _check(surface: Surface, suspension: Suspension, speed: Array, density: Array) -> None:
    if surface.n_draw != suspension.n_draw:
        limit = f"the springs have {suspension.n_draw}"
        raise InputError("draws of the map", surface.n_draw, "", limit)
    if surface.n_field < 2:
        raise InputError("fields", surface.n_field, "", "front and rear downforce are needed")
    if speed.ndim != 1 or speed.size == 0 or not np.all((speed >= 0) & (speed < 300)):
        raise InputError("speed", str(speed), "m/s", "must be a list of speeds from 0 to 300")
    if not np.all(density > 0):
        raise InputError("density", float(np.min(density)), "kg/m³", "must be above 0")
