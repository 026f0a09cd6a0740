"""A finished run of the 3-D flow as evidence of its project."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tuftwork.car import FlowRun
from tuftwork.files import NEW, OpenProject, edit_project
from tuftwork.files.evidence import copy_in


def register_run(folder: Path, case: str, record: Path) -> str:
    """Put a finished run into ``evidence/``, note it in the project, and return its id."""
    name, digest = copy_in(record, folder)
    place = ("flow", "cases", case, "evidence")

    def edits(opened: OpenProject) -> list[dict[Any, Any]]:
        items = opened.project.evidence
        there = next((i.id for i in items if i.file == name and i.digest == digest), "")
        if there:
            is_noted = any(r.name == case and r.evidence == there for r in _cases(opened))
            return [] if is_noted else [{place: there}]
        taken = {item.id for item in items}
        number = next(n for n in range(1, 10_000) if f"flow-{n}" not in taken)
        item = {
            "id": f"flow-{number}", "title": f"3-D flow of this program: {case}", "kind": "run",
            "file": name, "digest": digest, "day": datetime.now(UTC).date(),
            "note": "Computed, with a stated bias; a rival opinion, not a measurement.",
        }  # fmt: skip
        return [{("evidence", NEW): item, place: item["id"]}]

    saved = edit_project(folder, edits)  # a page may be saving settings at this very moment
    return next(run.evidence for run in _cases(saved) if run.name == case)


def _cases(opened: OpenProject) -> Sequence[FlowRun]:
    return opened.project.flow.cases if opened.project.flow else ()
