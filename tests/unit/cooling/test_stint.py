"""A stint is worked out whatever its draws are: a crawl with much heat, a wide band of heat."""

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from tuftwork.car import Project
from tuftwork.car.cooling import Cooling
from tuftwork.cooling import (
    AirNet,
    Cooler,
    CoolingSystem,
    Exit,
    Inlet,
    core_from_surface,
    simple_loop,
    with_liquid_side,
)
from tuftwork.cooling.case import cooling_quantities
from tuftwork.cooling.forecast import with_heat_scaled
from tuftwork.cooling.surface import LouvredSurface
from tuftwork.cooling.surroundings import Surroundings
from tuftwork.cooling.system import solve_cooling
from tuftwork.cooling.transient import Stint, ThermalMass, heat_up
from tuftwork.errors import NotConverged
from tuftwork.quantity import draw_ensemble

FINS = LouvredSurface(
    louvre_angle=float(np.radians(27.0)), louvre_pitch=1.2e-3, louvre_length=6.8e-3,
    fin_pitch=1.4e-3, fin_length=8.0e-3, fin_thickness=0.08e-3, tube_depth=40e-3,
    tube_pitch=10e-3, tube_height=2e-3,
)  # fmt: skip


def small_car(heat: float) -> CoolingSystem:
    core = replace(with_liquid_side(core_from_surface(FINS, 0.198), 20e3, 1.8))
    net = AirNet(
        elements=(
            Inlet(name="nose", end="mouth", area=0.075),
            Cooler(name="radiator", start="mouth", end="behind", core=core),
            Exit(name="slots", start="behind", net_area=0.05, place="wheel-well"),
        )
    )
    return CoolingSystem(air=net, loops=(simple_loop("water", ("radiator",), heat=heat, flow=1.8),))


def drive(heat: float) -> np.ndarray:
    time = np.linspace(0.0, 600.0, 61)
    stint = Stint(time=time, speed=np.full(61, 40.0), heat_share=np.ones(61))
    made = heat_up(small_car(heat), stint, {"water": ThermalMass(capacity=8e4)},
                   temperature=305.15)  # fmt: skip
    return np.asarray(made["water"].peak)


def test_heat_that_throttles_a_crawl_does_not_stop_the_stint() -> None:
    """At 4 m/s this heat never settles; the stint runs at 40 m/s, where it does."""
    heat = 180e3
    crawl = Surroundings(speed=4.0, temperature=305.15)
    with pytest.raises(NotConverged):
        solve_cooling(with_heat_scaled(small_car(heat), 4.0 / 30.0), crawl)
    assert float(drive(heat)[0]) > float(drive(140e3)[0])


def test_half_the_heat_warms_about_half_as_far() -> None:
    high, low = float(drive(140e3)[0]) - 305.15, float(drive(70e3)[0]) - 305.15
    assert low / high == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("engine", ["atmospheric", "turbocharged"])
def test_no_draw_of_an_engine_takes_heat_back(engine: str) -> None:
    """The oil's band, 0.06 to 0.16 of the power, reaches below nothing where it is drawn evenly."""
    duty = {"lap_mean": "55 %", "worst_minute": "68 %", "engine": engine}
    table = {
        "speed": "135 km/h", "temperature": "32 °C", "duty": duty,
        "circuits": [{"name": c, "carries": c, "flow": "1 kg/s", "coolers": ["r"]}
                     for c in ("water", "oil", "gearbox")],
        "cores": [{"name": "r", "start": "m", "end": "b", "width": "0.5 m", "height": "0.4 m"}],
        "inlets": [{"name": "nose", "end": "m", "area": "0.07 m^2"}],
        "exits": [{"name": "slots", "start": "b", "at": "side", "area": "0.05 m^2"}],
    }  # fmt: skip
    project = SimpleNamespace(cooling=Cooling.model_validate(table))
    found = cooling_quantities(cast("Project", project))
    draws = draw_ensemble(found, size=4096)
    for name in ("water", "oil", "gearbox"):
        heat = draws.of(f"cooling.duty.{name}")
        assert heat.min() > 0.0
        band = found[f"cooling.duty.{name}"]
        inside = np.mean((heat > band.low) & (heat < band.high))
        assert inside == pytest.approx(0.8, abs=0.01)
