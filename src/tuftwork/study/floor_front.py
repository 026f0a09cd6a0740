"""Splitters for the page "Floor": their channels' answer, or one channel up to the flat floor.

A splitter without a channel table stands in the budget in closed form; beside it the page shows
one channel from its lip to the floor's leading edge, best values with a range by judgement.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Splitter
from tuftwork.errors import InputError, NotConverged
from tuftwork.floor import FloorClosure, PlanResult
from tuftwork.floor.nose import FrontFloor, FrontFlow, FrontLoad, edge_tolerance, solve_front
from tuftwork.study.answers import Answers
from tuftwork.study.floor_case import FloorCase
from tuftwork.study.floor_number import ranged_number
from tuftwork.study.front_hold import hold_rows
from tuftwork.study.front_rows import channel_row, fronts_in
from tuftwork.study.store import Tree

_LOWER = 0.010  # [m] a front that dives under braking
_FLAP = 0.25  # [m] chord of an edge behind, to say what its rolled nose bears
_SEEN = np.radians(0.05)  # [rad] of upwash worth a line
_WHOLE = "CzS, from above and below"
_LEAST = 0.4  # [-] half of the range of a front floor's load


def fronts(
    splitters: tuple[Splitter, ...], case: FloorCase, closure: FloorClosure,
    heights: tuple[float, float], plan: PlanResult, pressure: float,
) -> list[Tree]:  # fmt: skip
    """Return splitters without channels of their own, solved up to the floor's leading edge."""
    return [
        _front(part, case, closure, heights, plan, pressure)
        for part in splitters
        if part.channel is None
    ]


def _front(
    part: Splitter, case: FloorCase, closure: FloorClosure, heights: tuple[float, float],
    plan: PlanResult, pressure: float,
) -> Tree:  # fmt: skip
    spec = case.spec
    lip = part.station.best
    stand = case.stand(*heights)
    clearance = float(stand.plane(np.array(lip), np.zeros(1))[0]) - part.drop.best
    floor = FrontFloor(
        width=part.width.best, lip=lip, handover=max(spec.shape().front, lip + 0.2),
        projection=part.projection.best, lip_radius=part.lip_radius.best,
        stiffness=part.stiffness.best if part.stiffness is not None else None,
    )  # fmt: skip
    flow = {
        "pitch": float(np.arctan((heights[1] - heights[0]) / spec.wheelbase)),
        "pressure": pressure,
        "handover_pressure": float(np.nanmean(plan.pressure[0])),
    }
    out: Tree = {"name": part.name, "clearance": clearance}
    try:
        level = solve_front(floor, FrontFlow(clearance=clearance, **flow), closure)
        out |= _told(level)
    except (NotConverged, InputError) as why:
        return out | {"refused": str(why)}
    try:
        low = solve_front(floor, FrontFlow(clearance=clearance - _LOWER, **flow), closure)
        out["lower"] = low.downforce - level.downforce
    except (NotConverged, InputError) as why:
        out["lower_refused"] = str(why)
    out["tolerance"] = float(edge_tolerance(0.01, _FLAP))
    return out


def _told(load: FrontLoad) -> Mapping[str, Any]:
    return {
        "upper": load.upper, "under": load.under, "droop": load.droop, "choke": load.choke,
        "is_choked": load.is_choked, "upwash": load.upwash, "loss": load.inlet_loss,
    }  # fmt: skip


def front_rows(
    answers: Answers, rows: list[Tree], floor: str, state: str, speed: float | None = None
) -> list[dict[str, Any]]:
    """Return splitters as the page shows them: numbers with ranges, what they hold, and words."""
    found = _rows(answers, rows, floor, state, speed)
    sheets = {row["name"]: row for row in hold_rows(answers, state, f"floor/{floor}/{state}")}
    for row in found:
        row["hold"] = _beside(row, sheets.get(row["name"]))
    return found


def _beside(row: dict[str, Any], sheet: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return a load sheet with what the channel drawn beside it says, where the two differ."""
    drawn = next((n["number"] for n in row["numbers"] if n["label"] == _WHOLE), None)
    if sheet is None or drawn is None or row["engine"] != "closed form":
        return sheet
    held = sheet["load_area"]
    words = (
        "which is more than the one channel above gives: the greater counts"
        if held > drawn["best"]
        else "which is less than the one channel above gives: prove for that one, in proportion"
    )
    said = f"The load is the budget's closed form, CzS {held:.2f}\u202fm² on the plate, {words}."
    return sheet | {"text": f"{sheet['text']} {said}"}


def _rows(
    answers: Answers, rows: list[Tree], floor: str, state: str, speed: float | None
) -> list[dict[str, Any]]:
    speeds = sorted(q.best for q in answers.project.study.speeds)
    speed = speed or speeds[max(len(speeds) - 2, 0)]
    found = [
        channel_row(answers, row, f"floor/{floor}/{state}")
        for row in fronts_in(answers, state, speed)
    ]
    for row in rows:
        if "refused" in row:
            found.append({"name": row["name"], "numbers": [], "text": str(row["refused"]),
                          "engine": "closed form", "notices": [], "sweep": None})  # fmt: skip
            continue
        at = f"lip {1e3 * float(row['clearance']):.0f} mm over the road"
        total = float(row["upper"]) + float(row["under"])
        numbers = [
            (_WHOLE, total, _LEAST, "area", "m²"),
            ("of it from below", float(row["under"]), _LEAST, "area", "m²"),
            ("droop of the lip", float(row["droop"]), _LEAST, "height", "mm"),
            ("turns the air behind it up by", float(row["upwash"]), 0.5, "angle", "°"),
        ]
        if "lower" in row:
            label = "CzS more with the nose 10 mm lower"
            numbers.insert(2, (label, float(row["lower"]), 0.6, "area", "m²"))
        text = (
            f"The layer's displacement fills {100 * float(row['choke']):.0f} % of the narrowest gap"
            + ("; it chokes: lower down it carries less." if row["is_choked"] else ".")
        )
        if "lower_refused" in row:
            text += f" 10 mm lower: {row['lower_refused']}"
        found.append({
            "name": row["name"], "text": text, "engine": "closed form", "notices": [],
            "sweep": None,
            "numbers": [
                {"key": label, "label": label,
                 "number": ranged_number(v, share, dimension, unit, at)}
                for label, v, share, dimension, unit in numbers
                if (dimension != "height" or v > 0) and (dimension != "angle" or v > _SEEN)
            ],
        })  # fmt: skip
    return found
