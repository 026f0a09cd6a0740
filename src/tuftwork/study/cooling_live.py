"""The cooling under the hand: areas, places, tape, speed and air moved, answered at once."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.cooling import Surroundings, cooling_cost, solve_cooling
from tuftwork.cooling.answer import enlarged, replaced
from tuftwork.cooling.case import CoolingCase, key_of, of_ensemble
from tuftwork.cooling.element import Cooler, Exit, Inlet
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.system import CoolingState
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import summarise
from tuftwork.study.answers import Answers
from tuftwork.study.cooling_page import certain
from tuftwork.study.number import Link, number_of_summary

_DRAWS = 64  # [-] of the ensemble: ends of ranges move by a tenth of the range or so
_KELVIN = 273.15
_PARTS = (
    ("flow", "mass flow", "air"),
    ("loss", "pressure", "loss of total pressure"),
    ("outlet", "temperature", "air leaving it"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What the page's sliders ask.

    Attributes
    ----------
    speed, air
        [m/s], [K]
    areas
        Opening → its net area, best value. [m²]
    places
        Exit → where it is moved.
    taped
        Core → share of its face covered. [-]
    """

    speed: float
    air: float
    areas: Mapping[str, float]
    places: Mapping[str, str]
    taped: Mapping[str, float]

    @classmethod
    def of(cls, answers: Answers, message: Mapping[str, Any]) -> "Setting":
        """Return the setting a message describes, refusing what cannot be."""
        case = _thin_case(answers)
        names = {part.name: part for part in case.system.air.elements}
        openings = [n for n, p in names.items() if isinstance(p, Inlet | Exit)]
        exits = [n for n, p in names.items() if isinstance(p, Exit)]
        cores = [n for n, p in names.items() if isinstance(p, Cooler)]
        places = {str(n): str(p) for n, p in dict(message.get("places") or {}).items()}
        for name, place in places.items():
            _known("exit", name, exits)
            way = next(e for e in case.table.exits if e.name == name)
            _known("place", place, [str(way.at), *map(str, way.also)])
        return cls(
            speed=_number(message, "speed", 20.0, 360.0, "km/h") / 3.6,
            air=_number(message, "air_c", -20.0, 55.0, "°C") + _KELVIN,
            areas={
                _known("opening", n, openings): _number({n: a}, n, 1.0, 10_000.0, "cm²") * 1e-4
                for n, a in dict(message.get("areas") or {}).items()
            },
            places=places,
            taped={
                _known("core", n, cores): _number({n: a}, n, -0.01, 90.0, "%") * 1e-2
                for n, a in dict(message.get("taped") or {}).items()
            },
        )

    @property
    def packed(self) -> str:
        """The setting as a piece of an address."""
        text = json.dumps(
            [self.speed, self.air, dict(self.areas), dict(self.places), dict(self.taped)]
        )
        return urlsafe_b64encode(text.encode()).decode().rstrip("=")

    @classmethod
    def unpacked(cls, text: str) -> "Setting":
        """Return the setting of an address."""
        speed, air, areas, places, taped = json.loads(urlsafe_b64decode(text + "=" * 3))
        return cls(speed=speed, air=air, areas=areas, places=places, taped=taped)

    def said(self) -> str:
        """Return the setting in words."""
        changes = [f"{n} {1e4 * a:.0f} cm²" for n, a in self.areas.items()]
        changes += [f"{n} at the {p}" for n, p in self.places.items()]
        changes += [f"{n} {100 * t:.0f} % taped" for n, t in self.taped.items() if t > 0]
        head = f"{3.6 * self.speed:.0f}\u202fkm/h, {self.air - _KELVIN:.0f}\u202f°C air"
        return ", ".join([head, *changes])


