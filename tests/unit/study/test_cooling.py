"""Cooling and brakes in the study: the planted fault is found, and every page keeps its promises.

What was planted stands in the scenario (invented): a net slot area of 0.056 m² where about 0.080 m²
is needed and 0.066 m² on the bonnet suffices; water between 107 and 137 °C as it is. The project
holds inputs only.
"""

import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tuftwork.app import check_page
from tuftwork.cooling import solve_cooling
from tuftwork.cooling.case import CoolingCase, cooling_quantities, of_ensemble
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files import read_project
from tuftwork.quantity import draw_ensemble
from tuftwork.study import Bench
from tuftwork.study.brake_case import faster_corner
from tuftwork.study.brake_page import brake_findings
from tuftwork.study.brake_step import braking_case
from tuftwork.study.cooling_finding import cooling_findings
from tuftwork.study.cooling_layout import layout_of
from tuftwork.study.cooling_widening import opening_notices
from tuftwork.study.job import Job
from tuftwork.study.job_step import job_steps

LIVE = {"do": "cooling_at", "speed": 153.8, "air_c": 28.0}


def test_the_undersized_exit_is_found_without_being_told(halyard: Bench) -> None:
    (finding,) = cooling_findings(halyard.answers)
    assert "arch slots" in finding.title
    assert "exit" in finding.title
    numbers = {str(n["label"]): n["best"] for n in finding.numbers}
    assert 107.0 < numbers["water, hottest"] < 137.0
    assert numbers["chance of crossing its limit"] > 80.0
    assert numbers["net area now"] == pytest.approx(0.056, abs=0.001)
    assert 0.05 < numbers["needed at the bonnet"] < 0.082 < numbers["needed at the wheel-well"]
    assert "0.056" in finding.text
    assert finding.test
    shown = [f["title"] for f in halyard.page("overview")["findings"]]
    assert finding.title in shown[:5]


def test_what_was_planted_lies_in_the_ranges(halyard: Bench) -> None:
    page = halyard.page("cooling")
    rows = {row["place"]: row for row in page["exits"]}
    water = next(c for c in page["circuits"] if c["name"] == "water")
    assert water["hottest"]["low"] < 121.0 < water["hottest"]["high"]
    assert rows["wheel-well"]["just"]["low"] < 0.080 < rows["wheel-well"]["just"]["high"]
    assert rows["bonnet"]["just"]["low"] < 0.066 < rows["bonnet"]["just"]["high"]
    # planted: the bonnet does with 0.066 m² what the well does with 0.080
    ratio = rows["bonnet"]["just"]["best"] / rows["wheel-well"]["just"]["best"]
    assert ratio == pytest.approx(0.066 / 0.080, abs=0.06)
    assert rows["bonnet"]["legality"].startswith("within the 0.080")
    assert rows["wheel-well"]["is_now"]
    assert rows["wheel-well"]["drag"]["best"] == 0.0


def test_bonnet_louvres_as_large_as_the_class_allows_cure_it_live(halyard: Bench) -> None:
    allowed = LIVE | {"areas": {"arch slots": 800.0}, "places": {"arch slots": "bonnet"}}
    assert halyard.live(allowed)[0]["over"]["water"]["best"] < 15.0
    moved = LIVE | {"areas": {"arch slots": 660.0}, "places": {"arch slots": "bonnet"}}
    header, arrays = halyard.live(moved)
    assert header["lines"] == ['area = "0.0660 m^2"  # arch slots', 'at = "bonnet"  # arch slots']
    assert arrays["cloud water"].shape == (halyard.answers.ensemble.size,)
    chain = halyard.why(header["numbers"]["circuit water"]["why"])
    assert "660 cm²" in chain["number"]["at"]


# The planted pair hangs on no inlet: with the mouths at 0.98 of the head 2 % more of it is 0.2 K.
# 121 and 98 °C need heat to grow with the air's flow to the power 0.80 or more (areas of 560 and
# 800 cm² at the same place are worth 1.43 of flow at most); a louvred core of this size has 0.61.
@pytest.mark.xfail(strict=True, reason="miss: 108.1 °C, 0.1 K above the planted range's upper end")
def test_bonnet_louvres_as_large_as_planted_bring_the_water_into_the_planted_range(
    halyard: Bench,
) -> None:
    moved = LIVE | {"areas": {"arch slots": 660.0}, "places": {"arch slots": "bonnet"}}
    header, _ = halyard.live(moved)
    assert 88.0 < header["numbers"]["circuit water"]["best"] < 108.0  # planted 98, 88 to 108


