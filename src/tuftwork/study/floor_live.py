"""The floor under the hand: ride heights, ramp and edges moved, pressure map and leak at once."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor import FloorClosure, FloorShape, PlanResult, Stand, Strake, solve_plan
from tuftwork.quantity import Array, Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.floor_case import FloorCase, floor_case
from tuftwork.study.floor_trail import trails_of
from tuftwork.study.floor_worked import STEP
from tuftwork.study.number import Number, number_of_quantity
from tuftwork.study.store import Tree

FENCED = (
    "Strakes on trial: the layer is the bare floor's, so their load is an upper bound; the table "
    "below has the layer answer. Their vortices are good to ±40 % and stand beside it."
)
_LIMITS = {  # key of a message → least, most, unit, factor to SI
    "front_mm": (3.0, 400.0, "mm", 1e-3),
    "rear_mm": (3.0, 400.0, "mm", 1e-3),
    "roll_deg": (-4.0, 4.0, "°", np.pi / 180),
    "angle_deg": (0.0, 35.0, "°", np.pi / 180),
    "kick_mm": (-2000.0, 8000.0, "mm", 1e-3),
    "edge_gap_mm": (0.0, 400.0, "mm", 1e-3),
    "skirt_mm": (0.0, 400.0, "mm", 1e-3),
    "exit_pressure": (-1.5, 0.5, "", 1.0),
    "mixing": (0.0, 1.5, "", 1.0),
    "discharge": (0.05, 1.0, "", 1.0),
    "strake_offset_mm": (0.0, 2000.0, "mm", 1e-3),
    "strake_start_mm": (-2000.0, 8000.0, "mm", 1e-3),
    "strake_gap_pct": (2.0, 98.0, "%", 1e-2),
    "strake_toe_deg": (-20.0, 20.0, "°", np.pi / 180),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a message asks for: the floor, how it stands, what the equations leave open.

    ``toe`` is that of its strakes, for their vortices alone [rad]; ``is_fenced`` where a pair of
    strakes was put in on trial.
    """

    case: FloorCase
    shape: FloorShape
    stand: Stand
    closure: FloorClosure
    toe: float = 0.0
    is_fenced: bool = False

    @property
    def said(self) -> str:
        """Ride heights and what else was moved, in words."""
        s = self.stand
        text = f"hf {1e3 * s.front:.1f}\u202fmm, hr {1e3 * s.rear:.1f}\u202fmm"
        return text + (f", roll {np.degrees(s.roll):.2f}°" if s.roll else "")


def worked_of(answers: Answers, name: str) -> Tree:
    """Return the kept results of a floor."""
    found: Tree = answers.results[STEP].get(name, {})
    return found


def heights_in(answers: Answers, state: str, kept: Tree) -> list[float]:
    """Return both ride heights of a state at the page's speed, medians of the draws [m]."""
    heights = [float(h) for h in kept.get("heights", ())]
    if not heights or not answers.has_platform or state in ("", answers.states[0]):
        return heights
    where = answers.platform(state, float(kept["speed"]))
    return [
        float(np.median(where.ride_height_front)), float(np.median(where.ride_height_rear))
    ]  # fmt: skip


def asked(answers: Answers, message: Mapping[str, Any]) -> Asked:
    """Return what a message asks for; what it leaves out stays as in the project.

    Raises
    ------
    InputError
        If a value is no number or beyond its limits, or the floor it describes cannot be.
    """
    state = str(message.get("state", "")) if answers.project.states else ""
    case = floor_case(answers.project, str(message.get("floor", "")), state)
    kept = worked_of(answers, case.part.name)
    spec = case.spec
    values = {
        key: _number(message, key) for key in _LIMITS if message.get(key) is not None
    }  # fmt: skip
    heights = heights_in(answers, state, kept) or [sum(spec.front) / 2, sum(spec.rear) / 2]
    changes: dict[str, Any] = {}
    for key, field in (("angle_deg", "diffuser_angle"), ("kick_mm", "kick_station")):
        if key in values:
            changes[field] = values[key]
    if "edge_gap_mm" in values:
        changes["edge_gap"] = values["edge_gap_mm"]
    closure = replace(spec.closure(), **kept.get("closure", {}))
    left: dict[str, Any] = {
        k: values[k] for k in ("exit_pressure", "mixing", "discharge") if k in values
    }
    closure = replace(closure, **left)
    shape = replace(spec, **changes).shape()
    if values.get("skirt_mm"):
        if shape.edge_gap is not None:
            raise InputError("skirt_mm", values["skirt_mm"] * 1e3, "mm",
                             "changes nothing where the edge's gap is given")  # fmt: skip
        shape = replace(shape, skirt=values["skirt_mm"])
    shape, is_fenced = _fenced(shape, spec.kick_station, values)
    return Asked(
        case=case, shape=shape, closure=closure, toe=values.get("strake_toe_deg", 0.0),
        is_fenced=is_fenced,
        stand=case.stand(
            values.get("front_mm", float(heights[0])), values.get("rear_mm", float(heights[1])),
            values.get("roll_deg", 0.0),
        ),
    )  # fmt: skip


