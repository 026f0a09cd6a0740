"""Promises of the air: limits, refusals, shapes and what each input does."""

import numpy as np
import pytest

from tuftwork.air import (
    SEA_LEVEL_PRESSURE,
    air_density,
    air_of,
    dynamic_pressure,
    dynamic_viscosity,
    speed_of,
    standard_air,
)
from tuftwork.errors import InputError, OutsideCheckedRange


def test_pressure_and_temperature_join_at_every_layer() -> None:
    for foot in (11e3, 20e3, 32e3, 47e3, 51e3, 71e3):
        height = 6_356_766.0 * foot / (6_356_766.0 - foot)
        below, above = standard_air(height - 0.01), standard_air(height + 0.01)
        assert above.pressure == pytest.approx(below.pressure, rel=1e-5)
        assert above.temperature == pytest.approx(below.temperature, abs=1e-3)


def test_pressure_is_hydrostatic() -> None:
    height = np.linspace(0.0, 10e3, 2001)
    air = standard_air(height)
    gradient = np.gradient(air.pressure, height)[1:-1]
    gravity = 9.80665 * (6_356_766.0 / (6_356_766.0 + height)) ** 2
    np.testing.assert_allclose(gradient, -(air.density * gravity)[1:-1], rtol=1e-5)


@pytest.mark.parametrize("height", [-3000.0, 90e3, float("nan")])
def test_heights_beyond_the_layers_are_refused(height: float) -> None:
    with pytest.raises(InputError, match="altitude"):
        standard_air(height)


def test_dry_air_is_nearly_an_ideal_gas() -> None:
    ideal = 101_325.0 * 28.96546e-3 / (8.314472 * 293.15)
    assert air_density(293.15, 101_325.0) == pytest.approx(ideal, rel=5e-4)


def test_density_rises_with_pressure_and_falls_with_heat_and_moisture() -> None:
    base = air_density(293.15, 100e3, 0.5)
    assert air_density(293.15, 101e3, 0.5) > base
    assert air_density(298.15, 100e3, 0.5) < base
    assert air_density(293.15, 100e3, 0.9) < base


@pytest.mark.parametrize(
    ("temperature", "pressure", "humidity", "cure"),
    [
        (-5.0, 101e3, 0.5, "Add 273.15"),
        (float("nan"), 101e3, 0.5, "Add 273.15"),
        (293.0, 0.0, 0.5, "Multiply hPa"),
        (293.0, 101e3, 45.0, "Divide %"),
        (293.0, 101e3, -0.1, "Divide %"),
        (293.0, 101e3, float("nan"), "Divide %"),
        (370.0, 60e3, 1.0, ""),
    ],
)
@pytest.mark.filterwarnings("ignore::tuftwork.errors.OutsideCheckedRange")
def test_impossible_air_is_refused(
    temperature: float, pressure: float, humidity: float, cure: str
) -> None:
    with pytest.raises(InputError) as caught:
        air_density(temperature, pressure, humidity)
    assert cure in str(caught.value)


@pytest.mark.parametrize(("temperature", "pressure"), [(260.0, 101e3), (293.0, 50e3)])
def test_unchecked_air_is_computed_with_a_warning(temperature: float, pressure: float) -> None:
    with pytest.warns(OutsideCheckedRange, match="checked only"):
        air_density(temperature, pressure)


def test_viscosity_refuses_celsius_below_zero_and_warns_beyond_its_range() -> None:
    with pytest.raises(InputError, match="above 0"):
        dynamic_viscosity(-5.0)
    with pytest.warns(OutsideCheckedRange):
        dynamic_viscosity(600.0)


def test_air_comes_back_draw_by_draw() -> None:
    temperature = np.linspace(288.0, 303.0, 7)
    air = air_of(temperature=temperature, pressure=np.full(7, 101e3), humidity=0.4)
    assert air.density.shape == air.viscosity.shape == (7,)
    assert np.all(np.diff(air.density) < 0)
    assert np.all(np.diff(air.viscosity) > 0)
    assert air.notices == ()


def test_what_was_not_read_is_assumed_and_said() -> None:
    high = air_of(temperature=293.15, altitude=1000.0)
    assert float(high.pressure) == pytest.approx(standard_air(1000.0).pressure)
    assert len(high.notices) == 2
    assert float(air_of(temperature=293.15).pressure) == SEA_LEVEL_PRESSURE
    assert {s.key for s in high.sources} == {"picard2008", "coesa1976"}


def test_an_altitude_beside_a_pressure_is_refused() -> None:
    with pytest.raises(InputError, match="changes nothing"):
        air_of(temperature=293.15, pressure=101e3, altitude=100.0)


def test_every_input_of_the_air_moves_the_density() -> None:
    base = air_of(temperature=293.15, pressure=1.0e5, humidity=0.3).density
    for change in ({"temperature": 294.0}, {"pressure": 0.99e5}, {"humidity": 0.4}):
        values = {"temperature": 293.15, "pressure": 1.0e5, "humidity": 0.3, **change}
        assert air_of(**values).density != base


def test_dynamic_pressure_and_speed_are_each_others_inverse() -> None:
    speed = np.array([0.0, 10.0, 66.7])
    np.testing.assert_allclose(speed_of(1.18, dynamic_pressure(1.18, speed)), speed)


def test_impossible_pressures_and_speeds_are_refused() -> None:
    with pytest.raises(InputError, match="density"):
        dynamic_pressure(0.0, 10.0)
    with pytest.raises(InputError, match="speed"):
        dynamic_pressure(1.2, float("nan"))
    with pytest.raises(InputError, match="density"):
        speed_of(-1.0, 10.0)
    with pytest.raises(InputError, match="dynamic pressure"):
        speed_of(1.2, -10.0)
