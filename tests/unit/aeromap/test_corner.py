"""A cornering car: springs and air in roll against their closed form, strips too."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pytest

from tuftwork.aeromap.attitude import attitude_draws, attitude_load
from tuftwork.aeromap.corner import (
    Cornering,
    Loads,
    RolledLoads,
    axle_roll_stiffness,
    corner,
    roll_spring,
)
from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.platform import AxleRates, AxleSpring, Suspension, axle_spring
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Quantity, Source

SIZE = 16
ONE = np.ones(SIZE)
WHEEL, TYRE, TRACK = 80e3, 260e3, 1.6
FRONT, REAR = 0.060, 0.070
PRESSURE, SPEED = 2200.0, 61.0
WEIGHT, HEIGHT = 12600.0, 0.47


def axle(height: float) -> AxleSpring:
    rates = AxleRates(
        wheel_rate=WHEEL * ONE, tyre_rate=TYRE * ONE,
        stop_gap=np.zeros((SIZE, 0)), stop_rate=np.zeros((SIZE, 0)),
    )  # fmt: skip
    return axle_spring(
        rates, ride_height=height * ONE, growth=0 * ONE, static_load=0.5 * WEIGHT * ONE
    )


SUSPENSION = Suspension(front=axle(FRONT), rear=axle(REAR), inputs={})
HEAVE = 2 * WHEEL * TYRE / (WHEEL + TYRE)
ROLL = 2 * axle_roll_stiffness(WHEEL * ONE, TYRE * ONE, TRACK)
SPRING = roll_spring(
    weight=WEIGHT * ONE, height=HEIGHT * ONE, arm=0.9 * ONE, axles=(ROLL / 2, ROLL / 2)
)


def linear(turn: np.ndarray, gain: float = 4.0) -> Loads:
    """Loads that rise as the car sinks, and a roll moment in proportion to roll."""

    def loads(front: np.ndarray, rear: np.ndarray, roll: np.ndarray) -> RolledLoads:
        return RolledLoads(
            front=0.6 + gain * (FRONT - front), rear=0.9 + gain * (REAR - rear),
            drag=0.9 * ONE, roll=turn * roll,
        )  # fmt: skip

    return loads


def straight(gain: float = 4.0) -> tuple[np.ndarray, np.ndarray]:
    """Closed form of linear springs and air: z = q C0 / (k − q c)."""
    down = [PRESSURE * c / (HEAVE - PRESSURE * gain) for c in (0.6, 0.9)]
    return (FRONT - down[0]) * ONE, (REAR - down[1]) * ONE


def run(loads: Loads, most: float = 1.6) -> Cornering:
    return corner(loads, SUSPENSION, SPRING, straight(), air=(PRESSURE * ONE, SPEED), most=most)


def test_roll_is_that_of_linear_springs_and_linear_air() -> None:
    turn = np.linspace(0.0, 0.65, SIZE) * ROLL / PRESSURE
    found = run(linear(turn), most=0.8)
    aim = SPRING.per_g * 0.8 / (ROLL - PRESSURE * turn)
    small = aim < np.radians(4.0)
    assert SIZE / 2 < small.sum() < SIZE  # the last ones lean beyond what is a small angle
    np.testing.assert_allclose(found.roll[-1][small], aim[small], atol=3e-6)
    margin = 1 - PRESSURE * turn / ROLL
    np.testing.assert_allclose(found.margin[-1][small], margin[small], atol=1e-6)
    by_air = PRESSURE * turn / ROLL
    np.testing.assert_allclose(found.by_air[-1][small], by_air[small], atol=1e-3)
    assert not found.held[-1][~small].any()


def test_heights_in_the_middle_are_those_of_the_straight_where_loads_do_not_feel_roll() -> None:
    found = run(linear(0.2 * ROLL / PRESSURE))
    for heights, aim in zip(
        (found.ride_height_front, found.ride_height_rear), straight(), strict=True
    ):
        np.testing.assert_allclose(heights, np.broadcast_to(aim, heights.shape), atol=4e-6)
    low, high = found.sides("rear", 0.76)
    np.testing.assert_allclose(high - low, 2 * 0.76 * np.tan(found.roll), atol=1e-12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A floor whose load per width is linear in its gap."""

    slope: float
    name: str = "floor"
    kind: str = "floor"
    inputs: Mapping[str, Quantity] = field(default_factory=dict)
    sources: tuple[Source, ...] = ()

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        sunk = 0.5 * (FRONT - platform.ride_height_front + REAR - platform.ride_height_rear)
        down = 1.5 + self.slope * sunk
        return PartLoad(
            downforce_front=0.4 * down, downforce_rear=0.6 * down, drag=0.9 * np.ones_like(down)
        )


def test_strips_of_a_linear_floor_make_the_roll_moment_of_its_integral() -> None:
    width, slope = 1.52, 30.0
    draws = {"floor.width": width * ONE, **attitude_draws(SIZE)}
    plate = Plate(slope=slope)

    def loads(front: np.ndarray, rear: np.ndarray, roll: np.ndarray) -> RolledLoads:
        there = PlatformState(
            ride_height_front=front, ride_height_rear=rear, speed=np.array([SPEED]),
            density=np.array([1.2]), viscosity=np.array([1.8e-5]), roll=roll,
        )  # fmt: skip
        load = attitude_load(plate, there, draws, {})
        turn = load.roll_moment if load.roll_moment is not None else 0 * ONE
        return RolledLoads(front=0.6 * ONE, rear=0.9 * ONE, drag=load.drag, roll=np.asarray(turn))

    start = FRONT - PRESSURE * 0.6 / HEAVE * ONE, REAR - PRESSURE * 0.9 / HEAVE * ONE
    found = corner(loads, SUSPENSION, SPRING, start, air=(PRESSURE * ONE, SPEED), most=1.2)
    # ∫ c κ φ y² dy / w = c κ φ w² / 12
    turn = slope * draws["attitude.roll_reach"] * width**2 / 12
    aim = SPRING.per_g * 1.2 / (ROLL - PRESSURE * turn)
    np.testing.assert_allclose(found.roll[-1], aim, rtol=2e-4)
    assert np.all(found.by_air[-1] > 0.01)


def test_air_stiffer_than_the_springs_is_an_error() -> None:
    with pytest.raises(NotConverged, match="springs hold the car"):
        run(linear(1.2 * ROLL / PRESSURE))


def test_a_measured_roll_angle_gives_the_stiffness() -> None:
    angle = np.radians(0.84) * ONE
    spring = roll_spring(weight=WEIGHT * ONE, height=HEIGHT * ONE, arm=0.85 * ONE, angle=angle)
    np.testing.assert_allclose(spring.per_g / spring.stiffness, angle, rtol=1e-12)
    with pytest.raises(InputError, match="roll"):
        roll_spring(weight=WEIGHT * ONE, height=HEIGHT * ONE, arm=ONE)
    with pytest.raises(InputError, match="above 0"):
        roll_spring(weight=WEIGHT * ONE, height=HEIGHT * ONE, arm=ONE, angle=0 * ONE)
    with pytest.raises(InputError, match="lateral"):
        run(linear(0 * ONE), most=0.0)
