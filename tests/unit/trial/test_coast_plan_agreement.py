"""Coast-downs with noise, plans, bias fields, traces: what each promises."""

import numpy as np
import pytest

from tuftwork.errors import InputError, NotCovered
from tuftwork.trial.agreement import Sighting, learn_bias, next_test, ranked_disagreements
from tuftwork.trial.coastdown import Resistance, coasting_curve, speed_after
from tuftwork.trial.coastfit import CoastRun, fit_coastdown
from tuftwork.trial.coastlog import coast_runs
from tuftwork.trial.compare import compare, detectable, power
from tuftwork.trial.log import Channel, Log, resample, stretches
from tuftwork.trial.plan import SAFETY, PlanWish, plan_day
from tuftwork.trial.pyramid import build_pyramid

MASS, TRUTH = 1324.0, Resistance(constant=187.0, linear=0.0, square=0.534)


def runs(seed: int, wind: float = 1.5, grade: float = 0.001) -> list[CoastRun]:
    noise = np.random.default_rng(seed)
    time = np.arange(0, 45, 0.1)
    made = []
    for way in (1, -1, 1, -1):
        felt = TRUTH.felt(wind=wind * way, grade_force=MASS * 9.80665 * grade * way)
        speed = speed_after(time, 225 / 3.6, MASS, felt) + noise.normal(0, 0.05, time.size)
        made.append(CoastRun(time=time, speed=speed, way=way))
    return made


def test_wind_slope_and_resistance_are_found_together() -> None:
    fit = fit_coastdown(runs(1), MASS)
    assert fit.wind == pytest.approx(1.5, abs=0.2)
    assert fit.grade == pytest.approx(0.001, abs=2e-4)
    assert float(fit.resistance.square) == pytest.approx(0.534, rel=0.01)
    assert fit.split is not None
    assert fit.split > 50


def test_the_stated_doubt_of_the_fit_holds_the_truth() -> None:
    held = []
    for seed in range(30):
        fit = fit_coastdown(runs(seed), MASS)
        doubt = float(np.sqrt(fit.covariance[2, 2]))
        held.append(abs(float(fit.resistance.square) - 0.534) < 1.2816 * doubt)
    # 30 days: two standard deviations of the count are ±15 %
    assert 0.65 <= np.mean(held) <= 0.95


def test_one_way_only_is_said_and_a_car_that_speeds_up_refused() -> None:
    fit = fit_coastdown(runs(1)[:1], MASS)
    assert fit.split is None
    assert "Only one way" in fit.notices[0]
    time = np.arange(0, 30, 0.1)
    with pytest.raises(InputError, match="does not slow down"):
        fit_coastdown([CoastRun(time=time, speed=20 + time, way=1)], MASS)


def test_a_drag_area_that_moves_with_speed() -> None:
    time = np.arange(0, 40, 0.1)
    plain = speed_after(time, 60.0, MASS, TRUTH)
    same = coasting_curve(time, 60.0, MASS, TRUTH, 0.0)
    np.testing.assert_allclose(same, plain, atol=2e-3)
    moved = coasting_curve(time, 60.0, MASS, TRUTH, 0.05)
    assert np.all(moved[1:] < plain[1:] + 1e-3)
    fit = fit_coastdown([CoastRun(time=time, speed=moved, way=1)], MASS, drag_growth=0.05)
    assert float(fit.resistance.square) == pytest.approx(0.534, rel=2e-3)


def test_a_stopped_car_stays_stopped_and_a_negative_discriminant_works() -> None:
    slow = speed_after(np.array([0.0, 1e4]), 5.0, MASS, TRUTH)
    assert slow[1] == 0.0
    steep = Resistance(constant=50.0, linear=40.0, square=0.5)
    v = speed_after(np.array([0.0, 5.0]), 50.0, MASS, steep)
    step = speed_after(np.array([4.999, 5.001]), 50.0, MASS, steep)
    rate = (step[1] - step[0]) / 0.002
    assert MASS * rate == pytest.approx(-float(steep.force(v[1])), rel=1e-4)


