"""Every command: what it prints, what ``--json`` gives, which exit code."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from tuftwork.cli import EXIT_CODES, program
from tuftwork.study import Bench

RUN = CliRunner()


def call(*words: str, code: int = 0) -> str:
    done = RUN.invoke(program, list(words))
    assert done.exit_code == code, done.output
    return done.output


def tree(*words: str, code: int = 0) -> Any:
    return json.loads(call(*words, "--json", code=code))


def test_help_names_every_verb() -> None:
    text = call("--help")
    for verb in ("new", "demo", "check", "study", "open", "report", "claims", "budget", "map",
                 "export", "doctor"):  # fmt: skip
        assert verb in text


def test_new_then_check(tmp_path: Path) -> None:
    folder = str(tmp_path / "mine")
    assert "project.toml" in call("new", folder, "--title", "Mine")
    assert tree("check", folder)["project"] == "Mine"


def test_demo_refuses_a_folder_that_holds_something(tmp_path: Path) -> None:
    (tmp_path / "x").write_text("mine")
    assert "already holds something" in call("demo", str(tmp_path), code=2)
    assert (tmp_path / "x").read_text() == "mine"
    assert "prototype" in call("demo", str(tmp_path / "n"), "--which", "protype", code=2)


def test_study_prints_the_answer_and_three_findings(halyard: Bench) -> None:
    text = call("study", str(halyard.folder))
    assert "CzS" in text
    assert "1. " in text
    assert "3. " in text
    assert tree("study", str(halyard.folder))["run"]["state"] == "done"


def test_claims_exit_code_says_that_some_contradict(halyard: Bench) -> None:
    page = tree("claims", str(halyard.folder), code=1)
    assert {c["id"] for c in page["claims"]} == {"C1", "C2a", "C2b", "C3a", "C3b", "C4", "C5"}
    assert "contradicts" in call("claims", str(halyard.folder), code=1)


def test_budget_and_map_show_ride_heights(halyard: Bench) -> None:
    assert "hf" in call("budget", str(halyard.folder), "--speed", "220 km/h")
    page = tree("map", str(halyard.folder), "--state", "more wing")
    assert page["state"] == "more wing"
    assert "Studied" in call("budget", str(halyard.folder), "--speed", "55 km/h", code=2)


def test_map_and_export_write_files(halyard: Bench, tmp_path: Path) -> None:
    call("map", str(halyard.folder), "--save", str(tmp_path / "m.nc"))
    assert (tmp_path / "m.nc").stat().st_size > 10_000
    files = tree("export", str(halyard.folder), "--to", str(tmp_path / "out"))["files"]
    assert all(Path(f).is_file() for f in files)


def test_report_writes_a_pdf(halyard: Bench) -> None:
    assert Path(tree("report", str(halyard.folder))["pdf"]).read_bytes().startswith(b"%PDF")


def test_open_prints_a_page_without_a_server(halyard: Bench) -> None:
    page = json.loads(call("open", str(halyard.folder), "--page", "/budget?speed=220"))
    assert page["state"] == "as raced"


def test_doctor_says_what_is_here() -> None:
    rows = {row["what"]: row["found"] for row in tree("doctor")}
    assert rows["python"].startswith("3.")
    assert rows["tuftwork"]


@pytest.mark.parametrize("verb", ["check", "study", "claims", "budget", "map", "report", "export"])
def test_a_missing_project_is_refused_with_a_cure(verb: str, tmp_path: Path) -> None:
    text = call(verb, str(tmp_path / "nowhere"), code=2)
    assert "tuftwork new" in text.replace("\n", " ")
    assert json.loads(call(verb, str(tmp_path / "nowhere"), "--json", code=2))["faults"]


def test_every_exit_code_is_explained() -> None:
    assert set(EXIT_CODES) == {0, 1, 2, 3, 130}
