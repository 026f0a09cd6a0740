"""Part sheets of wings that name their section, and what the mounts of all others carry."""

from io import BytesIO
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes

from tuftwork.errors import InputError, NotConverged
from tuftwork.plot.section import layers
from tuftwork.plot.style import house_style, new_figure
from tuftwork.plot.wing import span_load
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.section_case import case_of, solve_section, solve_span, wings_of
from tuftwork.study.section_live import memory_of
from tuftwork.study.section_page import CAUTIONS, section_page


def wings_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return part sheets of wings that name their section, and what all other mounts carry.

    None where there is no wing.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    sheets, mounts = [], []
    state = answers.states[0] if answers.project.states else ""
    for name in wings_of(answers.project):
        case = case_of(answers.project, answers.job.folder, name, state)
        if case.is_stand_in:
            mounts += _mounts(answers, name)
            continue
        page = section_page(answers, name, state)
        if page["polar"] is None:
            continue
        sheets.append(_sheet(answers, name, state, page, folder))
    if not sheets and not mounts:
        return None
    return {"sheets": sheets, "mounts": mounts, "cautions": list(CAUTIONS)}


def _mounts(answers: Answers, name: str) -> list[dict[str, Any]]:
    """Return the state of a wing that loads its mounts most, at the fastest the car goes."""
    found, left = [], []
    for state in answers.states if answers.project.states else ("",):
        own = answers.project.state(state) if state else None
        if own is not None and name in own.without:
            continue
        try:
            page = section_page(answers, name, state)
        except (InputError, NotConverged) as refused:
            left.append(f"'{state}' is not worked out: {refused}")
            continue
        rows = {row["key"]: row for row in page["loads"]}
        if "proof" in rows:
            found.append({"wing": name, "state": page["state"], "top": rows["top"],
                          "proof": rows["proof"], "outline": page["outline"]})  # fmt: skip
    most = sorted(found, key=lambda row: -float(row["proof"]["number"]["best"]))[:1]
    return [row | {"left": left} for row in most]


def _sheet(
    answers: Answers, name: str, state: str, page: dict[str, Any], folder: Path
) -> dict[str, Any]:
    case = case_of(answers.project, answers.job.folder, name, state)
    stem = "".join(ch if ch.isalnum() else "_" for ch in name)
    drawing, loading = f"section_{stem}.svg", f"span_{stem}.svg"
    try:
        point = solve_section(case, case.design, page["speed_kmh"] / 3.6)
        _, axes = new_figure(height=58.0, theme=PAPER)
        _save(layers(point, ax=axes[0, 0], theme=PAPER), folder / drawing)
    except NotConverged:
        drawing = ""
    result = solve_span(case, case.design, memory_of(answers).table(case, case.design))
    _, axes = new_figure(height=62.0, theme=PAPER)
    _save(span_load(result, ax=axes[0, 0], theme=PAPER), folder / loading)
    keys = ("wing", "state", "speed_kmh", "outline", "answer", "loads", "tolerances", "slots",
            "cautions", "notices", "handles", "shape")  # fmt: skip
    spec = case.spec
    edge = page.get("edge")
    return {key: page[key] for key in keys} | {
        "drawing": drawing,
        "edge": edge["text"] if edge is not None else "",
        "span_figure": loading,
        "settings": [
            {"label": "span", "text": f"{1e3 * spec.span:.0f} mm"},
            {"label": "whole chord", "text": f"{1e3 * spec.chord:.0f} mm"},
            {"label": "trailing edge over the road", "text": f"{1e3 * spec.height:.0f} mm"},
            {"label": "end plates", "text": f"{1e3 * spec.end_plate_height:.0f} mm high"},
            {"label": "incidence", "text": f"{page['handles']['incidence_deg']:g}°"},
            {"label": "gurney", "text": f"{page['handles']['gurney_mm']:g} mm"},
        ],
        "captions": {
            "drawing": "The section with its layers to scale, as it hangs on the car where the "
            "road is near, suction side up where it is far; red is separated.",
            "span": "Load along the span against the elliptic load of the same total.",
        },
    }


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
