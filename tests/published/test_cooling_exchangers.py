"""Exchangers, cores and heat loads against textbooks, published correlations and libraries."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tuftwork.cooling import (
    LouvredSurface,
    PlainSurface,
    boiling_temperature,
    core_from_surface,
    effectiveness,
    liquid_state,
    transfer_units,
    with_liquid_side,
)
from tuftwork.cooling.exchanger import fouled_coefficient, log_mean_difference
from tuftwork.cooling.heat import (
    ChargeAir,
    ElectricDrive,
    TestBed,
    compressor_efficiency,
    compressor_outlet_temperature,
    cooled_charge,
    electric_losses,
    engine_split,
    heat_balance,
)
from tuftwork.cooling.surface import fin_efficiency

DATA = Path(__file__).parent / "data"
pytestmark = pytest.mark.published


def values(name: str, column: str = "value") -> dict[str, float]:
    """Return name to number of one column of a data file."""
    lines = [x for x in (DATA / name).read_text().splitlines() if not x.startswith("#")]
    rows = csv.DictReader(lines)
    return {row["name"]: float(row[column]) for row in rows if row[column]}


def sample_surface() -> LouvredSurface:
    """Return the louvred fin of the sample core (rows HX15 to HX19)."""
    return LouvredSurface(
        louvre_angle=float(np.radians(27.0)), louvre_pitch=1.2e-3, louvre_length=6.8e-3,
        fin_pitch=1.4e-3, fin_length=8.0e-3, fin_thickness=0.08e-3, tube_depth=32e-3,
        tube_pitch=10e-3, tube_height=2e-3,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("arrangement", "column"),
    [("counterflow", 2), ("parallel", 3), ("crossflow", 4), ("crossflow, Cmin mixed", 6),
     ("crossflow, Cmax mixed", 7)],
)  # fmt: skip
def test_reproduces_the_effectiveness_table(arrangement: str, column: int) -> None:
    table = np.loadtxt(DATA / "cooling_kays1984_effectiveness.csv", delimiter=",", skiprows=5)
    half_digit = 5e-9
    eps = effectiveness(table[:, 0], table[:, 1], arrangement)
    np.testing.assert_allclose(eps, table[:, column], rtol=0.0, atol=half_digit)


def test_the_common_approximation_is_up_to_4_percent_off_and_ours_is_not() -> None:
    table = np.loadtxt(DATA / "cooling_kays1984_effectiveness.csv", delimiter=",", skiprows=5)
    error = table[:, 5] / effectiveness(table[:, 0], table[:, 1]) - 1.0
    assert float(error.min()) == pytest.approx(-0.038, abs=0.001)
    assert float(error.max()) == pytest.approx(0.011, abs=0.001)


def test_agrees_with_the_library_ht_over_its_range() -> None:
    ht = pytest.importorskip("ht")
    for ntu in (0.1, 0.7, 3.0, 8.0):
        for ratio in (0.05, 0.5, 0.99):
            other = ht.hx.effectiveness_from_NTU(NTU=ntu, Cr=ratio, subtype="crossflow")
            assert float(effectiveness(ntu, ratio)) == pytest.approx(other, rel=1e-6)


def test_automotive_radiator_of_a_textbook() -> None:
    exact, book = (values("cooling_cengel2003_exchangers.csv", c) for c in ("exact", "book"))
    heat = 0.6 * 4195.0 * 25.0
    lmtd = float(log_mean_difference(50.0, 45.0))
    assert heat == pytest.approx(exact["radiator_heat_w"], rel=1e-4)
    assert lmtd == pytest.approx(exact["radiator_lmtd_k"], rel=1e-4)
    ntu = float(transfer_units(25.0 / 70.0, 0.8))
    assert ntu == pytest.approx(exact["radiator_ntu"], abs=5e-5)
    conductance = ntu * 0.6 * 4195.0
    factor = heat / (conductance * lmtd)
    coefficient = conductance / (40 * np.pi * 0.005 * 0.65)
    assert factor == pytest.approx(book["radiator_f"], rel=0.01)
    assert coefficient == pytest.approx(book["radiator_u"], rel=0.01)
    assert coefficient == pytest.approx(exact["radiator_u"], rel=2e-4)


def test_counterflow_sizing_of_a_textbook() -> None:
    book = values("cooling_cengel2003_exchangers.csv", "book")
    ntu = float(transfer_units(60.0 / 140.0, 1.2 * 4.18 / (2 * 4.31), "counterflow"))
    assert ntu == pytest.approx(book["counterflow_ntu"], rel=1e-4)
    assert ntu * 5016.0 / 640.0 == pytest.approx(book["counterflow_area_m2"], rel=1e-4)


def test_gas_water_sizing_and_rating_of_a_textbook() -> None:
    exact, book = (values("cooling_incropera2007_exchangers.csv", c) for c in ("exact", "book"))
    gas = 4197.0 * 90.0 / 200.0
    area = float(transfer_units(200.0 / 265.0, gas / 4197.0)) * gas / 100.0
    assert area == pytest.approx(book["sizing_area_m2"], rel=0.03)
    assert area == pytest.approx(exact["sizing_area_m2"], rel=1e-3)
    heat = float(effectiveness(4000.0 / 1500.0, 1500.0 / 4197.0)) * 1500.0 * 215.0
    assert heat == pytest.approx(book["rating_heat_w"], rel=0.025)
    assert heat == pytest.approx(exact["rating_heat_w"], rel=1e-3)
    assert 250.0 - heat / 1500.0 == pytest.approx(exact["rating_hot_out_c"], abs=0.1)
    assert 35.0 + heat / 4197.0 == pytest.approx(exact["rating_cold_out_c"], abs=0.1)


def test_compact_core_of_a_textbook() -> None:
    exact, book = (values("cooling_incropera2007_exchangers.csv", c) for c in ("exact", "book"))
    mass_velocity = 1.25 / (0.449 * 0.20)
    assert mass_velocity == pytest.approx(book["core_mass_velocity"], rel=0.002)
    assert mass_velocity * 6.68e-3 / 33.88e-6 == pytest.approx(book["core_reynolds"], rel=0.002)
    h = 0.010 * mass_velocity * 1075.0 * 0.695 ** (-2.0 / 3.0)
    assert h == pytest.approx(book["core_coefficient"], rel=0.002)
    ntu = float(transfer_units(0.4656, 0.3212))
    assert ntu == pytest.approx(exact["core_ntu"], abs=5e-4)
    assert ntu == pytest.approx(book["core_ntu"], rel=0.08)


def test_oil_coolers_and_fouling_of_a_textbook() -> None:
    book = values("cooling_holman1986_exchangers.csv", "book")
    heat = 68.0 / 60.0 * 4180.0 * 40.0
    lmtd = float(log_mean_difference(35.0, 40.0))
    assert heat == pytest.approx(book["oil_heat_w"], rel=0.002)
    assert lmtd == pytest.approx(book["oil_lmtd_k"], rel=0.002)
    assert heat / (320.0 * lmtd) == pytest.approx(book["oil_area_m2"], rel=0.002)
    assert heat / (0.81 * 320.0 * lmtd) == pytest.approx(book["oil_area_two_pass_m2"], rel=0.002)
    small, large = 0.725 * 1900.0, 5.2 * 1860.0
    eps = float(effectiveness(275.0 * 10.83 / small, small / large, "crossflow, Cmax mixed"))
    assert eps == pytest.approx(book["offdesign_effectiveness"], rel=1e-4)
    fouled = float(fouled_coefficient(1961.0, 0.0002))
    assert fouled == pytest.approx(book["fouled_coefficient"], abs=1.0)


def test_log_mean_differences_of_a_textbook() -> None:
    # Janna, Engineering Heat Transfer, Ex. 9.1 (seen in a recomputation); printed to 0.05 K
    assert float(log_mean_difference(50.0, 70.0)) == pytest.approx(59.4, abs=0.05)
    assert float(log_mean_difference(95.0, 25.0)) == pytest.approx(52.43, abs=0.05)


def test_fin_efficiency_is_the_textbook_form() -> None:
    # Incropera ch. 3, computed: h 100, k 180, t 0.1 mm, l 4 mm
    assert float(fin_efficiency(100.0, 180.0, 0.1e-3, 4e-3)) == pytest.approx(0.944672, rel=1e-5)


def test_louvred_core_chain_reproduces_the_printed_rows() -> None:
    table = np.loadtxt(DATA / "cooling_chang1997_core.csv", delimiter=",", skiprows=5)
    state = sample_surface().rate(table[:, 0], 1.1644, 1.8718e-5)
    for column, ours in ((2, state.j), (3, state.f), (4, state.coefficient)):
        np.testing.assert_allclose(ours, table[:, column], rtol=1e-4)
    for column, ours in ((5, state.fin_efficiency), (7, state.loss), (8, state.friction_loss)):
        np.testing.assert_allclose(ours, table[:, column], rtol=1e-4)


def test_another_louvre_correlation_lies_within_a_quarter() -> None:
    # Davenport 1983, exponents from memory: a sanity band only
    surface = sample_surface()
    for re, other in ((400.0, 0.02363), (1000.0, 0.01608)):
        assert float(surface.j(re)) == pytest.approx(other, rel=0.25)


def test_another_friction_correlation_lies_within_a_quarter() -> None:
    # Davenport 1983, f = 5.47 Re^-0.72 ..., exponents from memory: f(400) = 0.08465, a band only
    assert float(sample_surface().f(400.0)) == pytest.approx(0.08465, rel=0.25)


def test_core_of_a_network_keeps_the_chain_within_the_fit() -> None:
    table = np.loadtxt(DATA / "cooling_chang1997_core.csv", delimiter=",", skiprows=5)
    core = core_from_surface(sample_surface(), 1.0)
    race = (table[:, 0] >= 2.0) & (table[:, 0] <= 12.0)
    loss = core.loss(table[race, 0], 1.1644, 1.8718e-5)
    np.testing.assert_allclose(loss, table[race, 7], rtol=0.03)  # fit of a u + b u²: 3 %
    flow = 1.1644 * table[race, 0]
    per_kelvin = core.exchange(flow, float("inf"))
    np.testing.assert_allclose(per_kelvin, table[race, 11], rtol=0.01)  # row's tolerance, 1 %


def test_two_sided_rating_of_the_sample_core() -> None:
    # row HX19, computed from the relations: tolerance 0.5 %
    core = with_liquid_side(core_from_surface(sample_surface(), 0.24), 6000.0, 1.8)
    air = 1.1644 * 6.0 * 0.24
    heat = float(core.exchange(air, 1.8 * 3616.0, 1.8)) * 60.0
    assert heat == pytest.approx(53.58e3, rel=0.005)
    assert float(core.total_conductance(air, 1.8)) == pytest.approx(1411.8, rel=0.005)
    assert 30.0 + heat / 1687.6 == pytest.approx(61.75, abs=0.2)
    assert 90.0 - heat / (1.8 * 3616.0) == pytest.approx(81.77, abs=0.1)


def test_plain_surface_geometry_matches_a_published_surface() -> None:
    # Kays & London, surface plain 11.1 (seen in public code): r_h 7.71e-4 m, fin area 0.756.
    # Square-cornered passages against rolled fins: model error 5 %.
    plain = PlainSurface(fin_pitch=25.4e-3 / 11.1, fin_height=6.35e-3, fin_thickness=0.152e-3,
                         tube_depth=0.05, plate_thickness=6.35e-3)  # fmt: skip
    assert plain.hydraulic_diameter / 4.0 == pytest.approx(7.71e-4, rel=0.05)
    assert plain.rate(6.0, 1.16, 1.87e-5).j > 0


def test_coolant_properties_and_boiling_match_the_fluid_library() -> None:
    # CoolProp 8 at 2 bar, 90 °C (computed): water 0.2 %, glycol 3 %; saturation 0.05 K
    water, glycol = liquid_state("water", 363.15), liquid_state("glycol-50", 363.15)
    rows = ((water, (965.35, 4205.0, 3.142e-4, 0.6728), 2e-3),
            (glycol, (1019.0, 3615.8, 8.195e-4, 0.4315), 3e-2))  # fmt: skip
    for state, expected, tolerance in rows:
        ours = (state.density, state.specific_heat, state.viscosity, state.conductivity)
        np.testing.assert_allclose(np.array([float(x) for x in ours]), expected, rtol=tolerance)
    boiling = boiling_temperature(np.array([0.0, 1.0e5, 1.3e5])) - 273.15
    np.testing.assert_allclose(boiling, [99.97, 120.42, 124.87], atol=0.05)


def test_compressor_and_charge_cooler_rows() -> None:
    row = values("cooling_compressor_examples.csv")
    assert compressor_outlet_temperature(298.15, 2.0, 0.72) == pytest.approx(
        row["outlet_pr2"], rel=1e-5
    )
    assert compressor_outlet_temperature(298.15, 1.5, 0.70) == pytest.approx(
        row["outlet_pr15"], rel=1e-5
    )
    assert compressor_outlet_temperature(308.15, 2.5, 0.74) == pytest.approx(
        row["outlet_pr25"], rel=1e-5
    )
    isentropic, polytropic = compressor_efficiency(8.0, 300.0, 586.4)
    assert float(isentropic) == pytest.approx(row["dixon_isentropic"], rel=0.005)
    assert float(polytropic) == pytest.approx(row["dixon_polytropic"], rel=0.005)
    charge = ChargeAir(mass_flow=0.3, inlet_temperature=298.15, pressure_ratio=2.0)
    for eps in (0.6, 0.7, 0.8):
        key = f"{int(eps * 10):02d}"
        cooled = cooled_charge(charge, 303.15, eps)
        # cp 1006 here, about 1005 there: 0.15 % of the heat
        assert cooled.temperature - 273.15 == pytest.approx(row[f"charge_out_c_{key}"], abs=0.01)
        assert cooled.heat / 1e3 == pytest.approx(row[f"charge_kw_{key}"], rel=2e-3)
        assert cooled.density_ratio == pytest.approx(row[f"density_ratio_{key}"], abs=6e-4)
    lost = cooled_charge(charge, 303.15, 0.8, 10.0 / 202.65).density_ratio
    assert lost == pytest.approx(row["density_ratio_08_loss"], abs=6e-4)


@pytest.mark.xfail(
    strict=True,
    reason="Mathur & Sharma Ex. 17.1 within 1 %: 28.16 kW against 27.7 kW printed, miss 1.6 %; the "
    "book rounds two temperatures to whole kelvin, about 1.2 K at 0.38 kW/K",
)
def test_blower_gain_of_a_textbook() -> None:
    row = values("cooling_compressor_examples.csv")
    assert _blower_gain() == pytest.approx(row["blower_net_kw"], rel=0.01)


def _blower_gain() -> float:
    """Return the net gain of the book's blown engine [kW], its steps with exact temperatures."""
    hot = float(compressor_outlet_temperature(300.0, 1.7, 0.75))
    swept = 3e-3 * 3500.0 / 2.0  # [m³/min]
    free = swept * 1.7 * 300.0 / hot
    indicated = (free - 0.8 * swept) * 14.0 + 0.7 * 101.325 * swept / 60.0
    air = 1.7 * 101.325 * swept / 60.0 / (0.287 * hot)
    return 0.8 * indicated - air * 1.005 * (hot - 300.0) / 0.8


