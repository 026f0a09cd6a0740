"""Pages that need no results: evidence, claims as they stand, the run log, inputs' own chains."""

from collections.abc import Mapping
from typing import Any

from tuftwork.errors import UnknownName
from tuftwork.files import (
    EVIDENCE_KINDS,
    OpenProject,
    add_evidence,
    loose_files,
    next_id,
    offered_of,
    read_project,
    record_digests,
    register_of,
)
from tuftwork.study.answers import Answers
from tuftwork.study.grip_page import signed
from tuftwork.study.job import GRIP
from tuftwork.study.ledger import Ledger
from tuftwork.study.number import Link, number_of_quantity
from tuftwork.study.picture.links import mark_links

Page = dict[str, Any]


def evidence_page(opened: OpenProject) -> Page:
    """Return how every piece of evidence stands."""
    items = []
    for line in register_of(opened.project, opened.folder):
        kept = line.evidence
        items.append(
            {
                "id": kept.id,
                "title": kept.title,
                "kind": kept.kind,
                "file": kept.file,
                "digest": kept.digest.removeprefix("sha256:"),
                "source": kept.source,
                "day": str(kept.day or ""),
                "state": line.standing,
                "used_by": list(line.used_by),
                "note": kept.note,
            }
        )
    return {
        "items": items,
        "loose": list(loose_files(opened)),
        "kinds": list(EVIDENCE_KINDS),
        "next": next_id(opened),
    }


def add_live(bench: Any, message: Mapping[str, Any]) -> tuple[Page, dict[str, Any]]:
    """Register the file a message offers; every fault of the offer is told at once."""
    opened, kept = add_evidence(read_project(bench.folder), offered_of(message))
    bench.opened = opened
    text = f"{kept.id} is registered: evidence/{kept.file}, {kept.digest[:19]}\u2026"
    return {"added": kept.id, "text": text, "digest": bench.digest()}, {}


def keep_live(bench: Any, message: Mapping[str, Any]) -> tuple[Page, dict[str, Any]]:
    """Keep the digest of every file that the project names without one."""
    before = read_project(bench.folder)
    bench.opened = opened = record_digests(before)
    was = {item.id: item.digest for item in before.project.evidence}
    kept = [item.id for item in opened.project.evidence if item.digest and not was[item.id]]
    text = f"Digests kept: {', '.join(kept)}." if kept else "No file was without a digest."
    return {"kept": kept, "text": text, "digest": bench.digest()}, {}


def runs_page(ledger: Ledger) -> Page:
    """Return the run log, newest first."""
    return {
        "runs": [
            {
                "id": f"r{run['id']}",
                "when": run["started"],
                "took_s": run["took_s"],
                "what": run["what"],
                "digest": run["digest"][:12],
                "version": run["version"],
                "host": run["host"],
                "steps": run["steps"],
                "state": run["state"],
                "text": run["message"],
            }
            for run in ledger.runs()
        ]
    }


def input_chain(answers: Answers, address: str) -> None:
    """Keep the chain of one input: where it was found, and what the study made of it."""
    name = address.removeprefix("input/")
    quantities = answers.job.quantities
    if name not in quantities:
        raise UnknownName("input", name, quantities)
    quantity = quantities[name]
    label = answers.book.labels.get(name, name)
    links = [
        *mark_links(answers.project, quantity.place),
        Link(what=label, origin=quantity.origin, place=quantity.place),
    ]
    narrowed = next((n for n in answers.results["tie"]["narrowed"] if n["name"] == name), None)
    notices = [f"In full: {said}."] if (said := answers.book.hints.get(name)) else []
    if narrowed is not None and narrowed["narrowed"] < 0.95:
        notices.append(
            f"What was measured narrowed this range to {100 * narrowed['narrowed']:.0f} % of it."
        )
    driven = next((r for r in answers.results.get(GRIP, {}).get("inputs", ())
                   if r["name"] == name), None)  # fmt: skip
    if driven is not None:
        notices.append(
            f"Circles driven moved it by {signed(driven['moved'])} standard deviations of this "
            f"range and left {100 * driven['left']:.0f} % of it."
        )
    answers.book.add(
        f"input/{name}",
        title=label,
        number=number_of_quantity(quantity, why=f"input/{name}"),
        links=links,
        notices=notices,
    )
