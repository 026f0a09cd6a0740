"""Ducts, inlets, exits and cooling drag against closed forms, textbooks and libraries."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tuftwork.air import dynamic_pressure
from tuftwork.cooling import (
    AirNet,
    Cooler,
    Core,
    Exit,
    Inlet,
    Surroundings,
    cooling_cost,
    solve_air,
    stream_drag,
)
from tuftwork.cooling.duct import (
    bend_loss,
    blocked_recovery,
    diffuser_loss,
    entrance_loss,
    friction_factor,
    ideal_recovery,
    judged_diffuser,
    screen_loss,
    sudden_expansion_loss,
)
from tuftwork.cooling.opening import (
    exit_places,
    pressure_band,
    ramp_wall,
    recovery_band,
    recovery_change,
    submerged_inlet_faults,
    submerged_lip,
    widening_band,
)
from tuftwork.cooling.single_duct import (
    SingleDuct,
    heated_duct_velocity_ratio,
    heated_nozzle_velocity_ratio,
    single_duct_flow,
    stagnation_rise,
)

DATA = Path(__file__).parent / "data"
GAS = 287.053
pytestmark = pytest.mark.published


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a data file."""
    lines = [x for x in (DATA / name).read_text().splitlines() if not x.startswith("#")]
    return list(csv.DictReader(lines))


def value(name: str, key: str) -> float:
    """Return one named value of a data file."""
    return float(next(row["value"] for row in rows(name) if row["name"] == key))


BALANCE = rows("cooling_duct_balance_computed.csv")


def duct(row: dict[str, str]) -> SingleDuct:
    """Return the closed-form duct of one row."""
    return SingleDuct(
        speed=50.0, density=1.2, temperature=293.15, recovery=float(row["recovery"]),
        exit_pressure=float(row["exit_pressure"]), core_loss=14.0, core_area=0.24,
        exit_area=float(row["exit_area"]), heat=float(row["heat"]),
    )  # fmt: skip


def net(row: dict[str, str]) -> AirNet:
    """Return the same duct as a net."""
    core = Core(
        face_area=0.24, linear_loss=0.0, square_loss=14.0 * 0.5 * 1.1644,
        mass_velocity=(1.0, 10.0), conductance=(1000.0, 5000.0),
    )  # fmt: skip
    return AirNet(elements=(
        Inlet(name="in", end="a", area=0.5, recovery=float(row["recovery"])),
        Cooler(name="core", start="a", end="b", core=core, is_loss_at_inlet=True),
        Exit(name="out", start="b", net_area=float(row["exit_area"]), discharge=1.0, angle=0.0,
             pressure=float(row["exit_pressure"])),
    ))  # fmt: skip


@pytest.mark.parametrize("row", BALANCE)
def test_closed_form_duct_reproduces_flow_and_both_drags(row: dict[str, str]) -> None:
    flow = single_duct_flow(duct(row))
    assert flow.face_velocity == pytest.approx(float(row["face_velocity"]), rel=1e-4)
    for key, ours in (("drag", flow.drag), ("exit_plane_drag", flow.exit_plane_drag)):
        if row[key]:
            assert ours == pytest.approx(float(row[key]), rel=1e-4)


@pytest.mark.parametrize("row", BALANCE)
def test_the_network_reproduces_the_same_ducts(row: dict[str, str]) -> None:
    around = Surroundings(speed=50.0, temperature=293.15, pressure=1.2 * GAS * 293.15)
    air = solve_air(net(row), around, {"core": float(row["heat"])})
    velocity = air.of("core")[0] / (1.2 * 0.24)
    # 1e-4 of the row; cp 1006.5 in the net against 1006 in the row is 5e-4 of a small rise
    assert velocity == pytest.approx(float(row["face_velocity"]), rel=1.1e-4)
    drag = stream_drag(net(row), air, "out")
    if row["drag"]:
        assert drag.momentum_drag[0] == pytest.approx(float(row["drag"]), rel=3e-4)
    if row["exit_plane_drag"]:
        assert drag.exit_plane_drag[0] == pytest.approx(float(row["exit_plane_drag"]), rel=3e-4)


