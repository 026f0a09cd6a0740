"""The page "Floor": pressure in plan, sweep of ride height, layer, prices of hard points."""

from typing import Any

import numpy as np

from tuftwork.car import Floor, Project, Splitter
from tuftwork.errors import InputError, NotConverged
from tuftwork.floor import PlanResult
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.floor_case import FloorCase, floor_case, floors_of
from tuftwork.study.floor_cause import cause_findings, cause_page, hysteresis_of
from tuftwork.study.floor_front import front_rows
from tuftwork.study.floor_level import level_of
from tuftwork.study.floor_live import (
    Asked,
    asked,
    drawing_of,
    floor_numbers,
    flows_of,
    heights_in,
    range_at,
    solved,
    worked_of,
)
from tuftwork.study.floor_number import computed
from tuftwork.study.floor_tied import calibration_of
from tuftwork.study.floor_trail import trails_of
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree
from tuftwork.study.support import Support, counted

Page = dict[str, Any]
_KMH, _MM = 3.6, 1e3
CAUTIONS = (
    "Desk estimate. The level hangs on edge loss, edge seal and base pressure: some 25 % before "
    "one sweep of ride heights has tied them. Order of changes first, sizes second.",
    "Lower a car in small steps on a closed course; whatever hangs under it is proof loaded before "
    "it runs. Scrutineers have the last word.",
)
_LINKS = (
    Link(what="Channel solved in plan with the ramp's layer", origin="computed",
         place="docs/models/floor-channel.md"),
    Link(what="Range from what its equations leave open, on the same draws as the budget",
         origin="computed", place="floor/engine.toml"),
)  # fmt: skip


def floor_support(project: Project, answers: Answers | None) -> Support:
    """Return the support of the page."""
    floors = [p for p in project.parts if isinstance(p, Floor)]
    fronts = [p for p in project.parts if isinstance(p, Splitter) and p.channel is not None]
    if not floors and not fronts:
        return "none", ""
    tied = bool(project.measured) and project.study.tie_to_measured
    own = counted(len(floors), "floor") if floors else counted(len(fronts), "front floor")
    return ("measured" if tied else "computed"), own


def floor_page(answers: Answers, floor: str = "", state: str = "") -> Page:
    """Return one floor of the project; a splitter with channels where there is no floor."""
    own = answers.state_named(state) if answers.project.states else ""
    if not floor and not floors_of(answers.project):
        fronts = front_rows(answers, [], "", own or answers.states[0])
        if fronts:
            return _front_alone(answers, own or answers.states[0], fronts)
    case = floor_case(answers.project, floor, own)
    kept = worked_of(answers, case.part.name)
    named = own or answers.states[0]
    head: Page = {
        "floors": list(floors_of(answers.project)), "floor": case.part.name, "state": named,
        "states": list(answers.states),
        "engine": "channel in plan" if case.has_channel else "closed form",
        "cautions": list(CAUTIONS), "calibration": calibration_of(answers, case, named),
        "level": level_of(answers, case, named),
    }  # fmt: skip
    if "refused" in kept or not kept:
        why = str(kept.get("refused", "it has not been computed"))
        return head | {"answer": f"No answer for this floor: {why}", "notices": [why],
                       "handles": None, "loads": [], "sweep": None, "field": None,
                       "prices": None, "fronts": [], "strakes": [], "levers": [],
                       "flows": None, "trails": [], "cause": None}  # fmt: skip
    what = asked(answers, {"floor": case.part.name, "state": named})
    handles = handles_of(case, kept, heights_in(answers, own, kept))
    try:
        result = solved(answers, what)
    except (NotConverged, InputError) as why:
        return head | {"answer": f"No answer at {what.said}: {why}", "notices": [str(why)],
                       "handles": handles, "loads": [], "sweep": _sweep(kept),
                       "field": None, "prices": None, "fronts": [], "strakes": [], "levers": [],
                       "flows": None, "trails": [], "cause": None}  # fmt: skip
    loads = _loads(answers, case, named, what, result, kept)
    return head | {
        "speed_kmh": round(_KMH * kept["speed"], 1),
        "at": what.said,
        "answer": _answer(case, kept, loads),
        "handles": handles,
        "loads": loads,
        "sweep": _sweep(kept),
        "field": {k: _listed(v) for k, v in drawing_of(result).items()}
        | {"shape": [int(n) for n in result.pressure.shape],
           "stalled_from": result.line.stalled_from},
        "flows": flows_of(result),
        "trails": _trails(answers, case, named, what, result, kept),
        "hysteresis": hysteresis_of(case),
        "cause": cause_page(answers, case, kept, named),
        "prices": _prices(answers, case, kept, named),
        "fronts": front_rows(
            answers, kept["fronts"], case.part.name, named, float(kept["speed"])
        ),
        "strakes": _strakes(answers, case, kept, named),
        "levers": _levers(answers, case, kept, named),
        "notices": [
            *result.notices,
            *(["sweep, prices, strakes and levers stand at the baseline's ride heights"]
              if named != answers.states[0] else []),
        ],
    }  # fmt: skip


