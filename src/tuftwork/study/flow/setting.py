"""Settings of a case as the page's fields show them, and what a hand changed in them."""

from collections.abc import Mapping
from math import isclose, isfinite
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from tuftwork.car import FlowRun, Project
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.study.flow.case import Built, shape_of
from tuftwork.study.flow.over_time import keep_tree, kept_as_asked
from tuftwork.study.flow.spoken import seen_as

Tree = dict[str, Any]
_LENGTHS = "car lengths"
_FIELDS: dict[str, tuple[str, str, float, float]] = {
    "speed_kmh": ("speed", "km/h", 5.0, 400.0),
    "yaw_deg": ("yaw", "°", -30.0, 30.0),
    "front_mm": ("ride_height_front", "mm", 1.0, 500.0),
    "rear_mm": ("ride_height_rear", "mm", 1.0, 500.0),
    "cell_mm": ("cell", "mm", 0.5, 500.0),
    "error_m2": ("error", "m²", 1e-4, 1.0),
    "error_pct": ("error_share", "%", 1e-3, 50.0),
    "levels": ("levels", "times", 0.0, 6.0),
    "settle": ("settle", _LENGTHS, 0.0, 100.0),
    "longest": ("longest", _LENGTHS, 1.5, 500.0),
}
"""What the page may move: its name → key, unit, least, most."""
_PLAIN = {"levels": int, "settle": float, "longest": float}
"""Those that the project writes without a unit, and of what kind they are."""
_BACK_ENDS = ("cpu", "cuda")


def setting_tree(run: FlowRun, built: Built | None) -> Tree:
    """Return what the page's fields show; ride heights as drawn where the case has none."""
    own = _heights(run)
    return _fields(run, own if built is None else (built.front, built.rear))


def _heights(run: FlowRun) -> tuple[float | None, float | None]:
    front, rear = (None if h is None else h.best
                   for h in (run.ride_height_front, run.ride_height_rear))  # fmt: skip
    return front, rear


def _fields(run: FlowRun, heights: tuple[float | None, float | None]) -> Tree:
    def mm(length: float | None) -> float | None:
        return None if length is None else round(1e3 * length, 3)

    return {
        "speed_kmh": round(3.6 * run.speed.best, 3),
        "yaw_deg": round(57.29577951308232 * run.yaw.best, 4),
        "front_mm": mm(heights[0]),
        "rear_mm": mm(heights[1]),
        "cell_mm": mm(run.cell.best),
        "levels": run.levels,
        "settle": run.settle,
        "longest": run.longest,
        "error_m2": run.error.best,
        "error_pct": None if run.error_share is None else round(100 * run.error_share.best, 6),
        "back_end": run.back_end,
        "leave_out": list(run.leave_out),
        "over_time": keep_tree(run),
    }


def moved(project: Project, folder: Path, run: FlowRun, message: Mapping[str, Any]) -> Tree:
    """Return the keys of a case whose fields on the page say something else now, and what.

    A field that shows what it showed before is not among them, however the project writes it: in
    other units, with more digits, or not at all where a ride height is as drawn.

    Parameters
    ----------
    project, folder, run
        The project, and its case.
    message
        Fields of the page; all of them, or some.

    Returns
    -------
    changes
        Key → value; None takes the key away.

    Raises
    ------
    InputError
        If one cannot be meant.
    """
    heights = _heights(run)
    if any(h is None and name in message for h, name in zip(heights, _HEIGHTS, strict=True)):
        heights = _as_drawn(project, folder, heights)
    shown = _fields(run, heights)
    found: Tree = {}
    for name, (key, unit, _, _) in _FIELDS.items():
        if name not in message:
            continue
        value = message[name]
        if value is None:
            if name == "error_pct" and shown[name] is not None:  # the area holds again
                found[key] = None
            continue
        number = _number(name, value)
        if shown[name] is not None and isclose(number, shown[name], rel_tol=1e-9, abs_tol=1e-12):
            continue
        found[key] = _PLAIN[key](number) if key in _PLAIN else f"{number:.9g} {unit}"
    if message.get("back_end", run.back_end) != run.back_end:
        if message["back_end"] not in _BACK_ENDS:
            raise UnknownName(seen_as("back_end"), str(message["back_end"]), _BACK_ENDS)
        found["back_end"] = message["back_end"]
        if run.precision:  # each has storages of its own
            found["precision"] = None
    if "leave_out" in message and list(message["leave_out"]) != shown["leave_out"]:
        found["leave_out"] = [str(name) for name in message["leave_out"]]
    if "over_time" in message and message["over_time"] != shown["over_time"]:
        found["over_time"] = kept_as_asked(message["over_time"])
    return found


_HEIGHTS = ("front_mm", "rear_mm")


def _as_drawn(
    project: Project, folder: Path, own: tuple[float | None, float | None]
) -> tuple[float | None, float | None]:
    """Return ride heights with those of the drawn shape where the case has none."""
    try:
        shape = shape_of(project, folder)
    except (InputError, FileFault, NotCovered):
        return own
    front, rear = own
    return (shape.drawn_front if front is None else front,
            shape.drawn_rear if rear is None else rear)  # fmt: skip


def _number(name: str, value: Any) -> float:
    key, unit, low, high = _FIELDS[name]
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    span = f"{low:g} to {high:g} {unit}".replace("-", "\u2212")
    if not isfinite(number):
        raise InputError(seen_as(key), f"{value!r}", unit, "must be a number", f"Say {span}.")
    if not low <= number <= high:
        cure = f"The nearest that can be meant is {low if number < low else high:g} {unit}."
        raise InputError(seen_as(key), number, unit, f"must be {span}", cure)
    if key == "levels" and number != round(number):
        raise InputError(seen_as(key), number, unit, "must be a whole number", f"Say {span}.")
    return number


def changed_run(run: FlowRun, changes: Mapping[str, Any]) -> FlowRun:
    """Return a case with some keys given other values; None gives a key its default.

    Raises
    ------
    InputError
        If the table of the case would not take it.
    """
    fields = FlowRun.model_fields
    values = {k: fields[k].get_default() if v is None else v for k, v in changes.items()}
    try:
        return run.with_values(values)
    except ValidationError as error:
        first = error.errors()[0]
        key, given = ".".join(str(step) for step in first["loc"]) or "case", first["input"]
        name = seen_as(key)
        raise InputError(name, f"{given!r}"[:60], "", first["msg"].rstrip("."),
                         "See the project's keys for what it may be.") from error  # fmt: skip