@pytest.mark.parametrize("row", [r for r in BALANCE if r["drag"]])
def test_what_the_budget_takes_is_the_printed_drag(row: dict[str, str]) -> None:
    around = Surroundings(speed=50.0, temperature=293.15, pressure=1.2 * GAS * 293.15)
    air = solve_air(net(row), around, {"core": float(row["heat"])})
    cost = cooling_cost(net(row), air, 2.6)
    # as for the net itself: 3e-4
    assert cost.CxS[0] * 0.5 * 1.2 * 50.0**2 == pytest.approx(float(row["drag"]), rel=3e-4)


def test_heated_duct_costs_less_than_the_cold_one() -> None:
    cold, hot = (single_duct_flow(duct(BALANCE[k])) for k in (0, 5))
    assert hot.drag < cold.drag


def test_heated_duct_velocities() -> None:
    name = "cooling_meredith1935_heated_duct.csv"
    for key, share in (("01", 0.1), ("02", 0.2), ("04", 0.4)):
        hot = float(heated_duct_velocity_ratio(share, 60.0, 300.0))
        cold = float(heated_duct_velocity_ratio(share, 0.0, 300.0))
        assert hot == pytest.approx(value(name, f"hot_{key}"), rel=1e-5)
        assert cold == pytest.approx(value(name, f"cold_{key}"), rel=1e-5)
    for key, speed in (("nozzle_60", 60.0), ("nozzle_200", 200.0)):
        ours = heated_nozzle_velocity_ratio(speed, 0.2, 50.0, 288.15, 101325.0)
        assert ours == pytest.approx(value(name, key), rel=1e-4)


def test_diffusers_of_textbooks() -> None:
    name = "cooling_diffuser_examples.csv"
    for key, ratio, length in (("213", 2.13, 4.66), ("18", 1.8, 7.85)):
        ideal = float(ideal_recovery(ratio))
        assert ideal == pytest.approx(value(name, f"cone_ideal_{key}"), rel=3e-3)
        assert 0.6 / ideal == pytest.approx(value(name, f"cone_efficiency_{key}"), rel=3e-3)
        angle = np.degrees(judged_diffuser(ratio, length, is_conical=True).full_angle)
        assert angle == pytest.approx(value(name, f"cone_angle_{key}"), rel=3e-3)
    recovery, efficiency = blocked_recovery(2.0, 1.059, 1.543, 0.09)
    assert recovery == pytest.approx(value(name, "blocked_recovery"), rel=3e-3)
    assert efficiency == pytest.approx(value(name, "blocked_efficiency"), rel=3e-3)
    lost = float(ideal_recovery(2.0)) - 0.45
    for key, k in (("flow_without", 1.04), ("flow_with", 0.04 + 0.25 + lost)):
        flow = np.pi / 4 * 0.025**2 * np.sqrt(2 * 9.81 * 1.5 / k) * 1e3
        assert flow == pytest.approx(value(name, key), rel=2e-3)


def test_losses_agree_with_the_library_rows() -> None:
    checked = 0
    for row in rows("cooling_rennels2012_losses.csv"):
        k, text, kind = float(row["K"]), row["arguments"], row["fluids_function"]
        numbers = [float(w) for w in text.replace(",", " ").replace("=", " ").split()
                   if w.replace(".", "").isdigit()]  # fmt: skip
        if kind == "diffuser_conical" and row["method"] == "Rennels":
            ours = diffuser_loss(numbers[0], float(np.radians(numbers[1])))
        elif kind == "bend_rounded":
            ours = bend_loss(float(np.pi / 2), numbers[1])
        elif kind == "bend_miter":
            ours = bend_loss(float(np.radians(numbers[0])), 0.0)
        elif kind in SCREENS:
            ours = screen_loss(numbers[0], SCREENS[kind])
        elif kind == "entrance_sharp":
            ours = entrance_loss()
        elif kind == "entrance_rounded":
            ours = entrance_loss(0.1)
        else:
            continue
        checked += 1
        assert ours == pytest.approx(k, rel=1e-3, abs=1e-4), f"{kind} {text}"
    assert checked >= 25


SCREENS = {
    "round_edge_open_mesh": "round mesh",
    "square_edge_screen": "sharp screen",
    "round_edge_grill": "round grille",
    "square_edge_grill": "sharp grille",
}


