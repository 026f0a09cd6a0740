"""A splitter's channels in the study: page, chains, command, and the demo's story with them."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.cli.frame import BAD_INPUT, NO_ANSWER
from tuftwork.study import Bench
from tuftwork.study.front_rows import fronts_in
from tuftwork.study.job import FRONT_TABLES

RUN = CliRunner()


def _front(bench: Bench, state: str = "") -> dict[str, object]:
    (front,) = bench.page("floor", **({"state": state} if state else {}))["fronts"]
    return dict(front)


def _numbers(front: dict[str, object]) -> dict[str, dict[str, float]]:
    return {row["key"]: row["number"] for row in front["numbers"]}  # type: ignore[attr-defined]


def test_the_demo_takes_its_splitter_from_channels(halyard: Bench) -> None:
    assert FRONT_TABLES in halyard.answers.results
    front = _front(halyard)
    assert front["engine"] == "channels"
    numbers = _numbers(front)
    assert numbers["ramps load"]["best"] > numbers["middle load"]["best"] > 0
    parts = sum(numbers[k]["best"] for k in ("upper", "middle load", "ramps load"))
    assert numbers["total"]["best"] == pytest.approx(parts, rel=0.05)


def test_its_load_on_the_page_is_that_of_the_budget(halyard: Bench) -> None:
    total = _numbers(_front(halyard))["total"]["best"]
    rows = halyard.page("budget")["rows"]
    own = [r for r in rows if r["name"] == "splitter" or r["name"].endswith("→ splitter")]
    assert total == pytest.approx(sum(r["total"]["best"] for r in own), abs=0.03)


def test_every_number_has_its_chain(halyard: Bench) -> None:
    for row in _front(halyard)["numbers"]:  # type: ignore[attr-defined]
        chain = halyard.why(row["number"]["why"])
        assert chain["steps"]


def test_the_lip_droops_and_a_speed_is_named_that_would_draw_it_down(halyard: Bench) -> None:
    numbers = _numbers(_front(halyard))
    assert 0 < numbers["droop"]["best"] < 10
    assert numbers["diverges"]["low"] > 300


def test_the_nose_is_shown_up_and_down(halyard: Bench) -> None:
    sweep = _front(halyard)["sweep"]
    heights = np.array(sweep["clearance_mm"])  # type: ignore[index]
    assert np.all(np.diff(heights) > 0)
    assert heights[0] < sweep["now_mm"] < heights[-1]  # type: ignore[index]


def test_another_state_is_answered_where_it_rides(halyard: Bench) -> None:
    states = halyard.answers.states
    base, raised = _numbers(_front(halyard)), _numbers(_front(halyard, states[-1]))
    assert raised["total"]["best"] != base["total"]["best"]


def test_what_it_does_to_others_stands_in_the_budget(halyard: Bench) -> None:
    names = {r["name"] for r in halyard.page("budget")["rows"]}
    assert {"air through the car → splitter", "splitter → floor", "splitter → rear wing"} <= names


def test_lower_it_carries_more_as_long_as_it_does_not_choke(halyard: Bench) -> None:
    answers = halyard.answers
    high, low = (
        fronts_in(answers, answers.states[0], 61.1, front=h, rear=0.0568)[0]["numbers"]["total"][0]
        for h in (0.058, 0.046)
    )
    assert low > high


class TestCommand:
    def test_it_shows_load_droop_and_what_is_behind(self, halyard: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(halyard.folder)])
        assert told.exit_code == 0
        for word in ("droop of the lip", "turns the air up at", "The nose moved up and down"):
            assert word in told.output

    def test_it_answers_at_heights_and_a_speed_asked_for(self, halyard: Bench) -> None:
        asked = ["splitter", str(halyard.folder), "--front", "40", "--speed", "180", "--json"]
        told = RUN.invoke(program, asked)
        assert told.exit_code == 0
        tree = json.loads(told.output)
        assert tree["speed_kmh"] == 180.0
        assert tree["fronts"][0]["name"] == "splitter"

    def test_a_height_under_the_road_is_refused(self, halyard: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(halyard.folder), "--front", "-3"])
        assert told.exit_code == BAD_INPUT

    def test_a_car_without_channels_is_told_how_to_describe_them(self, student: Bench) -> None:
        told = RUN.invoke(program, ["splitter", str(student.folder)])
        assert told.exit_code == NO_ANSWER
        assert "parts.channel" in told.output + told.stderr
