"""A section and its wing under the hand: handles moved, pressure, layers and loads at once."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section import Design, LayerLine, SectionPoint, slot_notices
from tuftwork.study.answers import Answers
from tuftwork.study.number import Number, number_of_quantity
from tuftwork.study.section_case import (
    Memory,
    SectionCase,
    case_of,
    coefficients,
    ranged,
    solve_section,
    solve_span,
)
from tuftwork.wing import service_load

_KMH = 3.6
_FLAP_LIMITS = {  # key of a message → handle, least, most, unit, factor to SI
    "deflection_deg": ("deflection", -20.0, 70.0, "°", np.pi / 180),
    "gap_pct": ("gap", 0.1, 15.0, "%", 0.01),
    "overlap_pct": ("overlap", -20.0, 20.0, "%", 0.01),
    "chord_pct": ("chord", 5.0, 100.0, "%", 0.01),
}


def design_asked(case: SectionCase, message: Mapping[str, Any]) -> Design:
    """Return the design a message describes, refusing what cannot be."""
    design = case.design
    if message.get("incidence_deg") is not None:
        design = replace(
            design, incidence=np.deg2rad(read_number(message, "incidence_deg", -20.0, 30.0, "°"))
        )
    if message.get("gurney_mm") is not None:
        height = read_number(message, "gurney_mm", -1e-9, 50.0 * case.chord, "mm") / 1e3
        design = replace(design, gurney=height / case.chord)
    flaps = list(design.flaps)
    for k, moved in enumerate(message.get("flaps") or ()):
        if k >= len(flaps):
            raise InputError("flaps", k + 1, "", f"the section has {len(flaps)}")
        for key, (handle, low, high, unit, factor) in _FLAP_LIMITS.items():
            if moved.get(key) is not None:
                value = factor * read_number(moved, key, low, high, unit)
                flaps[k] = replace(flaps[k], **{handle: value})  # type: ignore[arg-type]
    return replace(design, flaps=tuple(flaps))


def memory_of(answers: Answers) -> Memory:
    """Return what the page asked before."""
    found: Memory = answers.worked_out.setdefault("sections memory", Memory())
    return found


def asked(answers: Answers, message: Mapping[str, Any]) -> tuple[SectionCase, Design, float]:
    """Return the wing, the design and the speed [m/s] of a message."""
    name, state = str(message.get("wing", "")), str(message.get("state", ""))
    own = state if answers.project.states else ""
    case = case_of(answers.project, answers.job.folder, name, own)
    speed = read_number(message, "speed", 20.0, 400.0, "km/h") / _KMH
    return case, design_asked(case, message), speed


def section_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Array]]:
    """Return one point of a moved section: coefficients, outline, pressure, layers."""
    from tuftwork.study.section_help import devices_of

    case, design, speed = asked(answers, message)
    memory = memory_of(answers)
    key = f"{case.part.name} {len(design.flaps)}"
    point = solve_section(case, design, speed, memory.points.get(key), is_patient=False)
    memory.points[key] = point
    header = {
        "at": said(case, design, speed),
        "numbers": point_numbers(case, design, point),
        "devices": devices_of(case, design, point),
        "notices": point_notices(design, point),
        "elements": len(point.x),
        "lines": [
            {"element": ln.element, "side": ln.side, "transition": ln.transition,
             "separation": ln.separation}
            for ln in point.lines
        ],
    }  # fmt: skip
    return header, drawing_of(case, design, point)


def span_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Array]]:
    """Return polar, span loading and loads of a moved section."""
    case, design, speed = asked(answers, message)
    table = memory_of(answers).table(case, design)
    result = solve_span(case, design, table)
    pressure = 0.5 * float(np.median(answers.air.density)) * speed**2
    header = {
        "at": said(case, design, speed),
        "numbers": span_numbers(result, pressure, said(case, design, speed))
        | service_numbers(case, result, pressure, said(case, design, speed)),
        "notices": list(dict.fromkeys((*table.notices, *result.notices))),
    }
    free = -1
    arrays = {
        "alpha_deg": np.rad2deg(table.alpha),
        "lift": table.lift[free],
        "drag": table.drag[free],
        "trusted_deg": np.rad2deg(table.trusted[free]),
        "y": result.y,
        "load": result.lift * result.chord * result.speed**2,
        "ideal": result.ideal_lift * result.chord * result.speed**2,
        "margin_deg": np.rad2deg(result.margin),
        "alpha_strip_deg": np.rad2deg(result.alpha),
    }
    return header, arrays


def said(case: SectionCase, design: Design, speed: float) -> str:
    """Return wing, setting and speed in words."""
    parts = [case.part.name, f"{np.rad2deg(design.incidence):.1f}°"]
    parts += [
        f"flap {np.rad2deg(f.deflection):.1f}°, gap {100 * f.gap:.2f} %" for f in design.flaps
    ]
    if design.gurney > 0:
        parts.append(f"gurney {1e3 * design.gurney * case.chord:.1f}\u202fmm")
    return ", ".join([*parts, f"{_KMH * speed:.0f}\u202fkm/h"]).replace("-", "\u2212")


def point_numbers(case: SectionCase, design: Design, point: SectionPoint) -> dict[str, Number]:
    """Return a point's coefficients with the range of the published misses."""
    found = coefficients(point, design)
    at = said(case, design, 1.0).rsplit(", ", 1)[0]
    out = {
        "lift": _shown(found.lift, "lift", "ratio", "", at),
        "drag": _shown(found.drag, "drag", "ratio", "", at),
        "moment": _shown(found.moment, "lift", "ratio", "", at),
        "nose_suction": _shown(point.nose_suction, "lift", "share", "%", at),
    }
    if point.slots:
        least = min(s.gap / s.layers for s in point.slots)
        out["slot"] = _shown(least, "drag", "ratio", "", at)
    return out