def test_friction_factor_agrees_with_the_library() -> None:
    fluids = pytest.importorskip("fluids")
    for re, rough in ((800.0, 0.0), (2e4, 1e-3), (1e5, 0.0), (1e6, 1e-2)):
        other = fluids.friction.friction_factor(Re=re, eD=rough)
        # Churchill's curve against Colebrook's: 3 % is its stated error
        assert float(friction_factor(re, rough)) == pytest.approx(other, rel=0.03)


def test_sudden_expansion_is_borda_carnot() -> None:
    np.testing.assert_allclose(
        sudden_expansion_loss(np.array([2.0, 3.0, 4.0])), [0.25, 4 / 9, 0.5625], rtol=1e-6
    )


@pytest.mark.parametrize(("length", "angle"), [(3.0, 20.0), (6.0, 14.0), (10.0, 10.0)])
def test_stall_limit_of_plane_walls(length: float, angle: float) -> None:
    # Fox & Kline 1962, Reneau et al. 1967, from memory: ±3°
    assert np.degrees(judged_diffuser(1.5, length).stall_angle) == pytest.approx(angle, abs=3.0)


def test_submerged_inlet_rules() -> None:
    # Mossman & Randall 1948, abstract: ramp 5 to 7 degrees, width over depth 3 to 5
    assert submerged_inlet_faults(float(np.radians(6.0)), 4.0) == ()
    assert "ramp angle" in submerged_inlet_faults(float(np.radians(9.0)), 4.0)[0]
    assert "width over depth" in submerged_inlet_faults(float(np.radians(6.0)), 2.0)[0]


def test_submerged_inlet_in_yaw() -> None:
    # Axelson & Taylor 1950, abstract (transonic): -0.05 by 4 degrees, then about +0.02; ±0.02
    def change(degrees: float) -> float:
        return float(recovery_change("submerged", 0.6, float(np.radians(degrees))))

    assert change(4.0) - change(0.0) == pytest.approx(-0.05, abs=0.02)
    assert change(8.0) - change(4.0) == pytest.approx(0.02, abs=0.02)


def test_recoveries_lie_in_the_remembered_bands() -> None:
    thin, thick = recovery_band("submerged"), recovery_band("submerged", 1.0)
    assert thin.low >= 0.80
    assert thin.high <= 0.92
    assert thick.low >= 0.55
    assert thick.high <= 0.75
    assert recovery_band("leading-edge").low >= 0.95
    assert 0.75 <= recovery_band("scoop").low < recovery_band("scoop").high <= 0.90


def test_ramp_wall_follows_the_printed_ordinates() -> None:
    table = np.loadtxt(DATA / "cooling_frick1945_ramp_wall.csv", delimiter=",", skiprows=5)
    x, y = ramp_wall()
    np.testing.assert_allclose(x, table[:, 0], atol=1e-12)
    np.testing.assert_allclose(y, table[:, 1], atol=0.003)


def test_surface_pressures_lie_in_the_remembered_bands_and_never_exceed_stagnation() -> None:
    # Hucho, Katz, Barnard, from memory (closed car)
    bands = {"bonnet": (-0.4, -0.1), "bonnet-front": (-1.5, -0.5), "cowl": (0.2, 0.6),
             "base": (-0.25, -0.10), "wheel-well": (-0.4, -0.1), "side": (-0.4, -0.2),
             "underfloor": (-0.6, -0.2), "roof-front": (-1.2, -0.5)}  # fmt: skip
    for place in exit_places():
        band = pressure_band(place)
        low, high = bands[place]
        assert low <= band.low <= band.high <= high <= 1.0


def test_a_sealed_duct_takes_a_quarter_of_its_core() -> None:
    # row DU22 (practice): inlet over core 1/4 to 1/3, face over flight velocity 0.08 to 0.25
    flow = single_duct_flow(duct(BALANCE[0]))
    assert 0.08 <= flow.face_velocity / 50.0 <= 0.25
    assert flow.mass_flow / (1.2 * 50.0) / 0.24 == pytest.approx(0.247, abs=0.001)


