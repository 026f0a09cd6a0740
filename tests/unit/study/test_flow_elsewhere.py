"""A project folder that two hosts share: a run of the other one is told as its notes have it."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import InputError
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.process import age_of, here, host_of, spoken_age
from tuftwork.study.flow.sweep_desk import begin_sweep, is_sweeping

CASE = BLUFF_CASE.format(name="look", speed=120, longest=1.6)
NO_PROCESS = 2**22 + 1
"""No system gives this number away: what bears it does not run here."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return bluff_project(tmp_path / "car", CASE)


def noted(folder: Path, ago: float, **more: Any) -> Desk:
    """Write down a run as its own host does, so many minutes ago."""
    opened = Bench(folder, runs_itself=False).opened
    desk = Desk.of(folder, built_case(opened.project, folder, run_named(opened.project)).digest)
    desk.note(**{"state": "running", "case": "look", "pid": NO_PROCESS, "born": "other-start 12",
                 "host": "pit-wall", "step": 40, "travel": 0.4, "longest": 1.6, "seconds": 9.0,
                 "text": "", "faults": []} | more)  # fmt: skip
    set_back(desk.folder / "run.json", "updated", ago)
    return desk


def set_back(path: Path, key: str, ago: float) -> None:
    note = json.loads(path.read_text("utf-8"))
    note[key] = (datetime.now(UTC) - timedelta(minutes=ago)).isoformat(timespec="seconds")
    path.write_text(json.dumps(note), "utf-8")


def shown(folder: Path) -> str:
    return " ".join(CliRunner().invoke(program, ["flow", "show", str(folder)]).stdout.split())


def test_a_run_on_another_host_that_was_heard_of_just_now_is_running_there(folder: Path) -> None:
    noted(folder, ago=1)
    run = Bench(folder, runs_itself=False).page("flow")["run"]
    assert (run["state"], run["is_going"], run["elsewhere"]) == ("running", True, "pit-wall")
    assert "Run of 'look': running on pit-wall." in shown(folder)
    with pytest.raises(InputError, match="is running already on pit-wall"):
        run_case(folder)
    assert json.loads(next(folder.rglob("run.json")).read_text("utf-8"))["state"] == "running"


def test_one_not_heard_of_for_a_while_is_told_so_and_may_be_run_here(folder: Path) -> None:
    desk = noted(folder, ago=14)
    run = Bench(folder, runs_itself=False).page("flow")["run"]
    assert (run["state"], run["is_going"]) == ("unheard", False)
    for said in (run["text"], shown(folder)):
        assert "Last heard of 14 minutes ago on pit-wall" in said
        assert "Look there whether it still runs" in said
        assert "starts afresh when it is run here" in said
    assert run_case(folder)["state"] == "done"
    state = desk.read()
    assert state is not None
    assert (state["state"], state["host"]) == ("done", here())


def test_it_can_be_told_to_stop_from_here_while_it_runs_there(folder: Path) -> None:
    desk = noted(folder, ago=0)
    assert Bench(folder, runs_itself=False).live({"do": "flow_cancel"})[0]["asked"]
    assert (desk.folder / "stop").exists()


@pytest.mark.parametrize("host", [None, "this one"])
def test_a_run_of_this_host_whose_process_has_gone_is_lost_at_once(
    folder: Path, host: str | None
) -> None:
    """Notes of older versions name no host; they were read as of this one."""
    desk = noted(folder, ago=0, host=None if host is None else here())
    state = desk.read()
    assert state is not None
    assert state["state"] == "lost"
    assert "elsewhere" not in state


def test_a_run_that_ended_elsewhere_is_done_and_nothing_more(folder: Path) -> None:
    state = noted(folder, ago=900, state="cancelled", text="stopped at step 40").read()
    assert state is not None
    assert (state["state"], state["text"]) == ("cancelled", "stopped at step 40")


@pytest.mark.parametrize(("silent", "is_going"), [(2, True), (14, False)])
def test_a_sweep_on_another_host_goes_on_while_its_cases_are_heard_of(
    folder: Path, silent: float, is_going: bool
) -> None:
    begin_sweep(folder, ["look"])
    path = folder / "results" / "flow" / "sweep.json"
    note = json.loads(path.read_text("utf-8")) | {"host": "pit-wall", "pid": NO_PROCESS}
    path.write_text(json.dumps(note), "utf-8")
    assert is_sweeping(folder)  # it has just begun
    set_back(path, "started", 300)
    assert not is_sweeping(folder)
    noted(folder, ago=silent)
    assert is_sweeping(folder) == is_going


@pytest.mark.parametrize(
    ("age", "words"),
    [(0, "1 minute ago"), (90, "2 minutes ago"), (5400, "90 minutes ago"),
     (4 * 3600, "4 hours ago"), (3 * 86_400, "3 days ago"), (float("inf"), "at an unknown time")],
)  # fmt: skip
def test_an_age_is_told_as_a_person_says_it(age: float, words: str) -> None:
    assert spoken_age(age) == words


def test_a_note_without_a_readable_time_is_as_old_as_can_be() -> None:
    for when in (None, "", "yesterday", "2026-01-01T00:00:00"):  # the last names no time zone
        assert age_of(when) == float("inf")
    assert age_of((datetime.now(UTC) + timedelta(minutes=9)).isoformat()) == 0.0  # clocks differ
    assert host_of({"host": here()}) == host_of({}) == ""
