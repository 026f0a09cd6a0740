"""What makes two cases of the 3-D flow the same one."""

from typing import Any

from tuftwork.car import FlowRun
from tuftwork.flow import FlowCase
from tuftwork.study.store import digest_of


def case_digest(case: FlowCase, run: FlowRun) -> str:
    """Return a digest of shape and settings; how long it runs and settles does not count.

    Parameters
    ----------
    case, run
        For the solver, and as the project has it.
    """
    box = case.box
    # a case without finer boxes keeps the digest that it had before there were any
    zones = [[[z.level, *z.low, *z.high] for z in case.zones]] if case.zones else []
    inside = _inside_of(case)
    if inside:
        zones.append([inside])
    if box.has_walls or box.belt is not None:
        zones.append([[float(box.has_walls), *(box.belt or ())]])
    return digest_of([
        _parts_of(case), case.speed, case.cell, case.yaw, case.road, case.density, case.viscosity,
        case.lattice_speed, case.wall, case.skin, box.ahead, box.behind, box.beside, box.above,
        run.back_end, run.precision, *zones,
    ])  # fmt: skip


def shape_digest(case: FlowCase) -> str:
    """Return a digest of the parts as they are run, and of what passes through them."""
    return digest_of([_parts_of(case), *_inside_of(case)])


def _parts_of(case: FlowCase) -> list[Any]:
    return [
        [p.name, p.is_closed, p.vertices, p.faces,
         None if p.spin is None else [p.spin.rate, *p.spin.centre]]
        for p in case.parts
    ]  # fmt: skip


def _inside_of(case: FlowCase) -> list[Any]:
    passed = [
        [p.name, *p.porous.axis, p.porous.depth, p.porous.linear, p.porous.square, p.porous.rise]
        for p in case.parts
        if p.porous is not None
    ]
    return [*passed, *([o.name, o.part, o.kind, *o.low, *o.high, o.mass_flow]
                       for o in case.openings)]  # fmt: skip
