"""Value, trim, balance and ranking: what they promise the person who decides."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.lap import (
    AeroTable,
    Change,
    Draws,
    DriverScatter,
    NoGo,
    Package,
    Remark,
    Setting,
    SpecialRow,
    TrimCar,
    TrimRequest,
    aero_gate,
    compare_packages,
    energy_of,
    fit_grip_to_corners,
    fit_tyre,
    hypotheses,
    margins,
    occupancy,
    polar_plane,
    prepare,
    rank_changes,
    run_case,
    trim_rows_as_text,
    trim_table,
    value_of_units,
    worth_by_corner,
)
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero

TRACK = brackenholt()
RNG = np.random.default_rng(11)
DRAWS = Draws(
    n_draw=16,
    shifts={
        "grip_front": 0.02 * RNG.standard_normal(16),
        "drag_added": 0.02 * RNG.standard_normal(16),
    },
)


def test_value_comes_with_range_and_verdict() -> None:
    case = prepare(TRACK, halyard(), halyard_aero(), n_point=800)
    table = value_of_units(case, DRAWS, driver=DriverScatter(deviation=0.05, laps=5))
    drag = table.of("one point of CxS")
    assert drag.low <= drag.best <= drag.high
    assert drag.verdict == "below noise"  # one point is 0.02 s
    assert table.of("1 % of grip").verdict == "quicker"
    assert table.lap_low < table.lap_time < table.lap_high
    with pytest.raises(UnknownName, match="one point of CxS"):
        table.of("one point of drag")


def test_what_is_common_to_two_packages_cancels() -> None:
    packages = [
        Package(name="as run", vehicle=halyard(), aero=halyard_aero(8)),
        Package(name="wing 12", vehicle=halyard(), aero=halyard_aero(12)),
        Package(
            name="rear up, wing 11", aero=halyard_aero(11),
            vehicle=halyard(ride_height_front=0.053, ride_height_rear=0.084),
        ),
    ]  # fmt: skip
    results = compare_packages([TRACK], packages, DRAWS, n_point=600)
    assert [r.package for r in results] == ["as run", "wing 12", "rear up, wing 11"]
    assert results[0].worth.best == 0.0
    third = results[2].worth
    assert third.verdict == "quicker"
    case = prepare(TRACK, halyard(), halyard_aero(), n_point=600)
    own = value_of_units(case, DRAWS)
    unpaired = np.sqrt(2.0) * (own.lap_high - own.lap_low)  # what two separate ranges would give
    assert third.high - third.low < 0.5 * unpaired
    with pytest.raises(InputError, match="two or more"):
        compare_packages([TRACK], packages[:1])


def test_lines_of_equal_lap_time_slope_as_the_gradient_says() -> None:
    case = prepare(TRACK, halyard(ride_height_rear=0.084), halyard_aero(), n_point=600)
    plane = polar_plane(case, drag_span=0.02, downforce_span=0.04, n=5)
    assert plane.time.shape == (5, 5)
    across = (plane.time[2, 3] - plane.time[2, 1]) / (plane.downforce[3] - plane.downforce[1])
    along = (plane.time[3, 2] - plane.time[1, 2]) / (plane.drag[3] - plane.drag[1])
    assert -across / along == pytest.approx(plane.exchange, rel=0.02)


def test_corner_by_corner_adds_up_to_the_lap() -> None:
    before = run_case(prepare(TRACK, halyard(), halyard_aero(), n_point=1200))
    car = halyard(ride_height_front=0.053, ride_height_rear=0.084)
    after = run_case(prepare(TRACK, car, halyard_aero(11), n_point=1200))
    corners = worth_by_corner(before, after)
    assert sum(c.seconds for c in corners) == pytest.approx(after.time - before.time, abs=2e-3)


def test_occupancy_holds_the_whole_lap_and_sees_the_cliff() -> None:
    def near(rear: float) -> float:
        case = prepare(TRACK, halyard(ride_height_rear=rear), halyard_aero(), n_point=800)
        lap = run_case(case)
        found = occupancy(lap, case.aero)
        assert found.seconds.sum() == pytest.approx(lap.time, rel=1e-3)
        return found.near_cliff

    assert near(0.071) > 2.0 * near(0.090)


def test_energy_is_balanced_over_a_lap() -> None:
    case = prepare(TRACK, halyard(), halyard_aero(), n_point=2000)
    lap = run_case(case)
    energy = energy_of(case, lap)
    t = lap.trace
    ds = t.speed * t.duration
    rolling = 0.013 * np.sum((t.load_front + t.load_rear) * ds)
    put_in = energy.engine * case.vehicle.driveline_efficiency
    assert put_in == pytest.approx(energy.brakes + energy.drag + rolling, rel=2e-3)
    assert energy.brakes == pytest.approx(12.1e6, rel=0.05)  # the scenario's 12.1 MJ


def test_margins_show_which_axle_has_less() -> None:
    cells = margins(run_case(prepare(TRACK, halyard(), halyard_aero(), n_point=1200)).trace)
    assert {c.phase for c in cells} == {"entry", "middle", "exit"}
    assert all(-0.05 < c.front < 1.0 and -0.05 < c.rear < 1.0 for c in cells)
    on_power = next(c for c in cells if c.phase == "exit" and c.band == "low")
    assert on_power.balance < 0.0  # rear drive: out of slow corners the rear has less


def test_words_of_the_driver_point_to_the_platform_first() -> None:
    said = [Remark(phase="exit", feeling="loose", band="high")]
    found = hypotheses(said)
    assert sum(h.probability for h in found) == pytest.approx(1.0)
    assert found[0].suspect == "platform"
    assert all(h.source for h in found)


def test_a_second_remark_sharpens_the_odds() -> None:
    one = hypotheses([Remark(phase="exit", feeling="loose", band="high")])
    two = hypotheses(
        [
            Remark(phase="exit", feeling="loose", band="high"),
            Remark(phase="middle", feeling="loose", band="high"),
        ]
    )
    assert two[0].cause == one[0].cause
    assert two[0].probability > one[0].probability


@pytest.mark.parametrize(
    ("band", "slow_fine", "returned", "verdict"),
    [
        ("high", True, True, "aero"),
        ("low", None, True, "not aero"),
        ("high", False, True, "not aero"),
        ("high", True, None, "undecided"),
        ("high", True, False, "not aero"),
    ],
)
def test_the_gate_asks_speed_phase_and_return(
    band: str, slow_fine: bool | None, returned: bool | None, verdict: str
) -> None:
    remark = Remark(phase="middle", feeling="loose", band=band)  # type: ignore[arg-type]
    gate = aero_gate([remark], returned_to_baseline=returned, fine_when_slow=slow_fine)
    assert gate.verdict == verdict
    assert gate.next_step


def settings() -> list[Setting]:
    return [
        Setting(
            name=f"wing {wing}, rear {rear}", values=(("wing", f"{wing} deg"),),
            ride_height_front=0.054, ride_height_rear=rear * 1e-3,
        )
        for wing in (8, 10, 12) for rear in (76, 80, 84, 88)
    ]  # fmt: skip


def aero_of(setting: Setting) -> AeroTable:
    return halyard_aero(float(dict(setting.values)["wing"].split()[0]))


def test_the_trim_table_keeps_balance_and_orders_by_downforce() -> None:
    car = TrimCar(
        vehicle=halyard(), aero_of=aero_of,
        reference=Setting(name="as run", values=(("wing", "8 deg"),)),
    )  # fmt: skip
    request = TrimRequest(
        front_share=0.42, band=0.01, corners=("Gallows", "Kiln"),
        no_go=NoGo(rear_below=0.078, reason="diffuser in its force-reduction range"),
        blanking=((278.15, "half"), (293.15, "none")),
    )  # fmt: skip
    wet = SpecialRow(
        kind="wet", setting=settings()[-1], grip_scale=0.7, note="park above 30 mm water"
    )
    table = trim_table(TRACK, car, settings(), request, special=[wet], n_point=500)
    assert table.rows
    assert all(abs(r.front_share - 0.42) <= 0.01 for r in table.rows)
    downforce = [r.downforce for r in table.rows]
    assert downforce == sorted(downforce, reverse=True)
    for r in (*table.rows, *table.left_out):
        assert ("no-go" in r.warning) == (r.ride_height_rear < 0.078)
    assert table.special[0].lap_change > 5.0
    assert "Closed course" in table.caution
    quickest = min(table.rows, key=lambda r: r.lap_change).setting.name
    assert f"from {quickest}, the quickest here, to " in table.first_step or (
        "ask before" in table.first_step
    )
    text = trim_rows_as_text(table)
    assert "Gallows [km/h]" in text[0]
    with pytest.raises(
        NotCovered, match=r"nearest is.*What is turned reaches \d+.*set front_share"
    ):
        trim_table(TRACK, car, settings()[:2], replace(request, front_share=0.60), n_point=300)
    with pytest.raises(InputError, match="not on this circuit"):
        trim_table(TRACK, car, settings(), replace(request, corners=("Gallows", "Nowhere")))


def test_ranking_respects_what_comes_first() -> None:
    ones = np.ones(8)
    ranked = rank_changes(
        [
            Change(name="louvres", cost=300.0, seconds=-0.02 * ones),
            Change(name="rear up", cost=20.0, seconds=-0.12 * ones, confidence="measured"),
            Change(name="wing 11", cost=10.0, seconds=-0.10 * ones, needs=("rear up",)),
        ],
        noise=0.05,
    )
    names = [r.name for r in ranked]
    assert names.index("rear up") < names.index("wing 11")
    assert ranked[-1].name == "louvres"
    assert ranked[-1].below_noise
    cheap = rank_changes(
        [
            Change(name="tape", cost=0.01, seconds=-0.01 * ones),
            Change(name="loss", cost=1.0, seconds=0.30 * ones),
            Change(name="splitter", cost=500.0, seconds=-0.20 * ones),
        ],
        noise=0.05,
    )
    # ten times more for the money, but nobody could tell whether it was had
    assert [r.name for r in cheap] == ["splitter", "tape", "loss"]
    with pytest.raises(InputError, match="circle"):
        rank_changes(
            [
                Change(name="a", cost=1.0, seconds=ones, needs=("b",)),
                Change(name="b", cost=1.0, seconds=ones, needs=("a",)),
            ]
        )


def test_grip_is_scaled_to_corner_speeds_driven() -> None:
    from tuftwork.lap import corner_speed

    true = halyard()
    corners = [(corner_speed(r, true, halyard_aero()), r) for r in (40.0, 90.0, 200.0)]
    wrong = replace(true, tyre_front=replace(true.tyre_front, grip=1.3 * 1.43 / 1.445),
                    tyre_rear=replace(true.tyre_rear, grip=1.3))  # fmt: skip
    found = fit_grip_to_corners(wrong, halyard_aero(), corners)
    assert found.tyre_rear.grip == pytest.approx(1.445, rel=1e-3)


def test_a_tyre_without_spread_of_loads_is_refused() -> None:
    with pytest.raises(InputError, match="two or more different loads"):
        fit_tyre(np.array([3000.0, 3000.0]), np.array([4000.0, 4100.0]))