def _fenced(shape: FloorShape, kick: float, values: Mapping[str, float]) -> tuple[FloorShape, bool]:
    """Return the floor with a pair of strakes on trial; none at an offset of 0."""
    offset = values.get("strake_offset_mm", 0.0)
    if offset <= 0:
        return shape, False
    fence = Strake(
        start=values.get("strake_start_mm", kick - 0.05), end=shape.exit, offset=offset,
        gap=values.get("strake_gap_pct", 0.5),
    )  # fmt: skip
    return replace(shape, strakes=(*shape.strakes, fence)), True


def solved(answers: Answers, what: Asked) -> PlanResult:
    """Return the channel in plan, from the last state asked of this floor."""
    memory: dict[str, PlanResult] = answers.worked_out.setdefault("floor memory", {})
    key = what.case.part.name
    near = memory.get(key)
    found = solve_plan(what.shape, what.stand, what.closure, near=near)
    memory[key] = found
    return found


def floor_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Array]]:
    """Return a moved floor: loads, leak flows, pressure map, layer."""
    what = asked(answers, message)
    result = solved(answers, what)
    kept = worked_of(answers, what.case.part.name)
    fenced = [FENCED] if what.is_fenced else []
    header = {
        "at": what.said,
        "numbers": floor_numbers(answers, what, result),
        "notices": [*result.notices, *fenced],
        "trails": trails_of(
            what.shape,
            what.stand,
            result,
            toe=what.toe,
            at=what.said,
            coverage=float(kept.get("coverage", 1.0)),
        ),
        "shape": [int(n) for n in result.pressure.shape],
        "stalled_from": result.line.stalled_from,
        "flows": flows_of(result),
    }
    return header, drawing_of(result)


def drawing_of(result: PlanResult) -> dict[str, Array]:
    """Return fields of the cells and lines along the car as flat arrays."""
    line = result.line
    return {
        "x": result.x, "y": result.y, "cp": result.pressure.ravel(),
        "speed": result.speed.ravel(), "gap": result.gap.ravel(),
        "leak_left": result.leak_left, "leak_right": result.leak_right,
        "line_x": line.x, "line_cp": line.pressure, "shape_factor": line.shape_factor,
        "displacement_mm": 1e3 * line.displacement, "gap_mm": 1e3 * line.gap,
    }  # fmt: skip


def flows_of(result: PlanResult) -> dict[str, float]:
    """Return how the air divides, over the road speed [m²] and as shares of what leaves."""
    out = result.exit_flow
    left = float(np.sum(result.leak_left * np.gradient(result.x)))
    right = float(np.sum(result.leak_right * np.gradient(result.x)))
    return {
        "inlet": result.inlet_flow, "left": left, "right": right, "exit": out,
        "inlet_share": result.inlet_flow / out, "leak_share": result.leak_flow / out,
    }  # fmt: skip


def range_at(kept: Tree, rear: float) -> tuple[float, float]:
    """Return low and high over best of the engine's load at a rear ride height [-]."""
    sweep = kept.get("sweep")
    if not sweep:
        return 0.75, 1.25
    height = np.asarray(sweep["height"])
    low, high = (
        float(np.interp(rear, height, np.asarray(sweep[k]) / np.asarray(sweep["best"])))
        for k in ("low", "high")
    )
    return low, high


def floor_numbers(answers: Answers, what: Asked, result: PlanResult) -> dict[str, Number]:
    """Return the loads of the floor on the car, with the range of what is left open."""
    kept = worked_of(answers, what.case.part.name)
    coverage = float(kept.get("coverage", 1.0))
    low, high = range_at(kept, what.stand.rear)
    down, base = coverage * result.downforce, what.stand.wheelbase
    rear = coverage * result.moment / base
    at = what.said

    def area(value: float) -> Number:
        a, b = sorted((value * low, value * high))
        return number_of_quantity(
            Quantity(best=value, low=a, high=b, unit="m²", dimension="area", origin="computed",
                     place="channel in plan")
        ) | {"at": at}  # fmt: skip

    return {
        "downforce": area(down), "front": area(down - rear), "rear": area(rear),
        "clean": area(result.downforce),
        "least_pressure": number_of_quantity(
            Quantity(
                best=float(np.nanmin(result.pressure)),
                low=float(np.nanmin(result.pressure)) * high,
                high=float(np.nanmin(result.pressure)) * low,
                unit="", dimension="ratio", origin="computed", place="channel in plan",
            )
        ) | {"at": at},
    }  # fmt: skip


def _number(message: Mapping[str, Any], key: str) -> float:
    low, high, unit, factor = _LIMITS[key]
    try:
        value = float(message[key])
    except (TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not low <= value <= high:
        raise InputError(key, value, unit, f"must lie between {low:g} and {high:g}")
    return value * factor
