"""Bouncing in air that follows late, against the closed form of its limit and general solvers."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.aeromap.oscillation import Oscillator, modes_of

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
CASE = np.genfromtxt(DATA / "heave_late_air.csv", delimiter=",", skip_header=4, names=True)
PRINTED = 1e-3  # [-] digits of the printed case
STEP = 1e-5  # [s] between the lags looked at


def one(lag: np.ndarray, air: float, damping: float) -> Oscillator:
    def matrix(value: float) -> np.ndarray:
        return np.full((1, 1), value)

    return Oscillator(
        mass=matrix(float(CASE["m"])), damping=matrix(damping), stiffness=matrix(float(CASE["k"])),
        air=matrix(air), lag=lag,
    )  # fmt: skip


def test_lags_between_which_a_heaving_car_bounces() -> None:
    # P1: the borders in lag, and the frequencies there
    lag = np.arange(0.001, 0.080, STEP)
    found = modes_of(one(lag, float(CASE["k_a"]), float(CASE["c"])))
    grows = np.flatnonzero(found.growth > 0)
    low, high = grows[0], grows[-1]
    assert lag[low] * 1e3 == pytest.approx(float(CASE["lag_low"]), rel=PRINTED, abs=STEP * 1e3)
    assert lag[high] * 1e3 == pytest.approx(float(CASE["lag_high"]), rel=PRINTED, abs=STEP * 1e3)
    assert found.frequency[low] == pytest.approx(float(CASE["frequency_low"]), rel=PRINTED)
    assert found.frequency[high] == pytest.approx(float(CASE["frequency_high"]), rel=PRINTED)
    assert np.all(np.diff(grows) == 1)


def test_air_that_presses_more_when_lower_never_bounces() -> None:
    # P1: k_a at or above zero is always stable
    lag = np.geomspace(1e-4, 1.0, 200)
    for air in (0.0, 0.1e6, 0.3e6):
        assert np.all(modes_of(one(lag, air, float(CASE["c"]))).growth < 0)


def test_frequency_without_air_and_damping() -> None:
    # P1: sqrt(k/m)/2π
    found = modes_of(one(np.array([0.02]), 0.0, 0.0))
    assert found.frequency[0] == pytest.approx(float(CASE["frequency_without_air"]), rel=PRINTED)


def test_limit_of_stability_by_its_closed_form() -> None:
    # m c + c² τ + c k τ² + m τ k_a = 0 (Hurwitz), over random cases
    rng = np.random.default_rng(11)
    for _ in range(40):
        m, k = rng.uniform(300, 1500), rng.uniform(0.2e6, 3e6)
        c, a = rng.uniform(500, 6000), -rng.uniform(0.05e6, 2e6)
        tau = rng.uniform(2e-3, 0.2)
        limit = m * c + c * c * tau + c * k * tau**2 + m * tau * a
        if abs(limit) < 1e-3 * m * c:
            continue
        case = Oscillator(
            mass=np.full((1, 1), m), damping=np.full((1, 1), c), stiffness=np.full((1, 1), k),
            air=np.full((1, 1), a), lag=np.array(tau),
        )  # fmt: skip
        assert (modes_of(case).growth > 0) == (limit < 0)


def test_two_heights_against_a_general_solver() -> None:
    # two degrees of freedom at once: scipy's generalised eigenvalues of the same pencil
    from scipy.linalg import eigh, eigvals

    mass = np.array([[420.0, 60.0], [60.0, 510.0]])
    stiffness = np.array([[2.3e5, 0.0], [0.0, 2.5e5]])
    damping = np.array([[2100.0, 0.0], [0.0, 2600.0]])
    air = np.array([[-0.4e5, -0.2e5], [0.3e5, -1.6e5]])
    tau = 0.06
    still = np.zeros((2, 2))
    free = modes_of(
        Oscillator(mass=mass, damping=still, stiffness=stiffness, air=still, lag=np.array(tau))
    )
    waves = np.sqrt(eigh(stiffness, mass, eigvals_only=True)) / (2 * np.pi)
    assert np.min(np.abs(waves - free.frequency)) < 1e-9
    # M τ s³ + (M + C τ) s² + (C + K τ) s + K − A, as a first-order pencil
    zero, one_ = np.zeros((2, 2)), np.eye(2)
    left = np.block([
        [zero, one_, zero], [zero, zero, one_],
        [-(stiffness - air), -(damping + stiffness * tau), -(mass + damping * tau)],
    ])  # fmt: skip
    right = np.block([[one_, zero, zero], [zero, one_, zero], [zero, zero, mass * tau]])
    roots = eigvals(left, right)
    swings = roots[np.abs(roots.imag) > 2 * np.pi * 0.3]
    found = modes_of(
        Oscillator(mass=mass, damping=damping, stiffness=stiffness, air=air, lag=np.array(tau))
    )
    assert found.growth == pytest.approx(np.max(swings.real), rel=1e-8, abs=1e-8)
