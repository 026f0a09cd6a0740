"""One run of a case at a time, and what becomes of its process, its record and its files."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import Cancelled, InputError, UnknownName
from tuftwork.files.hold import holding
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.files import slugs
from tuftwork.study.flow.gentle import gently
from tuftwork.study.flow.process import born, is_alive
from tuftwork.study.flow.sweep import run_sweep
from tuftwork.study.flow.sweep_desk import noted_sweep

CASE = BLUFF_CASE.format(name="look", speed=120, longest=1.6)
POSIX = pytest.mark.skipif(os.name != "posix", reason="the system has no such locks or signals")
LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks /proc")


def desk_of(folder: Path) -> Desk:
    opened = Bench(folder, runs_itself=False).opened
    return Desk.of(folder, built_case(opened.project, folder, run_named(opened.project)).digest)


@POSIX
def test_a_case_that_two_begin_at_one_moment_is_run_by_one(tmp_path: Path) -> None:
    """Neither finds a note of the other: the folder itself is held."""
    folder = bluff_project(tmp_path / "car", CASE)
    desk = desk_of(folder)
    with holding(desk.folder) as is_mine:
        assert is_mine
        with pytest.raises(InputError, match="is running already"):
            run_case(folder)
        assert desk.read() is None  # the note of the one that runs is left alone
    assert run_case(folder)["state"] == "done"


@POSIX
def test_one_sweep_goes_on_in_a_project(tmp_path: Path) -> None:
    """A second one would take cases away from the first, and forget its note at its end."""
    folder = bluff_project(tmp_path / "car", CASE)
    with holding(folder / "results" / "flow"), pytest.raises(InputError, match="is going on here"):
        run_sweep(folder)
    with pytest.raises(UnknownName):
        run_sweep(folder, ["no such case"])
    assert noted_sweep(folder) is None  # what is refused leaves no note
    assert [one.state for one in run_sweep(folder)] == ["done"]


@POSIX
def test_a_hold_ends_with_its_process(tmp_path: Path) -> None:
    code = f"""
import sys, time
from pathlib import Path
from tuftwork.files.hold import holding
with holding(Path({str(tmp_path)!r})) as is_mine:
    print(is_mine, flush=True)
    time.sleep(60)
"""
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline().strip() == "True"
        with holding(tmp_path) as is_mine:
            assert not is_mine
        other.kill()
    with holding(tmp_path) as is_mine:
        assert is_mine


@LINUX
def test_a_number_that_another_process_got_is_not_that_process(tmp_path: Path) -> None:
    assert is_alive(os.getpid(), born(os.getpid()))
    assert is_alive(os.getpid())  # notes of older versions say no more
    assert not is_alive(os.getpid(), "another-start 123")
    folder = bluff_project(tmp_path / "car", CASE)
    desk = desk_of(folder)
    desk.note(state="running", pid=os.getpid(), born="another-start 123")
    state = desk.read()
    assert state is not None
    assert state["state"] == "lost"
    assert run_case(folder)["state"] == "done"


@LINUX
def test_a_process_that_ended_and_was_not_asked_for_is_not_alive() -> None:
    child = subprocess.Popen([sys.executable, "-c", ""])
    end = time.monotonic() + 20
    while is_alive(child.pid):
        assert time.monotonic() < end
        time.sleep(0.02)
    os.kill(child.pid, 0)  # its number is still taken
    child.wait()


@POSIX
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_request_to_end_is_taken_as_one_to_stop(number: signal.Signals) -> None:
    before = signal.getsignal(number)
    asked = threading.Event()

    def work() -> None:
        with gently(asked.set):
            os.kill(os.getpid(), number)
            assert asked.wait(5.0)
            raise Cancelled("stopped at step 4")

    with pytest.raises(KeyboardInterrupt, match="It goes on from there"):
        work()
    assert signal.getsignal(number) is before


def shown(folder: Path, *more: str) -> tuple[int, str]:
    out = CliRunner().invoke(program, ["flow", "show", str(folder), *more])
    return out.exit_code, " ".join(out.output.split())


def test_a_record_that_is_lost_or_damaged_is_told_and_an_older_one_is_called_so(
    tmp_path: Path,
) -> None:
    folder = bluff_project(tmp_path / "car", CASE)
    run_case(folder)
    table = folder / "project.toml"
    assert "has been changed since" not in shown(folder)[1]
    table.write_text(table.read_text("utf-8").replace("120 km/h", "130 km/h"), "utf-8")
    assert "The case has been changed since" in shown(folder)[1]
    (record,) = (folder / "evidence").glob("*.npz")
    record.chmod(0o644)
    whole = record.read_bytes()
    record.write_bytes(whole[: len(whole) // 2])
    for becomes in ("is not what was registered", "is not there"):
        said = f"The record of 'look', flow-1, {becomes}: evidence/{record.name}."
        assert said in shown(folder)[1]
        page: dict[str, Any] = Bench(folder, runs_itself=False).page("flow")
        assert any(text.startswith(said) for text in page["notices"])
        record.unlink(missing_ok=True)


def test_names_that_differ_keep_files_that_differ(tmp_path: Path) -> None:
    """Letters of any script stay; what would fall together gets a number."""
    names = ["Übung 30/60", "übung 30 60", "翼 左", "翼 右", "///", "..", "x" * 300]
    found = slugs(names)
    assert list(found.values())[:6] == ["übung-30-60", "übung-30-60-2", "翼-左", "翼-右", "case",
                                        "case-2"]  # fmt: skip
    assert len(found["x" * 300]) == 60
    cases = CASE.replace('"look"', '"30/60"') + CASE.replace('"look"', '"30 60"').replace(
        "120", "90"
    )
    folder = bluff_project(tmp_path / "car", cases)
    surface = folder / "evidence" / "bluff.stl"
    text = surface.read_text("utf-8")
    other = text.replace("solid body", "solid ///").replace("endsolid body", "endsolid")
    moved = []
    for line in other.splitlines():
        words = line.split()
        if words[:1] == ["vertex"]:
            line = " ".join([*words[:3], f"{float(words[3]) + 1.0}"])
        moved.append(line)
    surface.write_text(text.replace("solid body", "solid ..") + "\n".join(moved) + "\n", "utf-8")
    written = [
        Path(name) for case in ("30/60", "30 60") for name in run_case(folder, case)["files"]
    ]
    assert len({*written}) == len(written)
    assert {path.parent.name for path in written} == {"30-60", "30-60-2"}
    assert {path.name for path in written} >= {"surface-case.vtp", "surface-case-2.vtp"}
    speeds = []
    for run in Bench(folder, runs_itself=False).opened.project.flow.cases:  # type: ignore[union-attr]
        out = CliRunner().invoke(
            program, ["flow", "show", str(folder), "--case", run.name, "--json"]
        )
        speeds.append(json.loads(out.stdout)["result"]["at"])
    assert np.unique(speeds).size == 2
