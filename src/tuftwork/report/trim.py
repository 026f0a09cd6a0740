"""The trim table as a page of its own, for the driver and the mechanic, and as a file."""

import tempfile
from pathlib import Path
from typing import Any

from tuftwork import __version__
from tuftwork.files import write_atomic
from tuftwork.report.client import set_document
from tuftwork.study import Bench


def trim_document(bench: Bench) -> dict[str, Any]:
    """Return everything the trim page says, as a plain tree."""
    page, overview = bench.page("trim"), bench.page("overview")
    project = bench.answers.project
    return {
        "page": {key: value for key, value in page.items() if key not in ("csv", "live")},
        "meta": {
            "car": project.car.name, "client": project.about.client,
            "digest": bench.digest(), "version": __version__,
            "date": overview["project"]["day"], "confidential": project.about.confidential,
        },
    }  # fmt: skip


def trim_pdf(bench: Bench) -> bytes:
    """Return the trim page as PDF.

    Raises
    ------
    NotCovered
        If no trim table was asked for, or there is none.
    """
    with tempfile.TemporaryDirectory() as place:
        return set_document("trim.typ", trim_document(bench), Path(place))


def write_trim(bench: Bench) -> dict[str, str]:
    """Write trim.pdf and trim.csv into the project's out/ folder and return their paths."""
    pdf, text = trim_pdf(bench), bench.page("trim")["csv"]
    out = bench.folder / "out"
    out.mkdir(exist_ok=True)
    write_atomic(out / "trim.pdf", pdf)
    write_atomic(out / "trim.csv", text.encode())
    return {"pdf": str(out / "trim.pdf"), "csv": str(out / "trim.csv")}
