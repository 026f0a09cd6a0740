"""Commands of a test day: what they say, what they write, what they answer with."""

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.study import Bench


@pytest.fixture(scope="module")
def folder(halyard: Bench, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("commands") / "halyard"
    shutil.copytree(halyard.folder, made)
    return made


def ask(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(program, list(words))
    return result.exit_code, result.output


def test_plan_writes_the_run_sheet(folder: Path) -> None:
    code, text = ask("plan", str(folder), "--sheet")
    assert code == 0
    assert "Closed course" in text
    assert (folder / "out" / "run-sheet.pdf").is_file()
    assert (folder / "out" / "run-sheet.csv").is_file()
    code, text = ask("plan", str(folder), "--json")
    assert json.loads(text)["is_enough"]


def test_open_faults_are_a_no_and_cures_can_be_taken_and_undone(folder: Path) -> None:
    code, text = ask("log", str(folder))
    assert code == 1
    assert "on the sheet, no driver" in " ".join(text.split())
    code, text = ask("log", str(folder), "--take-all", "--json")
    assert code == 0
    assert json.loads(text)["left"] == 0
    code, _ = ask("log", str(folder), "--undo", "1", "--json")
    assert code == 1
    code, text = ask("log", str(folder), "--take", "77")
    assert code == 2
    ask("log", str(folder), *[w for n in range(1, 6) for w in ("--undo", str(n))])


def test_reduce_shows_results_differences_and_the_coast_down(folder: Path) -> None:
    code, text = ask("reduce", str(folder))
    assert code == 0
    for word in ("CzSr", "below noise", "Coast-down", "wheel rate rear"):
        assert word in text
    code, text = ask("reduce", str(folder), "--version", "as read", "--json")
    assert json.loads(text)["version"] == "as read"
    code, _ = ask("reduce", str(folder), "--version", "best")
    assert code == 2


def test_agree_writes_the_memo(folder: Path) -> None:
    code, text = ask("agree", str(folder), "--memo")
    assert code == 0
    assert "Test next" in text
    assert (folder / "out" / "memo.pdf").is_file()


def test_a_day_that_is_not_there_is_refused(folder: Path) -> None:
    code, text = ask("reduce", str(folder), "--day", "last tuesday")
    assert code == 2
    assert "first day" in text
