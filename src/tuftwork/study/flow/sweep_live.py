"""Live requests about many cases of the 3-D flow: spread them, start, watch and stop a sweep."""

from collections.abc import Mapping
from typing import Any

from tuftwork.errors import InputError
from tuftwork.files import read_project
from tuftwork.study.flow.live import Answer
from tuftwork.study.flow.sweep import AXES, listed, spread_cases
from tuftwork.study.flow.sweep_desk import (
    built_cases,
    left_to_run,
    mark_of,
    start_sweep,
    stop_sweep,
    sweep_tree,
)


def spread_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Write every combination of the values of a message into the project as cases."""
    values = {axis: listed(str(message.get(axis, ""))) for axis in AXES}
    if not any(values.values()):
        limit = "needs front or rear ride heights, yaw angles or cells"
        raise InputError("values to spread", "none", "", limit, "Such as 30, 40, 50 mm.")
    opened, names = spread_cases(read_project(bench.folder), str(message.get("case", "")), values)
    bench.opened = opened
    return {"names": list(names), "sweep": sweep_tree(bench)}, {}


def sweep_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return how every case and the sweep stand."""
    # a sweep is another process: what it registers stands in the file
    bench.opened = read_project(bench.folder)
    return {"sweep": sweep_tree(bench)}, {}


def mark_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return whether anything has begun or ended: a mark to be compared with the page's."""
    return {"mark": mark_of(bench.folder)}, {}


def sweep_start_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Run what is left; cases that were stopped go on from their checkpoints."""
    with bench.starts:
        start_sweep(bench.folder, left_to_run(bench))
    return {"sweep": sweep_tree(bench)}, {}


def sweep_stop_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Ask the sweep to stop; what it runs keeps a checkpoint."""
    asked = stop_sweep(bench.folder, built_cases(bench))
    return {"asked": asked, "sweep": sweep_tree(bench)}, {}
