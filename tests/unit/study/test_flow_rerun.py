"""A rerun with larger cells: judged before anything is written, and gone without a trace if not."""

import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import FileFault, InputError
from tuftwork.files import read_project
from tuftwork.study.flow import rerun
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.rerun import rerun_coarser
from tuftwork.study.flow.spoken import prepared_or_spoken

CASE = "# the client's own words\n" + BLUFF_CASE.format(name="look", speed=120, longest=1.6)
CASE = CASE.replace("190 mm", "150 mm").replace('beside = "1.2 m"', 'beside = "1.2 m"  # wide')


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    return bluff_project(tmp_path / "car", CASE)


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = bluff_project(tmp_path_factory.mktemp("flown") / "car", CASE)
    run_case(folder)
    return folder


@pytest.fixture
def done(flown: Path, tmp_path: Path) -> Path:
    """A project whose case has been run to its end."""
    return Path(shutil.copytree(flown, tmp_path / "done"))


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize("by", ["2.5", "1.1", "9"])
def test_larger_cells_that_are_refused_leave_nothing_behind(fresh: Path, by: str) -> None:
    before = everything(fresh)
    told = CliRunner().invoke(program, ["flow", "rerun", str(fresh), "--coarser", by])
    assert told.exit_code == 2, told.output
    assert everything(fresh) == before


def test_what_refuses_them_is_told_of_the_case_it_is_about(fresh: Path) -> None:
    with pytest.raises(FileFault, match=r"look, cell 375 mm: .*must hold at least 4 cells"):
        rerun_coarser(fresh, "", 2.5)
    with pytest.raises(InputError, match=r"--coarser = 1\.1 times: must lie between 1\.2 and 4"):
        rerun_coarser(fresh, "", 1.1)


def test_a_case_that_is_refused_itself_is_not_run_with_larger_cells(fresh: Path) -> None:
    path = fresh / "project.toml"
    text = path.read_text("utf-8").replace("settle = 0.5", "settle = 1.0")
    path.write_text(text, encoding="utf-8")
    before = everything(fresh)
    with pytest.raises(FileFault, match=r"Runs at most \(longest\)"):
        rerun_coarser(fresh, "look", 1.25)
    assert everything(fresh) == before


@pytest.fixture
def is_heard() -> Iterator[None]:
    """Ctrl-C reaches this process, also where a shell started it with the signal ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("is_heard")
def test_ctrl_c_while_they_are_judged_leaves_nothing_behind(
    fresh: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything(fresh)

    def interrupted(*_: Any) -> None:
        signal.raise_signal(signal.SIGINT)  # in this thread, at once

    monkeypatch.setattr(rerun, "prepared_or_spoken", interrupted)
    with pytest.raises(KeyboardInterrupt):
        rerun_coarser(fresh, "look", 1.25)
    assert everything(fresh) == before


def test_a_case_that_is_stopped_is_not_followed_by_larger_cells(
    fresh: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Desk, "watch", lambda *_: False)
    base, other = rerun_coarser(fresh, "look", 1.25)
    assert (base.state, other.state) == ("cancelled", "not begun")
    assert [case.name for case in read_project(fresh).project.flow.cases] == ["look"]


@pytest.mark.usefixtures("is_heard")
def test_ctrl_c_before_their_first_step_takes_them_out_again(
    done: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the grid is cut the first Ctrl-C stops at once: there is nothing to keep."""
    before = everything(done)

    def interrupted(case: Any, seen: Any) -> Any:
        assert "cell 187.5 mm" in (done / "project.toml").read_text("utf-8")
        signal.raise_signal(signal.SIGINT)  # in this thread, at once
        return prepared_or_spoken(case, seen)

    monkeypatch.setattr("tuftwork.study.flow.desk.prepared_or_spoken", interrupted)
    with pytest.raises(KeyboardInterrupt):
        rerun_coarser(done, "look", 1.25)
    assert everything(done) == before


def test_a_project_that_was_edited_meanwhile_keeps_the_edit(
    done: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = done / "project.toml"

    def edited(*_: Any) -> None:
        path.write_text(path.read_text("utf-8").replace("A small car", "Mine"), "utf-8")
        raise KeyboardInterrupt

    monkeypatch.setattr("tuftwork.study.flow.desk.prepared_or_spoken", edited)
    with pytest.raises(KeyboardInterrupt):
        rerun_coarser(done, "look", 1.25)
    project = read_project(done).project
    assert project.about.title == "Mine"
    assert [case.name for case in project.flow.cases] == ["look"]


@pytest.mark.usefixtures("is_heard")
def test_ctrl_c_before_a_run_begins_is_told_as_that(
    fresh: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(case: Any, seen: Any) -> Any:
        signal.raise_signal(signal.SIGINT)  # in this thread, at once
        return prepared_or_spoken(case, seen)

    monkeypatch.setattr("tuftwork.study.flow.desk.prepared_or_spoken", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run_case(fresh)
    (state,) = (fresh / "results" / "flow").rglob("run.json")
    told = Desk(folder=state.parent).read()
    assert told is not None
    assert (told["state"], told["text"]) == ("cancelled", "stopped before it began")


def test_they_are_written_and_run_once_the_case_is_done(done: Path) -> None:
    base, other = rerun_coarser(done, "look", 1.25)
    assert (base.state, other.state) == ("was done", "done")
    cases = read_project(done).project.flow.cases
    assert [case.counts for case in cases] == [True, False]
    assert cases[1].evidence == other.evidence != ""
    # again: nothing is left to do
    assert [one.state for one in rerun_coarser(done, "look", 1.25)] == ["was done", "was done"]