def _front_alone(answers: Answers, state: str, fronts: list[dict[str, Any]]) -> Page:
    """Return the page of a car without a floor, of which the front floor is solved."""
    return {
        "floors": [], "floor": "", "state": state, "states": list(answers.states),
        "engine": "none", "cautions": list(CAUTIONS), "calibration": None, "level": None,
        "answer": "No floor in this project; its front floor is solved.", "notices": [],
        "handles": None, "loads": [], "sweep": None, "field": None, "prices": None,
        "fronts": fronts, "strakes": [], "levers": [], "flows": None, "trails": [], "cause": None,
    }  # fmt: skip


def floor_chain(answers: Answers, address: str) -> None:
    """Keep the chains of a floor's numbers: ``floor/<floor>/<state>/<name>``."""
    _, floor, state, *_ = address.split("/")
    floor_page(answers, floor, state if answers.project.states else "")
    floor_findings(answers)


def handles_of(case: FloorCase, kept: Tree, heights: list[float]) -> Page:
    """Return what the page's handles may move, and where they stand."""
    spec, closure = case.spec, kept["closure"]
    front, rear = heights
    return {
        "front_mm": round(_MM * front, 1), "rear_mm": round(_MM * rear, 1),
        "front_most_mm": round(_MM * spec.front[1]),
        "rear_most_mm": round(_MM * spec.rear[1] * 1.2),
        "front_least_mm": round(0.5 * _MM * front), "rear_least_mm": round(0.5 * _MM * rear),
        "roll_deg": 0.0, "angle_deg": round(float(np.degrees(spec.diffuser_angle)), 2),
        "kick_mm": round(_MM * spec.kick_station), "kick_least_mm": round(_MM * spec.kick_station
        - 600), "kick_most_mm": round(_MM * (spec.exit_station - 0.15)),
        "edge_gap_mm": None if spec.edge_gap is None else round(_MM * spec.edge_gap, 1),
        "skirt_mm": 0.0 if spec.edge_gap is None else None,
        "exit_pressure": round(float(closure["exit_pressure"]), 3),
        "mixing": round(float(closure["mixing"]), 2),
        "discharge": round(float(closure["discharge"]), 2),
        "half_width_m": 0.5 * spec.width, "tail_half_m": spec.shape().tail_half,
        "kick_m": spec.kick_station, "front_m": spec.shape().front, "exit_m": spec.exit_station,
        "wheelbase_m": spec.wheelbase,
        "strake_offset_mm": 0, "strake_offset_most_mm": round(0.9 * _MM * spec.shape().tail_half),
        "strake_start_mm": round(_MM * spec.kick_station - 50), "strake_gap_pct": 50,
        "strake_toe_deg": 0.0,
    }  # fmt: skip


def _trails(
    answers: Answers, case: FloorCase, state: str, what: Asked, result: PlanResult, kept: Tree
) -> list[Page]:
    """Return the vortices of the floor's own strakes, each load with its chain."""
    found = trails_of(what.shape, what.stand, result, toe=0.0, at=what.said,
                      coverage=float(kept["coverage"]))  # fmt: skip
    for k, trail in enumerate(found):
        if "load" not in trail:
            continue
        why = f"floor/{case.part.name}/{state}/trail {k}"
        trail["load"] = trail["load"] | {"why": why}
        answers.book.add(
            why, title="Footprint of a pair of strakes' vortices", number=trail["load"],
            links=_LINKS[:1], decision="Whether the strakes earn their place at this height.",
            notices=["±40 %: strength, core and breakdown; beside the channel's load, not in it."],
        )  # fmt: skip
    return found


