"""Uncertainty, comparison, tunnel and axes against the Guide, textbooks and public data."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.trial.compare import bracketed, compare, power, runs_needed, runs_needed_exactly
from tuftwork.trial.gum import Input, coverage_factor, fit_line, propagate
from tuftwork.trial.tunnel import (
    MASKELL_PLATE,
    TunnelModel,
    axle_coefficients,
    blockage_corrections,
    catch_all_pressure,
    coefficient,
    core_speed,
    floor_is_thin_enough,
    maskell_pressure,
    maskell_pressure_settled,
    needs_moving_belt,
    scale_notices,
    solid_speed_gain,
)

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
FOOT = 0.3048


# ------------------------------------------------------------------ JCGM 100, H.1 (inputs seen)
def end_gauge(**x: float) -> float:
    return (
        x["standard"]
        + x["difference"]
        - x["standard"]
        * (x["expansion_gap"] * x["mean_temperature"] + x["expansion"] * x["temperature_gap"])
    )


H1 = {
    "standard": Input(value=50_000_623.0, uncertainty=25.0, dof=18),
    "difference": Input.combined(215.0, [(5.8, 24), (3.9, 5), (6.7, 8)]),
    "expansion_gap": Input.rectangular(0.0, 1e-6, dof=50),
    "temperature_gap": Input.rectangular(0.0, 0.05, dof=2),
    "expansion": Input.rectangular(11.5e-6, 2e-6),
    "mean_temperature": Input(value=-0.1, uncertainty=float(np.hypot(0.2, 0.5 / np.sqrt(2)))),
}  # fmt: skip


def test_end_gauge_of_the_guide() -> None:
    found = propagate(end_gauge, H1)
    assert H1["difference"].uncertainty == pytest.approx(9.7, abs=0.05)
    assert found.value == pytest.approx(50_000_838, abs=0.5)
    contributions = [found.contributions[k] for k in
                     ("standard", "difference", "expansion_gap", "temperature_gap")]  # fmt: skip
    np.testing.assert_allclose(contributions, [25.0, 9.7, 2.9, 16.6], atol=0.05)
    assert found.uncertainty == pytest.approx(31.7, abs=0.05)
    assert found.dof == pytest.approx(16.75, abs=0.1)
    assert coverage_factor(0.99, found.dof) == pytest.approx(2.92, abs=0.005)
    assert found.expanded(0.99) == pytest.approx(92.5, abs=0.2)


def test_end_gauge_with_terms_of_second_order() -> None:
    found = propagate(end_gauge, H1)
    pairs = {frozenset(k): v for k, v in found.second_order.items()}
    gap = pairs[frozenset({"expansion_gap", "mean_temperature"})]
    other = pairs[frozenset({"expansion", "temperature_gap"})]
    assert gap == pytest.approx(11.7, abs=0.06)
    assert other == pytest.approx(1.7, abs=0.06)
    assert found.full_uncertainty == pytest.approx(34, abs=0.5)


def test_thermometer_line_of_the_guide() -> None:
    t, b = np.loadtxt(DATA / "trial_gum_h3.csv", delimiter=",", skiprows=5, unpack=True)
    line = fit_line(t, b, about=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    doubts = np.sqrt(np.diag(line.covariance))
    assert doubts[0] == pytest.approx(0.0029, abs=5e-5)
    assert doubts[1] == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)
    value, doubt = line.at(30.0)
    assert value == pytest.approx(-0.1494, abs=5e-5)
    assert doubt == pytest.approx(0.0041, abs=5e-5)


def test_downforce_over_speed_squared_gives_its_area() -> None:
    speed = np.array([100.0, 140.0, 180.0, 200.0]) / 3.6
    force = 812.0 + 0.5 * 1.2 * 3.0 * speed**2
    line = fit_line(speed**2, force)
    assert line.slope * (200 / 3.6) ** 2 == pytest.approx(5555.6, abs=0.05)
    assert line.intercept == pytest.approx(812.0, abs=1e-6)


# ------------------------------------------------------------------ A-B-A (computed by hand)
def test_bracketed_difference() -> None:
    found = bracketed(0.400, 0.396, 0.404, deviation=0.002)
    assert found.size == pytest.approx(-0.006)
    assert found.uncertainty == pytest.approx(0.002 * np.sqrt(1.5))


def test_five_runs_with_drift_give_the_true_difference() -> None:
    values = [0.400, 0.391, 0.402, 0.393, 0.404]
    changed = [False, True, False, True, False]
    found = compare(values, changed)
    assert found.size == pytest.approx(-0.010, abs=1e-12)
    assert found.drift == pytest.approx(0.001, abs=1e-12)
    assert values[1] - values[0] == pytest.approx(-0.009)  # A-B alone takes the drift for a gain


def test_runs_to_see_one_percent_at_half_a_percent_of_scatter() -> None:
    assert runs_needed(0.5, 1.0) == pytest.approx(3.92, abs=0.01)


def test_power_agrees_with_a_general_library() -> None:
    from statsmodels.stats.power import TTestIndPower

    for size, runs in ((1.0, 5), (2.0, 6), (0.5, 20)):
        other = TTestIndPower().power(effect_size=size, nobs1=runs, alpha=0.05)
        assert power(1.0, size, runs) == pytest.approx(float(other), abs=1e-6)
    exact = TTestIndPower().solve_power(effect_size=2.0, power=0.8, alpha=0.05)
    assert runs_needed_exactly(1.0, 2.0) == int(np.ceil(exact))


# ------------------------------------------------------------------ wind tunnel
def coach() -> tuple[np.ndarray, np.ndarray]:
    speed, force = np.loadtxt(DATA / "trial_fox_coach.csv", delimiter=",", skiprows=5, unpack=True)
    return speed, coefficient(force, 1.23, speed, 84 * FOOT**2 / 16**2)


def test_coach_model_reaches_its_plateau() -> None:
    speed, drag = coach()
    assert drag[0] == pytest.approx(0.510, rel=0.005)
    assert np.min(drag) == pytest.approx(0.462, rel=0.005)
    assert np.mean(drag[-5:]) == pytest.approx(0.465, rel=0.005)
    reynolds = speed * 8 * FOOT / 16 / 1.46e-5
    np.testing.assert_allclose(reynolds[[0, -1]], [1.88e5, 4.88e5], rtol=0.005)


def test_coach_at_full_size_and_its_warning() -> None:
    speed = 100 / 3.6
    force = 0.46 * 0.5 * 1.23 * speed**2 * 84 * FOOT**2
    assert force == pytest.approx(1703, rel=0.005)
    assert force * speed == pytest.approx(47.3e3, rel=0.005)
    full = speed * 8 * FOOT / 1.46e-5
    assert full == pytest.approx(4.6e6, rel=0.01)
    assert "times the test's" in scale_notices(4.6e5, full)[0]


def test_car_in_a_textbook_tunnel() -> None:
    # Çengel and Cimbala, example 11-1: A 2.07 m², 95 km/h, 300 N, air at 20 °C and 1 atm (seen)
    assert coefficient(300.0, 1.204, 95 / 3.6, 2.07) == pytest.approx(0.345, rel=0.005)


def test_core_speeds_up_by_the_displaced_layer() -> None:
    # exit 4.099 m/s from a printed formula 1.72 x/√Re; a tenth of a percent for its rounding
    assert core_speed(4.0, 0.30, 0.30, 1.507e-5) == pytest.approx(4.099, rel=1e-3)


def test_wake_and_catch_all_corrections() -> None:
    assert maskell_pressure(0.40, 0.05) == pytest.approx(1.050, abs=1e-4)
    assert 0.40 / maskell_pressure(0.40, 0.05) == pytest.approx(0.3810, abs=1e-4)
    assert 0.40 / maskell_pressure_settled(0.40, 0.05) == pytest.approx(0.3818, abs=1e-4)
    assert maskell_pressure(0.40, 0.05, MASKELL_PLATE) < maskell_pressure(0.40, 0.05)
    assert catch_all_pressure(3.06, 64.5) == pytest.approx(1.02386, abs=1e-4)


def test_solid_blockage_of_a_streamlined_body() -> None:
    assert solid_speed_gain(0.1, 1.5, 2.0) == pytest.approx(0.01444, abs=1e-4)


def test_a_closed_section_reads_too_high_whatever_the_method() -> None:
    model = TunnelModel(drag_coefficient=0.40, frontal_area=0.15, section_area=3.0, volume=0.1,
                        height=1.5, width=2.0)  # fmt: skip
    corrected, notices = blockage_corrections(model)
    assert all(c.drag_coefficient < 0.40 for c in corrected)
    assert len(corrected) == 3
    assert "differ" in notices[0]


def test_moving_belt_and_floor_rules() -> None:
    assert not needs_moving_belt(1.5, 0.1)
    assert needs_moving_belt(2.1, 0.1)
    assert floor_is_thin_enough(4.9e-3, 50e-3)
    assert not floor_is_thin_enough(5.1e-3, 50e-3)


# ------------------------------------------------------------------ axes
def test_axle_lifts_of_an_open_study() -> None:
    text = (DATA / "trial_axle_split.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in text.splitlines()[5:]]
    for row in rows:
        moment, _, lift, front, rear = map(float, row[2:])
        found = axle_coefficients(lift, moment)
        # all inputs are printed to four figures; halves of two of them add up
        np.testing.assert_allclose(found, [front, rear], atol=1.01e-4)
