"""What the figures of cooling and brakes show, whatever the car."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes

from tuftwork.cooling import (
    AirNet,
    BrakingCar,
    Cooler,
    CoolingSystem,
    Core,
    Disc,
    Exit,
    Inlet,
    Place,
    Stop,
    Surroundings,
    Target,
    blanking_chart,
    compare_exits,
    disc_temperature,
    find_restriction,
    forecast_temperature,
    lap_trace,
    relative_draws,
    simple_loop,
    solve_cooling,
)
from tuftwork.plot import cooling as figure
from tuftwork.plot.style import DARK

AROUND = Surroundings(speed=43.0, temperature=301.15)
TARGET = Target(loop="water", limit=383.15)
AMBIENTS = np.array([280.0, 295.0, 310.0])


def words(ax: Axes) -> str:
    """Return all text on axes."""
    return " ".join(text.get_text() for text in ax.texts)


@pytest.fixture(scope="module")
def car() -> CoolingSystem:
    """Return a small car with 16 draws."""
    core = Core(face_area=0.28, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
                conductance=(2500.0, 9000.0))  # fmt: skip
    air = AirNet(elements=(
        Inlet(name="nose", end="a", area=0.09),
        Cooler(name="radiator", start="a", end="b", core=core),
        Exit(name="slots", start="b", net_area=relative_draws(0.06, 0.06, 16, 1),
             place="wheel-well"),
        Exit(name="cowl vent", start="b", net_area=0.01, place="cowl", pressure=0.9),
    ))  # fmt: skip
    return CoolingSystem(air=air, loops=(simple_loop("water", ("radiator",), heat=80e3, flow=2.2),))


def test_the_net_names_every_part_and_its_heat(car: CoolingSystem) -> None:
    ax = figure.network(car.air, solve_cooling(car, AROUND), theme=DARK)
    figure.legend_of_flow(ax, DARK)
    for name in car.air.names:
        assert name in words(ax)
    assert "80 kW" in words(ax)
    assert ax.get_legend() is not None


def test_forecast_shows_limit_and_risk(car: CoolingSystem) -> None:
    result = forecast_temperature(car, TARGET, (Place(name="here", speed=43.0),), AMBIENTS)
    ax = figure.forecast(result)
    assert "limit 110 °C" in words(ax)
    assert "%" in words(ax)
    assert "°C" in ax.get_ylabel()


def test_blanking_chart_has_units_and_dots(car: CoolingSystem) -> None:
    chart = blanking_chart(car, AROUND, TARGET, ("radiator",), ambients=AMBIENTS,
                           blankings=np.array([0.0, 0.2, 0.4]))  # fmt: skip
    ax = figure.blanking(chart)
    assert "[°C]" in ax.get_xlabel()
    assert "[%]" in ax.get_ylabel()
    assert len(ax.lines) == 1


def test_exits_and_restriction_read_in_words(car: CoolingSystem) -> None:
    choices = compare_exits(car, AROUND, TARGET, "slots", ("bonnet",), wheelbase=2.6)
    ax = figure.exits(choices, TARGET.limit)
    assert "points" in words(ax)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["wheel-well", "bonnet"]
    found = find_restriction(car, AROUND, TARGET)
    ax = figure.restriction(found)
    assert ax.get_title(loc="left").endswith("restricts")
    assert ax.get_yticklabels()[0].get_text() == found.name


def test_disc_trace_names_each_option_once() -> None:
    trace = lap_trace(BrakingCar(mass=1200.0), (Stop(fast=60.0, slow=25.0),) * 3, 90.0, n_step=600)
    disc = Disc(mass=9.0, diameter=0.35, inner_diameter=0.22)
    both = {
        "as it is": disc_temperature(disc, trace, 300.0, n_lap=2),
        "heavier": disc_temperature(replace(disc, mass=12.0), trace, 300.0, n_lap=2),
    }
    ax = figure.disc_trace(both, window=(573.15, 923.15))
    assert words(ax).count("as it is") == 1
    assert words(ax).count("heavier") == 1
    assert "working window" in words(ax)
