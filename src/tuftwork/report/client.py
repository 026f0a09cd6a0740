"""The client report: one document and the same content as JSON, from one project's study."""

import json
import tempfile
from datetime import UTC, datetime
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any

from tuftwork import __version__
from tuftwork.errors import NotCovered
from tuftwork.files import write_atomic
from tuftwork.plot import FONTS
from tuftwork.report.figure import draw_figures
from tuftwork.report.words import captions_of, limits_of, methods_of, scope_of, sources_of
from tuftwork.study import Bench
from tuftwork.study.answers import Answers

_KMH = 3.6
SECTIONS: tuple[str, ...] = ("reading", "car", "wings", "floor", "flow", "trial", "cooling", "lap")
"""Sections of other jobs, in the order of the report: ``section/<name>.py`` and ``.typ``."""


def client_document(bench: Bench) -> dict[str, Any]:
    """Return everything the client report says, as a plain tree."""
    answers = bench.answers
    overview = bench.page("overview")
    state = answers.states[0]
    tree: dict[str, Any] = {
        "meta": {
            "version": __version__,
            "digest": bench.digest(),
            "made_from": bench.results_digest(),
            "date": overview["project"]["day"] or datetime.now(UTC).date().isoformat(),
            "state": state,
            "speed_kmh": round(usual_speed(answers) * _KMH, 1),
        },
        "overview": overview
        | {"state": {**overview["state"], "name": answers.project.mass_state().name}},
        "scope": scope_of(answers),
        "evidence": _evidence(bench),
        "methods": methods_of(answers),
        "budget": _budget(bench, answers),
        "map": _map(bench, answers),
        "states": bench.page("states")["rows"],
        "claims": bench.page("claims"),
        "limits": limits_of(answers),
        "captions": captions_of(answers),
        "figures": [],
    }
    tree["chains"] = _key_chains(bench, answers)
    tree["sources"] = sources_of(answers)
    return tree


def client_report(bench: Bench) -> tuple[bytes, dict[str, Any]]:
    """Return the client report as PDF, and the tree it was set from.

    Raises
    ------
    NotCovered
        If the project has no parts, so that there is nothing to report.
    """
    if not bench.answers.project.parts:
        raise NotCovered("No parts yet: there is nothing to report. Add [[parts]] tables.")
    tree = client_document(bench)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        answers = bench.answers
        tree["figures"] = draw_figures(answers, answers.states[0], usual_speed(answers), folder)
        tree["section_order"], tree["sections"] = _sections(bench, answers, folder)
        pdf = set_document("client.typ", tree, folder)
    return pdf, tree


def set_document(template: str, tree: dict[str, Any], folder: Path) -> bytes:
    """Return a document set from a template of this room and a tree, as PDF.

    Parameters
    ----------
    template
        Name of a ``.typ`` file of this room.
    tree
        What it shows; written beside it as ``data.json``.
    folder
        Where the figures it names lie already.
    """
    import typst

    room = files("tuftwork.report")
    names = list(tree.get("sections", {}))
    lines = [f'#import "{name}.typ": {name}' for name in names]
    pairs = ", ".join(f"{name}: {name}" for name in names)
    lines.append(f"#let sections = ({pairs}{',' if names else ':'})")
    (folder / "sections.typ").write_text("\n".join(lines), encoding="utf-8")
    for name in ("house.typ", template, *(f"section/{name}.typ" for name in names)):
        text = room.joinpath(*name.split("/")).read_text(encoding="utf-8")
        (folder / Path(name).name).write_text(text, encoding="utf-8")
    (folder / "data.json").write_text(json.dumps(tree, ensure_ascii=False), "utf-8")
    made: bytes = typst.compile(
        str(folder / template), root=str(folder), font_paths=[str(FONTS)], ignore_system_fonts=True
    )
    return made


def _sections(
    bench: Bench, answers: Answers, folder: Path
) -> tuple[list[str], dict[str, dict[str, Any]]]:
    """Return the sections of other jobs that have something to say, with their figures drawn."""
    made: dict[str, dict[str, Any]] = {}
    for name in SECTIONS:
        module = import_module(f"tuftwork.report.section.{name}")
        tree = getattr(module, f"{name}_section")(bench, answers, folder)
        if tree is not None:
            made[name] = tree
    return list(made), made


def write_client_report(bench: Bench) -> dict[str, str]:
    """Write report.pdf and report.json into the project's out/ folder and return their paths.

    A report of the same results and program version that lies there already is left as it is.
    """
    out = bench.folder / "out"
    paths = {"pdf": str(out / "report.pdf"), "json": str(out / "report.json")}
    if _made_from(out) == bench.results_digest():
        return paths
    pdf, tree = client_report(bench)
    out.mkdir(exist_ok=True)
    text = json.dumps(tree, ensure_ascii=False, indent=1)
    write_atomic(out / "report.pdf", pdf)
    write_atomic(out / "report.json", text.encode())
    return paths


def _made_from(out: Path) -> str:
    """Return the digest of the results that the report lying there was made from, if any."""
    try:
        meta = json.loads((out / "report.json").read_text("utf-8"))["meta"]
        return str(meta["made_from"]) if (out / "report.pdf").is_file() else ""
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def usual_speed(answers: Answers) -> float:
    """Return the speed the report speaks of: the second highest studied [m/s]."""
    return answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]


def _evidence(bench: Bench) -> dict[str, Any]:
    items = bench.page("evidence")["items"]
    return {"items": [item | {"short_digest": item["digest"][:12]} for item in items]}


def _budget(bench: Bench, answers: Answers) -> dict[str, Any]:
    """Return the budget's page with the rows to print, gathered as those of the figure."""
    speed = usual_speed(answers)
    # every digit: another studied speed may lie near
    page = bench.page("budget", speed=repr(speed * _KMH))
    known = {(row["kind"], row["name"]): row for row in page["rows"]}
    if page["others"] is not None:
        row = page["others"]["row"]
        known[row["kind"], row["name"]] = row
    own = answers.budget(answers.states[0], speed).gathered
    runs = [row for row in page["rows"] if row["kind"] == "run"]
    return page | {"shown": [*(known[row.kind, row.name] for row in own), *runs]}


def _map(bench: Bench, answers: Answers) -> dict[str, Any]:
    if not answers.has_platform:
        return {"path": [], "cliff": {"text": ""}}
    page = bench.page("map")
    return {key: page[key] for key in ("path", "cliff", "static", "equilibria", "notices")}


def _key_chains(bench: Bench, answers: Answers) -> list[dict[str, Any]]:
    """Return the chains of the numbers the answer rests on."""
    state, kmh = answers.states[0], f"{usual_speed(answers) * _KMH:.0f}"
    if not answers.has_platform:
        return [bench.why(f"budget/{state}/{kmh}/whole car/total")]
    names = [f"ride/{state}/{field}/{kmh}" for field in ("total", "front", "rear", "share", "drag")]
    names += [row["gain"]["why"] for row in bench.page("states")["rows"]]
    return [bench.why(name) for name in names]
