"""One state's way through the speeds: ride heights and loads of every draw, and all equilibria."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from tuftwork.aeromap.equilibrium import follow_path, solve_equilibria
from tuftwork.aeromap.interpolate import surface_of
from tuftwork.aeromap.map import FIELDS
from tuftwork.aeromap.platform import Suspension
from tuftwork.errors import NotConverged, NotCovered
from tuftwork.quantity import Ensemble
from tuftwork.study.step import Pulse, Work
from tuftwork.study.store import Tree

_KEPT = ("ride_height_front", "ride_height_rear", *FIELDS, "margin", "count", "jumped")
_FEWEST = 0.5  # [-] of the draws must stay on the map for an answer to be given


def ride_step_work(
    *,
    map_name: str,
    speeds: Sequence[float],
    ensemble: Callable[[Tree], Ensemble],
    air: Callable[[Ensemble], Any],
    springs: Callable[[Ensemble], Suspension],
) -> Work:
    """Return the work of a step that closes the platform loop at every speed and draw."""

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
