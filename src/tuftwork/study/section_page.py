"""The page "Sections and wings": shape, polar, span loading, loads on the mounts, tolerances."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from tuftwork.car import Project, WingPart
from tuftwork.quantity import exact, format_plain, from_si, to_si
from tuftwork.section import describe, measure_slot
from tuftwork.study.answers import Answers
from tuftwork.study.fastest import CARE, PROOF, fastest
from tuftwork.study.number import Link, Number, number_of_quantity
from tuftwork.study.section_case import (
    SectionCase,
    case_of,
    ranged,
    solve_span,
    table_of,
    wings_of,
)
from tuftwork.study.section_help import edge_of
from tuftwork.study.section_live import (
    hinge_said,
    memory_of,
    said,
    service_numbers,
    span_numbers,
)
from tuftwork.study.section_worked import STEP, usual_speed
from tuftwork.study.store import Tree
from tuftwork.study.support import Support, counted
from tuftwork.wing import WingResult, mount_factor, service_load

Page = dict[str, Any]
_KMH = 3.6
CAUTIONS = (
    "Desk estimate. Prove the wing, its mounts and what carries them by a proof load of at least "
    "one and a half times the greatest load before it runs.",
    *CARE,
)


def section_support(project: Project, answers: Answers | None) -> Support:
    """Return the support of the sections."""
    wings = [p for p in project.parts if isinstance(p, WingPart)]
    if not wings:
        return "none", ""
    named = sum(p.section is not None for p in wings)
    note = counted(len(wings), "wing") + ("" if named else ", no section named")
    return ("computed" if named else "assumed"), note


def section_page(answers: Answers, wing: str = "", state: str = "") -> Page:
    """Return one wing of the project with its section."""
    own = answers.state_named(state) if answers.project.states else ""
    case = case_of(answers.project, answers.job.folder, wing, own)
    worked = answers.results[STEP].get(case.part.name, {})
    if "refused" in worked:
        return _refused(answers, case, str(worked["refused"]))
    speed = usual_speed(answers.job)
    memory = memory_of(answers)
    drawn = case_of(answers.project, answers.job.folder, case.part.name)
    memory.tables.setdefault(memory.key(drawn, drawn.design), table_of(worked["table"]))
    result = solve_span(case, case.design, memory.table(case, case.design))
    loads = _loads(answers, case, result, own or answers.states[0], speed)
    return {
        "wings": list(wings_of(answers.project)),
        "wing": case.part.name,
        "state": own or answers.states[0],
        "states": list(answers.states),
        "speed_kmh": round(_KMH * speed, 1),
        "outline": case.outline,
        "is_stand_in": case.is_stand_in,
        "engine": "estimate" if case.is_stand_in else "sections and lattice",
        "answer": _answer(case, result, loads, speed),
        "shape": _shape(case),
        "slots": _slots(case),
        "handles": handles_of(case, speed),
        "polar": _polar_page(worked["polar"]),
        "span": span_page(result),
        "loads": loads,
        "edge": edge_of(case, result),
        "tolerances": _tolerances(case, worked["tolerances"]),
        "cautions": list(CAUTIONS),
        "notices": _notices(answers, case, worked, result),
    }


def _refused(answers: Answers, case: SectionCase, why: str) -> Page:
    return {
        "wings": list(wings_of(answers.project)), "wing": case.part.name,
        "state": answers.states[0], "states": list(answers.states),
        "speed_kmh": round(_KMH * usual_speed(answers.job), 1), "outline": case.outline,
        "is_stand_in": case.is_stand_in, "engine": "estimate" if case.is_stand_in else "none",
        "answer": f"No answer for this section: {why}", "shape": _shape(case), "slots": [],
        "handles": handles_of(case, usual_speed(answers.job)), "polar": None, "span": None,
        "loads": [], "edge": None, "tolerances": [], "cautions": list(CAUTIONS), "notices": [why],
    }  # fmt: skip


def section_chain(answers: Answers, address: str) -> None:
    """Keep the chains of a wing's numbers: ``sections/<wing>/<state>/<name>``."""
    _, wing, state, *_ = address.split("/")
    section_page(answers, wing, state if answers.project.states else "")


