"""Vortices of sharp edges: the leading-edge-suction analogy on flat deltas."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.floor.vortex import (
    breakdown_angle,
    potential_constant,
    slender_constants,
    suction_lift,
    vortex_constant,
)

pytestmark = pytest.mark.published
TABLE = Path(__file__).parent / "data" / "floor_vortex_delta.csv"
ROWS = np.genfromtxt(TABLE, delimiter=",", skip_header=4, names=True, dtype=None, encoding=None)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: str(r["id"]))
def test_constants_of_flat_deltas(row: np.void) -> None:
    # V10 to V13: within 1.5 %
    kp = float(potential_constant(row["aspect"]))
    np.testing.assert_allclose(kp, row["kp"], rtol=0.015)
    np.testing.assert_allclose(float(vortex_constant(kp, row["aspect"])), row["kv"], rtol=0.015)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: str(r["id"]))
def test_lift_of_flat_deltas_for_given_constants(row: np.void) -> None:
    found = suction_lift(row["kp"], row["kv"], np.radians([5.0, 10.0, 15.0, 20.0]))
    # Kp and Kv are printed to three places: half a digit of each moves the last by 2e-4
    printed = [row[f"cl{a}"] for a in (5, 10, 15, 20)]
    np.testing.assert_allclose(found, printed, atol=3e-4)


def test_slender_limit() -> None:
    # V14, exact: and the lattice tends to it
    kp, kv = slender_constants(np.array([0.2, 0.1]))
    np.testing.assert_allclose(kp, np.pi * np.array([0.2, 0.1]) / 2, rtol=1e-12)
    np.testing.assert_allclose(kv, np.pi * np.sqrt(1 + np.array([0.2, 0.1]) ** 2 / 16), rtol=1e-12)
    assert abs(float(potential_constant(0.1)) / (np.pi * 0.1 / 2) - 1) < 0.03


def test_breakdown_comes_earlier_near_the_road() -> None:
    # V15, sign
    assert np.all(np.diff(breakdown_angle(0.03, np.array([0.2, 0.05, 0.02, 0.01, 0.005]))) < 0)
