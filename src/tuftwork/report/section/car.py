"""The car as a system, for the client report: interactions, devices, platform, leverage."""

from io import BytesIO
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes

from tuftwork.plot.car import against_speed, beside
from tuftwork.plot.style import house_style, new_figure
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.car.motion import motion_of
from tuftwork.study.car.page import car_page

_KMH = 3.6
_LEVERS = 8


def car_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section of the car as a system, None where there are no parts.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    if not answers.project.parts:
        return None
    page = car_page(answers)
    state = answers.states[0]
    speed = float(page["speed"]["best"]) / _KMH
    found = answers.budget(state, answers.speed_named(f"{speed * _KMH:.6g}"))
    keep = answers.kept(state)
    _, axes = new_figure(height=38.0, theme=PAPER)
    rows = [
        ("parts alone", found.isolated.total[keep]),
        ("between parts", found.together.total[keep]),
        ("the system", found.total.total[keep]),
    ]
    _save(beside(rows, ax=axes[0, 0], theme=PAPER), folder / "car_together.svg")
    made = {"together": True, "motion": answers.has_platform}
    if answers.has_platform:
        _motion_figures(answers, state, folder)
    pairs = [row for row in page["together"]["pairs"] if _shows(row)]
    return {
        "at": page["at"],
        "together": {**page["together"], "pairs": pairs},
        "devices": page["devices"],
        "rows": _state_rows(page),
        "platform": _plain(page["platform"]),
        "levers": page["levers"][:_LEVERS],
        "figures": made,
        "captions": {
            "together": f"CzS at {page['at']}: parts as if each stood alone, what they do to each "
            "other, and the car. Thin 80 %, thick 50 % of the draws.",
            "cliff": "Height of each axle above the edge of its cliff; below zero it is past it.",
            "damping": "Damping of the slowest swing of the body; below zero a bounce grows by "
            "itself. The load follows late, dampers as the project says or assumes.",
        },
    }


def _shows(row: dict[str, Any]) -> bool:
    """Return whether an interaction is large enough to print: a third of a point."""
    sizes = [abs(float(row[k][e])) for k in ("total", "drag") for e in ("low", "high")]
    return max(sizes) >= 0.0035


def _state_rows(page: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every state at the report's speed."""
    kmh = float(page["speed"]["best"])
    return [
        {"name": s["name"], "role": s["role"]}
        | min(s["rows"], key=lambda r: abs(r["speed_kmh"] - kmh))
        for s in page["rows"]
    ]


def _plain(platform: dict[str, Any] | None) -> dict[str, Any] | None:
    return {k: v for k, v in platform.items() if k != "curve"} if platform is not None else None


def _motion_figures(answers: Answers, state: str, folder: Path) -> None:
    motion = motion_of(answers, state)
    speed = _KMH * motion.speed
    _, axes = new_figure(height=42.0, theme=PAPER)
    curves = [(axle, axle, 1e3 * motion.clearance(axle)) for axle in ("front", "rear")]
    drawn = against_speed(speed, curves, "above cliff [mm]", ax=axes[0, 0], theme=PAPER)
    _save(drawn, folder / "car_cliff.svg")
    _, axes = new_figure(height=42.0, theme=PAPER)
    drawn = against_speed(
        speed, [("", "ink", 100 * motion.modes.ratio)], "damping [%]",
        ax=axes[0, 0], theme=PAPER,
    )  # fmt: skip
    _save(drawn, folder / "car_damping.svg")


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
