"""The air net under the hand: parts added, taken out, led elsewhere; sizes and places moved."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.cooling import AirNet, CoolingSystem, Surroundings
from tuftwork.cooling.answer import enlarged, replaced
from tuftwork.cooling.case import CoolingCase
from tuftwork.cooling.element import Cooler, Duct, Element, Exit, Fan, Feed, Inlet, Leak
from tuftwork.cooling.opening import exit_places, inlet_kinds
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import InputError, UnknownName

KINDS = ("inlet", "duct", "exit", "leak")
"""Kinds of part that can be added by hand."""
_KELVIN = 273.15
_STEP_LOSS = 1.0  # [-]  of a duct added by hand: it ends in a plenum
_MOST_PARTS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """A part added by hand: ``place`` of an exit, kind of an inlet; area in m²."""

    name: str
    kind: str
    start: str
    end: str
    area: float
    place: str = ""

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> "Added":
        """Return the part a message describes."""
        kind = known("kind", str(given.get("kind", "")), KINDS)
        name = str(given.get("name", "")).strip()
        if not 0 < len(name) <= 60:
            raise InputError("name", name, "", "of a new part must have 1 to 60 letters")
        places = {"exit": exit_places(), "inlet": inlet_kinds()}.get(kind)
        place = "" if places is None else known("place", str(given.get("place", "")), places)
        start, end = (str(given.get(key, "")) for key in ("start", "end"))
        if kind == "inlet":
            start = OUTSIDE
        elif kind == "exit":
            end = OUTSIDE
        area = number(given, "area", 1.0, 10_000.0, "cm²") * 1e-4
        return cls(name=name, kind=kind, start=start, end=end, area=area, place=place)

    def element(self) -> Element:
        """Return it as a part of the net."""
        if self.kind == "inlet":
            return Inlet(name=self.name, end=self.end, area=self.area, kind=self.place)
        if self.kind == "exit":
            return Exit(name=self.name, start=self.start, net_area=self.area, place=self.place)
        if self.kind == "duct":
            return Duct(name=self.name, start=self.start, end=self.end, area=self.area,
                        loss=_STEP_LOSS)  # fmt: skip
        return Leak(name=self.name, start=self.start, end=self.end, area=self.area)

    def lines(self) -> list[str]:
        """Return the table to write into the project."""
        text = [f"[[cooling.{self.kind}s]]", f'name = "{self.name}"']
        text += [f'start = "{self.start}"'] if self.kind != "inlet" else []
        text += [f'end = "{self.end}"'] if self.kind != "exit" else []
        text += {"exit": [f'at = "{self.place}"'], "inlet": [f'kind = "{self.place}"'],
                 "duct": [f'loss = "{_STEP_LOSS:g}"']}.get(self.kind, [])  # fmt: skip
        return [*text, f'area = "{self.area:.4f} m^2"']


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What the page asks of the net.

    Attributes
    ----------
    speed, air
        [m/s], [K]
    areas
        Opening, duct or gap → its net area, best value. [m²]
    places
        Exit → where it is moved.
    taped
        Core → share of its face covered. [-]
    routes
        Part → the nodes it then runs between.
    gone
        Parts taken out.
    added
        Parts put in.
    """

    speed: float
    air: float
    areas: Mapping[str, float]
    places: Mapping[str, str]
    taped: Mapping[str, float]
    routes: Mapping[str, tuple[str, str]]
    gone: tuple[str, ...]
    added: tuple[Added, ...]

    @classmethod
    def of(cls, case: CoolingCase, message: Mapping[str, Any]) -> "Setting":
        """Return the setting a message describes, refusing what cannot be."""
        parts = {part.name: part for part in case.system.air.elements}
        added = tuple(Added.of(row) for row in message.get("added") or ())
        if len(parts) + len(added) > _MOST_PARTS:
            raise InputError("added", len(added), "parts", f"the net may have {_MOST_PARTS}")
        sized = [n for n, p in parts.items() if not isinstance(p, Cooler | Fan | Feed)]
        exits = [n for n, p in parts.items() if isinstance(p, Exit)]
        cores = [n for n, p in parts.items() if isinstance(p, Cooler)]
        places = {str(n): str(p) for n, p in dict(message.get("places") or {}).items()}
        for name, place in places.items():
            known("exit", name, exits)
            way = next(e for e in case.table.exits if e.name == name)
            known("place", place, [str(way.at), *map(str, way.also)])
        gone = tuple(known("part", str(n), parts) for n in message.get("gone") or ())
        for name in gone:
            if name in cores:
                raise InputError(name, "core", "", "is passed by a circuit, so it must stay",
                                 "Tape it, or change the circuit in project.toml.")  # fmt: skip
        routes = {
            known("part", str(n), parts): (str(ends[0]), str(ends[1]))
            for n, ends in dict(message.get("routes") or {}).items()
            if isinstance(ends, list | tuple) and len(ends) == 2
        }
        return cls(
            speed=number(message, "speed", 20.0, 360.0, "km/h") / 3.6,
            air=number(message, "air_c", -20.0, 55.0, "°C") + _KELVIN,
            areas={
                known("opening", n, sized): number({n: a}, n, 1.0, 10_000.0, "cm²") * 1e-4
                for n, a in dict(message.get("areas") or {}).items()
            },
            places=places,
            taped={
                known("core", n, cores): number({n: a}, n, -0.01, 90.0, "%") * 1e-2
                for n, a in dict(message.get("taped") or {}).items()
            },
            routes=routes, gone=gone, added=added,
        )  # fmt: skip

    @property
    def packed(self) -> str:
        """The setting as a piece of an address."""
        rows = [[a.name, a.kind, a.start, a.end, a.area, a.place] for a in self.added]
        text = json.dumps([self.speed, self.air, dict(self.areas), dict(self.places),
                           dict(self.taped), dict(self.routes), self.gone, rows])  # fmt: skip
        return urlsafe_b64encode(text.encode()).decode().rstrip("=")

    @classmethod
    def unpacked(cls, text: str) -> "Setting":
        """Return the setting of an address."""
        speed, air, areas, places, taped, routes, gone, rows = json.loads(
            urlsafe_b64decode(text + "=" * 3)
        )
        names = ("name", "kind", "start", "end", "area", "place")
        return cls(
            speed=speed, air=air, areas=areas, places=places, taped=taped,
            routes={n: (a, b) for n, (a, b) in routes.items()}, gone=tuple(gone),
            added=tuple(Added(**dict(zip(names, row, strict=True))) for row in rows),
        )  # fmt: skip

    def said(self) -> str:
        """Return the setting in words."""
        changes = [f"{n} {1e4 * a:.0f} cm²" for n, a in self.areas.items()]
        changes += [f"{n} at the {p}" for n, p in self.places.items()]
        changes += [f"{n} {100 * t:.0f} % taped" for n, t in self.taped.items() if t > 0]
        changes += [f"{n} from {a} to {b}" for n, (a, b) in self.routes.items()]
        changes += [f"without {n}" for n in self.gone]
        changes += [f"with {a.name}, {a.kind} of {1e4 * a.area:.0f} cm²" for a in self.added]
        head = f"{3.6 * self.speed:.0f}\u202fkm/h, {self.air - _KELVIN:.0f}\u202f°C air"
        return ", ".join([head, *changes])

    def lines(self) -> list[str]:
        """Return what to write into the project to keep the setting."""
        lines = [f'area = "{a:.4f} m^2"  # {n}' for n, a in self.areas.items()]
        lines += [f'at = "{p}"  # {n}' for n, p in self.places.items()]
        lines += [f'start = "{a}", end = "{b}"  # {n}' for n, (a, b) in self.routes.items()]
        lines += [f"# take out: {n}" for n in self.gone]
        return lines + [line for part in self.added for line in part.lines()]

    def applied(self, case: CoolingCase) -> CoolingCase:
        """Return the case as asked.

        Raises
        ------
        InputError
            If the net then has no answer: a node that leads nowhere, air that cannot pass.
        """
        for name, place in self.places.items():
            case = case.moved(name, place)
        system = case.system
        for name, area in self.areas.items():
            system = enlarged(system, name, area / float(np.median(area_of(system, name))))
        for name, share in self.taped.items():
            part = system.air.part(name)
            assert isinstance(part, Cooler)
            system = replaced(system, replace(part, core=replace(part.core, blanked=share)))
        if self.routes or self.gone or self.added:
            kept = [_led(p, self.routes) for p in system.air.elements if p.name not in self.gone]
            new = [part.element() for part in self.added]
            system = replace(system, air=AirNet(elements=(*kept, *new)))
        around = Surroundings(
            speed=self.speed, temperature=self.air, pressure=case.around.pressure,
            humidity=case.around.humidity,
        )  # fmt: skip
        return replace(case, system=system, around=around)


def area_of(system: CoolingSystem, name: str) -> Any:
    """Return the net area of an opening, duct or gap [m²]."""
    part = system.air.part(name)
    assert not isinstance(part, Cooler | Fan | Feed)
    return part.net_area if isinstance(part, Exit) else part.area


def _led(part: Element, routes: Mapping[str, tuple[str, str]]) -> Element:
    """Return a part between the nodes asked for; what comes in begins outside."""
    if part.name not in routes:
        return part
    start, end = routes[part.name]
    if isinstance(part, Inlet | Feed):
        return replace(part, end=end)
    return replace(part, start=start, end=end)


def known(what: str, name: str, names: Collection[str] | Sequence[str]) -> str:
    """Return a name that is among those known, or refuse it."""
    if name not in names:
        raise UnknownName(what, name, list(names))
    return name


def number(message: Mapping[str, Any], key: str, low: float, high: float, unit: str) -> float:
    """Return a number of a message between two ends, or refuse it."""
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not low < value < high:
        raise InputError(key, value, unit, f"must lie between {max(low, 0):g} and {high:g}")
    return value
