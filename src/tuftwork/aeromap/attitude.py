"""A car that rolls, steers or meets the air askew: what that does to loads of engines without it.

Roll. Floors and splitters live by the gap: they are cut into strips along the car, each answers to
the gap under it, h ± κ y φ, and the strips are averaged (κ below 1: air crosses between strips);
the more it rolls, the more strips, so that the mean has no steps where strips pass a cliff.
What stands in the air above does not feel a few degrees of roll. The low side pulls harder: its
strips make a roll moment that leans the car further (``corner.py`` puts it against the springs).

Yaw β. Loads fall by 1 − a β² (sweeping of a wing gives a = 1), drag grows by 1 + b β², the body
gains lift, and a side force S β stands ahead of mid wheelbase. Even in β but for the side force.
With the front wheels turned every part meets the yaw of its own place (``steer.py``).
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import FRONTAL_AREA, WHEELBASE
from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.aeromap.steer import LARGEST_STEER, steer_draws, steered, yaw_at
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Ensemble, Quantity, Source, draw_ensemble

KIND = "attitude"
SOURCES = (Source(key="hucho1998", place="crosswind", status="memory"),)
LARGEST_YAW, LARGEST_ROLL = np.radians(12.0), np.radians(4.0)  # [rad] beyond: not a small angle
_LOW = ("floor", "splitter")
_WINGS = ("wing", "front section", "beam wing", "dive plane")
_STRIPS = (7, 48)  # [-] fewest and most
_PER_STRIP = 1.0e-3  # [m] of rise at the edge: wider apart, every strip shows a cliff of its own
_SEED = 77


def attitude_coefficients() -> Mapping[str, Coefficient]:
    """Return what roll and yaw leave open, by name."""
    return coefficients_of("aeromap", "attitude")


def attitude_inputs() -> dict[str, Quantity]:
    """Return the same as inputs of an ensemble: ``attitude.yaw_wing``."""
    return {f"{KIND}.{name}": c.quantity for name, c in attitude_coefficients().items()}


def attitude_draws(size: int) -> dict[str, Field]:
    """Return draws of all of them, ``(n_draw,)`` each, the same for the same number."""
    inputs = attitude_inputs()
    made: Ensemble = draw_ensemble(inputs, size=size, seed=_SEED)
    return {name: made.of(name) for name in inputs} | steer_draws(size)


def is_straight(platform: PlatformState) -> bool:
    """Return whether there is neither yaw nor roll nor steer."""
    return not (np.any(platform.yaw) or np.any(platform.roll) or np.any(platform.steer))


def require_known(platform: PlatformState, draws: Mapping[str, Field]) -> None:
    """Refuse an attitude without the draws it needs, or beyond small angles.

    Raises
    ------
    NotCovered
        If there is yaw, roll or steer and nobody gave ``attitude_draws``.
    InputError
        If an angle is beyond 12° of yaw, 4° of roll or 15° of steer.
    """
    for name, most in (("yaw", LARGEST_YAW), ("roll", LARGEST_ROLL), ("steer", LARGEST_STEER)):
        angle = np.abs(getattr(platform, name))
        if not np.any(angle):
            continue
        if float(np.max(angle)) > most:
            degrees, limit = np.degrees(np.max(angle)), np.degrees(most)
            raise InputError(name, float(degrees), "°", f"must lie within {limit:.0f}, either way")
        if f"{KIND}.roll_reach" not in draws:
            raise NotCovered(
                f"{name}: the engines behind these parts know no {name} by themselves; give the "
                "draws of attitude_draws, or leave it at 0"
            )


def attitude_load(
    model: PartModel, platform: PlatformState, draws: Mapping[str, Field],
    around: Mapping[str, Field],
) -> PartLoad:  # fmt: skip
    """Return a part's load in a car that rolls or meets the air askew.

    Parameters
    ----------
    model
        Whose engine may know either by itself (``knows``).
    platform, around
        As for :class:`tuftwork.aeromap.interface.PartModel`.
    draws
        With ``attitude_draws`` where the car is not straight.
    """
    if is_straight(platform):
        return model.load(platform, draws, around)
    knows = getattr(model, "knows", ())
    none = np.zeros(1)
    bare = replace(
        platform,
        roll=platform.roll if "roll" in knows else none,
        yaw=platform.yaw if "yaw" in knows else none,
        steer=platform.steer if "steer" in knows else none,
    )
    rolled = model.kind in _LOW and np.any(platform.roll) and "roll" not in knows
    found = _strips(model, bare, platform.roll, draws, around) if rolled else model.load(
        bare, draws, around
    )  # fmt: skip
    yaw = yaw_at(model, platform, draws)
    if np.any(yaw) and "yaw" not in knows:
        found = _yawed(model, found, yaw, draws)
    return found if "steer" in knows else steered(model, found, platform, draws)


def side_force(
    platform: PlatformState, draws: Mapping[str, Field], frontal_area: Field, wheelbase: Field
) -> tuple[Field, Field]:
    """Return side force area [m²] and yaw moment volume about mid wheelbase [m³], ``(..., n)``.

    Positive yaw is air from the left, which pushes to the right; a positive moment turns the nose
    to the right.
    """
    force = draws[f"{KIND}.side_slope"] * platform.yaw * frontal_area
    return force, force * draws[f"{KIND}.side_centre"] * wheelbase


def _strips(
    model: PartModel, platform: PlatformState, roll: Field, draws: Mapping[str, Field],
    around: Mapping[str, Field],
) -> PartLoad:  # fmt: skip
    """Return the mean of strips across a part's width, each at its own ride heights."""
    path = f"{model.name}.width"
    if path not in draws:
        raise NotCovered(f"{model.name}: roll needs its width")
    half = draws[path] / 2
    lift = draws[f"{KIND}.roll_reach"] * roll * half
    count = int(np.clip(np.ceil(np.max(np.abs(lift)) / _PER_STRIP), *_STRIPS))
    nodes, weights = np.polynomial.legendre.leggauss(count)
    total: PartLoad | None = None
    turn: Field = np.zeros(1)  # strips that rise lie to the left of the middle
    for node, weight in zip(nodes, weights / 2, strict=True):
        rise = lift * node
        place = replace(
            platform,
            ride_height_front=np.maximum(platform.ride_height_front + rise, 1e-3),
            ride_height_rear=np.maximum(platform.ride_height_rear + rise, 1e-3),
        )
        part = model.load(place, draws, around)
        total = _sum(total, part, float(weight))
        turn = turn - weight * node * half * (part.downforce_front + part.downforce_rear)
    assert total is not None
    return replace(total, roll_moment=np.asarray(turn))


