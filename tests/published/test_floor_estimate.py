"""The floor estimate against one-dimensional theory and the published regimes."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.aeromap.part import coefficients_of
from tuftwork.floor.estimate import (
    FloorCoefficients,
    FloorGeometry,
    FloorLoad,
    FloorOnset,
    estimate_floor,
)
from tuftwork.floor.splitter import rounded_entrance_loss
from tuftwork.floor.theory import (
    leak_rate,
    leaking_channel_speed,
    mean_ramp_pressure,
    pressure_recovery,
    throat_speed,
)

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
HALF_WIDTH = 0.157  # [m] of the diffuser body of Senior and Zhang 2001 (seen in their nomenclature)


def _table(name: str) -> np.ndarray:
    path = DATA / f"floor_estimate_{name}.csv"
    return np.genfromtxt(path, delimiter=",", skip_header=4, names=True, dtype=None, encoding=None)


def _regime(name: str) -> tuple[float, float]:
    row = next(r for r in _table("regimes") if r["quantity"] == name)
    return float(row["value"]), float(row["band"])


def _body(angle: float, height: np.ndarray) -> FloorLoad:
    """The published diffuser body (ramp length from memory), best coefficients, clean plate."""
    best = {
        name: np.array([c.quantity.best])
        for name, c in coefficients_of("floor", "estimate").items()
    } | {"coverage": np.ones(1)}
    one = np.ones(1)
    geometry = FloorGeometry(
        width=2 * HALF_WIDTH * one,
        diffuser_width=2 * HALF_WIDTH * one,
        front_station=0.0 * one,
        kick_station=0.775 * one,
        exit_station=1.315 * one,
        diffuser_angle=np.radians(angle) * one,
    )
    ride = height * HALF_WIDTH
    onset = FloorOnset(
        ride_height_front=ride, ride_height_rear=ride, wheelbase=one, exit_pressure=0 * one,
        head=0 * one,
    )  # fmt: skip
    return estimate_floor(geometry, onset, FloorCoefficients(**best))


@pytest.mark.parametrize("row", _table("theory"), ids=lambda row: str(row["id"]))
def test_theory_of_the_diffuser(row: np.void) -> None:
    # D1 to D4
    ratio, base, eta = row["area_ratio"], row["base_pressure"], row["effectiveness"]
    speed = throat_speed(ratio, base, eta)
    np.testing.assert_allclose(pressure_recovery(ratio, eta), row["recovery"], atol=5e-6)
    np.testing.assert_allclose(speed, row["speed"], atol=5e-6)
    np.testing.assert_allclose(1 - speed**2, row["throat_pressure"], atol=5e-6)


@pytest.mark.parametrize(("ratio", "base", "printed"), [(2.0, -0.2, -1.4), (1.5, -0.1, -0.65)])
def test_mean_pressure_of_a_ramp_without_loss(ratio: float, base: float, printed: float) -> None:
    # D1, D3: mean Cp = 1 - (1 - Cp_b) AR
    speed = throat_speed(ratio, base)
    mean = mean_ramp_pressure(1 - speed**2, speed, ratio)
    np.testing.assert_allclose(mean, printed, atol=1e-12)
    np.testing.assert_allclose(mean, 1 - (1 - base) * ratio, atol=1e-12)


def test_no_diffuser_leaves_the_base_pressure() -> None:
    # D5, exact
    base = np.array([-0.4, -0.1, 0.1])
    np.testing.assert_allclose(1 - throat_speed(1.0, base) ** 2, base, atol=1e-12)


def test_less_recovery_brings_the_throat_back_to_the_base_pressure() -> None:
    # D6
    throat = 1 - throat_speed(2.0, -0.2, np.linspace(1.0, 0.0, 21)) ** 2
    assert np.all(np.diff(throat) > 0)
    np.testing.assert_allclose(throat[-1], -0.2, atol=1e-12)


def test_leaking_channel() -> None:
    # S1, S2, S3
    np.testing.assert_allclose(leak_rate(0.010, 0.060, 1.4, 0.6), 0.142857, atol=5e-7)
    speed = leaking_channel_speed(2.0, 1.5, 0.010, 0.060, 1.4)
    np.testing.assert_allclose(speed, 1.885444, atol=1e-5)
    np.testing.assert_allclose(1 - speed**2, -2.55490, atol=1e-5)
    np.testing.assert_allclose(leaking_channel_speed(2.0, 1.5, 0.0, 0.06, 1.4), 1.5, rtol=1e-12)
    gap = np.linspace(0.0, 0.03, 16)
    # for a fixed exit the speed upstream is the same line walked backwards
    pull = np.arccosh(2.0) - leak_rate(gap, 0.06, 1.4, 0.6) * 2.0
    assert np.all(np.diff(np.cosh(np.maximum(pull, 0.0))) < 0)


def test_ideal_diffuser_has_no_best_area_ratio_and_a_stalling_one_has() -> None:
    # structural check of section 1a: the loss supplies the optimum
    ratio = np.linspace(1.01, 12.0, 400)
    ideal = 1 - throat_speed(ratio, -0.2) ** 2
    assert np.all(np.diff(ideal) < 0)
    angle = np.linspace(4.0, 25.0, 211)
    load = [float(_body(a, np.array([0.3])).downforce[0]) for a in angle]
    assert 0 < int(np.argmax(load)) < len(load) - 1


def test_best_angle_lies_where_it_was_measured() -> None:
    # D35 (memory, medium): 13 +- 2 degrees for a single channel
    printed, band = _regime("best_angle")
    angle = np.linspace(4.0, 25.0, 211)
    for height in (0.25, 0.3, 0.4, 0.5, 0.6):
        load = [float(_body(a, np.array([height])).downforce[0]) for a in angle]
        assert abs(angle[int(np.argmax(load))] - printed) <= band


@pytest.mark.parametrize("angle", [10.0, 13.0, 15.0, 17.0])
def test_downforce_rises_peaks_once_and_falls(angle: float) -> None:
    # D38 (seen): one maximum for 10 degrees and more
    load = _body(angle, np.linspace(0.03, 0.9, 800)).downforce
    turns = np.sum(np.diff(np.sign(np.diff(load))) < 0)
    assert turns == 1
    assert load[0] < 0.8 * load.max()


@pytest.mark.xfail(strict=True, reason="peak at h/d 0.31 against 0.20 +- 0.05: miss 0.06")
def test_peak_of_the_17_degree_body_lies_where_it_is_remembered() -> None:
    # D33 (memory, low): the fall begins at 0.20, but this estimate's greatest load lies above it
    printed, band = _regime("peak_height_17")
    height = np.linspace(0.05, 0.9, 851)
    peak = height[int(np.argmax(_body(17.0, height).downforce))]
    assert abs(peak - printed) <= band


def test_load_has_three_additive_parts() -> None:
    # D37: upsweep, ground interaction, pumping
    found = _body(10.0, np.array([0.3]))
    total = found.upsweep + found.pumping + found.ground
    np.testing.assert_allclose(total, found.downforce, rtol=1e-12)
    assert float(found.upsweep[0]) > 0
    assert float(found.pumping[0]) > 0


def test_recovery_lies_within_the_measured_band_over_inlet_blockage() -> None:
    # D10 (memory, medium)
    coefficient = coefficients_of("floor", "estimate")["recovery"].quantity
    lowest = _regime("recovery_010")[0] - 0.04
    highest = _regime("recovery_002")[0] + 0.04
    assert lowest <= coefficient.best <= highest


def test_recovery_of_cones_lies_in_the_range_of_the_estimate() -> None:
    # D11 (memory, medium): three dimensions, which no channel between floor and road solves; the
    # estimate's range has to hold them, and it falls with blockage there as here
    table = np.genfromtxt(
        DATA / "floor_channel_internal.csv", delimiter=",", skip_header=4, names=True, dtype=None,
        encoding=None,
    )  # fmt: skip
    cones = [float(r["value"]) for r in table if r["quantity"] == "recovery_cone"]
    coefficient = coefficients_of("floor", "estimate")["recovery"].quantity
    assert len(cones) == 3
    assert all(coefficient.low <= value <= coefficient.high for value in cones)
    assert np.all(np.diff(cones) < 0)


def test_entrance_loss_agrees_with_a_library_of_published_formulae() -> None:
    # computed with the fluids library: the spread of its four other correlations is the budget
    from fluids.fittings import entrance_rounded

    for radius in (0.02, 0.05, 0.1, 0.2, 0.3):
        others = [
            entrance_rounded(Di=0.1, rc=radius * 0.1, method=method)
            for method in ("Rennels", "Crane", "Idelchik", "Harris")
        ]
        slack = 0.03  # [-] of K: the correlations' own tables are read to that
        assert min(others) - slack <= float(rounded_entrance_loss(radius)) <= max(others) + slack
