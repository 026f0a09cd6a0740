"""A splitter's channels in the study: page, chains, command, on the demo car with ramps."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.cli.frame import BAD_INPUT, NO_ANSWER
from tuftwork.errors import NotCovered
from tuftwork.report.section.floor import floor_section
from tuftwork.study import Bench
from tuftwork.study.front_rows import fronts_in
from tuftwork.study.job import FRONT_TABLES

RUN = CliRunner()


def _front(bench: Bench, state: str = "") -> dict[str, object]:
    (front,) = bench.page("floor", **({"state": state} if state else {}))["fronts"]
    return dict(front)


def _numbers(front: dict[str, object]) -> dict[str, dict[str, float]]:
    return {row["key"]: row["number"] for row in front["numbers"]}  # type: ignore[attr-defined]


def test_a_car_with_a_channel_table_takes_its_splitter_from_it(front_car: Bench) -> None:
    assert FRONT_TABLES in front_car.answers.results
    front = _front(front_car)
    assert front["engine"] == "channels"
    numbers = _numbers(front)
    assert numbers["ramps load"]["best"] > numbers["middle load"]["best"] > 0
    parts = sum(numbers[k]["best"] for k in ("upper", "middle load", "ramps load"))
    assert numbers["total"]["best"] == pytest.approx(parts, rel=0.05)


def test_its_load_on_the_page_is_that_of_the_budget(front_car: Bench) -> None:
    total = _numbers(_front(front_car))["total"]["best"]
    rows = front_car.page("budget")["rows"]
    own = [r for r in rows if r["name"] == "splitter" or r["name"].endswith("→ splitter")]
    assert total == pytest.approx(sum(r["total"]["best"] for r in own), abs=0.03)


def test_its_level_lies_where_practice_puts_splitters_of_such_cars(front_car: Bench) -> None:
    # common practice, no source: 0.2 to 0.6 m² on a production-based car, mostly at the front
    numbers = _numbers(_front(front_car))
    assert 0.2 < numbers["total"]["best"] < 0.6
    assert numbers["front"]["best"] > 0.9 * numbers["total"]["best"]


def test_every_number_has_its_chain(front_car: Bench) -> None:
    for row in _front(front_car)["numbers"]:  # type: ignore[attr-defined]
        chain = front_car.why(row["number"]["why"])
        assert chain["steps"]


def test_the_lip_droops_and_a_speed_is_named_that_would_draw_it_down(front_car: Bench) -> None:
    numbers = _numbers(_front(front_car))
    assert 0 < numbers["droop"]["best"] < 10
    assert numbers["diverges"]["low"] > 300


def test_the_nose_is_shown_up_and_down(front_car: Bench) -> None:
    sweep = _front(front_car)["sweep"]
    heights = np.array(sweep["clearance_mm"])  # type: ignore[index]
    assert np.all(np.diff(heights) > 0)
    assert heights[0] < sweep["now_mm"] < heights[-1]  # type: ignore[index]


def test_another_state_is_answered_where_it_rides(front_car: Bench) -> None:
    states = front_car.answers.states
    base, raised = _numbers(_front(front_car)), _numbers(_front(front_car, states[-1]))
    assert raised["total"]["best"] != base["total"]["best"]


def test_what_it_does_to_others_stands_in_the_budget(front_car: Bench) -> None:
    names = {r["name"] for r in front_car.page("budget")["rows"]}
    assert {"air through the car → splitter", "splitter → floor", "splitter → rear wing"} <= names


def test_lower_it_carries_more_as_long_as_it_does_not_choke(front_car: Bench) -> None:
    answers = front_car.answers
    high, low = (
        fronts_in(answers, answers.states[0], 61.1, front=h, rear=0.0568)[0]["numbers"]["total"][0]
        for h in (0.058, 0.046)
    )
    assert low > high


class TestCommand:
    def test_it_shows_load_droop_and_what_is_behind(self, front_car: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(front_car.folder)])
        assert told.exit_code == 0
        for word in ("droop of the lip", "turns the air up at", "The nose moved up and down"):
            assert word in told.output

    def test_it_answers_at_heights_and_a_speed_asked_for(self, front_car: Bench) -> None:
        asked = ["splitter", str(front_car.folder), "--front", "40", "--speed", "180", "--json"]
        told = RUN.invoke(program, asked)
        assert told.exit_code == 0
        tree = json.loads(told.output)
        assert tree["speed_kmh"] == 180.0
        assert tree["fronts"][0]["name"] == "splitter"

    def test_a_height_under_the_road_is_refused(self, front_car: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(front_car.folder), "--front", "-3"])
        assert told.exit_code == BAD_INPUT

    def test_a_car_without_channels_is_told_how_to_describe_them(self, student: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(student.folder)])
        assert told.exit_code == NO_ANSWER
        assert "parts.channel" in told.output + told.stderr


class TestSharedAir:
    """The cooling net of the study has the splitter's air in it."""

    def test_the_net_passes_what_the_ramps_bring(self, front_car: Bench) -> None:
        air = front_car.answers.results["cooling"]["air"]
        flow = dict(zip(air["names"], np.asarray(air["flow"]), strict=True))
        fed = flow["splitter's air"]
        assert np.all(fed > 0.2)
        away = flow["wheel openings"] + flow["wells, below"]
        np.testing.assert_allclose(away, fed + flow["arch slots"], rtol=1e-9)

    def test_the_page_shows_it_among_what_comes_in(self, front_car: Bench) -> None:
        parts = {p["name"]: p for p in front_car.page("cooling")["net"]["parts"]}
        own = parts["splitter's air"]
        assert own["kind"] == "inlet"
        assert own["flow"]["best"] > 0.2

    def test_a_slider_leaves_it_there(self, front_car: Bench) -> None:
        told = front_car.live({"do": "cooling_at", "speed": 150.0, "air_c": 28.0})[0]
        assert "splitter's air" in json.dumps(told)

    def test_its_row_stands_in_the_budget(self, front_car: Bench) -> None:
        rows = {r["name"]: r for r in front_car.page("budget")["rows"]}
        assert rows["splitter → air through the car"]["front"]["best"] < -0.005


class TestWithoutAFloor:
    def test_the_page_shows_the_front_floor_alone(self, nose: Bench) -> None:
        page = nose.page("floor")
        assert page["floors"] == []
        assert page["answer"].startswith("No floor in this project")
        (front,) = page["fronts"]
        assert front["engine"] == "channels"
        total = next(r["number"] for r in front["numbers"] if r["key"] == "total")
        assert nose.why(total["why"])["steps"]

    def test_the_rail_says_what_stands_there(self, nose: Bench) -> None:
        rail = {r["page"]: r for r in nose.page("overview")["rail"]}
        assert rail["floor"]["support"] == "computed"
        assert rail["floor"]["note"] == "1 front floor"

    def test_the_report_has_it_as_a_sheet(self, nose: Bench, tmp_path: Path) -> None:
        data = floor_section(nose, nose.answers, tmp_path)
        assert data is not None
        assert data["sheets"] == []
        (sheet,) = data["alone"]
        assert (tmp_path / sheet["fronts"][0]["figure"]).stat().st_size > 2000

    def test_a_car_with_neither_is_told_what_to_add(self, student: Bench) -> None:
        with pytest.raises(NotCovered, match="kind 'floor'"):
            student.page("floor")