def test_coast_downs_are_cut_out_of_a_log() -> None:
    pieces = runs(2)
    time = np.concatenate([r.time + 200 * i for i, r in enumerate(pieces)])
    speed = np.concatenate([r.speed for r in pieces])
    log = Log(channels={"speed over ground": Channel(name="v", time=time, values=speed)})
    found = coast_runs(log)
    assert [r.way for r in found] == [1, -1, 1, -1]
    level = Log(channels={"speed over ground": Channel(name="v", time=time, values=speed * 0 + 30)})
    with pytest.raises(NotCovered, match="No coast-down"):
        coast_runs(level)


def wish(**given: object) -> PlanWish:
    usual: dict[str, object] = {
        "states": ("A", "B"), "see": 0.03, "noise": 0.013, "speeds": (61.0, 50.0),
        "track_time": 3 * 3600.0, "pair_time": 210.0, "change_time": 840.0,
    }  # fmt: skip
    return PlanWish(**{**usual, **given})  # type: ignore[arg-type]


def test_a_plan_is_bracketed_fits_and_sees_what_matters() -> None:
    plan = plan_day(wish())
    states = [line.state for line in plan.lines]
    assert states[0] == states[-1] == "A"
    assert "B" in states
    assert plan.used <= plan.wish.track_time
    assert plan.enough
    assert power(0.013, 0.03, plan.pairs) >= 0.8
    assert plan.lines[1].speed == 61.0  # the telling speed is driven first in every block
    assert len(SAFETY) >= 5


def test_too_little_time_is_said_and_far_too_little_refused() -> None:
    short = plan_day(wish(track_time=4600.0))
    assert not short.enough
    assert "only" in short.notices[0] or "nothing" in short.notices[0]
    with pytest.raises(InputError, match="not even one A-B-A"):
        plan_day(wish(track_time=1200.0))
    with pytest.raises(InputError, match="needs two"):
        plan_day(wish(states=("A",)))


def test_the_plans_order_is_random_but_repeatable() -> None:
    assert plan_day(wish(seed=4)).lines == plan_day(wish(seed=4)).lines
    assert plan_day(wish(seed=4)).lines != plan_day(wish(seed=5)).lines


def test_more_pairs_see_less() -> None:
    sizes = [detectable(1.0, n) for n in (2, 3, 5, 10, 40)]
    assert sizes == sorted(sizes, reverse=True)
    assert power(1.0, sizes[2], 5) == pytest.approx(0.8, abs=1e-6)


def test_blocks_take_their_own_level_out() -> None:
    noise = np.random.default_rng(3)
    level = {"a": 0.0, "b": 0.5, "c": -0.4, "d": 0.2}
    block = [b for b in level for _ in range(6)]
    changed = [i % 2 == 1 for i in range(24)]
    values = [level[b] + 0.10 * c + noise.normal(0, 0.01) for b, c in zip(block, changed,
                                                                          strict=True)]  # fmt: skip
    mixed = compare(values, changed, block=block)
    plain = compare(values, changed)
    assert mixed.method.startswith("mixed")
    assert mixed.size == pytest.approx(0.10, abs=0.015)
    assert mixed.uncertainty < 0.3 * plain.uncertainty
    assert not mixed.is_below_noise


def test_b_after_a_only_cannot_be_told_from_drift() -> None:
    found = compare([0.4, 0.41, 0.42, 0.43], [False, False, True, True])
    assert "not separable" in found.method


def sighting(hr: float, miss: float, doubt: float = 0.01) -> Sighting:
    return Sighting(name=f"{hr}", height_front=0.045, height_rear=hr, measured=1.0 + miss,
                    measured_doubt=doubt, predicted=1.0, predicted_doubt=0.1)  # fmt: skip


