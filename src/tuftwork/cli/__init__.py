"""The command ``tuftwork``: one thin function per verb, which calls the study and shows it."""

import os

from tuftwork.cli import (
    answer,
    car,
    cooling,
    evidence,
    floor,
    flow,
    lap,
    project,
    reading,
    section,
    section_search,
    splitter,
    trial,
)
from tuftwork.cli.frame import EXIT_CODES, program

__all__ = [
    "EXIT_CODES",
    "answer",
    "car",
    "cooling",
    "evidence",
    "floor",
    "flow",
    "lap",
    "main",
    "program",
    "project",
    "reading",
    "section",
    "section_search",
    "splitter",
    "trial",
]


def main() -> None:
    """Run the program."""
    # small dense systems by the thousand: a second thread of the linear algebra waits more than
    # it works, and the cores are taken by processes already
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    program()
