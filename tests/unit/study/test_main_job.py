"""The demo's story: what was planted in the invented car is what the study finds.

Expected values come from the demo's truth module, which no engine reads; they prove that the chain
holds together, not that the physics is right (that is ``tests/published``).
"""

import numpy as np
import pytest

from tuftwork.app import check_page
from tuftwork.app.check import numbers_in
from tuftwork.demo.truth import true_ride
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import summarise
from tuftwork.study import PAGES, Bench
from tuftwork.study.answers import Answers

DEGREE = np.pi / 180
STATES = [
    ("as raced", 8.0, 0.058, 0.071),
    ("more wing", 12.0, 0.058, 0.071),
    ("rear up, wing 9", 9.0, 0.056, 0.082),
    ("rear up, wing 11", 11.0, 0.053, 0.084),
]


SPEEDS = [140.0, 180.0, 200.0, 220.0, 240.0]


@pytest.mark.parametrize("kmh", SPEEDS)
def test_the_measured_state_agrees_with_the_planted_truth(halyard: Bench, kmh: float) -> None:
    hf, hr, truth = true_ride(kmh / 3.6, 8.0 * DEGREE)
    answers = halyard.answers
    found = {
        name: summarise(answers.draws("as raced", name, kmh / 3.6)).best
        for name in ("total", "share", "height_front", "height_rear", "drag")
    }
    # three times the scatter planted in the passes
    assert found["total"] == pytest.approx(truth.total, abs=0.05)
    assert found["share"] == pytest.approx(truth.share, abs=0.015)
    assert found["drag"] == pytest.approx(truth.drag, abs=0.03)
    assert found["height_front"] == pytest.approx(hf, abs=1.0e-3)
    assert found["height_rear"] == pytest.approx(hr, abs=1.0e-3)


def test_ranges_of_all_states_hold_the_planted_truth_as_often_as_they_say(halyard: Bench) -> None:
    answers = halyard.answers
    held = []
    for state, incidence, front, rear in STATES:
        for kmh in SPEEDS:
            _, _, truth = true_ride(kmh / 3.6, incidence * DEGREE, front, rear)
            for name in ("total", "share", "drag"):
                said = summarise(answers.draws(state, name, kmh / 3.6))
                held.append(said.low <= getattr(truth, name) <= said.high)
    # 80 % is said; the 60 numbers are strongly correlated, so only a clear shortfall would show
    assert np.mean(held) >= 0.75


def test_more_wing_is_the_wrong_first_move(halyard: Bench) -> None:
    rows = {row["name"]: row for row in halyard.page("states")["rows"]}
    wing, rake = rows["more wing"], rows["rear up, wing 9"]
    assert wing["held"]["best"] > 3 * wing["gain"]["best"]
    assert rake["gain"]["low"] > wing["gain"]["high"]
    titles = [f["title"] for f in halyard.page("overview")["findings"]]
    assert any("'more wing' is the wrong first move" in title for title in titles)


def test_the_stalled_floor_and_the_sheet_without_driver_are_found(halyard: Bench) -> None:
    findings = halyard.page("overview")["findings"]
    texts = [f"{f['title']} {f['text']}" for f in findings]
    assert any("rear axle loses downforce" in t and "is the floor" in t for t in texts)
    assert any("no driver" in t and "82 kg lighter" in t for t in texts)
    assert any("claims cannot be true" in t for t in texts)


def test_small_interactions_have_one_row_that_says_why(halyard: Bench) -> None:
    page = halyard.page("budget")
    others = page["others"]
    assert len(others["names"]) > 1
    assert set(others["names"]) < {r["name"] for r in page["rows"] if r["kind"] == "interaction"}
    assert others["row"]["name"] == f"other interactions ({len(others['names'])})"
    assert others["said"].startswith("Each under 1\u202f% of the whole car's downforce (0.01")
    chain = halyard.why(others["row"]["total"]["why"])
    assert chain["number"]["text"] == others["row"]["total"]["text"]


def test_the_rail_is_known_before_anything_is_worked_out(halyard: Bench) -> None:
    class Asleep(Bench):
        def answers_or_none(self) -> Answers | None:
            raise AssertionError("results were asked for")

    first = Asleep(halyard.folder, runs_itself=False).page("overview", only="rail")
    whole = halyard.page("overview")
    assert [(r["page"], r["title"]) for r in first["rail"]] == [
        (r["page"], r["title"]) for r in whole["rail"]
    ]
    assert (first["project"], first["digest"]) == (whole["project"], whole["digest"])
    assert check_page("overview", first) == []
    with pytest.raises(UnknownName, match="rail"):
        halyard.page("overview", only="rial")


def test_the_budget_adds_up_draw_by_draw_and_meets_what_was_measured(halyard: Bench) -> None:
    found = halyard.answers.budget("as raced", 220 / 3.6)
    parts = [r for r in found.rows if r.kind in ("part", "interaction")]
    np.testing.assert_allclose(sum(r.front for r in parts), found.total.front, atol=1e-12)
    np.testing.assert_allclose(sum(r.drag for r in parts), found.total.drag, atol=1e-12)
    difference = found.of_kind("difference")[0].summaries["total"]
    assert difference.low < 0 < difference.high


