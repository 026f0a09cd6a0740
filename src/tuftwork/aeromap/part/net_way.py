"""What the air net tells a splitter whose air leaves by the same ways out.

The net is solved with three flows fed into each node that a splitter's channel goes to. From them
the splitter gets the node's pressure as a quadratic in what it feeds, the net's own air giving way
as that pressure rises, and what its air changes in the net's loads: one solution, seen from both
sides. Where a node has ways out of its own its pressure follows from what leaves by them, by the
same law whether the net was solved or a response surface stands for it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad
from tuftwork.aeromap.part.front_channel import GIVEN_WAY, given_way, way_of
from tuftwork.car import Project, Splitter
from tuftwork.cooling.case import CoolingCase, cooling_quantities
from tuftwork.cooling.element import Exit, Leak
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.quantity import Array

_LEAK = 0.6  # [-] discharge of a leak of the net
_STEPS = (0.5, 1.0)  # [-] of a way's reach: flows fed into it besides none
_SHUT_NODE = 0.15  # [m²] reach of a node without ways out of its own
_LEAST = 0.25  # [-] of the quadratic's curve by ways out alone: a node never opens as it fills


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
    """A node a splitter's air goes to, with its ways out; no name: the mouths in the nose.

    Attributes
    ----------
    node
    outlets
        Exits and leaks from the node to the outside; none where its air has to pass the net.
    reach
        Largest flow it is solved for, over the car's speed. [m²]
    """

    node: str
    outlets: tuple[Outlet, ...] = ()
    reach: float = _SHUT_NODE

    @property
    def flows(self) -> tuple[float, ...]:
        """What is fed into it besides nothing. [m²]"""
        return tuple(step * self.reach for step in _STEPS) if self.node else ()

    @property
    def count(self) -> int:
        """Of the fields that tell of it."""
        return 1 if not self.node else 1 + len(_STEPS) * (1 + len(GIVEN_WAY))


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
    return (*(_way(project, n) for n in nodes), Way(node=""))


def _way(project: Project, node: str) -> Way:
    outlets = _outlets(project, node)
    whole = sum(float(o.open_area({})[0]) for o in outlets)
    return Way(node=node, outlets=outlets, reach=0.4 * whole if outlets else _SHUT_NODE)


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


def told_of(case: CoolingCase, air: AirFlow, way: Way, count: int) -> Array:
    """Return what a solved net says of a way, ``(n_draw,)``.

    Air that leaves the node to the outside over car speed, as cold air of the same dynamic pressure
    [m²]; its Cp where it has no way out [-]; for the nose what its mouths take in [m²].
    """
    around = air.around
    unit = np.asarray(around.density) * np.asarray(around.speed) * np.ones(count)
    if not way.node:
        taken = sum(
            (np.maximum(air.of(i.name), 0.0) for i in case.table.inlets
             if i.kind == "leading-edge"),
            np.zeros(count),
        )  # fmt: skip
        return np.asarray(taken / unit)
    if not way.outlets:
        return np.asarray(air.at(way.node) / np.asarray(around.head))
    flow = np.zeros(count)
    for part in case.system.air.elements:
        if isinstance(part, Exit | Leak) and {part.start, part.end} == {way.node, OUTSIDE}:
            flow = flow + (1 if part.start == way.node else -1) * air.of(part.name)
    hot = air.at(way.node, "temperature") / np.asarray(around.temperature)
    return np.asarray(np.maximum(flow, 0.0) / unit * np.sqrt(hot))


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


def quadratic_through(flows: Sequence[float], values: Sequence[Array]) -> tuple[Array, Array]:
    """Return a and b of y = a q + b q² through two points and the origin."""
    (one, two), (y, z) = flows, values
    b = (z / two - y / one) / (two - one)
    return np.asarray(y / one - b * one), np.asarray(b)


def telling(
    load: PartLoad, ways: Sequence[Way], fields: Array, draws: Mapping[str, Field]
) -> PartLoad:
    """Return the net's load with what it tells the splitter among its effects."""
    if not ways:
        return load
    effects: dict[str, Field] = dict(load.effects)
    done = 0
    for way in ways:
        rows = fields[done : done + way.count]
        done += way.count
        if not way.node:
            effects["nose_flow"] = rows[0]
            continue
        n = len(way.flows) + 1
        pressure = _pressures(way, rows[:n], draws)
        a, b = quadratic_through(way.flows, [p - pressure[0] for p in pressure[1:]])
        own = _LEAST / np.square(max(way.reach / 0.4, 0.05))
        b = np.maximum(b, own)
        a = np.maximum(a, 0.0)
        # a q + b q² as (2 Q q + q²)/A²: a flow Q that stands there already, and an area A
        told = (pressure[0], np.asarray(0.5 * a / b), np.asarray(1 / np.sqrt(b)))
        effects |= dict(zip(way_of(way.node), told, strict=True))
        for k, what in enumerate(GIVEN_WAY):
            pair = [rows[n + k + i * len(GIVEN_WAY)] for i in range(n - 1)]
            straight, square = quadratic_through(way.flows, pair)
            effects |= dict(zip(given_way(what, way.node), (straight, square), strict=True))
    return replace(load, effects=effects)


def _pressures(way: Way, rows: Array, draws: Mapping[str, Field]) -> list[Array]:
    """Return the node's Cp with nothing and with the way's flows fed into it."""
    if not way.outlets:
        return list(rows)
    areas = [o.open_area(draws) for o in way.outlets]
    outside = [o.of(o.pressure, draws) for o in way.outlets]
    return [node_pressure(row, areas, outside)[0] for row in rows]
