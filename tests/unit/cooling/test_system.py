"""What the whole cooling promises: energy, order, answers, transients, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import (
    AirNet,
    Cooler,
    CoolingSystem,
    CoreSide,
    Exit,
    HeatSource,
    HotEngine,
    HotStream,
    Inlet,
    Loop,
    LouvredSurface,
    Pipe,
    Place,
    Stint,
    Surroundings,
    Target,
    ThermalMass,
    WheelWell,
    blanking_chart,
    compare_exits,
    cooling_loads,
    core_from_surface,
    find_restriction,
    forecast_temperature,
    heat_up,
    relative_draws,
    simple_loop,
    size_opening,
    soak,
    solve_cooling,
    with_liquid_side,
)
from tuftwork.cooling.answer import enlarged
from tuftwork.errors import InputError, UnknownName

N_DRAW = 24
AROUND = Surroundings(speed=43.0, temperature=301.15)
TARGET = Target(loop="water", limit=383.15)


def car(exit_area: float = 0.05, thermostat: tuple[float, float] | None = None) -> CoolingSystem:
    """Return charge cooler ahead of radiator, one exit."""
    fins = LouvredSurface(
        louvre_angle=0.47, louvre_pitch=1.2e-3, louvre_length=6.8e-3, fin_pitch=1.4e-3,
        fin_length=8.0e-3, fin_thickness=0.08e-3, tube_depth=32e-3, tube_pitch=10e-3,
        tube_height=2e-3,
    )  # fmt: skip
    core = core_from_surface(fins, 0.28)
    radiator = with_liquid_side(core, 15e3, 2.2)
    air = AirNet(elements=(
        Inlet(name="nose", end="a", area=0.09),
        Cooler(name="charge", start="a", end="b", core=core),
        Cooler(name="radiator", start="b", end="c",
               core=replace(radiator, conductance_scale=relative_draws(1.0, 0.15, N_DRAW, 1))),
        Exit(name="slots", start="c", net_area=relative_draws(exit_area, 0.06, N_DRAW, 2),
             place="wheel-well"),
    ))  # fmt: skip
    loop = simple_loop("water", ("radiator",), heat=70e3, flow=2.2, thermostat=thermostat)
    stream = HotStream(cooler="charge", mass_flow=0.25, temperature=395.0)
    return CoolingSystem(air=air, loops=(loop,), streams=(stream,))


def test_all_heat_that_enters_leaves_with_the_air() -> None:
    state = solve_cooling(car(), AROUND)
    np.testing.assert_allclose(state.heat["radiator"], 70e3, rtol=1e-8)
    out = state.air.of("slots") * 1006.5 * (state.air.of("slots", "inlet") - 301.15)
    np.testing.assert_allclose(out, state.heat["radiator"] + state.heat["charge"], rtol=1e-9)
    water = state.loops["water"]
    assert float(np.abs(water.heat.sum(axis=0)).max()) < 1e-9 * 70e3 * 10
    gas = 0.25 * 1006.5 * (395.0 - state.stream_outlet["charge"])
    np.testing.assert_allclose(gas, state.heat["charge"], rtol=1e-9)


def test_a_hotter_day_and_a_smaller_exit_are_hotter() -> None:
    base = solve_cooling(car(), AROUND).hottest("water")
    assert np.all(solve_cooling(car(), replace(AROUND, temperature=308.0)).hottest("water") > base)
    assert np.all(solve_cooling(car(0.04), AROUND).hottest("water") > base)


def test_thermostat_holds_the_water_on_a_cold_day() -> None:
    valve = (355.0, 368.0)
    cold = Surroundings(speed=60.0, temperature=275.0)
    free = solve_cooling(car(0.12), cold)
    held = solve_cooling(car(0.12, valve), cold)
    assert float(np.median(free.hottest("water"))) < 355.0
    assert 350.0 < float(np.median(held.hottest("water"))) < 372.0
    assert np.all(held.loops["water"].opening < 1.0)


def test_names_the_exit_and_its_area_meets_the_target() -> None:
    found = find_restriction(car(0.045), AROUND, TARGET, places=("bonnet",))
    assert found.name == "slots"
    assert found.kind == "exit"
    assert found.sized is not None
    assert found.sized.needed > 0.045
    assert found.sentence.startswith("exit slots restricts")
    assert sum(found.share.values()) == pytest.approx(1.0, abs=0.02)
    factor = found.sized.needed / found.sized.now
    after = solve_cooling(enlarged(car(0.045), "slots", factor * 1.02), AROUND).hottest("water")
    assert float(np.mean(after > TARGET.limit)) <= TARGET.probability + 1.5 / N_DRAW
    assert found.elsewhere[0].place == "bonnet"


def test_names_the_core_when_everything_else_is_wide_open() -> None:
    wide = enlarged(enlarged(car(0.4), "nose", 4.0), "slots", 2.0)
    hot = replace(wide, loops=(simple_loop("water", ("radiator",), heat=190e3, flow=2.2),))
    found = find_restriction(hot, AROUND, TARGET)
    assert found.kind == "cooler"
    assert "larger core" in found.sentence


def test_says_so_when_no_area_suffices() -> None:
    hot = replace(car(), loops=(simple_loop("water", ("radiator",), heat=300e3, flow=2.2),))
    sized = size_opening(hot, AROUND, TARGET, "slots")
    assert not sized.is_reachable


def test_forecast_rises_with_ambient_and_altitude() -> None:
    places = (Place(name="low", speed=43.0), Place(name="high", speed=43.0, altitude=2000.0))
    forecast = forecast_temperature(car(), TARGET, places, np.array([285.0, 300.0, 313.0]))
    assert np.all(np.diff(forecast.quantiles[0.5], axis=1) > 0)
    assert np.all(forecast.quantiles[0.5][1] > forecast.quantiles[0.5][0])
    assert np.all(np.diff(forecast.probability, axis=1) >= 0)
    assert forecast.notices


def test_blanking_chart_warms_with_blanking_and_ambient() -> None:
    chart = blanking_chart(car(0.09), AROUND, TARGET, ("radiator",),
                           ambients=np.array([280.0, 295.0, 310.0]),
                           blankings=np.array([0.0, 0.2, 0.4]))  # fmt: skip
    assert np.all(np.diff(chart.temperature, axis=1) > 0)
    assert np.all(np.diff(chart.temperature, axis=0) > 0)
    assert np.all(np.diff(chart.drag_area, axis=1) != 0)  # either way: a small exit wastes more
    known = chart.advice[~np.isnan(chart.advice)]
    assert np.all(np.diff(known) <= 0)


def test_moving_the_exit_is_compared_draw_by_draw() -> None:
    choices = compare_exits(car(), AROUND, TARGET, "slots", ("bonnet",), wheelbase=2.6,
                            legality=lambda place, area: f"{place} {area:.3f}")  # fmt: skip
    here, there = choices
    np.testing.assert_allclose(here.change.CxS, 0.0, atol=1e-12)
    assert there.place == "bonnet"
    assert float(np.median(there.temperature)) < float(np.median(here.temperature))
    assert there.legality.startswith("bonnet")


def test_pressure_in_a_well_lifts_the_front_axle() -> None:
    state = solve_cooling(car(), AROUND)
    bare = cooling_loads(car().air, state.air, 2.6)
    well = cooling_loads(
        car().air, state.air, 2.6, wells=(WheelWell(node="b", plan_area=0.3, x=-1.3),)
    )
    assert np.all(state.air.at("b") > 0)
    assert np.all(well.CzSf < bare.CzSf)
    np.testing.assert_allclose(well.CzSr, bare.CzSr, atol=1e-12)


def test_heat_up_approaches_the_steady_state() -> None:
    time = np.linspace(0.0, 3600.0, 361)
    stint = Stint(time=time, speed=np.full(361, 43.0), heat_share=np.ones(361))
    warm = heat_up(car(), stint, {"water": ThermalMass(capacity=80e3, still_loss=1e-6)},
                   temperature=301.15)["water"]  # fmt: skip
    steady = solve_cooling(car(), AROUND).hottest("water")
    # conductance is interpolated in speed over 25 to 40 to 60 m/s: 1 % of the rise
    np.testing.assert_allclose(warm.temperature[-1] - 301.15, steady - 301.15, rtol=0.01)
    assert np.all(np.diff(warm.temperature, axis=0) >= -1e-9)


def test_soak_peaks_after_the_stop_and_then_falls() -> None:
    after = soak(HotEngine(metal=410.0, coolant=365.0), 330.0, 7200.0)
    peak = int(np.argmax(after.temperature[:, 0]))
    assert 0 < peak < 360
    assert float(after.peak[0]) > 365.0
    assert float(after.temperature[-1, 0]) < 365.0


def test_refuses_a_loop_without_a_pump() -> None:
    with pytest.raises(InputError, match="no pump"):
        Loop(name="water", parts=(
            HeatSource(name="heat", start="a", end="b", heat=1e4),
            CoreSide(name="radiator", start="b", end="c"),
            Pipe(name="hose", start="c", end="a", loss=1.0),
        ))  # fmt: skip


def test_refuses_a_limit_below_ambient_and_an_unknown_loop() -> None:
    with pytest.raises(InputError, match=r"limit = 110 K.*Add 273\.15"):
        size_opening(car(), AROUND, Target(loop="water", limit=110.0), "slots")
    with pytest.raises(UnknownName, match="water"):
        size_opening(car(), AROUND, Target(loop="oil", limit=400.0), "slots")


def test_refuses_a_cooler_served_twice() -> None:
    with pytest.raises(InputError, match="coolers served"):
        replace(car(), streams=(HotStream(cooler="radiator", mass_flow=0.2, temperature=390.0),))