def test_a_published_component_table_adds_up_to_its_printed_totals(prototype: Bench) -> None:
    # katz2016 p. 304, table 7.3, seen in a scan: CL −1.8, CD 0.50; undertray 1.26 of 1.80
    page = prototype.page("budget")
    rows = {row["name"]: row for row in page["rows"]}
    assert rows["whole car"]["total"]["best"] == pytest.approx(1.8, abs=1e-9)
    assert rows["whole car"]["drag"]["best"] == pytest.approx(0.50, abs=1e-9)
    share = rows["undertray and diffuser"]["total"]["best"] / rows["whole car"]["total"]["best"]
    assert share == pytest.approx(0.70, abs=0.005)


@pytest.mark.parametrize("name", [entry.name for entry in PAGES])
def test_every_page_keeps_to_its_form(halyard: Bench, name: str) -> None:
    assert check_page(name, halyard.page(name)) == []


def test_every_number_that_says_why_has_a_chain(halyard: Bench) -> None:
    asked = set()
    for entry in PAGES:
        for _, number in numbers_in(halyard.page(entry.name)):
            if number.get("why"):
                asked.add(number["why"])
    fresh = Bench(halyard.folder)
    for why in sorted(asked)[:: max(1, len(asked) // 60)]:
        chain = fresh.why(why)
        assert chain["id"] == why
        assert check_page("why", chain) == []
        assert chain["steps"], why


def test_a_car_level_number_says_where_it_holds(halyard: Bench) -> None:
    for row in halyard.page("map")["path"]:
        for name in ("front", "rear", "total", "drag", "share"):
            at = row[name]["at"]
            assert "hf" in at
            assert "hr" in at
            assert "as raced" in at


def test_a_live_answer_agrees_with_the_study(halyard: Bench) -> None:
    header, arrays = halyard.live({"do": "path_at", "speed": 220.0, "state": "as raced"})
    studied = halyard.answers.ride_number("as raced", "total", 220 / 3.6)
    live = header["numbers"]["total"]
    assert live["best"] == pytest.approx(studied["best"], abs=0.02)
    assert arrays["cloud_front_mm"].size == header["draws"]
    assert halyard.why(live["why"])["number"]["text"] == live["text"]


@pytest.mark.parametrize(
    ("message", "fault"),
    [
        ({"do": "fly"}, UnknownName),
        ({"do": "path_at", "speed": "fast"}, InputError),
        ({"do": "path_at", "speed": -3}, InputError),
        ({"do": "path_at", "speed": 200, "state": "flying"}, UnknownName),
        ({"do": "path_at", "speed": 200, "front_mm": float("nan")}, InputError),
    ],
)
def test_a_live_request_that_makes_no_sense_is_refused(
    halyard: Bench, message: dict[str, object], fault: type[Exception]
) -> None:
    with pytest.raises(fault):
        halyard.live(message)


def test_unknown_pages_states_speeds_and_chains_list_the_known_ones(halyard: Bench) -> None:
    with pytest.raises(UnknownName, match="overview"):
        halyard.page("overveiw")
    with pytest.raises(UnknownName, match="more wing"):
        halyard.page("budget", state="mor wing")
    with pytest.raises(InputError, match="Studied: 100, 140"):
        halyard.page("budget", speed="150 km/h")
    with pytest.raises(UnknownName):
        halyard.why("nobody/asked")
    with pytest.raises(UnknownName):
        halyard.why("ride/as raced/total")


@pytest.mark.parametrize("state", ["as raced", "more wing"])
def test_budget_and_platform_path_are_one_number_draw_by_draw(halyard: Bench, state: str) -> None:
    answers = halyard.answers
    for speed in answers.speeds[2:]:
        keep = answers.kept(state)
        total = answers.budget(state, speed).total
        for name, draws in (("total", total.total), ("front", total.front), ("drag", total.drag)):
            path = answers.draws(state, name, speed)
            np.testing.assert_allclose(draws[keep], path[keep], atol=1e-9)


def test_studied_heights_are_where_springs_carry_the_engines_own_loads(halyard: Bench) -> None:
    answers = halyard.answers
    state, speed = "as raced", answers.speed_named("220")
    ride = answers.ride(state)
    at = int(np.argmin(np.abs(np.asarray(ride["speed"]) - speed)))
    pressure = 0.5 * np.asarray(answers.air.density) * speed**2
    springs = answers.suspension(state)
    misses = [
        np.abs(
            spring.height(pressure * ride[f"downforce_{axle}"][at], speed)
            - ride[f"ride_height_{axle}"][at]
        )
        for axle, spring in (("front", springs.front), ("rear", springs.rear))
    ]
    far = np.maximum(*misses)[answers.kept(state)] > 2e-6
    assert np.mean(far) <= 0.02


def test_of_the_planted_numbers_of_three_states_at_least_34_of_36_are_held(halyard: Bench) -> None:
    # two of the states were never measured; 80 % ranges would hold 29 by luck of the draw
    states = (("as raced", 8.0, 0.058, 0.071), ("more wing", 12.0, 0.058, 0.071),
              ("rear up, wing 9", 9.0, 0.056, 0.082))  # fmt: skip
    missed = []
    for state, wing, front, rear in states:
        for speed in (v / 3.6 for v in (140.0, 180.0, 200.0, 220.0)):
            planted = true_ride(speed, np.radians(wing), front, rear)[2]
            for name in ("total", "share", "drag"):
                said = summarise(halyard.answers.draws(state, name, speed))
                aim = getattr(planted, name)
                if not said.low <= aim <= said.high:
                    missed.append((state, round(3.6 * speed), name, aim, said.low, said.high))
    assert len(missed) <= 2, missed
