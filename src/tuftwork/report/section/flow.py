"""The 3-D flow in the client report: loads with their whole range, the bias, pictures, caution."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes

from tuftwork.plot.flow import band_view, plane_view, pressure_view, vortex_view
from tuftwork.plot.style import LIGHT, Theme, house_style
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.flow.page import CAUTION, flow_page, record_of

_WIDE, _LOW = 0.62, 0.33  # [rad]
_CAPTIONS = {
    "front": "Mean pressure on the surface, from ahead: suction in blue, stagnation in red.",
    "below": "The same from behind and below: where the floor and the diffuser pull.",
    "middle": "Mean speed in the middle plane, over the car's speed.",
    "wake": "Total pressure lost behind the car: what the next car meets.",
    "vortices": "Vortices (a surface of equal Q), coloured by the total pressure lost in them, "
    "with mean streamlines.",
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
        drawn = _draw(record, PAPER, folder, f"{stem}_")
        figures = {key: path.name for key, path in drawn.items()}
        keys = ("loads", "moments", "parts", "bias", "why_not", "facts", "gap", "notices", "at",
                "is_older", "evidence", "inside", "doubts")  # fmt: skip
        runs.append({"name": case.name, "figures": figures, "captions": _CAPTIONS,
                     **{k: page["result"][k] for k in keys}})  # fmt: skip
        runs[-1]["notices"] = [n for n in runs[-1]["notices"] if n not in runs[-1]["doubts"]]
    return {"runs": runs, "caution": CAUTION} if runs else None


def write_flow_pictures(bench: Bench, case: str, folder: Path | str) -> list[str]:
    """Draw the pictures of a finished run as PNG files into a folder and return their paths."""
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    drawn = _draw(record_of(bench, case), LIGHT, target, "")
    return [str(path) for path in drawn.values()]


def _draw(record: Any, theme: Theme, folder: Path, stem: str) -> dict[str, Path]:
    planes = {p["name"]: p for p in record["planes"]}
    makers: dict[str, Callable[[], Axes]] = {
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
    found = {}
    for key, make in makers.items():
        figure = make().get_figure(root=True)
        assert figure is not None
        found[key] = folder / f"{stem}{key}.png"
        with house_style(theme):
            figure.savefig(found[key], dpi=170, metadata={"Software": None})
    return found
