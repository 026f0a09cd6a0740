"""A few draws stand for all of them: their middles and ranges are those of the whole."""

import numpy as np
import pytest

from tuftwork.study.standing import left_over, standing_draws


def said(size: int = 256) -> np.ndarray:
    """Return loads and laps of a made-up car: some alike, some with a long tail."""
    rng = np.random.default_rng(7)
    one, two, three = rng.standard_normal((3, size))
    return np.array(
        [1.2 + 0.1 * one, 1.3 + 0.1 * one + 0.05 * two, 0.46 + 0.02 * two,
         -0.3 + 0.2 * np.exp(0.5 * one) - 0.1 * three, 97.0 + 0.8 * three]
    )  # fmt: skip


def off(rows: np.ndarray, chosen: np.ndarray) -> float:
    """Return the largest miss of a middle over the width of its 80 % range."""
    return max(left_over(r, chosen) / np.subtract(*np.nanquantile(r, (0.9, 0.1))) for r in rows)


def test_the_middles_of_the_chosen_are_those_of_all() -> None:
    rows = said()
    assert off(rows, standing_draws(rows, 64)) < 0.04
    assert off(rows, np.arange(32)) > 0.1  # what taking the first draws leaves


def test_a_result_that_was_not_asked_for_has_nearly_the_same_middle_too() -> None:
    rows = said()
    other = rows[0] * rows[4] - 30.0 * rows[2]
    assert off(other[None], standing_draws(rows, 64)) < 0.08


def test_the_ends_of_ranges_are_kept() -> None:
    rows = said()
    chosen = standing_draws(rows, 64)
    for row in rows:
        width = np.subtract(*np.quantile(row, (0.9, 0.1)))
        few = np.quantile(row[chosen], (0.1, 0.9))
        assert few == pytest.approx(np.quantile(row, (0.1, 0.9)), abs=0.12 * width)


def test_no_draw_is_chosen_twice_and_the_same_draws_are_chosen_again() -> None:
    rows = said()
    rows[1, ::9] = np.nan  # draws without a lap
    chosen = standing_draws(rows, 64)
    assert np.unique(chosen).size == 64
    np.testing.assert_array_equal(chosen, standing_draws(rows, 64))


def test_all_draws_stand_for_themselves_where_there_are_no_more() -> None:
    np.testing.assert_array_equal(standing_draws(said(40), 64), np.arange(40))


def test_draws_that_all_say_the_same_can_be_chosen_from() -> None:
    assert np.unique(standing_draws(np.ones((3, 128)), 64)).size == 64
