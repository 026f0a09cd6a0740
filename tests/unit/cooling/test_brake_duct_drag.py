"""What a brake duct's air costs, against the ram drag by hand."""

import numpy as np
import pytest

from tuftwork.cooling import BrakeDuct, Duct, Inlet, Surroundings, brake_duct_drag, brake_duct_flow

AROUND = Surroundings(speed=45.0, temperature=298.15, pressure=101325.0)


def duct(area: float = 0.006) -> BrakeDuct:
    return BrakeDuct(
        inlet=Inlet(name="mouth", end="mouth", area=area, recovery=0.9),
        ducts=(Duct(name="hose", start="mouth", end="eye", area=area, loss=0.5),),
        outlet_area=area,
    )


def test_air_that_keeps_nothing_costs_all_of_its_momentum() -> None:
    """ṁV over q is 2 ṁ/(ρ V)."""
    by_hand = 2.0 * brake_duct_flow(duct(), AROUND) / (AROUND.density * 45.0)
    np.testing.assert_allclose(brake_duct_drag(duct(), AROUND, 0.0), by_hand, rtol=1e-6)


def test_what_is_kept_of_the_jet_comes_off_and_never_turns_to_thrust() -> None:
    drag = [float(brake_duct_drag(duct(), AROUND, r)[0]) for r in (0.0, 0.3, 0.6, 1.0)]
    assert np.all(np.diff(drag) <= 0.0)
    assert drag[-1] > 0.0


def test_twice_the_duct_costs_twice() -> None:
    one, two = (float(brake_duct_drag(duct(a), AROUND)[0]) for a in (0.006, 0.012))
    assert two == pytest.approx(2.0 * one, rel=0.01)
