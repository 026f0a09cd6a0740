"""What holds the cooling back and how hot the brakes become, for the client report."""

from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tuftwork.cooling import BlankingChart, Forecast, solve_cooling
from tuftwork.cooling.notice import BRAKE_CAUTION, VENT_CAUTION
from tuftwork.plot.cooling import blanking, forecast, network
from tuftwork.plot.style import house_style, new_figure
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.brake_page import brakes_page
from tuftwork.study.cooling_page import case_of, cooling_page


def cooling_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section of cooling and brakes, None where the project has neither.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    project = answers.project
    if project.cooling is None and project.brakes is None:
        return None
    return {
        "cooling": _cooling(answers, folder) if project.cooling is not None else None,
        "brakes": _brakes(answers, folder) if project.brakes is not None else None,
    }


def _cooling(answers: Answers, folder: Path) -> dict[str, Any]:
    page, case = cooling_page(answers), case_of(answers)
    _, axes = new_figure(height=84.0, theme=PAPER)
    net: Axes = axes[0, 0]
    state = solve_cooling(case.system, case.around)
    _save(network(case.system.air, state, ax=net, theme=PAPER), folder / "cooling_net.svg")
    first = page["blanking"][0]["circuit"] if page["blanking"] else ""
    if first:
        _charts(answers, first, case.target(next(
            c for c in case.limited if c.name == first)).limit, folder)  # fmt: skip
    stint = page["stint"]
    if stint is not None:
        _stint(stint, folder)
    shown = ("at", "answer", "circuits", "exits", "loads", "gains", "duty", "notices")
    return {key: page[key] for key in shown} | {
        "stint": None if stint is None else {
            "text": stint["text"],
            "rows": [
                {key: value for key, value in row.items() if key not in ("trace", "soak")}
                for row in stint["rows"]
            ],
        },
        "cautions": [*state.notices, VENT_CAUTION],
        "charted": first,
        "captions": {
            "net": f"The air net at {page['at']}: the wider an arrow, the more air; beside each "
            "part its loss, at each node pressure and temperature.",
            "forecast": f"{first.capitalize()} by air temperature: bands hold 50 and 80 % of the "
            "draws, the figures along the foot are the chance of crossing the limit.",
            "blanking": f"Tape on the cores of the {first}: lines are equal temperatures, dots "
            "the most tape that keeps the accepted chance.",
            "stint": "From cold, and after the engine stops (beyond the rule): bands hold 50 and "
            "80 % of the draws; dashed the limit, dotted where water boils.",
        },
    }  # fmt: skip


def _stint(stint: dict[str, Any], folder: Path) -> None:
    """Draw every loop over the stint and the soak after it, one row of axes a loop."""
    row = stint["rows"][0]
    _, axes = new_figure(height=58.0, theme=PAPER)
    drawn: Axes = axes[0, 0]
    with house_style(PAPER):
        end = row["trace"]["time_min"][-1]
        for name, start in (("trace", 0.0), ("soak", end)):
            trace = row[name]
            time = np.asarray(trace["time_min"]) + start
            for low, high, alpha in (("low", "high", 0.13), ("low_half", "high_half", 0.2)):
                drawn.fill_between(time, trace[low], trace[high], color=PAPER.ink, alpha=alpha,
                                   lw=0)  # fmt: skip
            drawn.plot(time, trace["best"], color=PAPER.ink, lw=1.1)
        drawn.axvline(end, color=PAPER.faint, lw=0.6)
        if row["limit_c"] is not None:
            drawn.axhline(row["limit_c"], color=PAPER.wrong, lw=0.8, ls=(0, (5, 3)))
        if stint["boils_c"] is not None:
            drawn.axhline(stint["boils_c"], color=PAPER.wrong, lw=0.8, ls=(0, (1, 2)))
        drawn.set_xlabel("minutes from a cold start")
        drawn.set_ylabel(f"{row['circuit']} [°C]")
        drawn.grid(axis="y")
        drawn.margins(x=0.0)
    _save(drawn, folder / "cooling_stint.svg")


def _charts(answers: Answers, circuit: str, limit: float, folder: Path) -> None:
    """Draw forecast and blanking chart of one circuit from what the study kept."""
    tree = answers.results["cooling charts"]
    found, taped = tree["forecast"][circuit], tree["blanked"][circuit]
    made = Forecast(
        places=tuple(found["places"]), ambient=np.asarray(found["ambient"]),
        draws=np.asarray(found["draws"]), quantiles={},
        probability=np.asarray(found["probability"]), limit=limit, loop=circuit,
    )  # fmt: skip
    _, axes = new_figure(height=58.0, theme=PAPER)
    _save(forecast(made, ax=axes[0, 0], theme=PAPER), folder / "cooling_forecast.svg")
    chart = BlankingChart(
        ambient=np.asarray(taped["ambient"]), blanking=np.asarray(tree["blanking"]),
        temperature=np.asarray(taped["temperature"]), probability=np.asarray(taped["probability"]),
        drag_area=np.asarray(taped["drag"]), advice=np.asarray(taped["advice"]), limit=limit,
        loop=circuit,
    )  # fmt: skip
    _, axes = new_figure(height=58.0, theme=PAPER)
    _save(blanking(chart, ax=axes[0, 0], theme=PAPER), folder / "cooling_tape.svg")


def _brakes(answers: Answers, folder: Path) -> dict[str, Any]:
    page = brakes_page(answers)
    _, axes = new_figure(height=78.0, theme=PAPER)
    drawn: Axes = axes[0, 0]
    with house_style(PAPER):
        for axle, colour in zip(page["axles"], (PAPER.front, PAPER.rear), strict=False):
            trace = axle["options"][-1]["trace"]
            time = trace["time_s"]
            drawn.fill_between(time, trace["low"], trace["high"], color=colour, alpha=0.16, lw=0)
            drawn.plot(time, trace["best"], color=colour, lw=1.0, label=f"{axle['axle']} disc")
        window = page["axles"][0]["options"][-1]["windows"][0] if page["axles"] else None
        if window is not None and window["low_c"] is not None:
            drawn.axhspan(window["low_c"], window["high_c"], color=PAPER.ok, alpha=0.10, lw=0)
        drawn.set_xlabel("time [s]")
        drawn.set_ylabel("disc surface [°C]")
        drawn.legend(loc="lower right", ncols=2)
        drawn.grid(axis="y")
        drawn.margins(x=0.0)
    _save(drawn, folder / "brakes.svg")
    caption = (
        "Surface of one disc an axle over the stint, with its duct: band 80 % of the draws, green "
        "the front disc's working window."
    )
    shown = ("at", "answer", "source", "energy", "power", "axles", "notices")
    return {k: page[k] for k in shown} | {"caption": caption, "cautions": [BRAKE_CAUTION]}


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
