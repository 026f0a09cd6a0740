"""Scales end on round numbers that hold what is shown."""

import numpy as np
import pytest

from tuftwork.flow.scale import round_end


@pytest.mark.parametrize(
    ("most", "end"),
    [(0.03, 0.05), (0.05, 0.05), (0.051, 0.1), (0.34, 0.5), (1.2, 2.0), (0.0007, 0.001), (7, 10)],
)
def test_a_scale_ends_on_the_next_of_one_two_five(most: float, end: float) -> None:
    assert round_end(np.full(50, most)) == end


def test_one_peak_does_not_make_the_rest_pale_and_nothing_at_all_has_a_scale_too() -> None:
    peak = np.full(1000, 0.04)
    peak[3] = 2.0
    assert round_end(peak) == 0.05
    assert round_end(np.zeros(4)) == round_end(np.zeros(0)) == round_end(np.full(3, np.nan)) == 0.1


def test_at_most_one_in_a_hundred_lies_beyond() -> None:
    values = np.abs(np.random.default_rng(5).normal(size=4000))
    end = round_end(values)
    assert (values > end).mean() <= 0.01
    assert (values > 0.5 * end).mean() > 0
