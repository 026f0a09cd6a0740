"""Tyre forms against Bakker, Nyborg and Pacejka 1987 and closed forms; class bands of sensitivity.

Status of the bands: memory and one industry article seen; they are bands, not numbers.
"""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.lap import fit_tyre, magic_formula, prepare, run_case
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero

pytestmark = pytest.mark.published

TABLE = Path(__file__).parent / "data" / "bakker1987_peaks.csv"


def test_the_force_form_gives_the_printed_values() -> None:
    # B 10, C 1.9, D 1, E 0.97 seen in a public tyre parameter file; values to six figures
    slip = np.array([0.05, 0.1, 0.15, 0.2, 0.5, 1.0])
    printed = [0.735619, 0.955842, 0.996790, 0.999178, 0.959375, 0.914522]
    found = magic_formula(slip, 10.0, 1.9, 1.0, 0.97)
    np.testing.assert_allclose(found, printed, rtol=0.0, atol=0.5e-6)
    assert float(magic_formula(0.18019, 10.0, 1.9, 1.0, 0.97)) == pytest.approx(1.0, abs=1e-9)


def test_lateral_force_at_four_degrees() -> None:
    rows = np.loadtxt(TABLE, delimiter=",", skiprows=5)
    for _, peak, at_four, b, e in rows:
        found = float(magic_formula(4.0, b, 1.30, peak, e))
        # E is printed to three figures after the point, B to six: together 0.02 %
        assert found == pytest.approx(at_four, rel=2e-4)


def test_driving_force_at_five_and_ten_per_cent_of_slip() -> None:
    # row TY3: coefficients of the longitudinal form seen, forces at 4 kN computed from them
    shape, load = 1.65, 4.0
    a1, a2, a3, a4, a5, a6, a7, a8 = -21.3, 1144.0, 49.6, 226.0, 0.069, -0.006, 0.056, 0.486
    peak = a1 * load**2 + a2 * load
    stiffness = (a3 * load**2 + a4 * load) / np.exp(a5 * load)
    curved = a6 * load**2 + a7 * load + a8
    found = magic_formula(np.array([5.0, 10.0]), stiffness / (shape * peak), shape, peak, curved)
    np.testing.assert_allclose(found, [3823.7, 4234.4], rtol=0.0, atol=0.05)  # printed to 0.1 N


def test_the_fitted_tyre_gives_back_the_published_peaks() -> None:
    load, peak = np.loadtxt(TABLE, delimiter=",", skiprows=5, usecols=(0, 1), unpack=True)
    tyre = fit_tyre(1e3 * load, peak, at=4000.0)
    found = tyre.grip * (1 - tyre.load_loss * (1e3 * load - 4000.0)) * 1e3 * load
    np.testing.assert_allclose(found, peak, rtol=0.0, atol=0.1)  # peaks are printed to 0.1 N
    assert tyre.grip == pytest.approx(0.9226, abs=1e-4)


def test_load_transfer_by_moments() -> None:
    car = halyard()
    from dataclasses import replace

    chassis = replace(car.chassis, mass=1200.0, cg_height=0.45, wheelbase=2.6)
    lap = run_case(
        prepare(brackenholt(), replace(car, chassis=chassis), halyard_aero(), n_point=400)
    )
    t = lap.trace
    q = 0.5 * 1.18 * t.speed**2
    static = 1200.0 * 9.80665 * 0.475
    moved = static + q * t.downforce_front - t.load_front
    # downforce is taken at the mean speed of a cell, the load at its mean energy: below 0.1 %
    assert np.allclose(moved, 1200.0 * t.ax * 0.45 / 2.6, rtol=0.0, atol=1e-3 * static)
    # the printed case: 1200 kg, 1.2 g, 0.45 m over 2.6 m moves 2444.12 N
    assert pytest.approx(2444.12, abs=0.005) == 1200.0 * 1.2 * 9.80665 * 0.45 / 2.6


@pytest.mark.parametrize(
    ("quantity", "low", "high"),
    [("10 kg", 0.10, 0.25), ("1 % power", 0.10, 0.20), ("10 % drag", 0.1, 0.3)],
)
def test_sensitivities_lie_in_the_bands_of_closed_racing_coupes(
    quantity: str, low: float, high: float
) -> None:
    # bands for a 90 s to 110 s lap; status: memory, common practice, no source
    g = run_case(
        prepare(brackenholt(), halyard(), halyard_aero(), n_point=1500), gradient=True
    ).gradient
    found = {
        "10 kg": 10.0 * g["mass"],
        "1 % power": -0.01 * g["power_scale"],
        "10 % drag": 0.1 * g["drag_scale"],
    }[quantity]
    assert low <= found <= high
