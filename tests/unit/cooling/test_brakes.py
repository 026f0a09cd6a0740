"""What the brake models promise."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import (
    BrakeDuct,
    BrakingCar,
    Caliper,
    Disc,
    Duct,
    Inlet,
    Member,
    Stop,
    Surroundings,
    brake_duct_flow,
    brake_verdicts,
    disc_temperature,
    fluid_temperature,
    kit_effect,
    lap_energy,
    lap_trace,
    member_duct,
    needed_duct_flow,
    stop_energy,
)
from tuftwork.cooling.brake import bulk_rise
from tuftwork.errors import InputError, NotCovered, UnknownName

CAR = BrakingCar(mass=1285.0, grip=1.4, downforce_area=1.5, drag_area=0.9, density=1.18)
STOPS = (Stop(fast=64.0, slow=25.0), Stop(fast=60.0, slow=30.0), Stop(fast=55.0, slow=22.0))
DISC = Disc(mass=9.0, diameter=0.355, inner_diameter=0.22)


def test_brakes_and_drag_share_the_kinetic_energy() -> None:
    energy = stop_energy(CAR, STOPS[0])
    assert float(energy.by_brakes + energy.by_drag) == pytest.approx(float(energy.kinetic))
    assert 0 < float(energy.by_drag) < 0.3 * float(energy.kinetic)
    assert float(2 * (energy.front_disc + energy.rear_disc)) == pytest.approx(
        float(energy.by_brakes)
    )


def test_the_traces_energy_is_the_stops_energy() -> None:
    trace = lap_trace(CAR, STOPS, 97.0)
    step = trace.time[1] - trace.time[0]
    mean = float(lap_energy(CAR, STOPS, 97.0).front_disc)
    assert float(trace.power.sum()) * step / 97.0 == pytest.approx(mean, rel=1e-9)


def test_without_losses_the_disc_keeps_every_joule() -> None:
    dry = replace(DISC, convection_scale=1e-9, emissivity=1e-12, disc_share=1.0)
    trace = lap_trace(CAR, STOPS, 97.0)
    history = disc_temperature(dry, trace, 300.0, n_lap=1)
    energy = float(lap_energy(CAR, STOPS, 97.0).front_disc) * 97.0
    rise = float(bulk_rise(energy, 9.0, 460.0))
    assert float(history.mean[-1, 0]) - 300.0 == pytest.approx(rise, rel=1e-6)


def test_lumped_and_one_dimensional_mean_agree_and_the_surface_is_hotter() -> None:
    trace = lap_trace(CAR, STOPS, 97.0)
    lumped, line = (disc_temperature(DISC, trace, 300.0, n_cell=n) for n in (1, 12))
    assert float(lumped.lap_mean[0]) == pytest.approx(float(line.lap_mean[0]), rel=0.01)
    assert float(line.peak_surface[0]) > float(line.peak_mean[0]) + 20.0


def test_air_cools_the_disc() -> None:
    trace = lap_trace(CAR, STOPS, 97.0)
    flows = np.array([0.0, 0.05, 0.15])
    peak = disc_temperature(DISC, trace, 300.0, duct_flow=flows).peak_surface
    assert np.all(np.diff(peak) < 0)


def test_needed_flow_just_meets_the_limit() -> None:
    trace = lap_trace(CAR, STOPS, 97.0, n_step=800)
    dry = float(disc_temperature(DISC, trace, 300.0).peak_surface[0])
    limit = dry - 60.0
    flow = needed_duct_flow(DISC, trace, 300.0, limit)
    peak = float(disc_temperature(DISC, trace, 300.0, duct_flow=flow).peak_surface[0])
    assert peak == pytest.approx(limit, abs=0.5)
    with pytest.raises(NotCovered, match="disc is too small"):
        needed_duct_flow(DISC, trace, 300.0, 400.0)


def test_a_hollow_member_passes_less_than_a_smooth_hose() -> None:
    inlet = Inlet(name="scoop", end="mouth", area=0.006, kind="scoop")
    member = Member(width=0.07, height=0.07, length=1.4, bends=(1.2, 0.8))
    hose = Duct(name="hose", start="mouth", end="eye", area=member.area, length=1.4, loss=0.2)
    around = Surroundings(speed=43.0)
    flows = [
        float(brake_duct_flow(BrakeDuct(inlet=inlet, ducts=(part,), outlet_area=0.006), around)[0])
        for part in (hose, member_duct(member, "rail", "mouth", "eye"))
    ]
    assert 0.0 < flows[1] < flows[0]


def test_verdicts_name_what_is_too_hot_and_what_is_too_cold() -> None:
    trace = lap_trace(CAR, STOPS * 3, 97.0)
    small = replace(DISC, mass=4.0, convection_scale=0.5)
    history = disc_temperature(small, trace, 300.0, n_lap=10)
    fluid = fluid_temperature(history, 310.0, Caliper())
    verdicts = {v.window.part: v.verdict for v in brake_verdicts(history, fluid)}
    assert verdicts["iron disc"] == "too hot"
    easy = lap_trace(CAR, (Stop(fast=30.0, slow=20.0),), 97.0)
    cold = disc_temperature(DISC, easy, 300.0)
    cool = {v.window.part: v.verdict for v in
            brake_verdicts(cold, fluid_temperature(cold, 300.0, Caliper()))}  # fmt: skip
    assert cool["iron disc"] == "too cold"
    assert cool["DOT 4 fluid"] == "inside"


def test_a_kit_with_more_grip_and_speed_heats_the_brakes() -> None:
    gripped = replace(CAR, downforce_area=2.2, drag_area=0.95)
    faster = tuple(Stop(fast=s.fast + 1.0, slow=s.slow + 0.5) for s in STOPS)
    effect = kit_effect(DISC, (CAR, STOPS, 97.0), (gripped, faster, 96.0), 300.0)
    assert effect.energy_change > 0
    assert effect.power_change > effect.energy_change
    assert np.all(effect.peak_after > effect.peak_before)
    assert "speed steps" in effect.notices[0]


def test_refuses_impossible_stops_and_materials() -> None:
    with pytest.raises(InputError, match="must lie between 0 and 30"):
        Stop(fast=30.0, slow=40.0)
    with pytest.raises(UnknownName, match="iron"):
        Disc(mass=8.0, diameter=0.35, inner_diameter=0.2, material="steel")
    with pytest.raises(InputError, match=r"Add 273\.15"):
        disc_temperature(DISC, lap_trace(CAR, STOPS, 97.0), 30.0)
    with pytest.raises(InputError, match="must exceed the stops"):
        lap_trace(CAR, STOPS, 5.0)
