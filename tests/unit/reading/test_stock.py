"""Rules of the stock: what goes in or out, which circuit, what restricts, what to mend."""

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.reading.stock import (
    Fault,
    band_rows,
    in_or_out,
    likely_circuits,
    loose_sinks,
    pipe_flow,
    ramp_checks,
    restriction,
    statement_holds,
    surface_quality,
    washing,
    zone_band,
)


@pytest.mark.parametrize("name", ["zones", "circuits", "ramps", "surface"])
def test_every_band_names_its_source(name: str) -> None:
    rows = band_rows(name)
    assert len(rows) >= 4
    assert all(row["source"].strip() for row in rows)


def test_the_nose_takes_air_in_and_the_bonnet_lets_it_out() -> None:
    assert in_or_out("nose", (-0.1, 0.2))[0].weight > 0.9
    assert in_or_out("bonnet", (-0.1, 0.2))[1].weight > 0.8


def test_chances_of_in_and_out_add_up() -> None:
    for row in band_rows("zones"):
        assert sum(v.weight for v in in_or_out(row["zone"], (-0.2, 0.2))) == pytest.approx(1.0)


def test_an_unknown_zone_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName, match="bonnet"):
        zone_band("bonet")


def test_a_wide_hot_pipe_is_water_and_a_thin_one_is_oil_or_hydraulic() -> None:
    assert likely_circuits(0.038, 363.0)[0].name == "water"
    assert likely_circuits(0.019, 390.0)[0].name == "engine oil"
    assert likely_circuits(0.006)[0].name == "brake fluid or hydraulic"
    assert sum(v.weight for v in likely_circuits(0.03)) == pytest.approx(1.0)


def test_temperature_changes_the_odds() -> None:
    cold, hot = (
        {v.name: v.weight for v in likely_circuits(0.03, t)}["low-temperature water"]
        for t in (320.0, 370.0)
    )
    assert cold > 5 * hot


def test_flow_in_a_pipe_grows_with_its_area() -> None:
    one, two = pipe_flow(0.02, "water"), pipe_flow(0.04, "water")
    assert two[0] == pytest.approx(4 * one[0])
    assert one[0] < one[1]


def test_an_impossible_bore_is_refused() -> None:
    with pytest.raises(InputError, match="bore"):
        likely_circuits(0.5)


def test_the_smallest_place_restricts_the_path() -> None:
    found = restriction(np.full(9, 0.12), np.full(9, 0.30), np.full(9, 0.056), core_loss=3.0)
    assert found.name == "exit"
    assert found.chance == 1.0
    assert sum(found.shares.values()) == pytest.approx(1.0)
    opened = restriction(np.full(9, 0.12), np.full(9, 0.30), np.full(9, 0.30), core_loss=3.0)
    assert opened.name == "core"


def test_a_cooler_without_an_exit_is_named_with_the_likeliest() -> None:
    rows = [
        ("F1", "mouth", "in", "nose", ("F2",)),
        ("F2", "radiator", "sink", "nose", ()),
        ("F3", "louvres", "out", "bonnet", ()),
        ("F4", "slot", "out", "sill", ()),
        ("F5", "oil cooler", "sink", "sill", ("F4",)),
    ]
    found = loose_sinks(rows)
    assert [(one.name, one.lacks) for one in found] == [
        ("radiator", "exit"), ("oil cooler", "source"),
    ]  # fmt: skip
    assert found[0].candidates[0][0] == "louvres"
    assert found[1].candidates[0][0] == "mouth"


def test_a_complete_path_is_not_loose() -> None:
    rows = [
        ("A", "a", "in", "nose", ("B",)),
        ("B", "b", "sink", "", ("C",)),
        ("C", "c", "out", "tail", ()),
    ]
    assert loose_sinks(rows) == ()


def test_a_usual_ramp_is_inside_its_bands_and_a_steep_one_is_not() -> None:
    draws = np.random.default_rng(1).normal(0, 0.01, 400)
    usual = ramp_checks(2.6 + draws, 3.5 + draws, np.radians(9) + 0 * draws, 2.62)
    steep = ramp_checks(2.6 + draws, 3.5 + draws, np.radians(22) + 0 * draws, 2.62)
    assert all(c.chance_inside > 0.8 for c in usual)
    assert next(c for c in steep if "angle" in c.quantity).chance_inside == 0.0


def test_a_statement_is_weighed_against_the_measured_range() -> None:
    kick = np.random.default_rng(2).normal(2.61, 0.01, 4000)
    assert statement_holds(kick, below=2.62) == pytest.approx(0.84, abs=0.03)
    with pytest.raises(InputError):
        statement_holds(kick)


def test_a_strake_turned_out_washes_out() -> None:
    angle = np.random.default_rng(3).normal(0.05, 0.02, 1000)
    outward, inward = washing(angle)
    assert outward.weight > 0.97
    assert outward.weight + inward.weight == pytest.approx(1.0)


def test_few_faults_are_worth_mending() -> None:
    faults = [Fault(name=f"seam {k}", kind="gap", zone="sill", height=0.0005, length=0.3, run=3.0)
              for k in range(40)]  # fmt: skip
    faults += [Fault(name=f"lip {k}", kind="step forward", zone="bonnet", height=0.006,
                     length=0.8, run=0.8) for k in range(6)]  # fmt: skip
    found = surface_quality(faults, speed=55.0)
    mended = [m.fault.name for m in found if m.mend]
    assert all(name.startswith("lip") for name in mended)
    assert 4 <= len(mended) <= 6
    assert found[0].drag >= found[-1].drag


def test_a_fault_costs_more_in_suction_and_where_the_layer_is_thin() -> None:
    def cost(zone: str, run: float) -> float:
        fault = Fault(name="x", kind="step forward", zone=zone, height=0.003, length=1.0, run=run)
        return surface_quality([fault], speed=50.0)[0].drag

    assert cost("roof", 1.0) > cost("nose", 1.0)
    assert cost("roof", 0.5) > cost("roof", 3.0)
