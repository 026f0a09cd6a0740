"""The frontal area from an outline: one rule for the plane, put to random cars and cameras."""

import numpy as np
import pytest
from tests.unit.reading.outlines import outline_shot

from tuftwork.reading import measure, solve_scene

N_SHOT = 110


@pytest.fixture(scope="module")
def outcome() -> tuple[np.ndarray, np.ndarray]:
    """Whether each range held the truth, and how far each best value was off it."""
    held, off = [], []
    for number in range(N_SHOT):
        taken = outline_shot(np.random.default_rng(9000 + number))
        found = measure(solve_scene(taken.scene), taken.ask)
        held.append(found.low <= taken.truth <= found.high)
        off.append(found.best / taken.truth - 1.0)
    return np.array(held), np.array(off)


def test_eight_of_ten_ranges_of_frontal_area_hold_the_truth(outcome) -> None:
    assert 0.72 <= outcome[0].mean() <= 0.88


def test_the_rule_of_the_plane_leans_to_neither_side(outcome) -> None:
    # three standard errors of the mean; one per cent is 0.02 m² of a usual car
    off = outcome[1]
    assert abs(off.mean()) < max(0.01, 3.0 * off.std() / np.sqrt(len(off)))
    assert np.median(np.abs(off)) < 0.03