def _sum(total: PartLoad | None, part: PartLoad, weight: float) -> PartLoad:
    def both(name: str) -> Field:
        before = 0.0 if total is None else getattr(total, name)
        return np.asarray(before + weight * getattr(part, name))

    effects = {
        key: np.asarray((0.0 if total is None else total.effects[key]) + weight * field)
        for key, field in part.effects.items()
    }
    return PartLoad(
        downforce_front=both("downforce_front"),
        downforce_rear=both("downforce_rear"),
        drag=both("drag"),
        effects=effects,
        notices=part.notices if total is None else total.notices,
    )


def _yawed(model: PartModel, load: PartLoad, yaw: Field, draws: Mapping[str, Field]) -> PartLoad:
    square = np.square(yaw)
    if model.kind in _LOW:
        lost = draws[f"{KIND}.yaw_floor"]
    elif model.kind in _WINGS:
        lost = draws[f"{KIND}.yaw_wing"]
    else:
        lost = np.zeros(1)
    keep = np.maximum(1 - lost * square, 0.0)
    front, rear = load.downforce_front * keep, load.downforce_rear * keep
    if model.kind == "body" and FRONTAL_AREA in draws:
        lift = draws[f"{KIND}.yaw_lift"] * square * draws[FRONTAL_AREA] / 2
        front, rear = front - lift, rear - lift
    return replace(
        load, downforce_front=front, downforce_rear=rear,
        drag=load.drag * (1 + draws[f"{KIND}.yaw_drag"] * square),
    )  # fmt: skip


__all__ = [
    "KIND", "LARGEST_ROLL", "LARGEST_YAW", "SOURCES", "WHEELBASE", "attitude_coefficients",
    "attitude_draws", "attitude_inputs", "attitude_load", "is_straight", "require_known",
    "side_force",
]  # fmt: skip
