"""Live requests about what a run kept over time: which samples there are, and one of them."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tuftwork.errors import InputError, NotCovered
from tuftwork.study.flow.case import run_named
from tuftwork.study.flow.over_time import SAME, series_of
from tuftwork.study.flow.page import flown_case

_FIELDS = {"pressure": "pressure_coefficient", "speed": "speed", "loss": "total_pressure_loss"}


def frames_tree(
    record: dict[str, Any], folder: Any, planes: Sequence[Mapping[str, Any]]
) -> dict[str, Any] | None:
    """Return the samples of a run and what each holds; None where nothing was kept or it has gone.

    Parameters
    ----------
    record
        Of the finished run.
    folder
        Of the project.
    planes
        As the page shows them: axis and place of each.
    """
    series = series_of(record, folder)
    if series is None or not series.count:
        return None
    shown = []
    for kept in series.planes:
        same = (k for k, plane in enumerate(planes)
                if plane["axis"] == kept.axis and abs(plane["at"] - kept.at) < SAME)  # fmt: skip
        shown.append(next(same, -1))
    return {
        "travel": [round(float(v), 4) for v in series.travel],
        "time": [round(float(v), 6) for v in series.time],
        "planes": shown, "surface": series.n_vertex > 0,
    }  # fmt: skip


def frame_live(bench: Any, message: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return one sample of a run: the surface's pressure, a plane, or both."""
    name = run_named(bench.opened.project, str(message.get("case", ""))).name
    series = series_of(flown_case(bench, name).record, bench.folder)
    if series is None:
        raise NotCovered(f"The file over time of '{name}' has gone: run the case again to have it.")
    number, plane = int(message.get("frame", 0)), int(message.get("plane", -1))
    if not 0 <= number < series.count:
        raise InputError("sample", number + 1, "", f"must be from 1 to {series.count}")
    if not -1 <= plane < len(series.planes):
        raise InputError("plane", plane + 1, "", f"must be from 1 to {len(series.planes)}")
    arrays: dict[str, np.ndarray] = {}
    if message.get("surface") and series.n_vertex:
        arrays["surface"] = series.surface(number)
    if plane >= 0:
        found = series.plane(plane, number)
        arrays |= {key: found[field].astype(np.float32) for key, field in _FIELDS.items()}
        arrays |= {"across": series.planes[plane].across.astype(np.float32),
                   "up": series.planes[plane].up.astype(np.float32)}  # fmt: skip
    return {"frame": number, "plane": plane}, arrays