def test_engine_heat_balance_of_a_textbook() -> None:
    row = values("cooling_rajput_heat_balance.csv")
    run = TestBed(
        fuel_flow=10.2 / 3600.0, heating_value=43.89e6, torque=186.0,
        speed=1900.0 * 2 * np.pi / 60.0, water_flow=15.5 / 60.0, water_rise=36.0,
        exhaust_flow=(3.8 + 0.17) / 60.0, exhaust_rise=390.0,
    )  # fmt: skip
    for name, watts in heat_balance(run).items():
        assert watts * 60.0 / 1e3 == pytest.approx(row[name], rel=1e-3)


def test_electric_chain_losses() -> None:
    row = values("cooling_electric_losses_computed.csv")
    drive = ElectricDrive(wheel_power=200e3, pack_current=300.0, pack_resistance=0.10)
    for name, watts in electric_losses(drive).items():
        assert float(watts) / 1e3 == pytest.approx(row[name], abs=5e-4)


def test_atmospheric_split_lies_in_the_handbook_bands() -> None:
    # Heywood 1988 Table 12.1, from memory, maximum power, per cent of fuel: brake 25-28,
    # coolant 17-26. Bands, not values.
    split = engine_split("atmospheric")
    assert split["water"].low >= 17 / 28 - 0.01
    assert split["water"].high <= 26 / 25 + 0.01
    assert 0.25 <= split["brake_efficiency"].best <= 0.28


def test_a_road_engine_s_useful_share_lies_where_a_magazine_puts_it() -> None:
    # trade magazine, order of magnitude (seen): of 200 kW of fuel about 55 kW are useful
    useful = engine_split("atmospheric")["brake_efficiency"]
    assert 200.0 * useful.low <= 55.0 <= 200.0 * useful.high


def test_electric_drives_are_not_given_less_heat_than_race_parts_make() -> None:
    # the same magazine: motor and inverter of a race car together about 96 % (2014), later 98 %
    drive = ElectricDrive(wheel_power=200e3)
    assert float(np.asarray(drive.motor * drive.inverter)) <= 0.96
