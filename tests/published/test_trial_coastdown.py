"""Coast-downs against the closed form, the directive's table and the corrected road load.

No worked numeric example was found printed in a standard; the closed form, computed outside this
project, stands in.
"""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.trial.coastdown import (
    Resistance,
    coasting_distance,
    coasting_time,
    effective_mass,
    interval_forces,
    speed_after,
)
from tuftwork.trial.coastfit import CoastRun, fit_coastdown
from tuftwork.trial.roadload import RoadDay, reference_force, statistical_accuracy

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
KMH = 3.6
MASS = 1236.0  # [kg] 1200 and 3 % for the wheels
TRUTH = Resistance(constant=180.0, linear=0.0, square=0.55)


def table() -> np.ndarray:
    return np.loadtxt(DATA / "trial_coastdown_computed.csv", delimiter=",", skiprows=5)


def test_time_and_distance_of_the_whole_run() -> None:
    time = float(coasting_time(150 / KMH, 30 / KMH, MASS, TRUTH))
    assert time == pytest.approx(90.6217, abs=1e-4)
    assert coasting_distance(150 / KMH, 30 / KMH, MASS, TRUTH) == pytest.approx(1852.74, abs=0.005)


def test_speeds_on_the_way_down() -> None:
    speed = speed_after(np.array([30.0, 60.0]), 150 / KMH, MASS, TRUTH) * KMH
    np.testing.assert_allclose(speed, [85.4709, 52.4690], atol=1e-4)


def test_interval_times_and_forces() -> None:
    kmh, above, below, took, by_interval, true = table().T
    half = 5.0 / KMH
    start = np.full(kmh.shape, 150 / KMH)
    times = [coasting_time(start, kmh / KMH + sign * half, MASS, TRUTH) for sign in (1, -1)]
    np.testing.assert_allclose(times[0], above, atol=1.1e-5)
    np.testing.assert_allclose(times[1], below, atol=1.1e-5)
    np.testing.assert_allclose(times[1] - times[0], took, atol=1.1e-5)
    forces = interval_forces(times[0], times[1], half, MASS)
    np.testing.assert_allclose(forces, by_interval, atol=6e-4)
    np.testing.assert_allclose(TRUTH.force(kmh / KMH), true, atol=6e-4)


def test_the_finite_interval_reads_a_tenth_of_a_percent_low() -> None:
    kmh, _, _, _, by_interval, true = table().T
    at = int(np.argmin(np.abs(kmh - 100)))
    assert by_interval[at] / true[at] - 1 == pytest.approx(-0.0011, abs=1e-4)


def test_two_and_three_terms_through_the_interval_forces() -> None:
    kmh, _, _, _, force, _ = table().T
    v = kmh / KMH
    two = np.linalg.lstsq(np.column_stack([np.ones_like(v), v**2]), force, rcond=None)[0]
    np.testing.assert_allclose(two, [179.850, 0.549484], rtol=1e-4)
    assert 2 * two[1] / 1.2 == pytest.approx(0.91581, abs=1e-4)
    three = np.polynomial.polynomial.polyfit(v, force, 2)
    # the reference's three terms carry its own rounded forces: f1 is the difference of two nears
    np.testing.assert_allclose(three, [180.608, -0.06716, 0.550796], rtol=0.01)


def test_the_fit_of_v_itself_has_no_interval_bias() -> None:
    time = np.arange(0, 90, 0.1)
    run = CoastRun(time=time, speed=speed_after(time, 150 / KMH, MASS, TRUTH), way=1)
    fit = fit_coastdown([run], MASS)
    assert float(fit.resistance.constant) == pytest.approx(180.0, abs=0.02)
    assert 2 * float(fit.resistance.square) / 1.2 == pytest.approx(0.91667, abs=1e-5)


def test_mean_of_both_ways_adds_f2_w2_and_nothing_linear() -> None:
    wind = 2.0
    v = np.array([15.0, 30.0, 40.0])
    out, back = (TRUTH.felt(wind=w).force(v) for w in (wind, -wind))
    np.testing.assert_allclose(0.5 * (out + back) - TRUTH.force(v), 0.55 * wind**2, atol=1e-9)
    assert 0.55 * wind**2 == pytest.approx(2.2)


def test_effective_mass_without_wheel_inertias() -> None:
    assert float(effective_mass(1200.0)) == pytest.approx(1236.0)


def test_statistical_accuracy_of_five_times() -> None:
    found = statistical_accuracy([10.52, 10.38, 10.61, 10.47, 10.55])
    assert found.mean == pytest.approx(10.506, abs=1e-4)
    assert found.deviation == pytest.approx(0.08678, abs=1e-5)
    # the sheet takes t = 2.8; the directive prints t/√n = 1.25, which is 2.795
    assert found.accuracy == pytest.approx(0.01034, abs=0.003 * 0.01034)
    assert found.is_enough


def test_the_directives_row_is_used_and_students_t_is_near() -> None:
    rows = np.loadtxt(DATA / "trial_eec70220_t_over_root_n.csv", delimiter=",", skiprows=5)
    for n, _, printed, _, exact in rows:
        times = 10 + 0.1 * np.resize([1.0, -1.0], int(n))
        by_row = statistical_accuracy(times)
        by_t = statistical_accuracy(times, exact=True)
        assert by_row.accuracy * by_row.mean / by_row.deviation == pytest.approx(printed)
        assert by_t.accuracy * by_t.mean / by_t.deviation == pytest.approx(exact, abs=5.1e-4)


def test_corrected_road_load() -> None:
    day = RoadDay(temperature=10.0, pressure=101.3e3, wind=2.0, reference_mass=1500.0,
                  mean_mass=1480.0)  # fmt: skip
    force = reference_force(np.array([60.0, 100.0, 140.0]), (150.0, 0.5, 0.035), day)
    np.testing.assert_allclose(force, [284.916, 516.888, 855.705], atol=1e-2)
