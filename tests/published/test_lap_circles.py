"""Steady circles against closed forms: the limit itself, and grip found back from printed limits.

What was printed goes in as the measurement, what it was computed from has to come out. Status of
the rows: computed (closed forms of a point mass and of an axle whose friction falls with load), and
for tyre peaks seen coefficients.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tuftwork.car import Circle
from tuftwork.floor.calibrate import gaussian_update
from tuftwork.lap import (
    AeroTable,
    Chassis,
    SteadyCircle,
    Surroundings,
    Suspension,
    Tyre,
    Vehicle,
    circle_limit,
    constant_power,
    constant_table,
    parameters_of,
    with_changes,
)

pytestmark = pytest.mark.published

DATA = Path(__file__).parent / "data"
ROWS = {
    (row[0], row[1]): (float(row[2]), float(row[3]))
    for row in (
        line.split(",") for line in (DATA / "lap_reference.csv").read_text().splitlines()[5:]
    )
}
PEAKS = DATA / "bakker1987_peaks.csv"
GRAVITY = 9.80665
AIR = Surroundings(density=1.225, gravity=GRAVITY)
FULL, BARE = constant_table(1.5, 1.5, 0.0), constant_table(0.0, 0.0, 0.0)  # row LT0, drag left out
EXACT = 1e-8  # [-] of a measurement that is a printed closed form, so that the prior says nothing


def car(*, mu: float = 1.4, loss: float = 0.0, mass: float = 1200.0, at: float = 0.0) -> Vehicle:
    """Return a car whose four wheels carry the same: no height, stiff springs."""
    tyre = Tyre(grip=mu, load_loss=loss, wheel_load=at)
    return Vehicle(
        name="reference", tyre_front=tyre, tyre_rear=tyre, power=constant_power(300e3),
        chassis=Chassis(mass=mass, weight_front=0.5, cg_height=0.0, wheelbase=2.6,
                        track_front=1.6, track_rear=1.6),
        suspension=Suspension(ride_height_front=0.1, ride_height_rear=0.1, axle_rate_front=1e9,
                              axle_rate_rear=1e9),
        drive_share_front=None,
    )  # fmt: skip


def lateral(vehicle: Vehicle, aero: AeroTable, radius: float, **changes: float) -> float:
    circle = SteadyCircle(
        radius=np.array([radius]), bank=np.zeros(1), aero=aero, flags=vehicle.flags
    )
    p = with_changes(parameters_of(vehicle, AIR)[None], changes)
    return float(circle_limit(circle, p).lateral[0])


def printed(key: str, quantity: str) -> tuple[float, float]:
    """Return a printed value with its reading error, half of its last digit."""
    text = next(
        line.split(",")[2] for line in (DATA / "lap_reference.csv").read_text().splitlines()[5:]
        if line.startswith(f"{key},{quantity},")
    )  # fmt: skip
    return float(text), 0.5 * 10.0 ** -len(text.partition(".")[2])


def test_the_limit_is_weight_and_downforce_times_friction() -> None:
    speed, error = printed("LT1", "corner speed R 100 with downforce")
    found = lateral(car(), FULL, 100.0)
    assert np.sqrt(100.0 * found) == pytest.approx(speed, abs=error + 1e-5 * speed)


def test_the_limit_with_friction_that_falls_with_load() -> None:
    for aero, quantity in ((FULL, "corner speed load-sensitive"),
                           (BARE, "corner speed load-sensitive no aero")):  # fmt: skip
        speed, error = printed("TY6", quantity)
        # μ = μ0 − k N on each wheel: the share lost for each newton is k/μ0
        found = lateral(car(mu=1.8, loss=6e-5 / 1.8), aero, 100.0)
        assert np.sqrt(100.0 * found) == pytest.approx(speed, abs=error + 1e-5 * speed)


def test_a_skid_pad_by_diameter_and_time() -> None:
    # row LT7 is for 9.81 m/s²: 17.10 m and 5.0 s make 1.3763 g
    circle = Circle.model_validate(
        {"id": "G1", "kind": "skid pad", "radius": "8.55 m", "round_time": "5.0 s"}
    )
    expected, error = printed("LT7", "skid pad 17.10 m 5.0 s")
    assert circle.lateral_best / 9.81 == pytest.approx(expected, abs=error)


def test_grip_is_found_back_from_one_circle() -> None:
    speed, error = printed("LT1", "corner speed R 100 with downforce")
    found = gaussian_update(
        lambda rows: np.array([[lateral(car(mu=r[0]), FULL, 100.0) for r in rows]]),
        np.array([speed**2 / 100.0]), EXACT * np.eye(1),
        mean=np.array([1.2]), spread=np.array([0.3]), step=np.array([0.01]),
    )  # fmt: skip
    # friction goes with no more than the square of speed; the update rests within 1e-6
    assert float(found.mean[0]) == pytest.approx(1.4, abs=1.4 * 2.0 * error / speed + 1e-6)


def test_grip_and_its_loss_over_load_are_found_back_from_two() -> None:
    measured = np.array([
        printed("TY6", q)[0] ** 2 / 100.0
        for q in ("corner speed load-sensitive", "corner speed load-sensitive no aero")
    ])  # fmt: skip

    def limits(rows: np.ndarray) -> np.ndarray:
        cars = [car(mu=mu, loss=loss * 1e-5 / mu) for mu, loss in rows]
        return np.array([[lateral(c, aero, 100.0) for c in cars] for aero in (FULL, BARE)])

    found = gaussian_update(
        limits, measured, EXACT * np.eye(2), mean=np.array([1.6, 4.0]), spread=np.array([0.3, 4.0]),
        step=np.array([0.01, 0.1]),
    )  # fmt: skip
    mu, loss = found.mean
    # half a digit of 5e-5 m/s moves each circle's friction by 4e-6; their loads lie 929 N apart
    assert loss == pytest.approx(6.0, abs=2 * 4e-6 / 929.0 * 1e5 + 1e-3)
    assert mu == pytest.approx(1.8, abs=4e-6 + 2 * 4e-6 * 2942.0 / 929.0 + 1e-5)


def test_one_circle_cannot_part_grip_from_its_loss() -> None:
    speed, _ = printed("TY6", "corner speed load-sensitive no aero")

    def limits(rows: np.ndarray) -> np.ndarray:
        cars = [car(mu=mu, loss=loss * 1e-5 / mu) for mu, loss in rows]
        return np.array([[lateral(c, BARE, 100.0) for c in cars]])

    found = gaussian_update(
        limits, np.array([speed**2 / 100.0]), EXACT * np.eye(1), mean=np.array([1.6, 4.0]),
        spread=np.array([0.1, 2.0]), step=np.array([0.01, 0.1]),
    )  # fmt: skip
    one, two = np.sqrt(np.diag(found.covariance))
    together = found.covariance[0, 1] / (one * two)
    assert together > 0.999  # along one line: more grip with more loss fits as well
    # friction at the load it was driven with, mu0 − k N with N of a quarter of the weight, is known
    wheel = 1200.0 * GRAVITY / 4.0
    assert found.mean[0] - found.mean[1] * 1e-5 * wheel == pytest.approx(
        1.8 - 6e-5 * wheel, abs=2e-4
    )


def test_ballast_tells_the_load_sensitivity_of_a_published_tyre() -> None:
    """A skid pad at two masses: peaks of 1987 as limits; their slope over load comes out."""
    rows = np.loadtxt(PEAKS, delimiter=",", skiprows=5)
    load, peak = 1e3 * rows[[0, 3], 0], rows[[0, 3], 1]
    masses = 4.0 * load / GRAVITY
    measured = peak / load * GRAVITY  # m v²/R = 4 D(N) at m g = 4 N

    def limits(values: np.ndarray) -> np.ndarray:
        return np.array([
            [lateral(replace(car(mu=mu, loss=1e-5 * loss, at=4000.0, mass=mass)), BARE, 30.0)
             for mu, loss in values]
            for mass in masses
        ])  # fmt: skip

    found = gaussian_update(
        limits, measured, EXACT * np.eye(2), mean=np.array([1.0, 1.0]), spread=np.array([0.3, 3.0]),
        step=np.array([0.01, 0.1]),
    )  # fmt: skip
    grip, loss = found.mean
    # a1 −22.1 and a2 1011 (N, kN): friction at 4 kN 0.9226, falling 0.0221 for each kN
    assert grip == pytest.approx(0.9226, abs=1e-4)
    assert 1e-5 * loss * grip == pytest.approx(22.1e-6, abs=0.05e-6)
