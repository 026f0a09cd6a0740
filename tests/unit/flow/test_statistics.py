"""Means of unsteady series, and when they are known well enough."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow.statistics import SeriesMean, correlation_time, series_mean, start_up
from tuftwork.flow.stop import StopRule, start_up_notices


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


def test_a_run_may_end_at_an_error_or_at_a_share_of_each_load() -> None:
    """'Until CzS is known to 1 %': each load by its own size, whichever way it points."""
    down = SeriesMean(mean=-2.0, error=0.019, n_start=0, n_independent=40.0)
    drag = replace(down, mean=0.8, error=0.0081)
    share = StopRule(share=0.01, error=1e-9)
    assert not share.is_met((down, drag))
    assert share.is_met((down, replace(drag, error=0.0079)))
    assert StopRule(error=0.02).is_met((down, drag))
    assert not StopRule(error=0.018).is_met((down, drag))
    assert (share.asked, StopRule(error=0.02).asked) == ("1 % of CzS and of CxS", "0.02 m²")
    with pytest.raises(InputError, match="share"):
        StopRule(share=1.5)


def test_too_short_or_broken_series_are_refused() -> None:
    with pytest.raises(InputError, match="at least 16"):
        series_mean(np.ones(10))
    with pytest.raises(InputError, match="every sample"):
        series_mean(np.array([1.0] * 20 + [np.nan]))


def test_a_start_up_beyond_settling_is_told_with_the_travel_at_which_it_ends() -> None:
    """A load that decays over a third of what is averaged, with noise."""
    rule, n = StopRule(settle=4.0, longest=20.0), 640
    rows = np.random.default_rng(2).normal(0.0, 0.02, (n, 6))
    rows[:, 0] += 0.9
    assert start_up_notices(rule, rows, 20.0) == ()
    rows[:, 2] -= 2.0 * (np.arange(n) < n // 3)
    (said,) = start_up_notices(rule, rows, 20.0)
    assert "until 9.3 lengths in the downforce area" in said  # 4 + 16 / 3
    assert "beyond settling at 4" in said
    assert start_up_notices(rule, rows[:20], 5.0) == ()