def cooling_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return header and arrays of a live answer: every part, node and circuit."""
    setting = Setting.of(answers, message)
    case, state = solve_setting(answers, setting)
    draws = fields_of(case, state)
    numbers = {
        key: number_of_summary(
            summarise(values), dimension, at=setting.said(), why=f"cooled/{key}/{setting.packed}"
        )
        for key, (values, dimension, _) in draws.items()
    }
    over = {
        c.name: certain(float(np.mean(state.hottest(key_of(c)) > c.limit.best)), "share")
        for c in case.limited if c.limit is not None
    }  # fmt: skip
    header = {
        "at": setting.said(), "numbers": numbers, "over": over,
        "reversed": list(state.air.reversed_parts), "draws": _DRAWS, "lines": _lines(setting),
    }  # fmt: skip
    arrays = {f"cloud {c.name}": state.hottest(key_of(c)) - _KELVIN for c in case.limited}
    return header, arrays


def solve_setting(answers: Answers, setting: Setting) -> tuple[CoolingCase, CoolingState]:
    """Return the case as moved, and its solution."""
    case = _thin_case(answers)
    for name, place in setting.places.items():
        case = case.moved(name, place)
    system = case.system
    for name, area in setting.areas.items():
        part = system.air.part(name)
        assert isinstance(part, Inlet | Exit)
        now = part.area if isinstance(part, Inlet) else part.net_area
        system = enlarged(system, name, area / float(np.median(now)))
    for name, share in setting.taped.items():
        part = system.air.part(name)
        assert isinstance(part, Cooler)
        system = replaced(system, replace(part, core=replace(part.core, blanked=share)))
    around = Surroundings(
        speed=setting.speed,
        temperature=setting.air,
        pressure=case.around.pressure,
        humidity=case.around.humidity,
    )
    moved = replace(case, system=system, around=around)
    return moved, solve_cooling(system, around)


def fields_of(case: CoolingCase, state: CoolingState) -> dict[str, tuple[np.ndarray, str, str]]:
    """Return every number of a live answer: key → draws, dimension, title."""
    found: dict[str, tuple[np.ndarray, str, str]] = {}
    for name in state.air.names:
        for field, dimension, say in _PARTS:
            values = state.air.of(name, field)
            shown = np.abs(values) if field != "outlet" else values
            shown = np.where(shown < 0.5, 0.0, shown) if field == "loss" else shown
            found[f"part {name} {field}"] = (shown, dimension, f"{name}: {say}")
        if name in state.heat:
            found[f"part {name} heat"] = (state.heat[name], "power", f"{name}: heat to the air")
    for node in state.air.nodes:
        found[f"node {node} temperature"] = (
            state.air.at(node, "temperature"), "temperature", f"{node}: air",
        )  # fmt: skip
        found[f"node {node} pressure"] = (state.air.at(node), "pressure", f"{node}: pressure")
    for circuit in case.table.circuits:
        hot = np.broadcast_to(state.hottest(key_of(circuit)), (state.air.flow.shape[1],))
        found[f"circuit {circuit.name}"] = (hot, "temperature", f"{circuit.name}: hottest")
    loads = cooling_cost(case.system.air, state.air, case.wheelbase, wells=case.wells)
    found["load drag"] = (loads.CxS, "area", "CxS of the air through the car")
    found["load front"] = (loads.CzSf, "area", "CzSf of the air through the car")
    return found


def cooled_chain(answers: Answers, address: str) -> None:
    """Keep the chain of a live number, worked out when it is asked for."""
    key, packed = address.removeprefix("cooled/").rsplit("/", 1)
    setting = Setting.unpacked(packed)
    case, state = solve_setting(answers, setting)
    fields = fields_of(case, state)
    if key not in fields:
        raise UnknownName("number", key, fields)
    values, dimension, title = fields[key]
    answers.book.number(
        address, values, dimension, title=title, at=setting.said(),
        links=[Link(what="Air net solved live with what the sliders say", origin="computed")],
        notices=[TEMPERATURE_CAUTION, f"worked out live from {values.size} draws"],
    )  # fmt: skip


def _lines(setting: Setting) -> list[str]:
    """Return what to write into the project to keep the setting."""
    lines = [f'area = "{a:.4f} m^2"  # {n}' for n, a in setting.areas.items()]
    return lines + [f'at = "{p}"  # {n}' for n, p in setting.places.items()]


def _thin_case(answers: Answers) -> CoolingCase:
    key = "cooling live"
    if key not in answers.worked_out:
        of = of_ensemble(answers.ensemble, _DRAWS)
        answers.worked_out[key] = CoolingCase.of_project(answers.project, of)
    found: CoolingCase = answers.worked_out[key]
    return found


def _known(what: str, name: str, known: list[str]) -> str:
    if name not in known:
        raise UnknownName(what, name, known)
    return name


def _number(message: Mapping[str, Any], key: str, low: float, high: float, unit: str) -> float:
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not low < value < high:
        raise InputError(key, value, unit, f"must lie between {max(low, 0):g} and {high:g}")
    return value
