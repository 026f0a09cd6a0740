"""The client report: a PDF that opens, and the same content as JSON."""

import json
import re
import zlib
from pathlib import Path

import pytest

from tuftwork.errors import NotCovered
from tuftwork.files import new_project
from tuftwork.report import client_report, write_client_report
from tuftwork.study import Bench


def test_the_report_is_a_pdf_with_the_answer_on_its_first_page(halyard: Bench) -> None:
    pdf, tree = client_report(halyard)
    assert pdf.startswith(b"%PDF")
    assert tree["overview"]["answer"].startswith("At 220\u202fkm/h")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf + _streams(pdf))) >= 6


def test_the_json_holds_every_number_with_its_range(halyard: Bench) -> None:
    written = write_client_report(halyard)
    tree = json.loads(Path(written["json"]).read_text("utf-8"))
    total = next(row for row in tree["budget"]["rows"] if row["kind"] == "total")["total"]
    assert total["low"] < total["best"] < total["high"]
    assert "hf" in total["at"]
    assert tree["chains"]
    assert all(chain["steps"] for chain in tree["chains"])


def test_a_car_without_axles_still_gets_its_report(prototype: Bench) -> None:
    pdf, tree = client_report(prototype)
    assert pdf.startswith(b"%PDF")
    assert tree["figures"] == ["waterfall.svg"]


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
