"""The load sheet of a splitter: in closed form, with solved channels, with and without stays."""

import json

import numpy as np
import pytest
from pydantic import ValidationError
from typer.testing import CliRunner

from tuftwork.car import Splitter
from tuftwork.cli import program
from tuftwork.study import Bench
from tuftwork.study.fastest import fastest
from tuftwork.study.front_hold import Asked, hold_labels, hold_quantities, hold_rows

RUN = CliRunner()
STAYS = {"count": 2, "ahead": "60 mm ± 3 mm", "angle": "50 ° ± 5 °"}


def numbers(row: dict[str, object]) -> dict[str, dict[str, float]]:
    return {n["key"].removeprefix("hold "): n["number"] for n in row["numbers"]}  # type: ignore[attr-defined]


def test_the_closed_form_has_a_proof_load_at_the_fastest_the_car_goes(halyard: Bench) -> None:
    answers = halyard.answers
    state = answers.states[0]
    (row,) = hold_rows(answers, state, "live/splitter/x")
    told = numbers(row)
    assert "stay" not in told
    assert "[parts.stays]" in row["text"]
    least = 1.5 * max(told["plate"]["best"], told["dive"]["best"])
    assert told["proof"]["best"] == pytest.approx(least, rel=0.05)
    assert told["proof"]["low"] < told["proof"]["best"] < told["proof"]["high"]
    # never more than the whole splitter carries in the budget, and more than a third of it
    top = fastest(answers, state).speed
    pressure = 0.5 * float(np.median(answers.air.density)) * top**2
    budget = answers.budget(state, answers.speeds[-1])
    own = next(r for r in budget.of_kind("part") if r.name == "splitter")
    whole = pressure * float(np.median(own.total))
    assert whole / 3 < told["plate"]["best"] < whole
    assert 0.0 < told["place"]["best"] < 85.0  # of a plate of 85 mm, in mm
    said = " ".join(row["notices"])
    for word in ("proof load", "closed course", "licensed engineer", "Scrutineers", "40"):
        assert word in said


def test_loads_grow_with_the_square_of_speed(halyard: Bench) -> None:
    answers = halyard.answers
    slow, fast = (
        numbers(hold_rows(answers, answers.states[0], "live/splitter/x",
                          Asked(speed=v, front=0.055, rear=0.07))[0])["plate"]["best"]
        for v in (40.0, 80.0)
    )  # fmt: skip
    assert fast == pytest.approx(4.0 * slow)


def test_command_page_and_chain_tell_the_sheet(halyard: Bench) -> None:
    told = RUN.invoke(program, ["splitter", str(halyard.folder), "--json"])
    assert told.exit_code == 0
    tree = json.loads(told.output)
    assert tree["fronts"] == []
    (sheet,) = tree["sheets"]
    (front,) = halyard.page("floor")["fronts"]
    assert numbers(front["hold"])["proof"]["text"] == numbers(sheet)["proof"]["text"]
    assert "closed form, CzS" in front["hold"]["text"]
    for row in front["hold"]["numbers"]:
        assert halyard.why(row["number"]["why"])["notices"]
    words = RUN.invoke(program, ["splitter", str(halyard.folder)]).output
    assert "least proof load" in words
    assert "parts.channel" in words


def test_solved_channels_have_a_sheet_too(front_car: Bench) -> None:
    answers = front_car.answers
    (row,) = hold_rows(answers, answers.states[0], "live/splitter/x")
    told = numbers(row)
    (front,) = front_car.page("floor")["fronts"]
    total = next(n["number"] for n in front["numbers"] if n["key"] == "total")["best"]
    top = fastest(answers, answers.states[0]).speed
    pressure = 0.5 * float(np.median(answers.air.density)) * top**2
    assert 0.0 < told["plate"]["best"] < 1.2 * pressure * total
    assert "evenly" in row["notices"][0]


class TestStays:
    def part(self, halyard: Bench, **stays: object) -> Splitter:
        own = halyard.answers.project.part("splitter")
        assert isinstance(own, Splitter)
        return own.with_values({"stays": STAYS | stays})

    def test_their_pull_is_told_and_proven(
        self, halyard: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        part = self.part(halyard)
        answers = halyard.answers
        monkeypatch.setattr("tuftwork.study.front_hold.parts_in_state", lambda *_: (part,))
        (row,) = hold_rows(answers, answers.states[0], "live/splitter/x")
        told = numbers(row)
        # a lever about the bodywork's edge, by hand: M / (2 · 60 mm · sin 50°)
        by_hand = told["edge"]["best"] / (2 * 0.060 * np.sin(np.radians(50.0)))
        assert told["stay"]["best"] == pytest.approx(by_hand, rel=0.01)
        assert told["proof stay"]["best"] == pytest.approx(1.5 * told["stay"]["best"])
        assert "[parts.stays]" not in row["text"]

    def test_where_they_hold_enters_the_draws_with_a_name(self, halyard: Bench) -> None:
        project = halyard.answers.project
        assert hold_quantities(project) == {}
        parts = tuple(p for p in project.parts if p.name != "splitter")
        stayed = project.model_copy(update={"parts": (*parts, self.part(halyard))})
        assert set(hold_quantities(stayed)) == set(hold_labels(stayed)) == {
            "splitter.stays.ahead", "splitter.stays.angle",
        }  # fmt: skip

    def test_stays_beyond_the_lip_are_refused(self, halyard: Bench) -> None:
        with pytest.raises(ValidationError, match="beyond the lip"):
            self.part(halyard, ahead="120 mm")