def test_the_net_conserves_mass_and_energy_in_every_draw(halyard: Bench) -> None:
    air = halyard.answers.results["cooling"]["air"]
    flow = dict(zip(air["names"], np.asarray(air["flow"]), strict=True))
    np.testing.assert_allclose(flow["nose"], flow["arch slots"], rtol=1e-9)
    wells = flow["wheel openings"] + flow["wells, below"]
    np.testing.assert_allclose(flow["arch slots"], wells, rtol=1e-9)
    heat = dict(zip(air["names"], np.asarray(air["heat"]), strict=True))["radiator"]
    entered = halyard.answers.ensemble.of("cooling.circuits.water.heat")
    np.testing.assert_allclose(heat, entered, rtol=1e-9)


def test_pages_keep_to_their_form_and_every_number_says_why(halyard: Bench) -> None:
    for name in ("cooling", "brakes"):
        assert check_page(name, halyard.page(name)) == []
    chain = halyard.why("cooling/hottest/water")
    labels = [d["label"] for d in chain["dominates"]]
    assert "arch slots: discharge" in labels
    assert any("estimates" in text for text in chain["notices"])
    assert halyard.why("brakes/front/duct/peak_surface")["number"]["unit"] == "°C"


def test_cautions_stand_on_both_pages(halyard: Bench) -> None:
    assert any("Verify" in text for text in halyard.page("cooling")["notices"])
    assert any("recheck" in text for text in halyard.page("brakes")["notices"])


def test_hotter_air_and_more_tape_are_hotter_everywhere(halyard: Bench) -> None:
    page = halyard.page("cooling")
    chart = np.array(page["blanking"][0]["temperature_c"])
    assert np.all(np.diff(chart, axis=0) > 0)
    assert np.all(np.diff(chart, axis=1) > 0)
    for row in page["forecast"]:
        assert np.all(np.diff(row["over"]) >= 0)
    high = next(r for r in page["forecast"] if r["place"] == "Upper Sallow")
    low = next(r for r in page["forecast"] if r["place"] == "Brackenholt" and r["circuit"]
               == high["circuit"])  # fmt: skip
    assert high["numbers"][0]["best"] > low["numbers"][0]["best"]


def test_the_net_s_load_is_shown_beside_the_budget_s(halyard: Bench) -> None:
    rows = {row["kind"]: row for row in halyard.page("cooling")["loads"]}
    assert rows["total"]["drag"]["best"] > 0
    assert rows["budget"]["drag"]["best"] > 0
    parts = [r for r in halyard.page("cooling")["loads"] if r["kind"] == "part"]
    total = sum(r["drag"]["best"] for r in parts)
    assert rows["total"]["drag"]["best"] == pytest.approx(total, rel=0.2)  # medians of a sum
    # one net, at the lap's mean speed on a hot day and at the nearest studied speed
    assert rows["budget"]["drag"]["best"] == pytest.approx(rows["total"]["drag"]["best"], rel=0.1)


def test_a_live_request_that_cannot_be_is_refused(halyard: Bench) -> None:
    with pytest.raises(UnknownName, match="arch slots"):
        halyard.live(LIVE | {"areas": {"arch slot": 500.0}})
    with pytest.raises(UnknownName, match="bonnet"):
        halyard.live(LIVE | {"places": {"arch slots": "roof-front"}})
    with pytest.raises(InputError, match="speed"):
        halyard.live(LIVE | {"speed": "fast"})
    with pytest.raises(InputError, match="air_c"):
        halyard.live(LIVE | {"air_c": 301.0})
    with pytest.raises(UnknownName, match="axle"):
        halyard.live({"do": "brakes_at", "axle": "middle", "duct": 1.0, "air_c": 28.0})


def test_the_demo_s_brakes_stay_in_their_windows_with_their_ducts_only(halyard: Bench) -> None:
    assert brake_findings(halyard.answers) == []
    page = halyard.page("brakes")
    # the scenario's lap: 12.1 MJ to the brakes, stops chosen to come near it
    assert page["energy"]["best"] == pytest.approx(12.1, rel=0.06)
    front = page["axles"][0]
    without, ducted = front["options"]
    assert [w["verdict"] for w in without["windows"][:2]] == ["too hot", "too hot"]
    assert ducted["peak_surface"]["best"] < without["peak_surface"]["best"] - 200.0
    assert 0 < front["need"]["area"]["best"] < front["need"]["has"]["best"]


def test_a_larger_duct_cools_live(halyard: Bench) -> None:
    def peak(duct: float) -> float:
        ask = {"do": "brakes_at", "axle": "front", "duct": duct, "air_c": 28.0}
        return float(halyard.live(ask)[0]["numbers"]["peak_surface"]["best"])

    assert peak(0.0) > peak(0.5) > peak(1.0) > peak(2.0)


