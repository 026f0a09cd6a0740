"""Commands ``section`` and ``wing``: answers, exports, refusals, exit codes."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.demo import write_student

RUNNER = CliRunner()


def call(*words: str, code: int = 0) -> str:
    done = RUNNER.invoke(program, list(words))
    assert done.exit_code == code, done.output + done.stderr
    return done.output + done.stderr


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_student(Path(tmp_path_factory.mktemp("cli")) / "student")


def test_section_of_digits_says_shape_and_point() -> None:
    tree = json.loads(call("section", "NACA 4412", "--incidence", "2", "--json"))
    assert tree["elements"][0]["thickness"] == pytest.approx(0.12, abs=0.002)
    assert 0.55 < tree["point"]["lift"] < 0.75
    assert tree["point"]["layers"][0]["transition"] is not None


def test_section_of_a_project_holds_its_elements_and_slot(project: Path) -> None:
    tree = json.loads(call("section", str(project), "--json"))
    assert len(tree["elements"]) == 2
    assert tree["point"]["slots"][0]["gap"] == pytest.approx(0.015, rel=0.02)
    assert tree["point"]["incidence_deg"] == pytest.approx(2.0)


def test_section_writes_a_table_and_files(tmp_path: Path) -> None:
    text = call("section", "0012", "--export", str(tmp_path / "out"), "--scale", "300")
    assert "element 1, upper" in text
    rows = (tmp_path / "out" / "section.csv").read_text().splitlines()
    assert rows[0] == "element,x_mm,y_mm"
    assert max(float(r.split(",")[1]) for r in rows[1:]) == pytest.approx(300.0)
    assert (tmp_path / "out" / "section.dxf").is_file()


def test_wing_says_loads_span_and_hinge(project: Path, tmp_path: Path) -> None:
    words = ("wing", str(project), "--speed", "90 km/h", "--lever", "60", "--json")
    tree = json.loads(call(*words, "--export", str(tmp_path)))
    loads = {row["label"]: row["number"] for row in tree["loads"]}
    proof = loads["least proof load at this setting, 1.5 times that at 90 km/h"]
    assert proof["best"] == pytest.approx(1.5 * loads["downforce"]["best"])
    assert any("top speed is not known" in notice for notice in tree["notices"])
    slow = json.loads(call("wing", str(project), "--speed", "45 km/h", "--json"))
    assert slow["loads"][-1]["number"]["best"] == pytest.approx(proof["best"])  # not 45 km/h's
    assert loads["actuator force"]["best"] > 0.0
    assert len(tree["span"]["y_m"]) == len(tree["span"]["margin_deg"])
    assert [Path(f).suffix for f in tree["files"]] == [".csv", ".dxf", ".stl"]
    assert "proof load" in tree["cautions"][0]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("section", "nothing.dat"), "file not found"),
        (("section", "NACA 99"), "four or five digits"),
        (("section", "NACA 0012", "--height", "-0.1"), "must be above 0"),
        (("wing", "{project}", "--wing", "rare wing"), "rear wing"),
        (("wing", "{project}", "--speed", "fast"), "not a speed"),
    ],
)
def test_bad_input_is_refused_with_its_cure(project: Path, words, said) -> None:
    assert said in call(*(w.format(project=project) for w in words), code=2)
