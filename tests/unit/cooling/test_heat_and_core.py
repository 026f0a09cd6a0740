"""What heat loads and cores promise."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import (
    Band,
    ChargeAir,
    Core,
    Duty,
    LouvredSurface,
    MakerTable,
    PlainSurface,
    PowerPlant,
    TubeBank,
    core_from_surface,
    core_from_table,
    core_from_two_points,
    heat_loads,
    liquid_side_conductance,
)
from tuftwork.errors import InputError, UnknownName


def fins() -> LouvredSurface:
    """Return a common louvred fin."""
    return LouvredSurface(
        louvre_angle=0.47, louvre_pitch=1.2e-3, louvre_length=6.8e-3, fin_pitch=1.4e-3,
        fin_length=8.0e-3, fin_thickness=0.08e-3, tube_depth=32e-3, tube_pitch=10e-3,
        tube_height=2e-3,
    )  # fmt: skip


def table_of(core: Core, velocity: tuple[float, ...]) -> MakerTable:
    """Return the sheet a maker would print of a core, water 1.8 kg/s, 60 K between inlets."""
    u = np.array(velocity)
    heat = core.exchange(1.1644 * u * core.face_area, 1.8 * 4205.0, 1.8) * 60.0
    loss = core.loss(u, 1.1644, 1.8718e-5)
    return MakerTable(
        velocity=velocity, loss=tuple(np.asarray(loss).tolist()),
        heat=tuple(np.asarray(heat).tolist()), inlet_difference=60.0, liquid_flow=1.8,
        face_area=float(core.face_area), liquid_share=0.2,
    )  # fmt: skip


def test_measured_heat_overrides_the_estimate_and_says_so() -> None:
    plant = PowerPlant(engine="turbocharged", brake_power=355e3)
    loads = heat_loads(plant, Duty(), measured={"water": 102e3})
    assert loads.lap_mean["water"] == 102e3
    assert loads.origin["water"] == "measured"
    assert loads.origin["oil"] == "assumed"
    assert float(loads.worst_minute["water"]) > 102e3


def test_every_input_of_the_plant_moves_a_load() -> None:
    charge = ChargeAir(mass_flow=0.38, inlet_temperature=300.0, pressure_ratio=2.2)
    base = PowerPlant(engine="turbocharged", brake_power=355e3, charge=charge)
    before = heat_loads(base, Duty())
    for other in (
        replace(base, brake_power=300e3),
        replace(base, engine="atmospheric"),
        replace(base, charge=replace(charge, mass_flow=0.3)),
        replace(base, charge=replace(charge, efficiency=0.6)),
        replace(base, charge=replace(charge, cooled_to=310.0)),
    ):
        after = heat_loads(other, Duty())
        assert any(after.lap_mean[k] != before.lap_mean[k] for k in before.lap_mean)


def test_draws_of_a_load_keep_the_bands_ends() -> None:
    plant = PowerPlant(engine="atmospheric", brake_power=1.0)
    loads = heat_loads(plant, Duty(lap_mean=1.0, worst_minute=1.0), draws=(20_000, 3))
    low, high = np.quantile(np.asarray(loads.lap_mean["water"]), (0.1, 0.9))
    assert low == pytest.approx(0.61, abs=0.01)
    assert high == pytest.approx(0.98, abs=0.01)


def test_refuses_heat_that_nobody_makes_and_circuits_that_do_not_exist() -> None:
    with pytest.raises(InputError, match="nothing in it makes heat"):
        heat_loads(PowerPlant(), Duty())
    with pytest.raises(UnknownName, match="water"):
        heat_loads(PowerPlant(), Duty(), measured={"watr": 1.0})


def test_a_makers_table_gives_back_the_core_it_was_printed_from() -> None:
    core = replace(core_from_surface(fins(), 0.25), liquid_conductance=6000.0, liquid_flow=1.8)
    core = replace(core, conductance=tuple(0.9 * c for c in core.conductance))
    sheet = table_of(core, (2.0, 4.0, 6.0, 8.0, 12.0))
    made = core_from_table(sheet)
    air = 1.1644 * 5.0 * 0.25
    given, back = (c.exchange(air, 1.8 * 4205.0, 1.8) for c in (core, made))
    assert float(back) == pytest.approx(float(given), rel=0.005)
    assert float(made.loss(5.0, 1.1644, 1.8718e-5)) == pytest.approx(
        float(core.loss(5.0, 1.1644, 1.8718e-5)), rel=1e-6
    )
    assert made.origin == "published"


def test_two_points_are_met_exactly() -> None:
    core = replace(core_from_surface(fins(), 0.25), liquid_conductance=6000.0, liquid_flow=1.8)
    sheet = table_of(core, (4.0, 9.0))
    made = core_from_two_points(sheet)
    for u, heat, loss in zip(sheet.velocity, sheet.heat, sheet.loss, strict=True):
        ours = made.exchange(1.1644 * u * 0.25, 1.8 * 4205.0, 1.8)
        assert float(ours) * 60.0 == pytest.approx(heat, rel=1e-3)
        assert float(made.loss(u, 1.1644, 1.8718e-5)) == pytest.approx(loss, rel=1e-9)


def test_refuses_a_table_that_falls_where_it_must_rise() -> None:
    good = table_of(core_from_surface(fins(), 0.25), (2.0, 4.0, 6.0))
    bad = replace(good, loss=(40.0, 39.0, 190.0))
    with pytest.raises(InputError, match="loss, row 2 = 39 Pa: falls where it must rise"):
        core_from_table(bad)


def test_refuses_heat_that_the_air_cannot_carry() -> None:
    good = table_of(core_from_surface(fins(), 0.25), (2.0, 4.0, 6.0))
    with pytest.raises(InputError, match="exceeds what the air can carry"):
        core_from_table(replace(good, heat=tuple(1e3 * q for q in good.heat)))


def test_blanking_and_layback_raise_the_loss_of_the_same_flow() -> None:
    core = core_from_surface(fins(), 0.25)
    plain, blanked, leaning = (
        sum(c.loss_terms(1.16, 1.87e-5))
        for c in (core, replace(core, blanked=0.3), replace(core, layback=0.6))
    )
    assert blanked > plain
    assert leaning > plain


def test_conductance_follows_mass_flow_so_that_altitude_matters() -> None:
    core = core_from_surface(fins(), 0.25)
    flows = np.array([0.5, 1.0, 2.0])
    assert np.all(np.diff(core.exchange(flows, 7000.0)) > 0)


def test_plain_fins_transfer_less_than_louvred_ones() -> None:
    plain = PlainSurface(fin_pitch=1.4e-3, fin_height=8e-3, fin_thickness=0.08e-3, tube_depth=32e-3,
                         plate_thickness=2e-3)  # fmt: skip
    assert float(plain.rate(6.0, 1.16, 1.87e-5).conductance) < float(
        fins().rate(6.0, 1.16, 1.87e-5).conductance
    )


def test_liquid_side_rises_with_flow() -> None:
    tubes = TubeBank(n_tube=48, width=0.031, height=0.0014, length=0.62)
    slow, fast = (liquid_side_conductance(tubes, "water", m, 363.15) for m in (1.0, 3.0))
    assert float(fast) > float(slow)


def test_a_band_refuses_a_best_value_outside_its_ends() -> None:
    with pytest.raises(InputError, match="must lie in"):
        Band(low=1.0, best=0.5, high=2.0)
