"""States as positions and failures of devices: full rows, schedules, what sticking does."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tuftwork.aeromap.map import AeroMap
from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.car import Device, Project, Schedule, position_at
from tuftwork.errors import NotCovered
from tuftwork.quantity import Draws, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.number import Number, number_of_summary

_KMH = 3.6
_SIDE = (0.0, 1.0)  # [g] straight ahead, cornering
Page = dict[str, Any]


def require_rows(aero_map: AeroMap, project: Project) -> None:
    """Refuse a map that lacks rows of a state some device can be in.

    Raises
    ------
    NotCovered
        Every missing or incomplete state by name, with the device that needs it.
    """
    faults = []
    for device in project.devices:
        for name in (*device.positions, *device.failures):
            if name not in aero_map.states:
                faults.append(f"'{name}' ({device.name}): no rows at all")
                continue
            bad = int(np.sum(~aero_map.valid[aero_map.place(name)]))
            if bad:
                size = aero_map.valid[0].size
                faults.append(f"'{name}' ({device.name}): {bad} of {size} cells hold no numbers")
    if faults:
        raise NotCovered(f"The map misses rows: {'; '.join(faults)}. Compute these states too.")


def role_of(project: Project, state: str) -> str:
    """Return what a state is: a position or a failure of a device, or a setting."""
    for device in project.devices:
        if state in device.positions:
            return f"position of the {device.name}"
        if state in device.failures:
            return f"failure of the {device.name}"
    return "failure" if project.states and project.state(state).stuck else "setting"


def rows_of(answers: Answers) -> list[Page]:
    """Return every state with its loads at every studied speed; worked out once."""
    key = "car rows"
    if key not in answers.worked_out:
        answers.worked_out[key] = _rows(answers)
    kept: list[Page] = answers.worked_out[key]
    return kept


def _rows(answers: Answers) -> list[Page]:
    return [
        {
            "name": state,
            "role": role_of(answers.project, state),
            "note": answers.project.state(state).note if answers.project.states else "",
            "rows": [load_row(answers, state, speed) for speed in answers.speeds],
        }
        for state in answers.states
    ]


def load_row(answers: Answers, state: str, speed: float) -> Page:
    """Return one row of a state: loads, share, drag, ride heights where they are known."""
    numbers = {name: _number(answers, state, name, speed) for name in ("total", "share", "drag")}
    if answers.has_platform:
        keep = answers.kept(state)
        for name in ("height_front", "height_rear"):
            heights = summarise(answers.draws(state, name, speed)[keep])
            numbers[name] = number_of_summary(heights, "height", unit="mm")
    return {"speed_kmh": round(speed * _KMH, 1), **numbers}


def _number(answers: Answers, state: str, name: str, speed: float) -> Number:
    if answers.has_platform:
        return answers.ride_number(state, name, speed)
    draws = _loads(answers, state, speed)[name]
    dimension, unit = ("share", "%") if name == "share" else ("area", "m²")
    return answers.book.number(
        f"car/state/{state}/{name}/{speed * _KMH:.0f}", draws, dimension, unit=unit,
        title=f"{_WORDS[name]} at {speed * _KMH:.0f} km/h, {state}",
        links=answers.car_links(state), at=f"{answers.at(state, speed)}, at rest heights",
        among=answers.inputs_in(state),
    )  # fmt: skip


_WORDS = {"total": "CzS, whole car", "share": "Front share of the downforce", "drag": "CxS"}


def _loads(answers: Answers, state: str, speed: float) -> dict[str, Draws]:
    """Return the loads of a state, draw by draw, with or without a platform."""
    if answers.has_platform:
        return {n: answers.draws(state, n, speed) for n in ("total", "share", "drag")}
    found = answers.loads(state, answers.platform(state, speed))
    size = answers.ensemble.size
    front, total, drag = (
        np.broadcast_to(v, (size,)) for v in (found.downforce_front, found.downforce, found.drag)
    )
    return {"total": total, "share": front / total, "drag": drag}


def devices_of(answers: Answers) -> list[Page]:
    """Return every device: schedules, and what it does to stick anywhere; worked out once."""
    key = "car devices"
    if key not in answers.worked_out:
        answers.worked_out[key] = [_device(answers, d) for d in answers.project.devices]
    kept: list[Page] = answers.worked_out[key]
    return kept


def _device(answers: Answers, device: Device) -> Page:
    schedules = [s for s in answers.project.schedules if s.device == device.name]
    return {
        "name": device.name,
        "positions": list(device.positions),
        "failures": list(device.failures),
        "travel_s": device.travel.best,
        "note": device.note,
        "schedules": [_schedule(answers, s, device) for s in schedules],
        "stuck": _stuck(answers, device, schedules),
    }


def _schedule(answers: Answers, schedule: Schedule, device: Device) -> Page:
    """Return which position is taken at every studied speed: straight, braking, cornering."""
    ways = (("straight", 0.0, False), ("braking", 0.0, True), ("cornering at 1 g", 1.0, False))
    rows = [
        {"speed_kmh": round(speed * _KMH, 1)}
        | {
            way: position_at(
                schedule, device, speed=speed, side=side * STANDARD_GRAVITY, braking=braking
            )
            for way, side, braking in ways
        }
        for speed in answers.speeds
    ]
    return {"name": schedule.name, "note": schedule.note, "rows": rows}


def _stuck(answers: Answers, device: Device, schedules: Sequence[Schedule]) -> list[Page]:
    """Return what is lost where the device is not where it should be, at the top speed.

    Wanted is what the first schedule asks for in a corner at 1 g, where a stuck device is felt;
    without one, the rest position.
    """
    speed = answers.speeds[-1]
    wanted = device.positions[0]
    if schedules:
        wanted = position_at(schedules[0], device, speed=speed, side=STANDARD_GRAVITY)
    rows = []
    for state in (*device.positions, *device.failures):
        if state == wanted:
            continue
        there, here = _loads(answers, state, speed), _loads(answers, wanted, speed)
        keep = answers.kept(state) & answers.kept(wanted)
        at = answers.at(state, speed)
        is_failure = state in device.failures

        def number(name: str, words: str, dimension: str, unit: str, draws: Draws) -> Number:
            return answers.book.number(
                f"car/stuck/{device.name}/{state}/{name}", draws, dimension, unit=unit,  # noqa: B023
                title=f"{words}: '{state}' instead of '{wanted}'",  # noqa: B023
                links=answers.car_links(state), at=at, keep=keep,  # noqa: B023
                among=answers.inputs_in(state, wanted),  # noqa: B023
                decision="Whether the car may be driven on with it.",
            )  # fmt: skip

        share = there["share"] - here["share"]
        rows.append(
            {
                "state": state,
                "wanted": wanted,
                "kind": "failure" if is_failure else "stuck",
                "total": number("total", "CzS", "area", "m²", there["total"] - here["total"]),
                "share": number("share", "Front share", "share", "%", share),
                "drag": number("drag", "CxS", "area", "m²", there["drag"] - here["drag"]),
                "feels": _feels(share[keep]),
            }
        )
    return rows


def _feels(share: Draws) -> str:
    """Return what the driver feels of a balance that has moved."""
    forward, back = float(np.mean(share > 0.005)), float(np.mean(share < -0.005))
    if forward > 0.8:
        return "looser"
    if back > 0.8:
        return "tighter"
    return "balance hardly moves" if max(forward, back) < 0.5 else "not sure which way"
