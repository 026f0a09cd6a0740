"""Passes to coefficients: what must cancel cancels, what cannot be known is said."""

from dataclasses import replace

import numpy as np
import pytest

from trialdays import known_setup, made, runs_of
from tuftwork.demo.day import car
from tuftwork.errors import NotCovered
from tuftwork.trial.log import Log
from tuftwork.trial.passes import find_passes
from tuftwork.trial.reduction import (
    best_results,
    drag_moment_share,
    inertia_transfer,
    reduce_passes,
    uncertainty_budget,
)
from tuftwork.trial.synthetic import MadeDay, Noise, Planted

QUIET = Noise(pot=1e-7, laser=1e-7, air_speed=1e-5, ground_speed=1e-5, acceleration=1e-5,
              axle_load=0.0, gust=0.0, speed_wander=0.0, roll=0.0)  # fmt: skip


def worst_miss(day: MadeDay, log: Log | None = None) -> float:
    found = best_results(find_passes(log or day.log, runs_of(day)), car())
    misses = []
    for (state, speed), pair in found.items():
        key = min((k for k in day.truth if k[0] == state), key=lambda k: abs(k[1] - speed))
        misses += list(np.abs(np.array(pair) - day.truth[key][2:4]))
    return float(max(misses))


def test_a_day_without_noise_gives_the_truth_back() -> None:
    assert worst_miss(made(Planted(), 1, noise=QUIET, wind=0.0, grade=0.0)) < 2e-3


def test_slope_cancels_between_the_ways() -> None:
    flat = made(Planted(), 1, noise=QUIET, wind=0.0, grade=0.0)
    steep = made(Planted(), 1, noise=QUIET, wind=0.0, grade=0.01)
    one, two = (best_results(find_passes(d.log, runs_of(d)), car()) for d in (flat, steep))
    for a, b in zip(one.values(), two.values(), strict=True):
        np.testing.assert_allclose(a, b, atol=1e-3)


def test_wind_costs_only_its_square_where_the_air_speed_is_measured() -> None:
    # ride heights bend with q, so 3 m/s of wind leave a second-order trace on the cliff
    assert worst_miss(made(Planted(), 1, noise=QUIET, wind=3.0, grade=0.0)) < 0.02


def test_without_air_speed_the_square_of_the_wind_stays_and_is_said() -> None:
    day = made(Planted(), 1, noise=QUIET, wind=4.0, grade=0.0)
    log = replace(day.log, channels={r: c for r, c in day.log.channels.items() if r != "air speed"})
    table = find_passes(log, runs_of(day))
    reduced = reduce_passes(table, known_setup(1))
    assert any("w²/V²" in n for n in reduced.notices)
    slow = min((r for r in reduced.results if r.state == "as raced"), key=lambda r: r.speed)
    truth = day.truth["as raced", min(v for _, v in day.truth)][2]
    ratio = float(np.median(slow.front)) / truth
    assert ratio - 1 == pytest.approx((4.0 / slow.speed) ** 2, abs=0.012)


def test_load_goes_rearward_under_acceleration_and_the_drag_moment_is_inside() -> None:
    assert float(inertia_transfer(1285.0, 2.0, 0.47, 2.62)) == pytest.approx(461.0, abs=1.0)
    assert drag_moment_share(0.9, 0.5, 2.62) == pytest.approx(0.1718, abs=1e-3)


def test_lasers_stand_in_for_missing_pots() -> None:
    day = made(Planted(), 2)
    log = replace(day.log, channels={r: c for r, c in day.log.channels.items() if "pot" not in r})
    reduced = reduce_passes(find_passes(log, runs_of(day)), known_setup(2))
    assert any("laser" in n for n in reduced.notices)
    assert worst_miss(day, log) < 0.12


def test_an_axle_without_any_sensor_is_refused() -> None:
    day = made(Planted(), 2)
    log = replace(day.log, channels={
        r: c for r, c in day.log.channels.items() if "rear" not in r
    })  # fmt: skip
    with pytest.raises(NotCovered, match="rear axle"):
        best_results(find_passes(log, runs_of(day)), car())


def test_budget_lines_add_up_to_the_range() -> None:
    day = made(Planted(), 3)
    setup = known_setup(3, 4096)
    table = find_passes(day.log, runs_of(day))
    reduced = reduce_passes(table, setup, seed=3)
    result = reduced.of("as raced", 220 / 3.6)
    lines = uncertainty_budget(table, setup, result)
    assert {line.name for line in lines} >= {"wheel rate rear", "scatter of the passes", "density"}
    for axle in ("front", "rear"):
        total = np.sqrt(sum(getattr(line, axle) ** 2 for line in lines))
        assert np.std(getattr(result, axle)) == pytest.approx(total, rel=0.08)


def test_one_way_only_is_said() -> None:
    day = made(Planted(), 3)
    table = find_passes(day.log, runs_of(day))
    out = replace(table, passes=tuple(p for p in table.passes if p.way == 1))
    reduced = reduce_passes(out, known_setup(3))
    assert any("Not driven both ways" in n for n in reduced.notices)


def test_passes_outside_every_run_are_left_out_and_said() -> None:
    day = made(Planted(), 3)
    table = find_passes(day.log, runs_of(day)[:1])
    assert {p.state for p in table.passes} == {"as raced"}
    assert any("left out" in n for n in table.notices)
    assert len(table.passes) == 14
