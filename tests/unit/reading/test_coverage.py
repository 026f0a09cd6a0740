"""Ranges hold the truth as often as they say, on random cameras and an invented car."""

from collections import defaultdict

import numpy as np
import pytest
from tests.unit.reading.rehearsal import shot

from tuftwork.reading import measure, solve_scene

N_SHOT = 140
WHEELBASE = 2.62  # [m]


@pytest.fixture(scope="module")
def outcome() -> tuple[dict[str, list[bool]], dict[str, list[float]]]:
    """For every kind whether the range held the truth; for every view how far lengths missed."""
    held: dict[str, list[bool]] = defaultdict(list)
    missed: dict[str, list[float]] = defaultdict(list)
    for number in range(N_SHOT):
        view = "side" if number % 2 == 0 else "three-quarter"
        taken = shot(np.random.default_rng(1000 + number), view)
        solution = solve_scene(taken.scene)
        for name, ask in taken.asks.items():
            found = measure(solution, ask)
            held[name].append(found.low <= taken.truth[name] <= found.high)
            if found.dimension in ("length", "height"):
                missed[view].append(abs(found.best - taken.truth[name]) / WHEELBASE)
    return held, missed


def test_eight_of_ten_ranges_hold_the_truth(outcome) -> None:
    everything = [h for kind in outcome[0].values() for h in kind]
    assert len(everything) >= 300
    assert 0.72 <= np.mean(everything) <= 0.88


def test_so_they_do_kind_by_kind(outcome) -> None:
    for kind, held in outcome[0].items():
        assert 0.72 <= np.mean(held) <= 0.88, kind


def test_a_side_view_is_within_one_per_cent_of_the_wheelbase(outcome) -> None:
    assert np.median(outcome[1]["side"]) <= 0.01


def test_a_wide_three_quarter_view_is_within_four(outcome) -> None:
    assert np.median(outcome[1]["three-quarter"]) <= 0.04
