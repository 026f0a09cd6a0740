"""Humid air: lighter, with more heat capacity; and the cooler feels both."""

import numpy as np
import pytest

from tuftwork.air import air_density
from tuftwork.cooling import AirNet, Exit, Inlet, Surroundings, solve_air
from tuftwork.errors import InputError


@pytest.mark.parametrize(("celsius", "humidity"), [(20.0, 0.5), (30.0, 0.8), (40.0, 1.0)])
def test_density_is_that_of_the_metrologists_formula(celsius: float, humidity: float) -> None:
    around = Surroundings(speed=40.0, temperature=273.15 + celsius, humidity=humidity)
    exact = float(air_density(273.15 + celsius, 101325.0, humidity))
    assert float(np.asarray(around.density)) == pytest.approx(exact, rel=6e-4)  # ideal gas


def test_heat_capacity_is_that_of_the_fluid_library() -> None:
    humid = pytest.importorskip("CoolProp.HumidAirProp")
    around = Surroundings(speed=40.0, temperature=303.15, humidity=0.8)
    other = humid.HAPropsSI("cp_ha", "T", 303.15, "P", 101325.0, "R", 0.8)
    assert float(np.asarray(around.heat_capacity)) == pytest.approx(other, rel=3e-3)


def test_energy_is_conserved_with_the_moist_air_s_own_heat_capacity() -> None:
    net = AirNet(elements=(
        Inlet(name="in", end="a", area=0.05),
        Exit(name="out", start="a", net_area=0.05, place="side"),
    ))  # fmt: skip
    around = Surroundings(speed=40.0, temperature=308.15, humidity=np.array([0.0, 0.9]))
    air = solve_air(net, around, {"in": 20e3})
    rise = air.of("out", "inlet") - 308.15
    taken = air.of("out") * np.asarray(around.heat_capacity) * rise
    np.testing.assert_allclose(taken, 20e3, rtol=1e-9)
    assert air.of("out")[1] < air.of("out")[0]


def test_humidity_in_per_cent_is_refused() -> None:
    with pytest.raises(InputError, match="between 0 and 1"):
        Surroundings(speed=40.0, humidity=80.0)
