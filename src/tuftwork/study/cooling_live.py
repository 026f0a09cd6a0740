"""The cooling under the hand: areas, places, tape, speed and air moved, answered at once."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.cooling import cooling_cost, solve_cooling
from tuftwork.cooling.answer import pressure_shares
from tuftwork.cooling.case import CoolingCase, key_of, of_ensemble
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.system import CoolingState
from tuftwork.errors import UnknownName
from tuftwork.quantity import summarise
from tuftwork.study.answers import Answers
from tuftwork.study.cooling_edit import Setting
from tuftwork.study.cooling_layout import net_drawn
from tuftwork.study.cooling_page import case_of, duty_of
from tuftwork.study.cooling_tell import certain
from tuftwork.study.front_air import air_fed
from tuftwork.study.lap_car import few
from tuftwork.study.number import Link, number_of_summary
from tuftwork.study.standing import standing_draws

_DRAWS = 512
"""Draws behind the sliders: all of a usual study, so that they meet the page where it stands."""
_KELVIN = 273.15
_PARTS = (
    ("flow", "mass flow", "air"),
    ("loss", "pressure", "loss of total pressure"),
    ("outlet", "temperature", "air leaving it"),
)


def cooling_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return header and arrays of a live answer: every part, node and circuit."""
    setting = Setting.of(_live_case(answers), message)
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
        "reversed": list(state.air.reversed_parts), "draws": int(state.air.flow.shape[1]),
        "lines": setting.lines(),
        "net": net_drawn(
            case.system.air, state.air.reversed_parts, pressure_shares(case.system, state)
        ),
    }  # fmt: skip
    arrays = {f"cloud {c.name}": state.hottest(key_of(c)) - _KELVIN for c in case.limited}
    return header, arrays


def solve_setting(answers: Answers, setting: Setting) -> tuple[CoolingCase, CoolingState]:
    """Return the case as asked, and its solution."""
    moved = setting.applied(_live_case(answers))
    return moved, solve_cooling(moved.system, moved.around)


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
    wells = tuple(w for w in case.wells if w.node in state.air.nodes)
    loads = cooling_cost(case.system.air, state.air, case.wheelbase, wells=wells)
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
        among={n for n in answers.job.quantities if n.startswith(("cooling.", "car.power"))},
    )  # fmt: skip


def _live_case(answers: Answers) -> CoolingCase:
    """Return the case with all draws, or of many with those that stand for all."""
    if answers.ensemble.size <= _DRAWS:
        return case_of(answers)
    key = "cooling live"
    if key not in answers.worked_out:
        net = answers.results["cooling"]
        rows = [*net["hottest"].values(), *net["loads"]["total"]]
        said = np.stack(np.broadcast_arrays(*[np.atleast_1d(row) for row in rows]))
        chosen = standing_draws(said, _DRAWS)
        fed = air_fed(answers.job, answers.results)
        answers.worked_out[key] = CoolingCase.of_project(
            answers.project, of_ensemble(few(answers.ensemble, chosen)), driven=duty_of(answers),
            fed={node: flow[chosen] for node, flow in fed.items()},
        )  # fmt: skip
    found: CoolingCase = answers.worked_out[key]
    return found
