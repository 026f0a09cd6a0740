"""From the project's cores, fans and openings to what the flow's cells do, and back in words."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.car import FlowOpening, FlowSlab, Project
from tuftwork.cooling import AirNet, Surroundings, solve_cooling
from tuftwork.cooling import Core as CoolerCore
from tuftwork.cooling.case import CoolingCase, cooling_quantities
from tuftwork.cooling.core import fit_loss
from tuftwork.cooling.element import Cooler, Exit, Fan, Inlet
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.flow import (
    FlowCase,
    FlowPart,
    FlowResult,
    NetTie,
    Opening,
    Porous,
    cooler_core,
    fan_disc,
    slab_of,
)
from tuftwork.flow.passage import Passage
from tuftwork.shape import Mesh, block

_FACING = {
    "ahead": (-1.0, 0.0, 0.0), "back": (1.0, 0.0, 0.0), "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0), "up": (0.0, 0.0, 1.0), "down": (0.0, 0.0, -1.0),
}  # fmt: skip
_THICK = 0.04
"""Half thickness of the box round an opening's face. [m]"""
_MARK = "opening: "


def drawn_slabs(project: Project) -> tuple[Mesh, ...]:
    """Return the cores and fans that the project draws itself, in car axes."""
    flow = project.flow
    if flow is None:
        return ()
    return tuple(_slab(s) for s in (*flow.cores, *flow.fans) if s.is_drawn)


def _slab(slab: FlowSlab) -> Mesh:
    sizes = (slab.station, slab.height, slab.width, slab.tall, slab.depth)
    x, z, wide, tall, deep = (s.best for s in sizes if s is not None)
    mesh = block(slab.part, (-deep / 2, -wide / 2, -tall / 2), (deep / 2, wide / 2, tall / 2))
    s, c = np.sin(slab.lean.best), np.cos(slab.lean.best)
    turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    return replace(mesh, vertices=mesh.vertices @ turn.T + [x, slab.offset.best, z])


def opening_boxes(project: Project) -> tuple[Mesh, ...]:
    """Return a box round each opening's face; it moves with the body."""
    flow = project.flow
    if flow is None:
        return ()
    out = []
    for o in flow.openings:
        wide, tall = o.width.best / 2, o.tall.best / 2
        half = {"x": (_THICK, wide, tall), "y": (wide, _THICK, tall), "z": (wide, tall, _THICK)}
        size = np.array(half["xyz"[int(np.argmax(np.abs(_FACING[o.faces])))]])
        middle = np.array([o.station.best, o.offset.best, o.height.best])
        low, high = (tuple(float(v) for v in middle + way * size) for way in (-1.0, 1.0))
        out.append(block(_MARK + o.name, (low[0], low[1], low[2]), (high[0], high[1], high[2])))
    return tuple(out)


def split_openings(meshes: Sequence[Mesh]) -> tuple[list[Mesh], dict[str, Mesh]]:
    """Return parts and, by name, the boxes round openings."""
    parts = [m for m in meshes if not m.name.startswith(_MARK)]
    return parts, {m.name.removeprefix(_MARK): m for m in meshes if m.name.startswith(_MARK)}


def with_porous(
    project: Project, parts: Sequence[FlowPart], *, density: float, viscosity: float
) -> tuple[FlowPart, ...]:
    """Return parts with the law of those that air passes.

    Raises
    ------
    UnknownName
        If a core's part, cooler or fan does not exist.
    """
    flow = project.flow
    assert flow is not None
    laws: dict[str, Porous] = {}
    by_name = {p.name: p for p in parts}
    for core in flow.cores:
        found = by_name.get(core.part)
        if found is None:
            continue
        axis, depth, area = slab_of(found.triangles())
        if core.cooler:
            cooler = _net_part(project, core.cooler, Cooler, "core").core
        else:
            a, b = fit_loss(
                np.array([r.speed.best for r in core.rows]),
                np.array([r.loss.best for r in core.rows]),
            )
            cooler = CoolerCore(face_area=area, linear_loss=a, square_loss=b,
                                mass_velocity=(1.0, 10.0), conductance=(1.0, 2.0))  # fmt: skip
        laws[core.part] = cooler_core(cooler, axis=axis, depth=depth, face_area=area,
                                      density=density, viscosity=viscosity)  # fmt: skip
    for fan in flow.fans:
        found = by_name.get(fan.part)
        if found is None:
            continue
        axis, depth, area = slab_of(found.triangles())
        law = _net_part(project, fan.fan, Fan, "fan")
        laws[fan.part] = fan_disc(law, axis=axis, depth=depth, area=area, density=density)
    return tuple(replace(p, porous=laws.get(p.name)) for p in parts)