def _listed(values: Any) -> list[float | None]:
    return [None if not np.isfinite(v) else round(float(v), 5) for v in np.ravel(values)]


def _loads(
    answers: Answers, case: FloorCase, state: str, what: Any, result: Any, kept: Tree
) -> list[Page]:
    found = floor_numbers(answers, what, result)
    words = {
        "downforce": "CzS of the floor on the car, channel in plan",
        "front": "of it at the front axle",
        "rear": "of it at the rear axle",
        "clean": "CzS of the clean floor, before wheels and cut-outs",
        "least_pressure": "lowest Cp on the floor",
    }
    rows = []
    for key, label in words.items():
        why = f"floor/{case.part.name}/{state}/{key}"
        number = found[key] | {"why": why}
        answers.book.add(
            why, title=f"{case.part.name}: {label}", number=number, links=_LINKS,
            decision="Ride heights, ramp and edge seal.", notices=[CAUTIONS[0], *result.notices],
        )  # fmt: skip
        rows.append({"key": key, "label": label, "number": number})
    sweep = kept["sweep"]
    rear = what.stand.rear
    three = [
        float(np.interp(rear, sweep["height"], sweep[k]))
        for k in ("budget", "budget_low", "budget_high")
    ]
    name = "channel table" if case.has_channel else "closed form"
    number = computed(three[0], three[1], three[2], "area", "m²", what.said)
    why = f"floor/{case.part.name}/{state}/budget"
    answers.book.add(
        why, title=f"{case.part.name}: CzS in the budget ({name})", number=number | {"why": why},
        links=_LINKS[:1] if case.has_channel else (),
        decision="Which of two answers the budget should rest on.", notices=[],
    )  # fmt: skip
    label = f"CzS of the floor in the budget, {name}"
    return [rows[0], {"key": "budget", "label": label, "number": number | {"why": why}}, *rows[1:]]


def _sweep(kept: Tree) -> Page:
    s = kept["sweep"]
    return {
        "rear_mm": _listed(_MM * np.asarray(s["height"])),
        **{k: _listed(s[k]) for k in ("best", "low", "high", "budget", "budget_low", "budget_high",
                                      "shape_factor")},
        "peak_mm": round(_MM * float(s["peak_height"]), 1) if s["has_peak"] else None,
        "now_mm": round(_MM * float(kept["heights"][1]), 1),
    }  # fmt: skip


def _answer(case: FloorCase, kept: Tree, loads: list[Page]) -> str:
    text = loads[0]["number"]["text"]
    rival = loads[1]["number"]["text"]
    sweep = kept["sweep"]
    shape = float(np.interp(kept["heights"][1], sweep["height"], sweep["shape_factor"]))
    if sweep["has_peak"]:
        peak = (
            f"lowered at this rake it makes most at {_MM * sweep['peak_height']:.0f} mm rear ride "
            "height"
        )
    else:
        lowest = _MM * float(sweep["height"][0])
        peak = f"lowered at this rake it still gains at {lowest:.0f} mm rear ride height"
    layer = (
        "the ramp's layer has separated"
        if shape > 3
        else f"the ramp's layer holds (H {shape:.1f}, apart at 3)"
    )
    with_what = (
        "the channel table in the budget" if case.has_channel else "the budget's closed form"
    )
    if case.part.channel is not None and case.part.channel.has_fall:
        with_what += ", with the empirical fall on top,"
    return (
        f"At {_KMH * kept['speed']:.0f} km/h the channel in plan gives the floor {text}, "
        f"{with_what} {rival}; {peak}, and {layer}."
    )


