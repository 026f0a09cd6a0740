"""Brakes against textbooks, closed forms and remembered coefficients."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tuftwork.cooling import BrakingCar, Disc, Stop, brake_window, lap_energy, needed_duct
from tuftwork.cooling import stop_energy as energy_of
from tuftwork.cooling.brake import (
    _vane_branches,
    bulk_rise,
    face_coefficient,
    flash_rise,
    radiated_flux,
    repeated_stops,
)
from tuftwork.cooling.disc import BrakeTrace, disc_temperature

DATA = Path(__file__).parent / "data"
pytestmark = pytest.mark.published


def values() -> dict[str, float]:
    """Return name to value of the brake rows."""
    text = (DATA / "cooling_brake_examples.csv").read_text().splitlines()
    lines = [x for x in text if not x.startswith("#")]
    return {row["name"]: float(row["value"]) for row in csv.DictReader(lines)}


ROW = values()


def test_stop_of_a_textbook() -> None:
    foot, pound = 0.3048, 0.45359237
    energy = energy_of(BrakingCar(mass=3500 * pound), Stop(fast=73 * foot))
    assert float(energy.kinetic) / 1e3 == pytest.approx(ROW["wentzell_energy_kj"], rel=1e-3)
    heat = 93 * 1.3558179 / (pound / 1.8)
    rise = float(bulk_rise(energy.kinetic, 40 * pound, heat))
    assert rise == pytest.approx(ROW["wentzell_rise_k"], rel=1e-3)


def test_energy_and_bulk_rise() -> None:
    energy = energy_of(BrakingCar(mass=1200.0, front_share=0.65), Stop(fast=70.0, slow=25.0))
    assert float(energy.by_brakes) / 1e6 == pytest.approx(ROW["energy_mj"], rel=2e-4)
    assert float(energy.front_disc) / 1e3 == pytest.approx(ROW["front_disc_kj"], rel=1e-4)
    iron = float(bulk_rise(energy.front_disc, 8.0, 460.0))
    carbon = float(bulk_rise(energy.front_disc, 2.2, 1300.0))
    assert iron == pytest.approx(ROW["iron_rise_k"], rel=2.5e-4)
    assert carbon == pytest.approx(ROW["carbon_rise_k"], rel=2e-4)


def test_braking_with_downforce_and_drag_is_the_closed_form() -> None:
    both = energy_of(BrakingCar(mass=1200.0, grip=1.4, downforce_area=3.0, drag_area=1.1,
                                density=1.225), Stop(fast=80.0, slow=20.0))  # fmt: skip
    assert float(both.duration) == pytest.approx(ROW["braking_time_s"], rel=1e-5)
    assert float(both.distance) == pytest.approx(ROW["braking_distance_m"], rel=1e-5)
    none = energy_of(BrakingCar(mass=1200.0, grip=1.4), Stop(fast=80.0, slow=20.0))
    assert float(none.duration) == pytest.approx(ROW["braking_time_noaero_s"], rel=1e-5)
    assert float(none.distance) == pytest.approx(ROW["braking_distance_noaero_m"], rel=1e-5)


def test_flash_of_a_thick_disc() -> None:
    closed = float(flash_rise(3e6, 4.0, 48.0, 7228.0, 419.0))
    assert closed == pytest.approx(ROW["flash_k"], rel=1e-3)


def test_the_transient_reproduces_the_flash_of_a_thick_disc() -> None:
    # same flux on the disc solver; its iron has c 460, so the printed rise scales with 1/sqrt(c)
    disc = Disc(mass=25.0, diameter=0.35, inner_diameter=0.21, vane_area=0.0, disc_share=1.0,
                convection_scale=1e-6, emissivity=1e-9)  # fmt: skip
    time = np.linspace(0.0, 4.0, 4001)
    power = 3e6 * (1.0 - time / 4.0) * disc.rubbed_area
    trace = BrakeTrace(time=time, speed=np.full(time.shape, 50.0), power=power)
    history = disc_temperature(disc, trace, 300.0, n_lap=1, n_cell=120)
    printed = ROW["flash_k"] * np.sqrt(419.0 / 460.0)
    assert float(history.peak_surface[0]) - 300.0 == pytest.approx(printed, rel=3e-3)
    at = float(history.time[np.argmax(history.surface[:, 0])])
    assert at == pytest.approx(2.0, abs=0.1)


def test_repeated_stops() -> None:
    decay = 90.0 * 0.22 * 30.0 / (8.0 * 500.0)
    for key, n in (("fifth_stop_c", 5), ("tenth_stop_c", 10), ("limit_c", None)):
        assert repeated_stops(110.0, decay, 303.15, n) - 273.15 == pytest.approx(ROW[key], abs=0.06)


@pytest.mark.parametrize("speed", [10.0, 20.0, 40.0, 60.0])
def test_face_coefficient_reproduces_the_remembered_relation(speed: float) -> None:
    ours = float(face_coefficient(speed, 0.35))
    assert ours == pytest.approx(ROW[f"face_{speed:.0f}"], rel=0.01)


def test_vane_coefficient_reproduces_the_remembered_relation() -> None:
    turbulent, laminar = _vane_branches(np.array([12.0 * 0.0142 / 1.75e-5]), 14.2 / 85.0)
    scale = 0.0276 / 0.0142
    assert float(turbulent[0]) * scale == pytest.approx(ROW["vane_turbulent"], rel=0.01)
    assert float(laminar[0]) * scale == pytest.approx(ROW["vane_laminar"], rel=0.01)


def test_radiation_cooling_air_and_lap_mean() -> None:
    assert float(radiated_flux(873.15, 303.15)) / 1e3 == pytest.approx(
        ROW["radiation_kw"], rel=2e-4
    )
    need = needed_duct(40e3, 200.0, 50.0)
    assert float(need.mass_flow) == pytest.approx(ROW["cooling_flow"], rel=5e-4)
    assert float(need.area) * 1e4 == pytest.approx(ROW["cooling_area_cm2"], rel=1e-3)
    lap = lap_energy(BrakingCar(mass=1200.0), (Stop(fast=65.0, slow=25.0),) * 6, 100.0)
    assert float(lap.mean_power) / 1e3 == pytest.approx(ROW["lap_mean_kw"], rel=1e-6)


def test_fluid_boiling_points_are_the_grades() -> None:
    text = (DATA / "cooling_fluid_boiling_points.csv").read_text().splitlines()
    for row in csv.DictReader(x for x in text if not x.startswith("#")):
        dry, wet = (brake_window("fluid", row["grade"], is_wet=w).peak for w in (False, True))
        assert dry - 273.15 == pytest.approx(float(row["dry"]))
        assert wet - 273.15 == pytest.approx(float(row["wet"]))


def test_windows_lie_in_the_remembered_bands() -> None:
    # common practice, ±50 K
    iron, carbon = brake_window("disc", "iron"), brake_window("disc", "carbon")
    assert iron.low == pytest.approx(573.15, abs=50)
    assert iron.peak == pytest.approx(1073.15, abs=50)
    assert carbon.low == pytest.approx(623.15, abs=50)
    assert carbon.peak == pytest.approx(1373.15, abs=100)