def test_the_sliders_meet_the_pages_where_they_stand(halyard: Bench) -> None:
    """All draws of the study answer: the same middle and range, to the last digit shown."""
    numbers = halyard.live(dict(LIVE))[0]["numbers"]
    for circuit in halyard.page("cooling")["circuits"]:
        assert numbers[f"circuit {circuit['name']}"]["text"] == circuit["hottest"]["text"]
    for axle in halyard.page("brakes")["axles"]:
        ask = {"do": "brakes_at", "axle": axle["axle"], "duct": 1.0, "air_c": 28.0}
        header, arrays = halyard.live(ask)
        own = next(o for o in axle["options"] if o["name"] == "duct")
        for key in ("peak_surface", "lap_mean", "flow"):
            assert header["numbers"][key]["text"] == own[key]["text"]
        assert header["draws"] == arrays["peak_c"].size == halyard.answers.ensemble.size


def test_few_draws_of_the_brakes_stand_for_all(halyard: Bench) -> None:
    """The baseline among the kits has the middle it has as an axle: 2 K of a range of 200 K."""
    page = halyard.page("brakes")
    own = next(o for o in page["axles"][0]["options"] if o["name"] == "duct")["peak_surface"]
    kit = next(k for k in page["kits"] if k["state"] == halyard.answers.states[0])["peak"]
    assert kit["best"] == pytest.approx(own["best"], abs=2.0)
    few = braking_case(halyard.answers, 24)
    assert np.shape(few.of("brakes.grip")) == (24,)
    assert few.lap is not None
    assert few.lap.spread.shape == (24,)


def test_more_downforce_brakes_harder(halyard: Bench) -> None:
    kits = {k["state"]: k for k in halyard.page("brakes")["kits"]}
    assert kits["rear up, wing 11"]["power"]["best"] > 0


@pytest.mark.parametrize("state", ["more wing", "rear up, wing 9", "rear up, wing 11"])
def test_more_drag_takes_work_off_the_brakes(halyard: Bench, state: str) -> None:
    kits = halyard.page("brakes")["kits"]
    assert kits[0]["energy"]["best"] == 0
    assert state in [kit["state"] for kit in kits]
    # before rounding for the page: every other state has more drag over a lap's speeds
    energy = {row["state"]: row["energy"] for row in halyard.answers.results["brakes"]["kits"]}
    assert energy[state] < energy[kits[0]["state"]]


def test_the_same_corner_is_taken_faster_with_more_downforce() -> None:
    from tuftwork.cooling import BrakingCar, Stop

    slow = BrakingCar(mass=1200.0, grip=1.4, downforce_area=1.0, density=1.2)
    fast = BrakingCar(mass=1200.0, grip=1.4, downforce_area=2.0, density=1.2)
    stop = Stop(fast=60.0, slow=30.0)
    v2 = 30.0**2
    radius = 1200 * v2 / (1.4 * (1200 * 9.80665 + 0.6 * v2))  # closed form of a steady corner
    now = faster_corner(stop, slow, fast).slow
    assert 1200 * now**2 / radius == pytest.approx(1.4 * (1200 * 9.80665 + 1.2 * now**2))
    assert faster_corner(stop, slow, slow).slow == pytest.approx(30.0)


def test_a_project_without_cooling_is_told_what_to_add(prototype: Bench) -> None:
    with pytest.raises(NotCovered, match=r"\[cooling\]"):
        prototype.page("cooling")
    with pytest.raises(NotCovered, match=r"\[brakes\]"):
        prototype.page("brakes")
    names = {step.name for step in job_steps(prototype.answers.job)}
    assert not names & {"cooling", "cooling charts", "brakes"}
    assert cooling_findings(prototype.answers) == []


@pytest.fixture
def text(halyard: Bench, tmp_path: Path) -> tuple[Path, str]:
    """Return a copy of the demo's folder, results left behind, and the text of its project."""
    folder = tmp_path / "car"
    shutil.copytree(halyard.folder, folder, ignore=shutil.ignore_patterns("results", "out"))
    return folder, (folder / "project.toml").read_text(encoding="utf-8")


