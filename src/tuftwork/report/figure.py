"""Figures of the client report, as vector pictures beside the document."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

from matplotlib.axes import Axes

from tuftwork.plot.balance import area_curves, front_share_curve
from tuftwork.plot.budget import WaterfallStep, waterfall
from tuftwork.plot.map import load_map
from tuftwork.plot.style import LIGHT, Theme, house_style, new_figure
from tuftwork.study.answers import Answers
from tuftwork.study.cliff import balance_in

PAPER = Theme(
    name="light", paper="#FFFFFF", raised=LIGHT.raised, ink=LIGHT.ink, faint=LIGHT.faint,
    hair=LIGHT.hair, front=LIGHT.front, rear=LIGHT.rear, tuft=LIGHT.tuft, ok=LIGHT.ok,
    doubt=LIGHT.doubt, wrong=LIGHT.wrong,
)  # fmt: skip
"""The light theme on the printer's own paper."""


def draw_figures(answers: Answers, state: str, speed: float, folder: Path) -> list[str]:
    """Draw the report's figures into a folder and return their names."""
    if not answers.project.parts:
        return []
    made = ["waterfall.svg"]
    _save(_waterfall(answers, state, speed), folder / made[0])
    if answers.has_platform:
        _save(_balance(answers, state), folder / "balance.svg")
        _save(_map(answers, state), folder / "map.svg")
        made += ["balance.svg", "map.svg"]
    return made


def _waterfall(answers: Answers, state: str, speed: float) -> Axes:
    rows = answers.budget(state, speed).gathered
    keep = answers.kept(state)
    steps = [
        WaterfallStep(name=row.name, kind=row.kind, front=row.front[keep], rear=row.rear[keep])
        for row in rows
        if row.kind != "difference"
    ]
    return waterfall(steps, theme=PAPER)


def _balance(answers: Answers, state: str) -> Axes:
    balance = balance_in(answers, state)
    _, axes = new_figure(height=140, theme=PAPER, rows=2)
    area_curves(balance, ax=axes[0, 0], theme=PAPER)
    claimed = next((c.front.best for c in answers.project.claims if c.kind == "balance"), None)
    front_share_curve(balance, ax=axes[1, 0], theme=PAPER, claimed=claimed)
    found: Axes = axes[0, 0]
    return found


def _map(answers: Answers, state: str) -> Axes:
    _, axes = new_figure(height=120, theme=PAPER)
    found: Axes = axes[0, 0]
    path = answers.platform_path(state)
    return load_map(answers.aero_map(), "total", state=state, path=path, ax=found, theme=PAPER)


def _save(axes: Axes, path: Path, write: Callable[[Path, bytes], int] = Path.write_bytes) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    write(path, buffer.getvalue())
