"""Where a car rides while it brakes, drives or corners, and how far the cliff then is.

Braking moves weight m a h/L to the front axle, driving to the rear; links that work against it keep
part of that off the springs. The ride heights follow from the same balance as at steady speed,

    h_i = h_0i + r_i V² − z_i(q CzS_i(h) ± m a h/L (1 − anti)),

solved draw by draw along rising a. The deceleration at which an axle passes the edge of its cliff
is the distance to the cliff in g, for people who feel it with the brake pedal.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from jaxtyping import Float

from tuftwork.aeromap.balance import AXLES, CLIFF_CRITERION, cliff_line
from tuftwork.aeromap.interpolate import Surface, evaluate_with_slopes
from tuftwork.aeromap.platform import STANDARD_GRAVITY, AxleSpring, Suspension
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array, Draws

STEP = 0.05  # [g] between the accelerations looked at
_TOLERANCE = 2e-6  # [m]
_MOST = 60  # Newton steps
_NODES = 25  # other heights at which an edge is found


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """What acceleration along the car puts on its springs; every array ``(n_draw,)``.

    Attributes
    ----------
    per_g
        Load moved from one axle to the other at 1 g: m g h/L. [N]
    held_front, held_rear
        Share that links keep off the springs, under braking: against dive, against lift. [-]
    """

    per_g: Draws
    held_front: Draws
    held_rear: Draws


@dataclass(frozen=True, slots=True, kw_only=True)
class Lean:
    """Ride heights along an acceleration, at one speed.

    Attributes
    ----------
    acceleration : (n_step,)
        Braking positive. [g]
    ride_height_front, ride_height_rear : (n_step, n_draw)
        NaN from where a draw leaves the map or finds no height. [m]
    """

    acceleration: Float[np.ndarray, " n_step"]
    ride_height_front: Float[np.ndarray, "n_step n_draw"]
    ride_height_rear: Float[np.ndarray, "n_step n_draw"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """The edges of both axles' cliffs over the other axle's ride height, draw by draw."""

    heights: Mapping[str, Float[np.ndarray, " n_other"]]
    edge: Mapping[str, Float[np.ndarray, "n_other n_draw"]]

    def clearance(self, axle: str, front: Array, rear: Array) -> Array:
        """Return an axle's height above its edge ``(..., n_draw)``; NaN where it has none. [m]"""
        own, other = (front, rear) if axle == "front" else (rear, front)
        grid = self.heights[axle]
        place = np.clip((other - grid[0]) / (grid[1] - grid[0]), 0.0, grid.size - 1.001)
        low = np.nan_to_num(place, nan=0.0).astype(int)
        share = place - low
        draws = np.arange(self.edge[axle].shape[1])
        below, above = self.edge[axle][low, draws], self.edge[axle][low + 1, draws]
        return np.asarray(own - ((1 - share) * below + share * above))


def edges_of(surface: Surface, criterion: float = CLIFF_CRITERION) -> Edges:
    """Return where both axles' cliffs begin, draw by draw."""
    heights: dict[str, Array] = {}
    edge: dict[str, Array] = {}
    for axle in AXLES:
        axis = surface.rear if axle == "front" else surface.front
        heights[axle] = np.linspace(axis[0], axis[-1], _NODES)
        edge[axle] = cliff_line(surface, axle, heights[axle], criterion=criterion)
    return Edges(heights=heights, edge=edge)


def lean(
    surface: Surface,
    suspension: Suspension,
    start: tuple[Draws, Draws],
    *,
    pressure: Draws,
    speed: float,
    transfer: Transfer,
    most: float,
) -> Lean:
    """Return the ride heights from rest on the throttle to ``most`` g along the car.

    Parameters
    ----------
    surface, suspension
        Map and springs, the same draws.
    start : (n_draw,), (n_draw,)
        Ride heights at steady speed. [m]
    pressure : (n_draw,)
        Dynamic pressure. [Pa]
    speed
        [m/s]
    transfer
        What acceleration moves.
    most
        Largest acceleration; negative for driving. [g]

    Returns
    -------
    lean
        In steps of 0.05 g, the first one steady.

    Raises
    ------
    InputError
        If ``most`` is zero or beyond 6 g.
    NotConverged
        If the steady heights are not an equilibrium of this map and these springs.
    """
    if not 0 < abs(most) <= 6:
        raise InputError("most", most, "g", "must lie between 0 and 6, either way")
    n_step = int(np.ceil(abs(most) / STEP)) + 1
    ladder = np.linspace(0.0, most, n_step)
    hf, hr = np.array(start[0], dtype=float), np.array(start[1], dtype=float)
    found = np.full((2, n_step, hf.size), np.nan)
    alive = np.isfinite(hf) & np.isfinite(hr)
    for step, g in enumerate(ladder):
        moved = transfer.per_g * g
        # links named for braking hold under braking only; driving pulls at the rear axle alone
        held = (transfer.held_front, transfer.held_rear) if most > 0 else (0.0, 0.0)
        added = moved * (1 - held[0]), -moved * (1 - held[1])
        hf, hr, alive = _settle(surface, suspension, (hf, hr, alive), pressure, speed, added)
        if step == 0 and not np.all(alive == np.isfinite(start[0])):
            raise NotConverged("The steady ride heights are no equilibrium of this map.")
        found[:, step] = np.where(alive, hf, np.nan), np.where(alive, hr, np.nan)
    return Lean(acceleration=ladder, ride_height_front=found[0], ride_height_rear=found[1])


