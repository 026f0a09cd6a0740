"""Rolled strips, turned wheels, cooling air of a car: limits, signs, and sums done another way."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.unit.aeromap import halyard
from tests.unit.study.small_car import small_car

from tuftwork.aeromap.attitude import attitude_draws, attitude_load
from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import draws_of, part_models, project_inputs
from tuftwork.aeromap.steer import yaw_at
from tuftwork.car import Project
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import draw_ensemble

HERE = halyard.platform(50.0, 62.0, 200.0)
SIZE = 32


@pytest.fixture(scope="module")
def held() -> tuple[Any, dict[str, np.ndarray]]:
    project = Project.model_validate(small_car(SIZE))
    models = part_models(project)
    ensemble = draw_ensemble(project_inputs(project), size=SIZE)
    return models, {**draws_of(models, ensemble), **attitude_draws(SIZE)}


def at(**angles: float) -> PlatformState:
    return replace(HERE, **{k: np.full((1, 1), np.radians(v)) for k, v in angles.items()})


@pytest.mark.parametrize("roll", [0.5, 1.0, 2.5])
def test_a_rolled_floor_is_the_mean_over_its_width_whatever_the_strips(
    held: Any, roll: float
) -> None:
    models, draws = held
    floor = next(m for m in models if m.kind == "floor")
    rolled = attitude_load(floor, at(roll=roll), draws, {}).downforce_rear
    # the same mean by the midpoint rule over 400 strips of equal width
    lift = draws["attitude.roll_reach"] * np.radians(roll) * draws[f"{floor.name}.width"] / 2
    parts = [
        floor.load(
            replace(
                HERE,
                ride_height_front=HERE.ride_height_front + lift * y,
                ride_height_rear=HERE.ride_height_rear + lift * y,
            ),
            draws, {},
        ).downforce_rear
        for y in (np.arange(400) + 0.5) / 200 - 1
    ]  # fmt: skip
    np.testing.assert_allclose(rolled.ravel(), np.mean(parts, axis=0).ravel(), rtol=0.01)


def test_a_place_ahead_meets_the_air_from_the_inside_of_the_corner(held: Any) -> None:
    models, draws = held
    splitter = next(m for m in models if m.kind == "splitter")
    wing = next(m for m in models if m.kind == "wing")
    right = at(steer=4.0)
    # to the right: the nose meets air from the right, the tail from the left; on a circle of
    # radius L / tan δ that is the angle of the place's own radius
    assert np.all(yaw_at(splitter, right, draws) < 0)
    assert np.all(yaw_at(wing, right, draws) > 0)
    station, wheelbase = draws["rear wing.station"], draws["car.wheelbase"]
    radius = wheelbase / np.tan(np.radians(4.0))
    exact = np.arctan((station - wheelbase / 2) / radius)
    np.testing.assert_allclose(yaw_at(wing, right, draws).ravel(), exact.ravel(), rtol=2e-3)


def test_steer_costs_downforce_and_drag_and_does_not_mind_the_side(held: Any) -> None:
    models, draws = held
    level = car_loads(models, at(), draws)
    left, right = (car_loads(models, at(steer=s), draws) for s in (-5.0, 5.0))
    np.testing.assert_allclose(left.downforce, right.downforce, rtol=1e-12)
    assert np.median(right.downforce) < np.median(level.downforce)
    assert np.median(right.drag) > np.median(level.drag)
    small = car_loads(models, at(steer=1e-5), draws)
    np.testing.assert_allclose(small.drag.ravel(), level.drag.ravel(), rtol=1e-5)


def test_too_much_steer_and_steer_without_draws_are_refused(held: Any) -> None:
    models, draws = held
    with pytest.raises(InputError, match="steer"):
        car_loads(models, at(steer=20.0), draws)
    bare = {k: v for k, v in draws.items() if not k.startswith(("attitude", "steer"))}
    with pytest.raises(NotCovered, match="steer"):
        car_loads(models, at(steer=3.0), bare)


def test_a_car_takes_in_air_in_proportion_to_speed_and_density(held: Any) -> None:
    models, draws = held
    level = car_loads(models, HERE, draws)
    assert level.mass_flow is not None
    twice = car_loads(models, replace(HERE, speed=2 * HERE.speed), draws)
    np.testing.assert_allclose(twice.mass_flow, 2 * level.mass_flow)
    # continuity by hand: density, speed, core area, share of the speed in the core
    by_hand = (
        halyard.DENSITY * 200 / 3.6 * draws["front coolers.core_area"]
        * draws["front coolers.core_speed"]
    )  # fmt: skip
    np.testing.assert_allclose(level.mass_flow.ravel(), by_hand.ravel())
    without = [m for m in models if m.kind != "cooling"]
    assert car_loads(without, HERE, draws).mass_flow is None