def point_notices(design: Design, point: SectionPoint) -> list[str]:
    """Return what to beware of at a point."""
    found = [*point.notices, *slot_notices(design)]
    if point.is_settled:
        found.append("the iteration ended in a small cycle; loads are good to a few per cent")
    return found


def span_numbers(result: Any, pressure: float, at: str) -> dict[str, Number]:
    """Return a wing's loads; dynamic pressure of the road speed in Pa."""
    margin = float(np.min(result.margin))
    return {
        "downforce": _shown(result.downforce_area, "downforce", "area", "m²", at),
        "drag": _shown(result.drag_area, "wing drag", "area", "m²", at),
        "force": _shown(result.downforce_area * pressure, "downforce", "force", "N", at),
        "margin": _shown(margin, "angle", "angle", "°", at),
        "vortex": _shown(float(np.abs(result.tip_vortex).max()), "downforce", "length", "m", at),
    }


def service_numbers(case: SectionCase, result: Any, pressure: float, at: str) -> dict[str, Number]:
    """Return the moment about the hinge and, where there is a lever, the force that holds it."""
    section = case.part.section
    hinge = section.hinge.best if section is not None and section.hinge is not None else 0.25
    lever = section.lever.best if section is not None and section.lever is not None else None
    load = service_load(result, pressure, hinge_x=hinge * case.chord, lever=lever)
    found = {"hinge": _shown(load.hinge_moment, "downforce", "moment", "N m", at)}
    if lever is not None:
        found["actuator"] = _shown(load.actuator_force, "downforce", "force", "N", at)
    return found


def hinge_said(case: SectionCase) -> str:
    """Return where the moment is taken, in words."""
    section = case.part.section
    if section is None or section.hinge is None:
        return "the quarter chord"
    return f"the hinge at {100 * section.hinge.best:.0f} % of the chord"


def _shown(value: float, what: str, dimension: str, unit: str, at: str) -> Number:
    return number_of_quantity(ranged(value, what, dimension, unit, at)) | {"at": at}


def drawing_of(case: SectionCase, design: Design, point: SectionPoint) -> dict[str, Array]:
    """Return the section as it hangs on the car, in chords: outlines, pressure, layers.

    ``x0, y0, cp0`` of the first element, and so on; ``lx0, ly0, ox0, oy0`` of the first layer and
    its displacement. Heights are over the road where it is near, else over the nose.
    """
    out: dict[str, Array] = {}

    def hung(x: Array, y: Array) -> tuple[Array, Array]:
        if point.height is not None:
            return x, y  # solved over the road already
        c, s = np.cos(-design.incidence), np.sin(-design.incidence)
        return c * x - s * y, -(s * x + c * y)

    for k, (x, y, cp) in enumerate(zip(point.x, point.y, point.pressure, strict=True)):
        out[f"x{k}"], out[f"y{k}"] = hung(x, y)
        out[f"cp{k}"] = cp
    for k, line in enumerate(point.lines):
        ox, oy = _displaced(line, point)
        out[f"lx{k}"], out[f"ly{k}"] = hung(line.x, line.y)
        out[f"ox{k}"], out[f"oy{k}"] = hung(ox, oy)
    return out


def _displaced(line: LayerLine, point: SectionPoint) -> tuple[Array, Array]:
    """Return the edge of a layer's displacement, away from its element."""
    tx, ty = np.gradient(line.x), np.gradient(line.y)
    size = np.maximum(np.hypot(tx, ty), 1e-12)
    nx, ny = -ty / size, tx / size
    half = 0.5 if line.side == "wake" else 1.0
    x0, y0 = point.x[line.element], point.y[line.element]
    away = float(np.sum(nx * (line.x - x0.mean()) + ny * (line.y - y0.mean())))
    sign = 1.0 if away > 0 else -1.0
    return line.x + half * sign * nx * line.delta_star, line.y + half * sign * ny * line.delta_star


def read_number(message: Mapping[str, Any], key: str, low: float, high: float, unit: str) -> float:
    """Return a number of a message, refusing what is none or beyond its limits."""
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not low <= value <= high:
        raise InputError(key, value, unit, f"must lie between {max(low, -1e6):g} and {high:g}")
    return value
