"""What the air net tells a splitter whose air leaves by the same ways out.

The net says how much of its own air leaves a node; the node's pressure follows from its ways out,
by the same law whether the net was solved or a response surface stands for it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad
from tuftwork.aeromap.part.front_channel import way_of
from tuftwork.car import Project, Splitter
from tuftwork.cooling.case import CoolingCase, cooling_quantities
from tuftwork.cooling.element import Exit, Leak
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.quantity import Array

_LEAK = 0.6  # [-] discharge of a leak of the net


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """One way out of a node: names of the factors of its area, of its Cp, and values if exact."""

    area: tuple[str, ...]
    pressure: str
    factor: float
    exact: Mapping[str, float]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of everything it depends on."""
        return (*self.area, self.pressure)

    def of(self, name: str, draws: Mapping[str, Field]) -> Field:
        """Return a number's draws, or its exact value."""
        return draws[name] if name in draws else np.full(1, self.exact[name])

    def open_area(self, draws: Mapping[str, Field]) -> Field:
        """Return discharge times area [m²]."""
        found = np.full(1, self.factor)
        for name in self.area:
            found = found * self.of(name, draws)
        return np.asarray(np.maximum(found, 1e-4))


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A node a splitter's air leaves by, with its ways out; no name: the mouths in the nose."""

    node: str
    outlets: tuple[Outlet, ...] = ()


def ways_of(project: Project) -> tuple[Way, ...]:
    """Return the nodes a splitter's channels share with the net, and the nose.

    Nothing where no splitter has its channels solved: the net then has nobody to tell.
    """
    nodes: dict[str, None] = {}
    heard = False
    for part in project.parts:
        if isinstance(part, Splitter) and part.channel is not None:
            heard = True
            for way in (part.channel.ramps, part.channel.vent):
                if way is not None and way.into:
                    nodes[way.into] = None
    if not heard or project.cooling is None:
        return ()
    return (*(Way(node=n, outlets=_outlets(project, n)) for n in nodes), Way(node=""))


def _outlets(project: Project, node: str) -> tuple[Outlet, ...]:
    table = project.cooling
    assert table is not None
    exact = {name: q.best for name, q in cooling_quantities(project).items()}
    found = []
    for way in table.exits:
        if (way.start, way.end) != (node, OUTSIDE):
            continue
        key = f"cooling.exits.{way.name}"
        at = next((s for s in table.surfaces if s.name == way.at), None)
        shared = way.pressure is None and at is not None and at.pressure is not None
        pressure = f"cooling.surfaces.{way.at}.pressure" if shared else f"{key}.pressure"
        found.append(Outlet(area=(f"{key}.area", f"{key}.discharge"), pressure=pressure,
                            factor=1.0, exact=exact))  # fmt: skip
    for leak in table.leaks:
        if {leak.start, leak.end} == {node, OUTSIDE}:
            key = f"cooling.leaks.{leak.name}"
            found.append(Outlet(area=(f"{key}.area",), pressure=f"{key}.pressure", factor=_LEAK,
                                exact=exact))  # fmt: skip
    return tuple(found)


def way_fields(case: CoolingCase, air: AirFlow, ways: Sequence[Way], count: int) -> list[Array]:
    """Return one field a way, ``(n_draw,)``: air that leaves the node over car speed [m²].

    As cold air of the same dynamic pressure; for the nose what its mouths take in.
    """
    around = air.around
    unit = np.asarray(around.density) * np.asarray(around.speed) * np.ones(count)
    rows: list[Array] = []
    for way in ways:
        if not way.node:
            taken = sum(
                (np.maximum(air.of(i.name), 0.0) for i in case.table.inlets
                 if i.kind == "leading-edge"),
                np.zeros(count),
            )  # fmt: skip
            rows.append(taken / unit)
            continue
        flow = np.zeros(count)
        for part in case.system.air.elements:
            if isinstance(part, Exit | Leak) and {part.start, part.end} == {way.node, OUTSIDE}:
                flow = flow + (1 if part.start == way.node else -1) * air.of(part.name)
        hot = air.at(way.node, "temperature") / np.asarray(around.temperature)
        rows.append(np.maximum(flow, 0.0) / unit * np.sqrt(hot))
    return rows


def node_pressure(
    flow: Array, areas: Sequence[Field], pressures: Sequence[Field]
) -> tuple[Array, Array]:
    """Return a node's Cp and the open area of its ways out.

    Σ A s(Cp − Cp_i) = Q with s the root with its sign: what leaves by some may come in by others.

    Parameters
    ----------
    flow : (...)
        Over car speed. [m²]
    areas, pressures : (...) each
        Of the ways out. [m²], [-]
    """
    full = np.broadcast_arrays(flow, *areas, *pressures)
    own, n = full[0], len(areas)
    size, outside = np.stack(full[1 : n + 1]), np.stack(full[n + 1 :])
    total = size.sum(axis=0)
    low = outside.min(axis=0)
    high = outside.max(axis=0) + np.square(own / size.min(axis=0))
    for _ in range(48):
        middle = 0.5 * (low + high)
        off = middle - outside
        more = np.sum(size * np.sign(off) * np.sqrt(np.abs(off)), axis=0) < own
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return 0.5 * (low + high), total


def telling(
    load: PartLoad, ways: Sequence[Way], fields: Array, draws: Mapping[str, Field]
) -> PartLoad:
    """Return the net's load with what it tells the splitter among its effects."""
    if not ways:
        return load
    effects: dict[str, Field] = dict(load.effects)
    for way, flow in zip(ways, fields, strict=True):
        if not way.node:
            effects["nose_flow"] = flow
        elif way.outlets:
            areas = [o.open_area(draws) for o in way.outlets]
            outside = [o.of(o.pressure, draws) for o in way.outlets]
            pressure, area = node_pressure(flow, areas, outside)
            effects |= dict(zip(way_of(way.node), (pressure, flow, area), strict=True))
    return replace(load, effects=effects)