def _prices(answers: Answers, case: FloorCase, kept: Tree, state: str) -> Page:
    found = kept["packages"]
    if "refused" in found:
        return {"refused": found["refused"], "rows": []}
    low, high = range_at(kept, float(kept["heights"][1]))
    coverage, at = float(kept["coverage"]), "best plane ramp under the hard points"

    def gain(key: str, value: float, title: str) -> Number:
        number = computed(coverage * value, coverage * value * low, coverage * value * high,
                         "area", "m²", at)  # fmt: skip
        why = f"floor/{case.part.name}/{state}/{key}"
        answers.book.add(why, title=title, number=number | {"why": why}, links=_LINKS,
                         decision="What is worth moving out of the ramp's way.",
                         notices=[CAUTIONS[0]])  # fmt: skip
        return number | {"why": why}

    return {
        "kick_m": round(float(found["kick"]), 3),
        "angle_deg": round(float(np.degrees(found["angle"])), 1),
        "area_ratio": round(float(found["area_ratio"]), 2),
        "gain": gain("ramp", found["downforce"] - found["present"], "Best ramp over the present"),
        "moved_mm": round(_MM * float(found["moved"])),
        "rows": [
            {"name": p["name"], "binds": bool(p["binds"]),
             "gain": gain(f"price {p['name']}", p["gain"], f"{p['name']} raised"),
             "free": gain(f"free {p['name']}", p["free"], f"{p['name']} gone")}
            for p in found["prices"]
        ],
    }  # fmt: skip


def _strakes(answers: Answers, case: FloorCase, kept: Tree, state: str) -> list[Page]:
    rows = []
    for k, row in enumerate(kept["strakes"]):
        gain = float(row["gain"])
        number = computed(gain, 0.6 * gain, 1.4 * gain, "area", "m²", "pair of strakes, ±40 %")
        why = f"floor/{case.part.name}/{state}/strake {k}"
        answers.book.add(why, title="A pair of strakes", number=number | {"why": why},
                         links=_LINKS, decision="Whether strakes are worth a try.",
                         notices=["±40 %: strength and breakdown of the vortices."])  # fmt: skip
        rows.append({
            "offset_mm": round(_MM * float(row["offset"])),
            "start_m": round(float(row["start"]), 2), "gap_pct": round(100 * float(row["gap"])),
            "gain": number | {"why": why},
        })  # fmt: skip
    return rows


def _levers(answers: Answers, case: FloorCase, kept: Tree, state: str) -> list[Page]:
    rows = []
    for k, row in enumerate(kept["levers"]):
        per_mm, per_kn = float(row["per_mm"]), 1e3 * float(row["per_newton"])
        why = f"floor/{case.part.name}/{state}/lever {k}"
        one = computed(per_mm, 0.5 * per_mm, 1.5 * per_mm, "area", "m²", "per millimetre")
        two = computed(per_kn, 0.5 * per_kn, 1.5 * per_kn, "area", "m²", "per kilonewton")
        answers.book.add(why, title=f"{row['name']}: CzS per millimetre", number=one | {"why": why},
                         links=_LINKS, decision="What to move first.",
                         notices=["Sign near certain, size good to half."])  # fmt: skip
        rows.append({
            "name": row["name"], "per_mm": one | {"why": why}, "per_kn": two,
            "force_n": round(float(row["force"])),
            "front_share_pct": round(100 * float(row["front_share"])),
        })  # fmt: skip
    return rows


def floor_findings(answers: Answers) -> list[Finding]:
    """Return what the engine says of a fall that the map shows, and the dearest hard point."""
    found: list[Finding] = []
    for name in floors_of(answers.project):
        kept = worked_of(answers, name)
        if not kept or "refused" in kept:
            continue
        case = floor_case(answers.project, name)
        state = answers.states[0]
        found += cause_findings(answers, case, kept, state)
        prices = _prices(answers, case, kept, state)
        for row in prices["rows"][:1]:
            if row["gain"]["best"] > 0.02:
                found.append(
                    Finding(
                        title=f"{row['name'][:1].upper()}{row['name'][1:]} is what limits the "
                        "diffuser",
                        text=f"Raised by {prices['moved_mm']} mm it lets the ramp grow: "
                        f"{row['gain']['text']} of CzS. The best ramp under the hard points has "
                        f"{prices['angle_deg']}° from station {prices['kick_m']:.2f} m.",
                        verdict="consistent", page="floor", worth=0.5 * float(row["gain"]["best"]),
                        numbers=(row["gain"],), test="Measure the room over the ramp with a stick.",
                        why=row["gain"]["why"],
                    )
                )  # fmt: skip
    return found
