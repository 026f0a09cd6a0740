"""The lap under a slider: what is turned and the ride heights at rest, quick enough to be moved."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.errors import InputError, NotCovered
from tuftwork.lap import Setting
from tuftwork.lap.value import worth_of
from tuftwork.quantity import Array, summarise, to_si
from tuftwork.study.answers import Answers
from tuftwork.study.lap import drawn_car
from tuftwork.study.lap_answer import driver_of
from tuftwork.study.lap_car import few
from tuftwork.study.lap_road import circuit_driven
from tuftwork.study.number import Number, number_of_summary
from tuftwork.study.trim import (
    SettingRuns,
    aero_of_maps,
    trim_circuit,
    trim_of,
)
from tuftwork.study.trim_page import trim_digits, trim_result, value_quantity


def trim_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return what a setting between those of the table is worth, with its speed along the lap.

    Raises
    ------
    InputError
        If the setting lies outside what the table covers.
    NotCovered
        If the car has no lap there.
    """
    runner, middle, base, base_speed = _ready(answers)
    mix, setting = setting_asked(answers, message)
    drawn = runner.run(setting, mix=mix)
    seconds = drawn["time"] - base["time"]
    seconds = seconds[np.isfinite(seconds)]
    if seconds.size < drawn["time"].size // 2:
        raise NotCovered("No lap here: the ride heights find no balance. Raise the car.")
    one = middle.lap(setting, mix)
    worth = worth_of(setting.name, seconds, driver_of(answers))
    digits = trim_digits(answers)  # as the table has them
    found = {
        "lap": (seconds, "time"),
        "top": (drawn["top_speed"], "speed"),
        "downforce": (drawn["downforce"], "area"),
        "share": (drawn["front_share"], "share"),
        "first": (drawn["first"] - base["first"], "speed"),
        "second": (drawn["second"] - base["second"], "speed"),
    }
    numbers = {key: _number(*one, digits[key]) for key, one in found.items()}
    numbers["lap"]["noise"] = worth.noise
    no_go = _no_go(answers, setting)
    header = {
        "at": setting.name, "numbers": numbers, "verdict": worth.verdict,
        "chance": worth.chance_quicker, "no_go": no_go, "draws": int(seconds.size),
        "outside": one.extrapolated,
    }  # fmt: skip
    arrays = {
        "station": one.trace.station, "speed_kmh": 3.6 * one.trace.speed,
        "base_station": base_speed[0], "base_kmh": 3.6 * base_speed[1],
    }  # fmt: skip
    return header, arrays


def _ready(answers: Answers) -> tuple[SettingRuns, SettingRuns, dict[str, Array], Any]:
    """Return what every live answer shares; made once."""
    key = "trim live"
    if key not in answers.worked_out:
        found = trim_result(answers)
        project = answers.project
        assert project.lap is not None
        name = trim_circuit(project)
        table = next(c for c in project.lap.circuits if c.name == name)
        ensemble = few(answers.ensemble, np.asarray(found["chosen"], dtype=int))
        car = drawn_car(answers.job, answers.states[0], ensemble)
        maps = {k: np.asarray(v) for k, v in found["maps"].items()}
        runner = SettingRuns(
            circuit=circuit_driven(project, table, answers.job.folder, answers.results), car=car,
            aero=aero_of_maps(found["axes"], maps, car), corners=trim_of(project).corners,
        )  # fmt: skip
        middle = runner.of_middle()
        base = Setting(name=answers.states[0], values=(), state="0")
        one = middle.lap(base, np.zeros(3))
        answers.worked_out[key] = (
            runner, middle, runner.run(base), (one.trace.station, one.trace.speed)
        )  # fmt: skip
    return answers.worked_out[key]  # type: ignore[no-any-return]


def setting_asked(answers: Answers, message: Mapping[str, Any]) -> tuple[Array, Setting]:
    """Return the blend of maps and the setting a message asks for."""
    project, axes = answers.project, trim_result(answers)["axes"]
    trim = trim_of(project)
    known = [value_quantity(project, text) for text in trim.values]
    nodes = np.array([q.best for q in known])
    unit, dimension = known[0].unit, known[0].dimension
    shown = _plain_number(message, "value", unit)
    value = to_si(shown, unit, dimension)
    if not nodes[0] - 1e-9 <= value <= nodes[-1] + 1e-9:
        limit = f"must lie between {trim.values[0]} and {trim.values[-1]}"
        raise InputError("value", shown, unit, limit, "Add values to [lap.trim] for more.")
    below = int(np.clip(np.searchsorted(nodes, value, side="right") - 1, 0, nodes.size - 1))
    above = min(below + 1, nodes.size - 1)
    gap = nodes[above] - nodes[below]
    share = float((value - nodes[below]) / gap) if gap > 0.0 else 0.0
    heights = {}
    for axle in ("front", "rear"):
        asked = _plain_number(message, f"{axle}_mm", "mm")
        axis = 1e3 * np.asarray(axes[axle])
        if not axis[0] <= asked <= axis[-1]:
            limit = f"must lie between {axis[0]:.0f} and {axis[-1]:.0f}"
            raise InputError(f"{axle}_mm", asked, "mm", limit, "That is what the map covers.")
        heights[axle] = asked
    setting = Setting(
        name=f"{trim.vary.rpartition('.')[0]} {shown:g} {unit}, "
        f"{heights['front']:.1f} / {heights['rear']:.1f} mm",
        values=((trim.vary, f"{shown:g} {unit}"),),
        ride_height_front=heights["front"] / 1e3, ride_height_rear=heights["rear"] / 1e3,
        state=str(1 + below),
    )  # fmt: skip
    # blocks of the table: 0 is the baseline, the values follow
    return np.array([1.0 + below, 1.0 + above, share]), setting


def _plain_number(message: Mapping[str, Any], key: str, unit: str) -> float:
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not np.isfinite(value):
        raise InputError(key, value, unit, "must be finite")
    return value


def _no_go(answers: Answers, setting: Setting) -> str:
    trim = trim_of(answers.project)
    words = []
    for axle in ("rear", "front"):
        least = getattr(trim, f"{axle}_below")
        height = getattr(setting, f"ride_height_{axle}")
        if least is not None and height is not None and height < least.best - 1e-9:
            words.append(f"{axle} below {1e3 * least.best:.0f}\u202fmm")
    reason = f": {trim.reason}" if trim.reason else ""
    return f"Not to be run: {', '.join(words)}{reason}." if words else ""


def _number(draws: Array, dimension: str, digits: int | None) -> Number:
    kept = np.asarray(draws, dtype=float)
    return number_of_summary(summarise(kept[np.isfinite(kept)]), dimension, digits=digits)
