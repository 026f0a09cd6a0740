"""What the states are worth in seconds, and what a unit is worth, for the client report."""

from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tuftwork.errors import NotCovered
from tuftwork.lap import AeroTable, Occupancy, PolarPlane, ValueTable
from tuftwork.lap.value import footing_of
from tuftwork.plot.lap import equal_lap_lines, occupancy_on_map, speed_trace, track_plan, worth_bars
from tuftwork.plot.style import house_style, new_figure
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.lap_answer import Laps, circuits_of


def lap_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section of the lap and the trim table, None where there is no lap.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    if not circuits_of(answers):
        return None
    try:
        page = bench.page("lap")
    except NotCovered as error:
        return {"refused": str(error), "page": None, "trim": None, "no_trim": "", "captions": {}}
    trim, no_trim = None, ""
    try:
        trim = bench.page("trim") if "trim" in answers.results else None
    except NotCovered as error:  # laps stand without the table
        no_trim = str(error)
    _draw(Laps.of(answers), page, folder)
    shown = (
        "circuit", "state", "against", "length", "laps", "corners", "value", "exchange",
        "elsewhere", "next", "said", "noise", "driver", "cliff", "notices", "caution", "line",
        "devices", "grip",
    )  # fmt: skip
    return {
        "refused": "",
        "page": {key: page[key] for key in shown},
        "trim": None if trim is None else _trim(trim),
        "no_trim": no_trim,
        "captions": {
            "plan": f"{page['circuit']}, '{page['state']}', coloured by speed. "
            + page["trace_of"],
            "speed": f"Speed along the lap, '{page['state']}' and '{page['against']}'; corners "
            f"shaded. {page['trace_of']}",
            "value": "What one unit is worth, 80 % of the draws; what lies in the grey band is "
            "smaller than this driver's laps can show.",
            "plane": "Lines of equal lap time over drag and downforce at the car's own balance: "
            "along a line, a change of wing pays for itself.",
            "spent": f"Where on the map the lap of '{page['state']}' is spent. "
            + page["cliff"]["text"],
        },
    }  # fmt: skip


def _trim(page: dict[str, Any]) -> dict[str, Any]:
    keys = (
        "rows", "special", "corners", "first_step", "no_go", "caution", "wanted", "band",
        "mass_state", "baseline", "circuit",
    )  # fmt: skip
    return {key: page[key] for key in keys}


def _draw(laps: Laps, page: dict[str, Any], folder: Path) -> None:
    """Draw plan, speed, worth of units and lines of equal lap time."""
    made = dict(reversed([*laps.pair(page["state"], page["against"]).laps.items()]))
    shown = page["state"]
    _save(track_plan(made[shown], ax=_axes(96.0), theme=PAPER), folder / "lap_plan.svg")
    _save(speed_trace(made, ax=_axes(58.0), theme=PAPER), folder / "lap_speed.svg")
    stand = footing_of(laps.trace(shown))
    worth = [
        replace(laps.worth(name, seconds), name=name) for name, seconds in laps.unit_draws(shown)
    ]
    values = ValueTable(
        circuit=laps.circuit, lap_time=page["laps"][0]["time"]["best"], lap_low=0.0, lap_high=0.0,
        footing=stand, worth=tuple(worth),
    )  # fmt: skip
    _save(worth_bars(values, ax=_axes(66.0), theme=PAPER), folder / "lap_value.svg")
    found = laps.result(shown)["plane"]
    plane = PolarPlane(**found | {"here": tuple(found["here"])})  # a kept result holds lists
    _save(equal_lap_lines(plane, ax=_axes(62.0), theme=PAPER), folder / "lap_plane.svg")
    spent, under = _spent(laps, shown)
    _save(occupancy_on_map(spent, under, ax=_axes(58.0), theme=PAPER), folder / "lap_spent.svg")


def _spent(laps: Laps, state: str) -> tuple[Occupancy, AeroTable]:
    """Return where on the map the lap is spent, and the rear axle's load there."""
    found = laps.result(state)
    tree = found["occupancy"]
    rear = np.asarray(tree["downforce_rear"])[None]
    spent = Occupancy(
        edges_front=np.asarray(tree["edges_front"]), edges_rear=np.asarray(tree["edges_rear"]),
        edges_speed=np.array([0.0, 1.0]), seconds=np.asarray(tree["seconds"])[..., None],
        near_cliff=float(found["near_cliff"]), slope=30.0, outside=float(found["outside"]),
    )  # fmt: skip
    under = AeroTable(
        ride_height_front=np.asarray(tree["axis_front"]),
        ride_height_rear=np.asarray(tree["axis_rear"]),
        downforce_front=0.0 * rear, downforce_rear=rear, drag=0.0 * rear,
    )  # fmt: skip
    return spent, under


def _axes(height: float) -> Axes:
    _, axes = new_figure(height=height, theme=PAPER)
    found: Axes = axes[0, 0]
    return found


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
