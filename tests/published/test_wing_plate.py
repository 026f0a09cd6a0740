"""Flat plates above a wall by the lattice's own rows: linear theory by images."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.wing.lattice import plate_slope

DATA = Path(__file__).parent / "data"


@pytest.mark.parametrize("height", [0.1, 0.2, 0.3, 0.5, 1.0, 2.0])
def test_a_plate_above_a_wall(height) -> None:
    # E3 linear column, 0.5 % for 40 elements
    t = np.loadtxt(DATA / "wallplate_linear.csv", delimiter=",", skiprows=5)
    want = t[np.argmin(np.abs(t[:, 0] - height)), 1]
    ratio = plate_slope(np.array([height]), 40)[0] / (2.0 * np.pi)
    assert ratio == pytest.approx(want, rel=5e-3)
