"""What the air net tells a splitter whose air leaves by the same ways out."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad
from tuftwork.aeromap.part.front_channel import way_of
from tuftwork.car import Project, Splitter
from tuftwork.cooling.case import CoolingCase
from tuftwork.cooling.element import Exit, Leak
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.quantity import Array


def ways_of(project: Project) -> tuple[str, ...]:
    """Return the nodes a splitter's channels share with the net; one empty name for the nose.

    Nothing where no splitter has its channels solved: the net then has nobody to tell.
    """
    found: list[str] = []
    has_nose = False
    for part in project.parts:
        if isinstance(part, Splitter) and part.channel is not None:
            for way in (part.channel.ramps, part.channel.vent):
                if way is not None and way.into and way.into not in found:
                    found.append(way.into)
            has_nose = True
    return (*found, "") if has_nose else ()


def way_fields(case: CoolingCase, air: AirFlow, ways: Sequence[str], count: int) -> list[Array]:
    """Return three fields a node, ``(n_draw,)`` each: its Cp, flow over car speed, open area.

    The flow is what already leaves to the outside. The nose comes last, with one field: what its
    mouths take in over car speed. [-], [m²], [m²]
    """
    around = air.around
    head = np.asarray(around.head) * np.ones(count)
    unit = np.asarray(around.density) * np.asarray(around.speed) * np.ones(count)
    rows: list[Array] = []
    for node in ways:
        if not node:
            taken = sum(
                (np.maximum(air.of(i.name), 0.0) for i in case.table.inlets
                 if i.kind == "leading-edge"),
                np.zeros(count),
            )  # fmt: skip
            rows.append(taken / unit)
            continue
        flow, area = np.zeros(count), np.zeros(count)
        for part in case.system.air.elements:
            if not isinstance(part, Exit | Leak) or OUTSIDE not in (part.start, part.end):
                continue
            if node in (part.start, part.end):
                flow = flow + (1 if part.start == node else -1) * air.of(part.name)
                area = area + part.jet_area()
        rows += [air.at(node) / head, np.maximum(flow, 0.0) / unit, np.maximum(area, 1e-3)]
    return rows


def telling(load: PartLoad, ways: Sequence[str], fields: Array) -> PartLoad:
    """Return the net's load with what it tells the splitter among its effects."""
    effects: dict[str, Field] = dict(load.effects)
    rows = iter(fields)
    for node in ways:
        effects |= {channel: next(rows) for channel in (way_of(node) if node else ("nose_flow",))}
    return replace(load, effects=effects) if ways else load