def test_bias_agrees_with_a_general_library() -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    seen = [sighting(h, m) for h, m in ((0.056, -0.2), (0.060, -0.05), (0.067, 0.02))]
    field = learn_bias(seen, size=0.1)
    other = GaussianProcessRegressor(
        ConstantKernel(0.01) * RBF([8e-3, 6e-3]), alpha=0.01**2 + 1e-8, optimizer=None
    ).fit([[s.height_front, s.height_rear] for s in seen], [s.miss for s in seen])
    wanted = np.array([0.058, 0.063, 0.075])
    best, doubt = field.at(np.full(3, 0.045), wanted)
    said, wide = other.predict(np.column_stack([np.full(3, 0.045), wanted]), return_std=True)
    np.testing.assert_allclose(best, said, atol=1e-8)
    np.testing.assert_allclose(doubt, wide, atol=1e-6)


def test_far_from_every_test_the_model_stands_alone() -> None:
    field = learn_bias([sighting(0.056, -0.2)], size=0.1)
    best, doubt = field.at(np.array([0.045]), np.array([0.120]))
    assert abs(best[0]) < 1e-6
    assert doubt[0] == pytest.approx(0.1)
    assert field.support(np.array([0.045]), np.array([0.056]))[0] > 0.9


def test_errors_shared_by_all_tests_are_not_averaged_away() -> None:
    seen = [sighting(h, -0.05, 0.03) for h in np.linspace(0.055, 0.07, 8)]
    alone = learn_bias(seen, size=0.1)
    shared = learn_bias(seen, size=0.1, covariance=np.full((8, 8), 0.03**2) + 1e-6 * np.eye(8))
    at = (np.array([0.045]), np.array([0.0625]))
    assert shared.at(*at)[1][0] > 1.5 * alone.at(*at)[1][0]


def test_disagreements_are_ranked_by_what_no_range_explains() -> None:
    ranked = ranked_disagreements([sighting(0.06, 0.05), sighting(0.07, -0.5), sighting(0.08, 0.2)])
    assert ranked[0].sighting.name == "0.07"
    assert ranked[0].verdict == "contradicts"
    assert ranked[-1].verdict == "consistent"


def test_the_next_test_is_where_doubt_and_weight_are_large() -> None:
    field = learn_bias([sighting(0.056, -0.2)], size=0.1)
    hr = np.array([0.056, 0.065, 0.090])
    best, value = next_test(field, np.full(3, 0.045), hr, np.array([1.0, 1.0, 0.1]))
    assert best == 1
    assert value[0] < value[1]


def test_no_peak_is_lost_in_a_pyramid() -> None:
    noise = np.random.default_rng(1)
    values = noise.normal(0, 1, 1_000_003)
    values[777_777] = 50.0
    time = np.arange(values.size) / 1000
    trace = build_pyramid(time, values)
    at, least, most = trace.window(0.0, 1e9, 900)
    assert at.size <= 1000
    assert most.max() == 50.0
    assert least.min() == values.min()
    at, least, most = trace.window(777.7, 777.9, 900)
    assert at.size < 300
    assert most.max() == 50.0


def test_resampling_states_its_error() -> None:
    time = np.arange(0, 10, 0.05)
    slow = Channel(name="a", time=time, values=np.sin(time))
    fine = np.arange(0.1, 9.9, 0.01)
    found = resample(slow, fine)
    true = float(np.sqrt(np.mean((found.values - np.sin(fine)) ** 2)))
    assert true < found.error < 10 * true
    assert np.isnan(resample(slow, np.array([-1.0, 5.0])).values[0])


def test_a_recorder_that_was_off_ends_a_stretch() -> None:
    time = np.concatenate([np.arange(0, 5, 0.1), np.arange(60, 70, 0.1)])
    assert [s.stop - s.start for s in stretches(time)] == [50, 100]
