"""Heights of a path put right by the engines: a closed form, a cliff, and what may not be moved."""

import numpy as np
from tests.unit.aeromap.test_corner import HEAVE, PRESSURE, SIZE, SPEED, SUSPENSION, straight

from tuftwork.aeromap.settle import settle

ONE = np.ones(SIZE)


def linear(front: np.ndarray, rear: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return 0.6 + 4.0 * (0.060 - front), 0.9 + 4.0 * (0.070 - rear), 0.9 * ONE


def cliff(front: np.ndarray, rear: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return 0.6 * ONE, 0.5 + 0.4 / (1 + np.exp(-(rear - 0.0535) / 1e-3)), 0.9 * ONE


def test_a_start_beside_it_finds_the_closed_form() -> None:
    aim = straight(4.0)
    start = aim[0] + np.linspace(-2e-3, 2e-3, SIZE), aim[1] - 1e-3
    found = settle(
        linear, SUSPENSION, start, pressure=PRESSURE * ONE, speed=SPEED,
        slopes=np.zeros((2, 2, SIZE)),
    )  # fmt: skip
    assert found.found.all()
    np.testing.assert_allclose(found.front, aim[0], atol=2e-6)
    np.testing.assert_allclose(found.rear, aim[1], atol=2e-6)
    np.testing.assert_allclose(found.downforce_front, linear(aim[0], aim[1])[0], atol=1e-4)


def test_on_a_cliff_springs_and_air_agree_in_the_end() -> None:
    start = 0.050 * ONE, 0.0535 + np.linspace(-2e-3, 2e-3, SIZE)
    found = settle(
        cliff, SUSPENSION, start, pressure=PRESSURE * ONE, speed=SPEED,
        slopes=np.zeros((2, 2, SIZE)),
    )  # fmt: skip
    some = found.found
    assert some.all()
    loads = cliff(found.front, found.rear)
    np.testing.assert_allclose(0.070 - found.rear, PRESSURE * loads[1] / HEAVE, atol=2e-6)
    np.testing.assert_allclose(found.downforce_rear, loads[1], atol=1e-12)


def test_another_equilibrium_far_away_is_not_taken_and_a_lost_draw_stays_lost() -> None:
    start = 0.050 * ONE, np.where(np.arange(SIZE) == 0, np.nan, 0.070)
    found = settle(
        cliff, SUSPENSION, start, pressure=PRESSURE * ONE, speed=SPEED,
        slopes=np.zeros((2, 2, SIZE)),
    )  # fmt: skip
    assert not found.found.any()
    np.testing.assert_array_equal(found.rear, start[1])
