"""The 3-D flow in the client report: loads with their whole range, the bias, pictures, caution."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tuftwork.files.time_file import TimeSeries
from tuftwork.plot.flow import band_view, instants_view, plane_view, pressure_view, vortex_view
from tuftwork.plot.style import LIGHT, Theme, house_style
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.flow.over_time import series_of
from tuftwork.study.flow.page import CAUTION, flow_page, record_of

_WIDE, _LOW = 0.62, 0.33  # [rad]
_CAPTIONS = {
    "front": "Mean pressure on the surface, from ahead: suction in blue, stagnation in red.",
    "below": "The same from behind and below: where the floor and the diffuser pull.",
    "middle": "Mean speed in the middle plane, over the car's speed.",
    "wake": "Total pressure lost behind the car: what the next car meets.",
    "vortices": "Vortices (a surface of equal Q), coloured by the total pressure lost in them, "
    "with mean streamlines.",
    "instants": "Total pressure lost on a plane at four instants: how the wake moves.",
    "fluctuation": "How much the pressure swings (standard deviation of Cp over the samples kept): "
    "what shakes a panel.",
    "bands": "Load along the car: where downforce and drag are made.",
}


def flow_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section of every finished run of this car, None where there is none.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    project = answers.project
    if project.flow is None:
        return None
    runs: list[dict[str, Any]] = []
    for case in project.flow.cases:
        page = flow_page(bench, case.name)
        if page["result"] is None or not case.counts:
            continue  # a shape that is not the car has no place in the client's report
        stem = f"flow{len(runs)}"
        record = record_of(bench, case.name)
        drawn = _draw(record, PAPER, folder, f"{stem}_", series_of(record, bench.folder))
        figures = {key: path.name for key, path in drawn.items()}
        keys = ("loads", "moments", "parts", "bias", "why_not", "facts", "gap", "notices", "at",
                "is_older", "evidence", "inside", "doubts", "over_time")  # fmt: skip
        runs.append({"name": case.name, "figures": figures, "captions": _CAPTIONS,
                     **{k: page["result"][k] for k in keys}})  # fmt: skip
        runs[-1]["notices"] = [n for n in runs[-1]["notices"] if n not in runs[-1]["doubts"]]
    return {"runs": runs, "caution": CAUTION} if runs else None


def write_flow_pictures(bench: Bench, case: str, folder: Path | str) -> list[str]:
    """Draw the pictures of a finished run as PNG files into a folder and return their paths."""
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    record = record_of(bench, case)
    drawn = _draw(record, LIGHT, target, "", series_of(record, bench.folder))
    return [str(path) for path in drawn.values()]


def _instants(series: TimeSeries) -> list[dict[str, Any]]:
    """Return the first plane kept over time at four instants, from the first to the last."""
    plane, out = series.planes[0], []
    for n in np.unique(np.linspace(0, series.count - 1, 4).round().astype(int)):
        loss = series.plane(0, int(n))["total_pressure_loss"]
        name = f"{series.travel[n]:.2f} car lengths"
        out.append({"name": name, "axis": plane.axis, "at": plane.at, "across": plane.across,
                    "up": plane.up, "loss": loss})  # fmt: skip
    return out


def _draw(
    record: Any, theme: Theme, folder: Path, stem: str, series: TimeSeries | None
) -> dict[str, Path]:
    planes = {p["name"]: p for p in record["planes"]}
    makers: dict[str, Callable[[], Axes | Figure]] = {
        "front": lambda: pressure_view(
            record["surface"], azimuth=_WIDE, elevation=_LOW, theme=theme
        ),
        "below": lambda: pressure_view(
            record["surface"], azimuth=2.55, elevation=-0.35, theme=theme
        ),
        "middle": lambda: plane_view(planes["middle of the car"], "speed", theme=theme),
        "wake": lambda: plane_view(planes["behind the car"], "loss", theme=theme),
        "vortices": lambda: vortex_view(record, azimuth=2.45, elevation=0.35, theme=theme),
        "bands": lambda: band_view(record["bands"], theme=theme),
    }
    if "pressure_rms" in record["surface"]:
        makers["fluctuation"] = lambda: pressure_view(
            record["surface"], azimuth=2.45, elevation=_LOW, theme=theme, field="pressure_rms"
        )
    if series is not None and series.planes and series.count >= 4:
        makers["instants"] = lambda: instants_view(_instants(series), "loss", theme=theme)
    found = {}
    for key, make in makers.items():
        drawn = make()
        figure = drawn if isinstance(drawn, Figure) else drawn.get_figure(root=True)
        assert figure is not None
        found[key] = folder / f"{stem}{key}.png"
        with house_style(theme):
            figure.savefig(found[key], dpi=170, metadata={"Software": None})
    return found
