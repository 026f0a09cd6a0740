"""What the page "Sections and wings" rests on, worked out once per project and kept."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tuftwork.car import WingPart
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Quantity
from tuftwork.section import Polar, polar, tolerance_table
from tuftwork.section.design import Handle
from tuftwork.study.job import Job
from tuftwork.study.section_case import (
    SectionCase,
    case_of_part,
    design_table,
    table_tree,
)
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

_KMH = 3.6
STEP = "sections"
_SHOP = 1e-3  # [m] edges and slots held by hand tools; common practice, no source
_TURN = np.deg2rad(0.5)  # [rad] same, of a setting


def section_steps(job: Job) -> list[Step]:
    """Return the step of polars and tolerances; none where the project has no wing."""
    wings = [p for p in job.project.parts if isinstance(p, WingPart)]
    if not wings:
        return []
    speed = usual_speed(job)

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        for k, part in enumerate(wings):
            case = case_of_part(part, job.folder)
            try:
                made[part.name] = _worked(case, speed)
            except (NotConverged, InputError) as why:
                made[part.name] = {"refused": str(why)}
            pulse.beat((k + 1) / len(wings))
        return made

    inputs = {
        "wings": [_plain(case_of_part(part, job.folder)) for part in wings],
        "speed": speed,
    }
    title = "Sections: polars and what build errors cost"
    return [
        Step(name=STEP, title=title, inputs=inputs, needs=(), work=work, weight=2.0 * len(wings))
    ]


def usual_speed(job: Job) -> float:
    """Return the speed wings are shown at: the second highest studied [m/s]."""
    speeds = sorted(q.best for q in job.project.study.speeds)
    return float(speeds[-2] if len(speeds) > 1 else speeds[-1])


def _plain(case: SectionCase) -> Tree:
    elements = [case.design.main, *(f.contour for f in case.design.flaps)]
    return {
        "spec": case.spec.key,
        "incidence": case.design.incidence,
        "points": [[float(c.x.sum()), float(np.abs(c.y).sum()), c.x.size] for c in elements],
        "errors": [[h, k, e] for h, k, e in build_errors(case)],
    }


def build_errors(case: SectionCase) -> list[tuple[Handle, int, float]]:
    """Return what the shop may get wrong: a flap's ranges in the project, else usual ones."""
    found: list[tuple[Handle, int, float]] = [("incidence", 0, _TURN)]
    section = case.part.section
    for k, flap in enumerate(section.flaps if section is not None else ()):
        for handle, usual in (
            ("deflection", _TURN), ("gap", _SHOP / case.chord), ("overlap", _SHOP / case.chord)
        ):  # fmt: skip
            quantity: Quantity = getattr(flap, handle)
            arm = 0.5 * (quantity.high - quantity.low)
            found.append((handle, k, arm if arm > 0 else usual))  # type: ignore[arg-type]
    # increments of a tab are known to 5 % of the chord
    if 0.004 < case.design.gurney < 0.05 - _SHOP / case.chord:
        found.append(("gurney", 0, _SHOP / case.chord))
    return found


def _worked(case: SectionCase, speed: float) -> Tree:
    stack, condition = case.design.stack(), case.condition(speed)
    several = len(stack.elements) > 1
    alphas = np.deg2rad(np.arange(-8.0, 10.1, 2.0) if several else np.arange(-6.0, 18.1, 2.0))
    p = polar(stack, condition, alphas, has_band=True, n_panel=100)
    rows = tolerance_table(
        replace(case.design, height=case.height(case.design)),
        condition,
        build_errors(case),
        n_panel=100,
    )
    return {
        "polar": _polar_tree(p),
        "table": table_tree(design_table(case, case.design)),
        "tolerances": [
            {"handle": r.handle, "flap": r.flap, "error": r.error, "lift": r.lift_cost,
             "drag": r.drag_cost, "note": r.note}
            for r in rows
        ],
        "notices": [
            f"Polar {n}".replace(" deg", "°") for n in p.notices if n.startswith("not converged")
        ],
    }  # fmt: skip


def _polar_tree(p: Polar) -> Tree:
    fields = ("alpha", "lift", "drag", "moment", "lift_low", "lift_high", "nose_suction")
    return {name: getattr(p, name) for name in fields} | {"state": list(p.state)}