def _answer(case: SectionCase, result: WingResult, loads: Sequence[Page], speed: float) -> str:
    force = next(row["number"]["text"] for row in loads if row["key"] == "force")
    margin = float(np.rad2deg(result.margin.min()))
    at = float(result.y[int(np.argmin(result.margin))])
    where = "in the middle" if abs(at) < 0.1 * case.spec.span else f"{abs(at):.2f} m off the middle"
    room = (
        f"{margin:.1f}° are left before its section stalls, least {where}"
        if margin > 0
        else f"its section has stalled {where}: the state may be one of several"
    )
    head = f"At {_KMH * speed:.0f} km/h in straight air it makes {force}; {room}."
    if case.is_stand_in:
        head += (
            f" The project names no section: {case.outline} stands in here, and the budget uses "
            "the estimate."
        )
    return head


def _shape(case: SectionCase) -> list[Page]:
    rows = []
    elements = [case.design.main, *(f.contour for f in case.design.flaps)]
    for k, contour in enumerate(elements):
        r = describe(contour)
        name = "main element" if k == 0 else f"flap {k}"
        say = (
            ("thickness", r.thickness, "share", "%"), ("at", r.thickness_at, "share", "%"),
            ("camber", r.camber, "share", "%"), ("camber at", r.camber_at, "share", "%"),
            ("leading-edge radius", r.nose_radius, "share", "%"),
            ("trailing edge", r.edge_thickness, "share", "%"),
            ("edge angle", r.edge_angle, "angle", "°"), ("smoothness", r.smoothness, "ratio", ""),
        )  # fmt: skip
        rows.append({
            "element": name, "outline": contour.name,
            "values": [
                {"label": label, "number": number_of_quantity(
                    exact(_three(v, unit, dimension), dimension, unit=unit, origin="computed"))}
                for label, v, dimension, unit in say
            ],
            "notices": list(r.notices) + (
                [f"kink near x = {r.roughest_at[0]:.2f}"] if r.smoothness > 1.0 else []),
        })  # fmt: skip
    return rows


def _three(value: float, unit: str, dimension: str) -> float:
    """Return an SI value to three figures of its unit: outlines are drawn no finer."""
    if abs(value) <= 1e-6:
        return 0.0
    return to_si(float(f"{from_si(value, unit, dimension):.3g}"), unit, dimension)


def _slots(case: SectionCase) -> list[Page]:
    elements = case.design.stack().elements
    return [
        {"flap": k + 1,
         "gap": _mm(slot.gap * case.chord), "overlap": _mm(slot.overlap * case.chord)}
        for k, slot in enumerate(
            measure_slot(a, b) for a, b in pairwise(elements)
        )
    ]  # fmt: skip


def _mm(value: float) -> Number:
    return number_of_quantity(
        exact(_three(value, "mm", "height"), "height", unit="mm", origin="computed")
    )


def handles_of(case: SectionCase, speed: float) -> Page:
    """Return what the page's handles may move, and where they stand."""
    return {
        "incidence_deg": round(float(np.rad2deg(case.design.incidence)), 2),
        "gurney_mm": round(1e3 * case.design.gurney * case.chord, 2),
        "gurney_most_mm": round(50.0 * case.chord, 1),
        "chord_mm": round(1e3 * case.chord, 1),
        "speed_kmh": round(_KMH * speed, 1),
        "flaps": [
            {
                "deflection_deg": round(float(np.rad2deg(f.deflection)), 2),
                "gap_pct": round(100 * f.gap, 3),
                "overlap_pct": round(100 * f.overlap, 3),
                "chord_pct": round(100 * f.chord, 2),
            }
            for f in case.design.flaps
        ],
    }


def _polar_page(tree: Tree) -> Page:
    def listed(values: Any) -> list[float | None]:
        return [None if not np.isfinite(v) else float(v) for v in np.asarray(values)]

    return {
        "alpha_deg": listed(np.rad2deg(tree["alpha"])),
        **{k: listed(tree[k]) for k in ("lift", "lift_low", "lift_high", "drag", "nose_suction")},
        "state": list(tree["state"]),
    }


def span_page(result: WingResult) -> Page:
    """Return a wing's loading along the span as lists."""
    return {
        "y_m": result.y.tolist(),
        "load": (result.lift * result.chord * result.speed**2).tolist(),
        "ideal": (result.ideal_lift * result.chord * result.speed**2).tolist(),
        "margin_deg": np.rad2deg(result.margin).tolist(),
    }


