"""An engine that breathes the air around it: full power where it is rated, less in thin air."""

import numpy as np
import pytest

from tuftwork.air import air_of, power_left


def dry(temperature: float, pressure: float) -> float:
    return float(power_left(air_of(temperature=temperature, pressure=pressure, humidity=0.0)))


def test_the_rated_power_is_there_in_the_air_of_the_rating() -> None:
    assert dry(298.0, 99e3) == pytest.approx(1.0, abs=1e-9)


def test_the_correction_is_the_standards_by_hand() -> None:
    """880 hPa, 25 °C: c = 1.18 · 990/880 − 0.18 = 1.1475; 1 013 hPa, 15 °C: c = 0.9540."""
    assert dry(298.0, 88e3) == pytest.approx(1 / 1.1475, abs=1e-4)
    assert dry(288.0, 101.3e3) == pytest.approx(1 / 0.9537, abs=1e-3)


def test_a_thousand_feet_cost_about_three_per_cent() -> None:
    """Common practice, no source: 3 % a thousand feet near sea level, the day as it comes."""
    ground, up = (
        float(power_left(air_of(temperature=t, altitude=h, humidity=0.0)))
        for t, h in ((288.15, 0.0), (286.17, 304.8))
    )
    assert 1.0 - up / ground == pytest.approx(0.035, abs=0.01)


def test_warm_and_damp_air_cost_power_too() -> None:
    warm = power_left(air_of(temperature=np.array([283.0, 303.0]), pressure=99e3, humidity=0.0))
    assert warm[1] < warm[0]
    damp = power_left(air_of(temperature=303.0, pressure=99e3, humidity=0.9))
    assert damp < warm[1]
