"""The client report: a PDF that opens, and the same content as JSON."""

import json
import re
import tomllib
import zlib
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import tomlkit
from tests.unit.study.small_car import small_car

from tuftwork.demo.rig import tunnel_table
from tuftwork.errors import NotCovered
from tuftwork.files import new_project
from tuftwork.report import client_report, write_client_report
from tuftwork.report.client import _budget, usual_speed
from tuftwork.study import Bench
from tuftwork.study.answers import Answers


def test_the_report_is_a_pdf_with_the_answer_on_its_first_page(halyard: Bench) -> None:
    pdf, tree = client_report(halyard)
    assert pdf.startswith(b"%PDF")
    assert tree["overview"]["answer"].startswith("At 220\u202fkm/h")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf + _streams(pdf))) >= 6


def test_the_json_holds_every_number_with_its_range(halyard: Bench) -> None:
    written = write_client_report(halyard)
    tree = json.loads(Path(written["json"]).read_text("utf-8"))
    shown = [row["name"] for row in tree["budget"]["shown"]]
    others = tree["budget"]["others"]
    assert others["row"]["name"] in shown
    assert not set(others["names"]) & set(shown)
    total = next(row for row in tree["budget"]["rows"] if row["kind"] == "total")["total"]
    assert total["low"] < total["best"] < total["high"]
    assert "hf" in total["at"]
    assert tree["chains"]
    assert all(chain["steps"] for chain in tree["chains"])


def test_figure_and_table_of_the_budget_stand_at_one_speed_and_have_the_same_rows() -> None:
    """Two studied speeds less than a tenth of a km/h apart are two."""
    speeds = tuple(v / 3.6 for v in (150.0, 220.0, 220.03, 250.0))
    small = SimpleNamespace(kind="interaction", name="other interactions (2)")
    whole = SimpleNamespace(kind="total", name="whole car")
    asked: list[float] = []

    def page(name: str, speed: str) -> dict[str, Any]:
        asked.append(Answers.speed_named(answers, speed))
        row = {"kind": "interaction", "name": small.name}
        named = (("interaction", "wing → floor"), ("total", "whole car"), ("run", "3-D flow"))
        rows = [{"kind": kind, "name": told} for kind, told in named]
        return {"rows": rows, "others": {"row": row, "names": ["wing → floor"], "said": ""}}

    def budget(state: str, speed: float) -> SimpleNamespace:
        asked.append(speed)
        return SimpleNamespace(gathered=(small, whole))

    answers: Any = SimpleNamespace(speeds=speeds, states=("as raced",), budget=budget)
    shown = _budget(SimpleNamespace(page=page), answers)["shown"]  # type: ignore[arg-type]
    assert asked == [speeds[2], speeds[2]]
    assert [row["name"] for row in shown] == [small.name, "whole car", "3-D flow"]


def test_the_tables_rows_are_those_of_the_figure(halyard: Bench) -> None:
    answers = halyard.answers
    rows = answers.budget(answers.states[0], usual_speed(answers)).gathered
    shown = _budget(halyard, answers)["shown"]
    assert [row["name"] for row in shown if row["kind"] != "run"] == [row.name for row in rows]
    assert any(row["name"].startswith("other interactions") for row in shown)


def test_what_only_informs_does_not_stand_under_caution(halyard: Bench) -> None:
    """What warns does so in words of danger: prove, verify, recheck, stay within the rules."""
    _, tree = client_report(halyard)
    told = [tree["sections"]["cooling"]["cooling"], tree["sections"]["cooling"]["brakes"]]
    told += [f["hold"] for s in tree["sections"]["floor"]["sheets"] for f in s["fronts"]]
    warned = [text for one in told for text in one["cautions"]]
    informed = [n for one in told for n in one["notices"] if n not in one["cautions"]]
    for words in ("prove plate", "licensed engineer", "Verify them by measurement", "recheck"):
        assert any(words in text for text in warned), words
    for words in ("Ride heights are those of", "A duct's drag is that of its air"):
        assert any(words in text for text in informed), words
        assert not any(words in text for text in warned), words


def test_no_page_of_the_report_makes_a_caution_of_every_notice() -> None:
    for path in Path(str(files("tuftwork.report"))).rglob("*.typ"):
        for line in path.read_text("utf-8").splitlines():
            assert not re.search(r"notices\b.*caution\(", line), (path.name, line)


def test_a_car_without_axles_still_gets_its_report(prototype: Bench) -> None:
    pdf, tree = client_report(prototype)
    assert pdf.startswith(b"%PDF")
    assert tree["figures"] == ["waterfall.svg"]


def test_a_tunnel_without_a_day_on_the_track_stands_in_the_report(tmp_path: Path) -> None:
    demo = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    tree = small_car(32, devices=[], schedules=[]) | {
        "states": demo["states"], "tunnels": demo["tunnels"],
        "evidence": [e for e in demo["evidence"] if e["id"] == "T1"],
    }  # fmt: skip
    folder = tmp_path / "car"
    (folder / "evidence").mkdir(parents=True)
    (folder / "project.toml").write_text(tomlkit.dumps(tree), encoding="utf-8")
    (folder / "evidence" / tree["evidence"][0]["file"]).write_text(tunnel_table(), "utf-8")
    bench = Bench(folder)
    pdf, told = client_report(bench)
    assert pdf.startswith(b"%PDF")
    section = told["sections"]["trial"]
    assert section["log"] is None
    one = section["results"]["tunnels"][0]
    assert one["rows"]
    assert one["rows"][0]["rear"]["low"] < one["rows"][0]["rear"]["high"]


def test_nothing_to_report_is_said(tmp_path: Path) -> None:
    new_project(tmp_path / "bare", title="Bare")
    with pytest.raises(NotCovered, match="nothing to report"):
        client_report(Bench(tmp_path / "bare"))


def _streams(pdf: bytes) -> bytes:
    """Return what the compressed object streams of a PDF hold."""
    found = b""
    for match in re.finditer(rb"stream\r?\n", pdf):
        end = pdf.find(b"endstream", match.end())
        try:
            found += zlib.decompress(pdf[match.end() : end].strip(b"\r\n"))
        except zlib.error:
            continue
    return found