def test_dynamic_pressures() -> None:
    # computed, density 1.225
    speeds = np.array([100.0, 150.0, 200.0, 250.0, 300.0]) / 3.6
    expected = [472.608, 1063.37, 1890.43, 2953.80, 4253.47]
    np.testing.assert_allclose(dynamic_pressure(1.225, speeds), expected, rtol=1e-5)
    around = Surroundings(speed=speeds, temperature=101325.0 / (GAS * 1.225))
    np.testing.assert_allclose(around.head, expected, rtol=1e-5)


def test_stagnation_rise_of_a_textbook() -> None:
    # Munson, Young & Okiishi Ex. 3.15 (seen in a recomputation): 14.7 kPa at M 0.82, 26.5 kPa
    assert stagnation_rise(0.82, 26.5e3) / 1e3 == pytest.approx(14.7, abs=0.05)
    assert stagnation_rise(80.0 / 340.294, 101325.0) == pytest.approx(3974.46, rel=1e-4)


def test_the_net_obeys_the_duct_law_with_an_inlet_of_any_recovery() -> None:
    around = Surroundings(speed=50.0, temperature=293.15, pressure=1.2 * GAS * 293.15)
    for eta in (0.3, 0.6, 1.0):
        row = BALANCE[0] | {"recovery": str(eta)}
        air = solve_air(net(row), around)
        closed = single_duct_flow(replace(duct(row), heat=0.0))
        assert air.of("core")[0] == pytest.approx(closed.mass_flow, rel=1e-5)


IDELCHIK = [
    pytest.param(
        ratio, angle,
        marks=pytest.mark.xfail(
            strict=True, reason="Rennels against Idelchik, area ratio 4, 30°: +27 %, budget 25 %"
        ) if (ratio, angle) == (4, 30) else (),
    )
    for ratio in (2, 4) for angle in (7, 10, 14, 20, 30, 60)
]  # fmt: skip


@pytest.mark.parametrize(("ratio", "angle"), IDELCHIK)
def test_diffuser_losses_lie_within_a_quarter_of_the_other_handbook(ratio: int, angle: int) -> None:
    # Idelchik's values as in the library fluids; the two handbooks differ: +-25 % physical
    said = f"area ratio {ratio}, full angle {angle} deg, Di1=0.1 m, fd=0.02, Re=2e5"
    other = next(
        float(row["K"])
        for row in rows("cooling_rennels2012_losses.csv")
        if row["method"] == "Idelchik" and row["arguments"] == said
    )
    assert diffuser_loss(ratio, np.radians(angle)) == pytest.approx(other, rel=0.25)


def test_lip_of_a_submerged_inlet() -> None:
    # a builder's list quoting a chart (seen second hand): nose 0.094 d, lip 0.48 d, floor 1.48 d
    lip = submerged_lip(0.05)
    assert lip.nose_radius == pytest.approx(0.094 * 0.05)
    assert lip.thickness == pytest.approx(0.48 * 0.05)
    assert lip.floor == pytest.approx(1.48 * 0.05)


def test_the_base_s_default_range_is_no_narrower_than_computed_pressures_usually_err() -> None:
    # SAE 980037, abstract (seen): computed base pressure coefficients err by about 0.07
    band = pressure_band("base")
    assert band.high - band.best >= 0.07 - 1e-9
    assert band.best - band.low >= 0.07 - 1e-9


def test_a_mouth_s_band_holds_cones_between_20_and_30_degrees() -> None:
    """Conical diffusers over a sudden step: 20° and 30° inside the band, 14° within 25 % of it.

    60° is 1.1 to 1.2 of a step, above the band's 80 %; a step itself is its upper end.
    """
    band, seen = widening_band(), 0
    for row in rows("cooling_rennels2012_losses.csv"):
        if row["fluids_function"] != "diffuser_conical":
            continue
        ratio, angle = (float(w.split()[-1 if "ratio" in w else 2]) for w in
                        row["arguments"].split(",")[:2])  # fmt: skip
        share = float(row["K"]) / float(sudden_expansion_loss(ratio))
        if 20.0 <= angle <= 30.0:
            assert band.low <= share <= band.high
            seen += 1
        elif angle == 14.0:
            assert share == pytest.approx(band.low, rel=0.25)
            seen += 1
    assert seen == 12