def _refused(text: tuple[Path, str], old: str, new: str) -> str:
    folder, whole = text
    assert old in whole
    (folder / "project.toml").write_text(whole.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FileFault) as caught:
        read_project(folder)
    return " ".join(str(f) for f in caught.value.faults)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('coolers = ["radiator"]', 'coolers = ["radiater"]', "Did you mean 'radiator'"),
        ('end = "mouth"', 'end = "mouthh"', "leads nowhere"),
        ('name = "corner outlets"', 'name = "arch slots"', "another part of the air"),
        ('at = "side"', 'at = "sides"', "side"),
        ('name = "front wells"', 'name = "rear wells"', "node"),
        ('limit = "110 °C"', 'limit = "110 kW"', "temperature"),
        ('limit = "110 °C"', 'limit = "110 K"', "at least"),
        ('area = "0.25 m^2 ± 20 %"', 'area = "0 m^2"', "area"),
        ('flow = "2.2 kg/s ± 8 %"', 'flw = "2.2 kg/s ± 8 %"', "flow"),
        ('fluid = "race"', 'fluid = "DOT4"', "DOT 4"),
    ],
)
def test_faults_of_the_tables_are_named_with_their_line(
    text: tuple[Path, str], old: str, new: str, says: str
) -> None:
    said = _refused(text, old, new)
    assert says in said
    assert re.search(r"project\.toml:\d+", said)


def test_a_limit_below_the_air_is_refused_with_its_line(text: tuple[Path, str]) -> None:
    said = _refused(text, 'limit = "110 °C"', 'limit = "20 °C"')
    assert "must exceed the hot day's air" in said


def _case(folder: Path, whole: str) -> CoolingCase:
    (folder / "project.toml").write_text(whole, encoding="utf-8")
    project = read_project(folder).project
    ensemble = draw_ensemble(Job.of(project).quantities, size=32, seed=1)
    return CoolingCase.of_project(project, of_ensemble(ensemble))


def test_heat_of_an_engine_follows_its_duty_and_a_measurement_stands_over_it(
    text: tuple[Path, str],
) -> None:
    folder, whole = text
    given = float(np.median(np.asarray(_case(folder, whole).system.loops[0].heat)))
    line = next(x for x in whole.splitlines() if x.startswith('heat = { value = "102 kW'))
    engine = whole.replace(line, 'carries = "water"').replace(
        "[cooling.duty]", '[cooling.duty]\nengine = "turbocharged"'
    )
    made = np.asarray(_case(folder, engine).system.loops[0].heat)
    # 355 kW, 0.52 of it to the water (0.42 to 0.66), at 57 % of full load: 105 kW
    assert float(np.median(made)) == pytest.approx(105e3, rel=0.08)
    assert given == pytest.approx(102e3, rel=0.03)


OIL = """[[cooling.circuits]]
name = "oil"
fluid = "engine oil"
flow = "0.6 kg/s"
liquid_mass = "7 kg"
metal_mass = "12 kg"
heat = "18 kW ± 10 %"
limit = "130 °C"
exchanger = { to = "water", heat = "18 kW", inlet_difference = "25 K" }

[[cooling.inlets]]
"""


def test_oil_cooled_by_water_runs_its_difference_above_it(text: tuple[Path, str]) -> None:
    folder, whole = text
    case = _case(folder, whole.replace("[[cooling.inlets]]\n", OIL, 1))
    state = solve_cooling(case.system, case.around)
    heat = np.asarray(case.system.loop("oil").heat) + np.asarray(case.system.loop("water").heat)
    np.testing.assert_allclose(state.heat["radiator"], heat, rtol=1e-7)
    oil, water = state.loops["oil"], state.loops["water"]
    k, j = oil.names.index("oil to water"), water.names.index("oil to water")
    between = np.median(oil.inlet[k] - water.inlet[j])
    assert between == pytest.approx(25.0, rel=0.05)  # the water's flow is drawn, the oil's heat too


def test_an_exchanger_to_nowhere_is_refused(text: tuple[Path, str]) -> None:
    said = _refused(text, "[[cooling.inlets]]\n", OIL.replace('to = "water"', 'to = "watr"'))
    assert "no other circuit of this name" in said


def test_a_maker_s_sheet_a_duct_and_a_fan_enter_the_net(text: tuple[Path, str]) -> None:
    folder, whole = text
    rows = whole.replace(
        '{ speed = "4 m/s", loss = "123.2 Pa" },',
        '{ speed = "4 m/s", loss = "123.2 Pa", heat = "60 kW" },',
    ).replace(
        '{ speed = "8 m/s", loss = "348.8 Pa" },\n]',
        '{ speed = "8 m/s", loss = "348.8 Pa", heat = "90 kW" },\n]\n'
        'test = { inlet_difference = "60 K", liquid_flow = "2.2 kg/s" }',
    )
    more = rows.replace('end = "mouth"', 'end = "throat"', 1).replace(
        "[[cooling.exits]]",
        '[[cooling.ducts]]\nname = "snout"\nstart = "throat"\nend = "fan box"\n'
        'area = "0.10 m^2"\nlength = "0.3 m"\nbends = ["20 °"]\n\n'
        '[[cooling.fans]]\nname = "fan"\nstart = "fan box"\nend = "mouth"\nrunning = "100 %"\n'
        'curve = [{ flow = "0 m³/s", rise = "300 Pa" }, { flow = "1.2 m³/s", rise = "50 Pa" }]\n\n'
        "[[cooling.exits]]",
        1,
    )
    case = _case(folder, more)
    assert {"snout", "fan"} <= set(case.system.air.names)
    assert case.system.core("radiator").origin == "published"


