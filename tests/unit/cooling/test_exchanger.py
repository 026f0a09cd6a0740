"""What the effectiveness relations promise."""

import numpy as np
import pytest

from tuftwork.cooling.exchanger import (
    ARRANGEMENTS,
    effectiveness,
    passes_in_series,
    transfer_units,
)
from tuftwork.errors import InputError


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_inverse_undoes_the_relation(arrangement: str) -> None:
    ntu = np.array([0.05, 0.5, 1.5])
    eps = effectiveness(ntu, 0.6, arrangement)
    np.testing.assert_allclose(transfer_units(eps, 0.6, arrangement), ntu, rtol=1e-10)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_falls_to_the_boiler_limit_when_one_stream_does_not_change(arrangement: str) -> None:
    np.testing.assert_allclose(effectiveness(1.3, 0.0, arrangement), 1 - np.exp(-1.3), rtol=1e-9)


def test_no_arrangement_beats_counterflow() -> None:
    ntu, ratio = np.meshgrid(np.linspace(0.01, 8, 30), np.linspace(0.0, 1.0, 11))
    best = effectiveness(ntu, ratio, "counterflow")
    for arrangement in ARRANGEMENTS:
        assert np.all(effectiveness(ntu, ratio, arrangement) <= best + 1e-12)


def test_two_counterflow_passes_are_one_of_twice_the_size() -> None:
    one = effectiveness(0.7, 0.4, "counterflow")
    both = effectiveness(1.4, 0.4, "counterflow")
    np.testing.assert_allclose(passes_in_series(one, 0.4, 2), both, rtol=1e-12)


def test_refuses_a_capacity_ratio_above_one() -> None:
    with pytest.raises(InputError, match="capacity_ratio"):
        effectiveness(1.0, 1.2)


def test_refuses_what_no_exchanger_reaches() -> None:
    with pytest.raises(InputError, match="no exchanger of this kind"):
        transfer_units(0.7, 1.0, "parallel")
