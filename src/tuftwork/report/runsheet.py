"""Documents of a test day of their own: the run sheet and the correlation memo."""

import json
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import Any

from tuftwork import __version__
from tuftwork.errors import NotCovered
from tuftwork.files import write_atomic
from tuftwork.report.client import set_document
from tuftwork.report.section.trial import day_document
from tuftwork.study import Bench
from tuftwork.study.trial.matrixed import matrix_csv
from tuftwork.study.trial.planned import plan_page, run_sheet_csv
from tuftwork.study.trial.shown import day_named, tree_of


def write_run_sheet(bench: Bench) -> dict[str, str]:
    """Write the run sheet as PDF and editable CSV into out/ and return their paths.

    Raises
    ------
    NotCovered
        If the project has no plan.
    """
    answers = bench.answers
    tree: dict[str, Any] = {"plan": plan_page(answers), "car": answers.project.car.name,
            "digest": bench.digest(), "version": __version__}  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        pdf = set_document("run_sheet.typ", tree, Path(place))
    out = bench.folder / "out"
    out.mkdir(exist_ok=True)
    write_atomic(out / "run-sheet.pdf", pdf)
    write_atomic(out / "run-sheet.csv", run_sheet_csv(answers).encode())
    written = {"pdf": str(out / "run-sheet.pdf"), "csv": str(out / "run-sheet.csv")}
    if tree["plan"]["matrix"] is not None:
        write_atomic(out / "tunnel-matrix.csv", matrix_csv(answers).encode())
        written["matrix"] = str(out / "tunnel-matrix.csv")
    return written


def write_memo(bench: Bench, day: str = "") -> dict[str, str]:
    """Write the correlation memo of a day as PDF and JSON into out/ and return their paths.

    Raises
    ------
    NotCovered
        If the day's log could not be used.
    """
    answers = bench.answers
    one = day_named(answers, day)
    refused = tree_of(answers, one).get("refused")
    if refused:
        raise NotCovered(f"The log of '{one.name}' could not be used: {refused[0]}")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        tree = day_document(answers, one.name, folder)
        tree |= {"car": answers.project.car.name, "digest": bench.digest(),
                 "version": __version__}  # fmt: skip
        section = files("tuftwork.report").joinpath("section", "trial.typ")
        (folder / "trial.typ").write_text(section.read_text(encoding="utf-8"), encoding="utf-8")
        pdf = set_document("memo.typ", tree, folder)
    out = bench.folder / "out"
    out.mkdir(exist_ok=True)
    write_atomic(out / "memo.pdf", pdf)
    write_atomic(out / "memo.json", json.dumps(tree, ensure_ascii=False, indent=1).encode())
    return {"pdf": str(out / "memo.pdf"), "json": str(out / "memo.json")}