def passes_at(lean: Lean, clearance: Float[np.ndarray, "n_step n_draw"]) -> Draws:
    """Return at which acceleration a clearance is used up, draw by draw.

    Zero where there is none to begin with; NaN where it lasts through all of them. A draw that
    finds no ride height any more, or leaves the map, has used it up there. [g]
    """
    gone = np.isnan(lean.ride_height_front) & np.isfinite(lean.ride_height_front[0])
    below = (clearance < 0) | gone
    first = np.argmax(below, axis=0)
    some = np.any(below, axis=0)
    before = np.maximum(first - 1, 0)
    low = np.take_along_axis(clearance, before[None], axis=0)[0]
    high = np.take_along_axis(clearance, first[None], axis=0)[0]
    drop = np.where(first > 0, low - high, 1.0)
    share = np.where(first > 0, low / np.where(drop > 0, drop, 1.0), 0.0)
    share = np.clip(np.nan_to_num(share, nan=1.0), 0.0, 1.0)
    size = np.abs(lean.acceleration)
    at = size[before] + share * (size[first] - size[before])
    return np.where(some, at, np.nan)


_Heights = tuple[Draws, Draws, np.ndarray]


def _settle(
    surface: Surface, suspension: Suspension, start: _Heights, pressure: Draws, speed: float,
    added: tuple[Draws, Draws],
) -> _Heights:  # fmt: skip
    """Return the heights at which springs carry air and added load; draws that fail are dropped."""
    hf, hr, alive = start[0].copy(), start[1].copy(), start[2].copy()
    inside_front = surface.front[0], surface.front[-1]
    inside_rear = surface.rear[0], surface.rear[-1]
    for _ in range(_MOST):
        f, r = np.clip(hf, *inside_front), np.clip(hr, *inside_rear)
        safe = np.where(alive, f, surface.front[0])[None], np.where(alive, r, surface.rear[0])[None]
        value, by_front, by_rear = (field[:, 0] for field in evaluate_with_slopes(surface, *safe))
        loads = [pressure * value[i] + added[i] for i in (0, 1)]
        springs = suspension.front, suspension.rear
        want = [s.height(load, speed) for s, load in zip(springs, loads, strict=True)]
        miss_front, miss_rear = hf - want[0], hr - want[1]
        done = np.maximum(np.abs(miss_front), np.abs(miss_rear)) < _TOLERANCE
        if np.all(done | ~alive):
            break
        rate = [_rate(s, load) for s, load in zip(springs, loads, strict=True)]
        a, b = 1 + pressure * by_front[0] / rate[0], pressure * by_rear[0] / rate[0]
        c, d = pressure * by_front[1] / rate[1], 1 + pressure * by_rear[1] / rate[1]
        det = a * d - b * c
        det = np.where(np.abs(det) < 0.05, np.where(det < 0, -0.05, 0.05), det)
        step_front = (d * miss_front - b * miss_rear) / det
        step_rear = (a * miss_rear - c * miss_front) / det
        hf = hf - np.clip(step_front, -4e-3, 4e-3)
        hr = hr - np.clip(step_rear, -4e-3, 4e-3)
    else:
        alive &= done
    alive &= (hf >= inside_front[0]) & (hf <= inside_front[1])
    alive &= (hr >= inside_rear[0]) & (hr <= inside_rear[1])
    return hf, hr, alive


def _rate(spring: AxleSpring, load: Draws) -> Draws:
    """Return the rate of an axle under a load, draw by draw [N/m]."""
    piece = np.sum(load[:, None] >= spring.load[:, 1:], axis=1)
    return np.asarray(spring.rate[np.arange(piece.size), piece])


def transfer_of(
    mass: Draws, height: Draws, wheelbase: Draws, held: tuple[Draws, Draws]
) -> Transfer:
    """Return what acceleration along the car puts on its springs.

    Parameters
    ----------
    mass, height, wheelbase : (n_draw,)
        Of the car; of its centre over the ground. [kg], [m], [m]
    held : (n_draw,), (n_draw,)
        Share that links keep off the springs under braking: front, rear. [-]

    Raises
    ------
    InputError
        If a mass, height or wheelbase is not above zero.
    """
    for name, value, unit in (
        ("mass", mass, "kg"), ("cg_height", height, "m"), ("wheelbase", wheelbase, "m"),
    ):  # fmt: skip
        if not np.all(value > 0):
            raise InputError(name, float(np.min(value)), unit, "must be above 0 in every draw")
    return Transfer(
        per_g=mass * STANDARD_GRAVITY * height / wheelbase, held_front=held[0], held_rear=held[1]
    )
