"""What holds the cooling back and how hot the brakes become, for the client report."""

from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tuftwork.cooling import BlankingChart, Forecast, solve_cooling
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
    shown = ("at", "answer", "circuits", "exits", "loads", "gains", "notices")
    return {key: page[key] for key in shown} | {
        "charted": first,
        "captions": {
            "net": f"The air net at {page['at']}: the wider an arrow, the more air; beside each "
            "part its loss, at each node pressure and temperature.",
            "forecast": f"{first.capitalize()} by air temperature: bands hold 50 and 80 % of the "
            "draws, the figures along the foot are the chance of crossing the limit.",
            "blanking": f"Tape on the cores of the {first}: lines are equal temperatures, dots "
            "the most tape that keeps the accepted chance.",
        },
    }  # fmt: skip


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
    return {k: page[k] for k in ("at", "answer", "energy", "power", "axles", "notices")} | {
        "caption": caption
    }


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
