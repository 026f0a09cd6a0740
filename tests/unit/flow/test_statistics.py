"""Means of unsteady series."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow.statistics import correlation_time, series_mean, start_up


def _process(n: int, memory: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    out = np.zeros(n)
    for i in range(1, n):
        out[i] = memory * out[i - 1] + rng.standard_normal()
    return out


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.9])
def test_correlation_time_of_a_process_with_memory_is_the_exact_one(memory: float) -> None:
    found = np.mean([correlation_time(_process(4000, memory, s)) for s in range(6)])
    assert found == pytest.approx((1 + memory) / (1 - memory), rel=0.15)


def test_stated_error_covers_the_true_mean_about_two_times_in_three() -> None:
    inside = 0
    for seed in range(60):
        r = series_mean(5.0 + _process(1500, 0.8, 100 + seed), n_start=200)
        inside += abs(r.mean - 5.0) < r.error
    assert 0.5 < inside / 60 < 0.85


def test_start_up_is_found_where_the_transient_ends() -> None:
    t = np.arange(1000)
    series = 3.0 * np.exp(-t / 40) + 0.1 * np.sin(t / 5)
    assert 60 < start_up(series) < 350


def test_a_constant_has_no_error() -> None:
    assert series_mean(np.full(100, 2.5)).error == 0.0


def test_too_short_or_broken_series_are_refused() -> None:
    with pytest.raises(InputError, match="at least 16"):
        series_mean(np.ones(10))
    with pytest.raises(InputError, match="every sample"):
        series_mean(np.array([1.0] * 20 + [np.nan]))