def _loads(
    answers: Answers, case: SectionCase, result: WingResult, state: str, speed: float
) -> list[Page]:
    density = float(np.median(answers.air.density))
    pressure = 0.5 * density * speed**2
    at = said(case, case.design, speed)
    found = span_numbers(result, pressure, at)
    found |= service_numbers(case, result, pressure, at)
    most = fastest(answers, state)
    top = service_load(result, 0.5 * density * most.speed**2, hinge_x=0.25 * case.chord)
    there = said(case, case.design, most.speed)
    found["top"] = _number(top.downforce, "downforce", "force", "N", there)
    found["proof"] = _number(PROOF * top.downforce, "downforce", "force", "N", there)
    words = {
        "force": "downforce on the mounts",
        "downforce": "CzS in straight air",
        "drag": "CxS in straight air",
        "margin": "incidence left before the stall",
        "hinge": f"moment about {hinge_said(case)}, towards more incidence",
        "actuator": "force at the lever that holds it",
        "vortex": "tip vortex: circulation over road speed",
        "top": f"downforce at {_KMH * most.speed:.0f}\u202fkm/h, {most.what}",
        "proof": "least proof load at this setting, one and a half times that",
    }
    links = [
        Link(what="Polars of the section: panels and layers solved together", origin="computed",
             place="docs/models/section.md"),
        Link(what="Vortex lattice with those polars, the road mirrored", origin="computed",
             place="docs/models/wing-lattice.md"),
        Link(what="Range from the misses of the published checks", origin="published",
             source="wing/engine.toml"),
    ]  # fmt: skip
    rows = []
    for key, label in words.items():
        if key not in found:
            continue  # no lever
        why = f"sections/{case.part.name}/{state}/{key}"
        number = found[key] | {"why": why}
        answers.book.add(
            why, title=f"{case.part.name}: {label}", number=number, links=links,
            decision="Setting, mounts and proof load of this wing.", notices=CAUTIONS,
        )  # fmt: skip
        rows.append({"key": key, "label": label, "number": number})
    return rows + _in_budget(answers, case, state, speed)


def _in_budget(answers: Answers, case: SectionCase, state: str, speed: float) -> list[Page]:
    """Return what the budget holds for the wing, behind the car: roof and neighbours included."""
    if not answers.has_platform:
        return []
    found = answers.budget(state, speed)
    keep = answers.kept(state)
    rows = [r for r in found.rows if r.kind == "part" and r.name == case.part.name]
    return [
        {"key": "budget", "label": "CzS alone in the budget, every draw",
         "number": answers.book.number(
             f"sections/{case.part.name}/{state}/budget", r.front + r.rear, "area",
             title=f"{case.part.name}: CzS in the budget", keep=keep, at=answers.at(state, speed),
             among=answers.inputs_in(state))}
        for r in rows
    ]  # fmt: skip


def _number(value: float, what: str, dimension: str, unit: str, at: str) -> Number:
    return number_of_quantity(ranged(value, what, dimension, unit, at)) | {"at": at}


def _tolerances(case: SectionCase, rows: Sequence[Tree]) -> list[Page]:
    area = case.spec.span * case.chord
    found = []
    for row in rows:
        angle = row["handle"] in ("incidence", "deflection")
        size = (
            format_plain(row["error"], "angle", "°", digits=2)
            if angle
            else format_plain(row["error"] * case.chord, "height", "mm", digits=2)
        )
        name = row["handle"] if row["handle"] in ("incidence", "gurney") else (
            f"flap {row['flap'] + 1}: {row['handle']}")  # fmt: skip
        lift, drag = row["lift"], row["drag"]
        found.append({
            "what": name, "error": f"± {size}",
            "lift": None if not np.isfinite(lift) else _number(
                lift * area, "lift", "area", "m²", "two-dimensional, on the plan area"),
            "drag": None if not np.isfinite(drag) else _number(
                drag * area, "drag", "area", "m²", "two-dimensional, on the plan area"),
            "note": row["note"],
        })  # fmt: skip
    return found


def _notices(answers: Answers, case: SectionCase, worked: Tree, result: WingResult) -> list[str]:
    found = [*worked["notices"], *result.notices]
    section = case.part.section
    if section is not None and section.mount != "none":
        _, low, high = mount_factor(section.mount)
        found.append(
            f"mounts from the {section.mount} leave {100 * low:.0f} to {100 * high:.0f} % of the "
            "downforce (common practice)"
        )
    most = fastest(answers, answers.states[0])
    if most.notice:
        found.append(most.notice)
    low_speed = case.condition(min(answers.speeds)).reynolds
    if low_speed < 3e5:
        found.append(
            f"Reynolds number {low_speed:.1e} at the slowest studied speed is below 3e5, where the "
            "sections were checked"
        )
    return list(dict.fromkeys(found))
