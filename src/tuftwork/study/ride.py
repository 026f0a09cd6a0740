"""One state's way through the speeds: ride heights and loads of every draw, and all equilibria."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.equilibrium import PlatformPath, follow_path, solve_equilibria
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.interpolate import evaluate_with_slopes, surface_of
from tuftwork.aeromap.map import FIELDS
from tuftwork.aeromap.part import draws_of
from tuftwork.aeromap.platform import Suspension
from tuftwork.aeromap.settle import Loads, settle, stilled
from tuftwork.air import Air
from tuftwork.errors import NotConverged, NotCovered
from tuftwork.quantity import Draws, Ensemble
from tuftwork.study.step import Pulse, Work
from tuftwork.study.store import Tree

Engines = Callable[[Mapping[str, Tree], Ensemble, float], Loads]
"""Results, draws and speed [m/s] → loads over ride heights."""

_KEPT = ("ride_height_front", "ride_height_rear", *FIELDS, "margin", "count", "jumped")
_UNSETTLED = 0.02  # [-] of the draws may stay on the map's heights before it is told
_FEWEST = 0.5  # [-] of the draws must stay on the map for an answer to be given


def ride_step_work(
    *,
    map_name: str,
    speeds: Sequence[float],
    ensemble: Callable[[Tree], Ensemble],
    air: Callable[[Ensemble], Any],
    springs: Callable[[Ensemble], Suspension],
    engines: Engines,
) -> Work:
    """Return the work of a step that closes the platform loop at every speed and draw.

    The way is found on the map; at the studied speeds the engines themselves settle it, so that a
    budget there adds up to the same loads.
    """

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        drawn = ensemble(results["tie"])
        axes, made = results["axes"], results[map_name]
        surface = surface_of(axes["front"], axes["rear"], np.stack([made[f] for f in FIELDS]))
        suspension, density = springs(drawn), np.asarray(air(drawn).density)
        pulse.beat(0.2)
        speed = np.asarray(speeds, dtype=float)
        state = map_name.removeprefix("map ")
        try:
            rising, falling = follow_path(
                surface, suspension, speed=speed, density=density, partial=True
            )
            notices = _notices(rising.covered)
            rising, found = settled(
                surface, suspension, rising, density, lambda v: engines(results, drawn, v)
            )
            notices += _kept_notice(found)
        except (NotCovered, NotConverged) as error:
            raise type(error)(f"State '{state}': {error}") from error
        pulse.beat(0.8)
        return {
            "speed": speed,
            **{name: np.asarray(getattr(rising, name), dtype=float) for name in _KEPT},
            "covered": rising.covered,
            "falling_front": falling.ride_height_front,
            "falling_rear": falling.ride_height_rear,
            "equilibria": _best_equilibria(surface, suspension, speed, density),
            "notices": notices,
        }

    return work


def engine_loads(models: Sequence[PartModel], ensemble: Ensemble, air: Air, speed: float) -> Loads:
    """Return the loads at a speed over ride heights, as the budget has them."""
    draws = draws_of(models, ensemble)
    mild = np.full(ensemble.size, 0.06)
    here = PlatformState(
        ride_height_front=mild, ride_height_rear=mild, speed=np.full(1, speed),
        density=np.asarray(air.density).reshape(-1),
        viscosity=np.asarray(air.viscosity).reshape(-1),
    )  # fmt: skip
    parts = stilled(models, here, draws)

    def loads(front: Draws, rear: Draws) -> tuple[Draws, Draws, Draws]:
        car = car_loads(parts, replace(here, ride_height_front=front, ride_height_rear=rear), draws)
        a, b, c = (
            np.broadcast_to(field, front.shape)
            for field in (car.downforce_front, car.downforce_rear, car.drag)
        )
        return a, b, c

    return loads


def settled(
    surface: Any, suspension: Suspension, path: PlatformPath, density: Any,
    loads: Callable[[float], Loads],
) -> tuple[PlatformPath, np.ndarray]:  # fmt: skip
    """Return a path whose heights and loads are the engines' own, and which draws settled."""
    rows = []
    size = path.ride_height_front.shape[1]
    for i, speed in enumerate(path.speed):
        start = path.ride_height_front[i], path.ride_height_rear[i]
        safe = [
            np.clip(np.where(np.isfinite(h), h, axis[0]), axis[0], axis[-1])[None]
            for h, axis in zip(start, (surface.front, surface.rear), strict=True)
        ]
        _, by_front, by_rear = evaluate_with_slopes(surface, *safe)
        rows.append(
            settle(
                loads(float(speed)), suspension, start, speed=float(speed),
                pressure=np.broadcast_to(0.5 * density * speed**2, (size,)),
                slopes=np.stack([by_front[:2, 0], by_rear[:2, 0]], axis=1),
            )
        )  # fmt: skip

    def field(name: str) -> np.ndarray:
        return np.stack([getattr(row, name) for row in rows])

    pressure = np.broadcast_to(0.5 * density, (size,)) * np.square(path.speed)[:, None]
    front, rear = field("downforce_front"), field("downforce_rear")
    fresh = replace(
        path, ride_height_front=field("front"), ride_height_rear=field("rear"),
        downforce_front=front, downforce_rear=rear, drag=field("drag"),
        load_front=pressure * front, load_rear=pressure * rear,
    )  # fmt: skip
    return fresh, field("found") | ~np.isfinite(front)


def _kept_notice(found: np.ndarray) -> list[str]:
    lost = int(np.sum(~np.all(found, axis=0)))
    if lost <= _UNSETTLED * found.shape[1]:
        return []
    return [
        f"{lost} of {found.shape[1]} draws keep the map's ride heights at some speed: springs and "
        "engines agree nowhere near."
    ]


def _best_equilibria(surface: Any, suspension: Suspension, speed: Any, density: Any) -> Tree:
    """Return every equilibrium of the middle draw: the one nearest the medians of the loads."""
    loads = surface.nodes[:, :2, :, :, 0].mean(axis=(2, 3))
    middle = int(np.argmin(np.sum(np.square(loads - np.median(loads, axis=0)), axis=1)))
    found = solve_equilibria(surface, suspension, speed=speed, density=density)
    return {
        "front": found.ride_height_front[:, :, middle],
        "rear": found.ride_height_rear[:, :, middle],
        "margin": found.margin[:, :, middle],
    }


def _notices(covered: np.ndarray) -> list[str]:
    lost = int(np.sum(~covered))
    if lost == 0:
        return []
    if lost > (1 - _FEWEST) * covered.size:
        raise NotCovered(
            f"{lost} of {covered.size} draws leave the map: at these speeds the floor would touch "
            "the road. Narrow the inputs, raise the car, or lower the study's speeds."
        )
    return [
        f"{lost} of {covered.size} draws leave the map at some speed (the floor would touch the "
        "road there) and are left out at every speed."
    ]