def test_layout_puts_every_part_on_a_place_of_its_own() -> None:
    edges = [
        ("a", "outside", "n1"), ("b", "outside", "n1"), ("c", "n1", "n2"), ("d", "n2", "outside"),
        ("e", "n2", "outside"), ("ring", "n2", "n1"),
    ]  # fmt: skip
    found = layout_of(edges)
    assert len(set(found.parts.values())) == len(edges)
    assert found.nodes["n2"][0] > found.nodes["n1"][0]
    assert found.parts["c"][0] == found.nodes["n1"][0] + 0.5


def silent(halyard: Bench) -> tuple[CoolingCase, dict[str, Any]]:
    """Return the demo's net where nothing is said of mouths and the well is no node, solved."""
    project = halyard.opened.project
    assert project.cooling is not None
    table = project.cooling
    mouths = tuple(i.model_copy(update={"loss": None}) for i in table.inlets)
    ways = tuple(e.model_copy(update={"end": "outside"}) for e in table.exits
                 if e.name != "wheel openings")  # fmt: skip
    own = {"inlets": mouths, "exits": ways, "wells": (), "leaks": ()}
    project = project.model_copy(update={"cooling": table.model_copy(update=own)})
    found = cooling_quantities(project)
    case = CoolingCase.of_project(project, lambda name: found[name].best)
    air = solve_cooling(case.system, case.around).air
    return case, {"air": {"names": list(air.names), "flow": air.flow}}


def test_a_mouth_that_opens_onto_a_larger_core_is_told_with_what_is_taken(halyard: Bench) -> None:
    """Borda and Carnot by hand: 0.090 m² onto 0.62 by 0.48 m is K = (1 - 0.090/0.2976)² = 0.49."""
    case, net = silent(halyard)
    told = next(n for n in opening_notices(case, net) if n.startswith("nose: "))
    assert "0.090\u202fm² of mouth opens onto 0.298\u202fm² of core" in told
    assert "0.3 to 1 of a sudden step's loss (K 0.49 of the mouth's head" in told
    flow = float(net["air"]["flow"][net["air"]["names"].index("nose")][0])
    low, high = (float(w) for w in told.split("Pa (")[1].split(")")[0].split(" to "))
    density = 101100.0 / (287.05 * 301.15)  # 1011 hPa, 28 °C
    step = 0.4867 * 0.5 * flow**2 / (density * 0.090**2)
    assert high == pytest.approx(step, rel=0.03)
    assert low == pytest.approx(0.3 * step, rel=0.05)


def test_a_jet_into_a_well_that_is_no_node_is_told_and_one_that_is_modelled_is_not(
    halyard: Bench,
) -> None:
    told = next(n for n in opening_notices(*silent(halyard)) if n.startswith("arch slots: "))
    assert "0 to 30\u202f%" in told
    assert "common practice, no source" in told
    assert not any("arch slots: it blows" in n for n in halyard.page("cooling")["notices"])


def test_a_brake_duct_shows_the_drag_of_its_air(halyard: Bench) -> None:
    """By hand: both sides take 4 ṁ/(ρ V) where none of the momentum is kept, the upper end."""
    page = halyard.page("brakes")
    tree = halyard.answers.results["brakes"]["axles"]["front"]
    none, ducted = page["axles"][0]["options"]
    assert none["drag"]["best"] == 0.0
    ram = 4.0 * float(np.median(tree["options"]["duct"]["flow"])) / (1.17 * tree["mean_speed"])
    assert 0.5 * ram < ducted["drag"]["low"] < ducted["drag"]["best"] <= 1.03 * ram
    need = page["axles"][0]["need"]
    share = need["flow"]["best"] / ducted["flow"]["best"]
    assert need["drag"]["best"] == pytest.approx(share * ducted["drag"]["best"], rel=0.05)
    assert any("common practice, no source" in text for text in page["notices"])
    assert halyard.why("brakes/front/duct/drag")["number"]["unit"] == "m²"
