"""Air against printed tables and independent computations; the sources stand in each data file."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.air import air_density, dynamic_viscosity, saturation_pressure, standard_air

DATA = Path(__file__).parent / "data"
KELVIN = 273.15
HALF_DIGIT_MU = 0.5e-9  # [Pa s]  viscosity is printed to five figures
HALF_DIGIT_T = 0.005  # [K]  temperature is printed to 0.01 K
STEEPEST = 5.8e-8  # [Pa s/K]  dμ/dT at the coldest row
EIGHT_FIGURES = 1e-7  # [-]  the tables' rounding
ICAO_CONSTANTS = 1.2e-6  # [-]  the table's gas constant differs from the 1976 one in the 6th figure
STATE_EQUATION = 6e-5  # [-]  CIPM-2007's own stated uncertainty, 22 ppm, and the other's
GAS = 8.3145  # [J/(mol K)]


def _table(name: str) -> np.ndarray:
    return np.genfromtxt(DATA / name, delimiter=",", skip_header=4, names=True, encoding="utf-8")


@pytest.mark.published
def test_viscosity_reproduces_the_printed_table() -> None:
    table = _table("air_coesa1976_viscosity.csv")
    budget = HALF_DIGIT_MU + HALF_DIGIT_T * STEEPEST
    mu = dynamic_viscosity(table["temperature"])
    np.testing.assert_allclose(mu, table["viscosity"], rtol=0.0, atol=budget)


@pytest.mark.published
@pytest.mark.parametrize("field", ["temperature", "pressure", "density"])
def test_standard_atmosphere_reproduces_the_table(field: str) -> None:
    table = _table("air_standard.csv")
    ours = getattr(standard_air(table["altitude"]), field)
    np.testing.assert_allclose(ours, table[field], rtol=ICAO_CONSTANTS)


@pytest.mark.published
def test_viscosity_follows_the_standard_atmosphere() -> None:
    table = _table("air_standard.csv")
    mu = dynamic_viscosity(table["temperature"])
    np.testing.assert_allclose(mu, table["viscosity"], rtol=EIGHT_FIGURES)


@pytest.mark.published
def test_moist_air_reproduces_an_independent_coding_of_its_equation() -> None:
    table = _table("air_humid.csv")
    kelvin = table["celsius"] + KELVIN
    rho = air_density(kelvin, table["pressure"], table["humidity"])
    np.testing.assert_allclose(rho, table["density"], rtol=EIGHT_FIGURES)
    np.testing.assert_allclose(saturation_pressure(kelvin), table["saturation"], rtol=EIGHT_FIGURES)


@pytest.mark.published
def test_moist_air_agrees_with_an_equation_of_state() -> None:
    table = _table("air_humid.csv")
    rho = air_density(table["celsius"] + KELVIN, table["pressure"], table["humidity"])
    np.testing.assert_allclose(rho, table["density_state_equation"], rtol=STATE_EQUATION)


@pytest.mark.published
def test_the_checked_range_is_the_one_compared_with_an_equation_of_state() -> None:
    coolprop = pytest.importorskip("CoolProp.HumidAirProp", reason="CoolProp is not installed")
    for celsius in (0.01, 15.0, 30.0, 45.0):
        for pressure in (70e3, 90e3, 110e3):
            for humidity in (0.0, 0.5, 1.0):
                volume = coolprop.HAPropsSI(
                    "Vha", "T", celsius + KELVIN, "P", pressure, "R", humidity
                )
                ours = air_density(celsius + KELVIN, pressure, humidity)
                budget = 1.5e-4  # [-]  both equations extrapolate in hot wet air
                assert ours == pytest.approx(1 / volume, rel=budget)


@pytest.mark.published
def test_density_changes_with_the_weather_as_tabulated() -> None:
    table = _table("air_changes.csv")
    before = air_density(table["celsius_0"] + KELVIN, table["pressure_0"], table["humidity_0"])
    after = air_density(table["celsius_1"] + KELVIN, table["pressure_1"], table["humidity_1"])
    change = 100 * (after / before - 1)
    assert np.all(np.abs(change - table["change"]) <= table["budget"]), change


@pytest.mark.published
def test_the_standards_sea_level_density_is_1_2250() -> None:
    rho = standard_air(0.0).density  # coesa1976, printed to five figures; row T30
    assert rho == pytest.approx(1.2250, abs=0.5e-4)


@pytest.mark.published
def test_hot_day_and_high_place_correct_forces_as_tabulated() -> None:
    # row AT6, computed independently: 30 °C at 80 %, sea level; 2240 m standard
    assert air_density(303.15, 101_325.0, 0.8) / 1.225 == pytest.approx(0.9388, abs=1e-4)
    assert standard_air(2240.0).density / 1.225 == pytest.approx(0.8020, abs=1e-4)


@pytest.mark.published
def test_single_values() -> None:
    rows = (DATA / "air_single_values.csv").read_text(encoding="utf-8").splitlines()[5:]
    for row in rows:
        what, *numbers = row.split(",")
        first, second, third, value, budget = map(float, numbers)
        if what == "viscosity":
            ours = float(dynamic_viscosity(first))
        elif what == "humid":
            ours = float(air_density(first + KELVIN, second, third))
        else:
            ours = float(getattr(standard_air(first), what.removeprefix("standard_")))
        assert ours == pytest.approx(value, rel=budget), row
