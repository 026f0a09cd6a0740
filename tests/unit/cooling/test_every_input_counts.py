"""Moving any input of a net, a loop or a disc moves some output."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tuftwork.cooling import (
    AirNet,
    BrakingCar,
    Cooler,
    CoolingSystem,
    Core,
    Disc,
    Duct,
    Exit,
    Fan,
    Inlet,
    Leak,
    Stop,
    Surroundings,
    cooling_loads,
    disc_temperature,
    lap_trace,
    simple_loop,
    solve_cooling,
)

CORE = Core(face_area=0.25, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
            conductance=(2500.0, 9000.0), liquid_conductance=12e3, liquid_flow=2.0)  # fmt: skip
PARTS: dict[str, Any] = {
    "nose": Inlet(name="nose", end="a", area=0.03, kind="submerged", loss=0.2),
    "duct": Duct(name="duct", start="a", end="b", area=0.05, loss=0.3, length=0.8),
    "radiator": Cooler(name="radiator", start="b", end="c", core=CORE),
    "gap": Leak(name="gap", start="b", end="outside", area=0.004, pressure=-0.1),
    "fan": Fan(name="fan", start="c", end="d", volume_flow=(0.0, 0.5, 1.5),
               rise=(200.0, 150.0, 0.0)),
    "louvres": Exit(name="louvres", start="d", net_area=0.06, place="bonnet"),
}  # fmt: skip
CHANGES = [
    ("nose", {"area": 0.05}), ("nose", {"kind": "scoop"}), ("nose", {"recovery": 0.5}),
    ("nose", {"loss": 0.6}), ("nose", {"layer_over_depth": 0.8}), ("nose", {"yaw": 0.07}),
    ("nose", {"height": 0.7}), ("duct", {"area": 0.03}), ("duct", {"loss": 1.0}),
    ("duct", {"length": 2.0}), ("duct", {"hydraulic_diameter": 0.05}),
    ("duct", {"roughness": 1e-3}), ("gap", {"area": 0.01}), ("gap", {"discharge": 0.9}),
    ("gap", {"pressure": 0.3}), ("fan", {"running": 0.5}), ("fan", {"curve_density": 1.0}),
    ("louvres", {"net_area": 0.09}), ("louvres", {"place": "base"}),
    ("louvres", {"pressure": -0.8}), ("louvres", {"discharge": 0.5}), ("louvres", {"angle": 1.2}),
    ("louvres", {"x": 0.5}), ("louvres", {"height": 0.3}), ("radiator", {"is_loss_at_inlet": True}),
]  # fmt: skip
CORES = [
    {"face_area": 0.3}, {"linear_loss": 30.0}, {"square_loss": 5.0},
    {"conductance": (3000.0, 9500.0)}, {"liquid_conductance": 8e3}, {"liquid_flow": 3.0},
    {"arrangement": "counterflow"}, {"layback": 0.6}, {"blanked": 0.2}, {"loss_scale": 1.2},
    {"conductance_scale": 0.8},
]  # fmt: skip


def outputs(parts: dict[str, Any], around: Surroundings, **loop: Any) -> np.ndarray:
    """Return what a reader of the result would see: flows, temperature, loads."""
    given = {"heat": 60e3, "flow": 2.0, "fluid": "water", "thermostat": None} | loop
    system = CoolingSystem(
        air=AirNet(elements=tuple(parts.values())),
        loops=(simple_loop("water", ("radiator",), **given),),
    )
    state = solve_cooling(system, around)
    loads = cooling_loads(system.air, state.air, 2.6)
    return np.concatenate([
        state.air.flow.ravel(), state.hottest("water"), loads.CxS, loads.CzSf, loads.CzSr
    ])  # fmt: skip


BASE_AIR = Surroundings(speed=30.0, temperature=300.0)
BASE = outputs(PARTS, BASE_AIR)


def moved(other: np.ndarray) -> bool:
    """Return whether any output moved by more than the solver's own noise."""
    return bool(np.max(np.abs(other - BASE) / (np.abs(BASE) + 1e-3)) > 1e-6)


@pytest.mark.parametrize(("name", "change"), CHANGES)
def test_each_field_of_a_part(name: str, change: dict[str, Any]) -> None:
    assert moved(outputs(PARTS | {name: replace(PARTS[name], **change)}, BASE_AIR))


@pytest.mark.parametrize("change", CORES)
def test_each_field_of_a_core(change: dict[str, Any]) -> None:
    cooler = replace(PARTS["radiator"], core=replace(CORE, **change))
    assert moved(outputs(PARTS | {"radiator": cooler}, BASE_AIR))


@pytest.mark.parametrize("change", [{"speed": 35.0}, {"temperature": 310.0}, {"pressure": 9e4}])
def test_each_field_of_the_air(change: dict[str, float]) -> None:
    assert moved(outputs(PARTS, replace(BASE_AIR, **change)))


@pytest.mark.parametrize(
    "change",
    [{"heat": 70e3}, {"flow": 1.5}, {"fluid": "glycol-50"}, {"thermostat": (365.0, 375.0)}],
)
def test_each_field_of_a_loop(change: dict[str, Any]) -> None:
    assert moved(outputs(PARTS, BASE_AIR, **change))


DISC = Disc(mass=9.0, diameter=0.35, inner_diameter=0.21)
TRACE = lap_trace(BrakingCar(mass=1200.0), (Stop(fast=60.0, slow=25.0),) * 3, 90.0, n_step=600)


@pytest.mark.parametrize(
    "change",
    [{"mass": 10.0}, {"diameter": 0.37}, {"inner_diameter": 0.2}, {"vane_diameter": 0.02},
     {"vane_length": 0.06}, {"vane_area": 0.3}, {"material": "carbon"}, {"emissivity": 0.5},
     {"convection_scale": 1.3}, {"disc_share": 0.9}, {"tyre_radius": 0.3},
     {"vane_flow_area": 0.004}],
)  # fmt: skip
def test_each_field_of_a_disc(change: dict[str, Any]) -> None:
    flow = 0.05 if "vane_flow_area" in change else 0.0
    base = disc_temperature(DISC, TRACE, 300.0, n_lap=2, duct_flow=flow).peak_surface
    other = disc_temperature(replace(DISC, **change), TRACE, 300.0, n_lap=2, duct_flow=flow)
    assert float(np.abs(other.peak_surface - base)[0]) > 0.01
