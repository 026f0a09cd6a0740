"""The floor in the client report: pressure in plan, load over ride height, prices."""

from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tuftwork.car import Splitter
from tuftwork.plot.floor import floor_pressure, nose_sweep, ride_height_sweep
from tuftwork.plot.style import house_style, new_figure
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.floor_case import floors_of
from tuftwork.study.floor_live import asked, solved
from tuftwork.study.floor_page import floor_page


def floor_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return one sheet a floor, None where the project has none that can be answered.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    sheets = []
    state = answers.states[0] if answers.project.states else ""
    for number, name in enumerate(floors_of(answers.project)):
        page = floor_page(answers, name, state)
        if page["field"] is None:
            continue
        plan, sweep = f"floor_plan_{number}.svg", f"floor_sweep_{number}.svg"
        result = solved(answers, asked(answers, {"floor": name, "state": state}))
        _, axes = new_figure(height=60.0, theme=PAPER)
        _save(floor_pressure(result, ax=axes[0, 0], theme=PAPER), folder / plan)
        s = {k: np.array(v, float) for k, v in page["sweep"].items() if isinstance(v, list)}
        _, axes = new_figure(width="half", height=58.0, theme=PAPER)
        drawn = ride_height_sweep(
            s["rear_mm"], s["best"], s["low"], s["high"], rival=s["budget"],
            rival_label=f"budget, {page['engine']}", now=page["sweep"]["now_mm"], ax=axes[0, 0],
            theme=PAPER,
        )  # fmt: skip
        _save(drawn, folder / sweep)
        keys = ("floor", "state", "speed_kmh", "at", "answer", "loads", "prices", "strakes",
                "levers", "hysteresis", "cautions", "notices", "engine", "flows", "cause",
                "calibration")  # fmt: skip
        sheets.append(
            {key: page[key] for key in keys}
            | {
                "notices": [
                    *page["notices"],
                    *([page["level"]["answer"]] if page["level"] else []),
                ],
                "plan": plan,
                "sweep": sweep,
                "fronts": _fronts(page["fronts"], number, folder),
                "captions": {
                    "plan": "Pressure under the floor from above, the car driving to the left: "
                    "suction gathers at the kick line and the edges feed it with air (arrows).",
                    "sweep": "CzS of the floor as the car is lowered at its rake: the channel "
                    "in plan with its 80 % range, and what the budget uses.",
                },
            }
        )
    alone = [] if floors_of(answers.project) else _alone(answers, state, folder)
    return {"sheets": sheets, "alone": alone} if sheets or alone else None


def _alone(answers: Answers, state: str, folder: Path) -> list[dict[str, Any]]:
    """Return the sheet of front floors in a car without a floor."""
    if not any(isinstance(p, Splitter) and p.channel is not None for p in answers.project.parts):
        return []  # the page needs a floor or solved channels; 'splitter' tells the load sheet
    page = floor_page(answers, "", state)
    fronts = _fronts(page["fronts"], 0, folder)
    keys = ("state", "answer", "cautions")
    return [{key: page[key] for key in keys} | {"fronts": fronts}] if fronts else []


def _fronts(rows: list[dict[str, Any]], number: int, folder: Path) -> list[dict[str, Any]]:
    """Return splitters with what they have to hold, those with channels with their figure."""
    found = []
    for k, row in enumerate(rows):
        own = {key: row[key] for key in ("name", "text", "numbers", "notices", "hold")}
        if row["sweep"] is None:
            if row["hold"] is not None:
                found.append(own | {"figure": None, "caption": ""})
            continue
        name, s = f"front_{number}_{k}.svg", row["sweep"]
        _, axes = new_figure(width="half", height=58.0, theme=PAPER)
        drawn = nose_sweep(
            *(np.array(s[key], float) for key in ("clearance_mm", "best", "low", "high")),
            now=s["now_mm"], ax=axes[0, 0], theme=PAPER,
        )  # fmt: skip
        _save(drawn, folder / name)
        found.append(
            own
            | {
                "figure": name,
                "caption": f"CzS of the {row['name']} as the nose moves, with its 80 % range; "
                "floor, wheels and cooling left as they stand.",
            }
        )
    return found


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