def name_faults(project: Project, drawn: Sequence[str]) -> Iterator[InputError]:
    """Yield a fault for every core, fan and opening of a part that is not in the shape."""
    flow = project.flow
    assert flow is not None
    wanted = [("part in flow.cores", s.part) for s in flow.cores]
    wanted += [("part in flow.fans", s.part) for s in flow.fans]
    wanted += [(f"part of opening '{o.name}'", o.part) for o in flow.openings]
    for where, name in wanted:
        if name not in drawn:
            yield UnknownName(where, name, drawn)


def _best_case(project: Project, around: Surroundings | None = None) -> CoolingCase:
    best = {name: q.best for name, q in cooling_quantities(project).items()}
    if project.car.power is not None:
        best["car.power"] = project.car.power.best

    def of(name: str) -> float:
        if name not in best:
            raise UnknownName("input", name, best)
        return best[name]

    return CoolingCase.of_project(project, of, around)


def _net_part(project: Project, name: str, kind: Any, word: str) -> Any:
    parts = {p.name: p for p in _best_case(project).system.air.elements if isinstance(p, kind)}
    if name not in parts:
        raise UnknownName(word, name, parts)
    return parts[name]


def openings_of(
    project: Project, boxes: dict[str, Mesh], left: Sequence[str], speed: float
) -> tuple[tuple[Opening, ...], NetTie | None]:
    """Return the case's openings and the net behind them.

    Openings without a mass flow are the net's inlets and exits of the same names; its answer at
    the pressures of its own places is where they start.

    Parameters
    ----------
    project
        With its tables.
    boxes
        Box round each opening where the body now is.
    left
        Parts left in.
    speed
        Of the car. [m/s]

    Raises
    ------
    InputError, UnknownName, NotCovered
        If openings cannot be meant.
    """
    flow = project.flow
    assert flow is not None
    wanted = [o for o in flow.openings if o.part in left]
    told = [o for o in wanted if o.mass_flow is not None]
    if not wanted:
        return (), None
    if told and len(told) < len(wanted):
        limit = "must be given to all openings or to none"
        raise InputError("mass_flow", f"{len(told)} of {len(wanted)}", "", limit)
    if told:
        return tuple(_opening(o, boxes, o.mass_flow.best) for o in told if o.mass_flow), None
    if project.cooling is None:
        raise NotCovered(
            "The openings have no mass flow and there is no cooling net. Add mass_flow, or "
            "[cooling] with inlets and exits of these names."
        )
    hot = _best_case(project).around
    around = replace_speed(hot, speed)
    case = _best_case(project, around)
    solved = solve_cooling(case.system, around)
    net: AirNet = case.system.air
    for o in wanted:
        part = net.part(o.name)
        kind = Inlet if o.kind == "inlet" else Exit
        if not isinstance(part, kind):
            raise InputError(f"opening '{o.name}'", o.kind, "", f"is a {type(part).__name__} there")
    heats = {
        name: float(np.mean(solved.air.heat[n]))
        for n, name in enumerate(solved.air.names)
        if np.any(solved.air.heat[n])
    }
    flows = {o.name: max(float(np.mean(solved.air.of(o.name))), 0.0) for o in wanted}
    taken = sum(flows[o.name] for o in wanted if o.kind == "inlet")
    given = sum(flows[o.name] for o in wanted if o.kind == "outlet")
    scale = {"inlet": 1.0, "outlet": taken / given if given > 0 else 0.0}
    made = tuple(_opening(o, boxes, flows[o.name] * scale[o.kind]) for o in wanted)
    return made, NetTie(net=net, around=around, heats=heats)


def replace_speed(around: Surroundings, speed: float) -> Surroundings:
    """Return the same air at another speed of the car."""
    return Surroundings(
        speed=speed, temperature=around.temperature, pressure=around.pressure,
        humidity=around.humidity,
    )  # fmt: skip


def _opening(o: FlowOpening, boxes: dict[str, Mesh], flow: float) -> Opening:
    corner = boxes[o.name].vertices
    low, high = corner.min(axis=0), corner.max(axis=0)
    return Opening(
        name=o.name, part=o.part, kind=o.kind, facing=_FACING[o.faces], mass_flow=flow,
        low=(float(low[0]), float(low[1]), float(low[2])),
        high=(float(high[0]), float(high[1]), float(high[2])),
    )  # fmt: skip


def opening_tree(case: FlowCase, passages: Sequence[Passage] = ()) -> list[dict[str, Any]]:
    """Return every opening with its area and what passes it at first. [m²], [kg/s], [m/s].

    Parameters
    ----------
    case
        With the openings.
    passages
        As the cells have them; without them the speed is that through the drawn face.
    """
    found = {p.opening.name: p.area * case.cell**2 for p in passages}
    out = []
    for o in case.openings:
        size = np.array(o.high) - np.array(o.low)
        across = np.array([size[1] * size[2], size[2] * size[0], size[0] * size[1]])
        drawn = float(np.abs(o.unit_facing()) @ across)
        cells = found.get(o.name)
        out.append({
            "name": o.name, "part": o.part, "way": "in" if o.kind == "inlet" else "out",
            "area": cells, "drawn": drawn, "mass_flow": o.mass_flow,
            "speed": o.mass_flow / (case.density * (cells or drawn)),
        })  # fmt: skip
    return out


def inside_tree(result: FlowResult) -> dict[str, Any]:
    """Return what passed cores, fans and openings, and the doubts, for the record."""
    return {
        "cores": [
            {
                "name": c.name, "is_fan": c.is_fan, "area": c.area, "mass_flow": c.mass_flow,
                "speed": c.speed, "drop": c.drop, "law_drop": c.law_drop,
                "pressure_drop": c.pressure_drop, "unevenness": c.unevenness,
            }
            for c in result.cores
        ],
        "openings": [
            {
                "name": o.name, "kind": o.kind, "area": o.area, "mass_flow": o.mass_flow,
                "pressure": o.pressure, "total": o.total, "net_flow": o.net_flow,
            }
            for o in result.openings
        ],
        "doubts": [doubt_tree(d) for d in result.doubts],
    }  # fmt: skip


def doubt_tree(doubt: Any) -> dict[str, Any]:
    """Return a doubt for the record and the state on disk."""
    return {
        "kind": doubt.kind, "value": doubt.value, "travel": doubt.travel, "seen": doubt.seen,
        "at": None if doubt.at is None else list(doubt.at), "part": doubt.part, "text": doubt.text,
    }  # fmt: skip


def inside_rows(record: dict[str, Any], speed: float) -> list[dict[str, str]]:
    """Return cores, fans and openings as rows of words; none for a record from before."""
    rows = []
    for c in record.get("cores", ()):
        sign = "rises" if c["drop"] < 0 else "falls"
        rows.append({
            "name": c["name"], "kind": "fan" if c["is_fan"] else "core",
            "flow": f"{c['mass_flow']:.3f}\u202fkg/s".replace("-", "\u2212"),
            "speed": f"{c['speed']:.1f}\u202fm/s, {c['speed'] / speed:.2f} of the car's"
            .replace("-", "\u2212"),
            "pressure": f"{sign} by {abs(c['drop']):.0f}\u202fPa",
            "note": f"speed uneven by {100 * c['unevenness']:.0f}\u202f%",
        })  # fmt: skip
    for o in record.get("openings", ()):
        net = o["net_flow"]
        told = "as told" if net is None else f"the net says {net:.3f}\u202fkg/s"
        rows.append({
            "name": o["name"], "kind": o["kind"],
            "flow": f"{o['mass_flow']:.3f}\u202fkg/s",
            "speed": f"{o['mass_flow'] / (record['case']['density'] * o['area']):.1f}\u202fm/s "
            f"through {1e4 * o['area']:.0f}\u202fcm² of cells",
            "pressure": f"Cp {o['pressure']:.2f}, total {o['total']:.2f}".replace("-", "\u2212"),
            "note": told,
        })  # fmt: skip
    return rows
