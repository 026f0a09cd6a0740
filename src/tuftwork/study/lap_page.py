"""The page "Lap": seconds of every state, where they come from, and what a unit is worth."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.errors import NotCovered
from tuftwork.lap import (
    LIMITS,
    Change,
    Lap,
    Remark,
    aero_gate,
    hypotheses,
    margins,
    rank_changes,
)
from tuftwork.quantity import Summary, exact, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.grip_page import grip_page, lap_change
from tuftwork.study.lap_answer import Laps, circuits_of
from tuftwork.study.lap_device import device_page
from tuftwork.study.lap_place_page import line_of, occupancy_page, plane_page
from tuftwork.study.number import Number, json_ready, number_of_quantity, number_of_summary
from tuftwork.study.support import Support, counted

Page = dict[str, Any]
_KMH = 3.6
AXLES = ("front", "rear")
_SHOWN = 12.0  # [km/h] width of a bin of the curve of margin against speed
_EVEN = 0.01  # [-] of grip: axles closer than that give up together
_CORNERING = 3.0  # [m/s²] sideways from which a place counts as a corner

DIMENSIONS = {
    "station": ("station", 1.0), "speed_kmh": ("speed", _KMH), "ax": ("ax", 1.0),
    "ay": ("ay", 1.0), "front_mm": ("ride_height_front", 1e3),
    "rear_mm": ("ride_height_rear", 1e3), "seconds": ("duration", 1.0),
}  # fmt: skip
"""What the page draws along the lap: name → field of the trace, factor."""


def lap_support(project: Project, answers: Answers | None) -> Support:
    """Return how well the lap is supported, and what the rail says beside it."""
    if answers is None or not circuits_of(answers):
        return "none", ""
    try:
        laps = Laps.of(answers)
        best = min(laps.answers.states, key=lambda s: np.nanmedian(laps.draws(s)))
    except NotCovered:
        return "none", "could not be run"
    support = "measured" if answers.is_tied else "computed"
    if best == laps.base:
        return support, counted(len(answers.states), "state")
    seconds = float(np.nanmedian(laps.change(best)))
    return support, f"{seconds:+.2f} s".replace("-", "\u2212")


def lap_page(answers: Answers, *, circuit: str = "", state: str = "", against: str = "") -> Page:
    """Return the laps of a circuit: one state in full, another beside it, all in a table."""
    laps = Laps.of(answers, circuit)
    others = [s for s in answers.states if s != laps.base]
    shown = answers.state_named(state or _quickest(laps))
    beside = answers.state_named(against or (laps.base if shown != laps.base else ""))
    found = laps.result(shown)
    driver = laps.driver
    return {
        "circuit": laps.circuit,
        "circuits": list(circuits_of(answers)),
        "state": shown,
        "against": beside,
        "states": list(answers.states),
        "length": _plain(found["length"], "length", "km", 3),
        "noise": _plain(driver.noise, "time", "s", 2),
        "driver": f"{driver.laps} laps a side, each {driver.deviation:.2f}\u202fs",
        "laps": [state_row(laps, s) for s in answers.states],
        "elsewhere": elsewhere(answers, others),
        "plan": json_ready(found["plan"]),
        "traces": {s: trace_page(lap) for s, lap in laps.pair(shown, beside).laps.items()},
        "trace_of": _trace_words(laps, shown, beside),
        "corners": corner_rows(laps, shown, beside),
        "value": value_rows(laps, shown),
        "exchange": exchange_number(laps, shown),
        "cliff": cliff_page(laps, shown),
        "occupancy": occupancy_page(laps, shown),
        "plane": plane_page(laps, shown),
        "devices": device_page(laps),
        "line": line_of(laps),
        "energy": energy_page(laps, shown),
        "grip": grip_page(laps),
        "outside": float(found["outside"]),
        "margins": margin_rows(laps, shown),
        "curve": margin_curve(laps, shown),
        "said": said_page(answers),
        "next": ranking(laps),
        "notices": laps.notices(shown),
        "caution": "Quasi-steady laps of one line: differences between states are surer than the "
        "lap time. Try a setting in small steps on a closed course; the driver may refuse.",
    }  # fmt: skip


def _quickest(laps: Laps) -> str:
    """Return the state with the shortest lap, which is looked at first."""
    return min(laps.answers.states, key=lambda s: float(np.nanmedian(laps.draws(s))))


def state_row(laps: Laps, state: str) -> Page:
    """Return one state's lap: time, top speed, and its change against the baseline."""
    time = laps.number("time", state, laps.draws(state), title=f"Lap time, '{state}'")
    top = laps.number(
        "top", state, laps.draws(state, "top_speed"), "speed", title=f"Top speed, '{state}'"
    )
    row: Page = {"name": state, "time": time, "top": top, "change": None, "verdict": "baseline"}
    if state != laps.base:
        row |= change_row(laps, state)
    return row


def change_row(laps: Laps, state: str, after: str = "") -> Page:
    """Return what a state is worth against another, with a verdict."""
    base = after or laps.base
    seconds = laps.change(state, base)
    worth = laps.worth(state, seconds)
    number = laps.number(
        f"change/{base}", state, seconds, title=f"Lap time: '{state}' less '{base}'",
        decision="Whether this change is worth a test, and before which other.", others=(base,),
    )  # fmt: skip
    return {
        "change": number | {"noise": worth.noise},
        "verdict": worth.verdict,
        "chance": worth.chance_quicker,
    }


def elsewhere(answers: Answers, states: Sequence[str]) -> list[Page]:
    """Return which state is quicker where: every circuit, every state."""
    rows: list[Page] = []
    for name in circuits_of(answers):
        laps = Laps(answers=answers, circuit=name)
        try:
            cells = [{"state": s, **change_row(laps, s)} for s in states]
        except NotCovered as error:
            rows.append({"circuit": name, "cells": [], "refused": str(error), "quickest": ""})
            continue
        best = min(cells, key=lambda c: c["change"]["best"], default=None)
        quicker = best is not None and best["change"]["best"] < 0.0
        rows.append(
            {
                "circuit": name,
                "cells": cells,
                "refused": "",
                "quickest": best["state"] if best is not None and quicker else laps.base,
            }
        )
    return rows


def trace_page(lap: Lap) -> Page:
    """Return what happens along a lap, as arrays for drawing."""
    trace = lap.trace
    page = {
        key: np.round(factor * getattr(trace, name), 4)
        for key, (name, factor) in DIMENSIONS.items()
    }
    page["front_margin"] = np.round(100.0 * (1.0 - trace.use_front), 2)
    page["rear_margin"] = np.round(100.0 * (1.0 - trace.use_rear), 2)
    tree: Page = json_ready(page)
    return {**tree, "limit": trace.limit.tolist(), "limits": list(LIMITS), "time": lap.time}


def _trace_words(laps: Laps, state: str, beside: str) -> str:
    """Return which car the traces are of."""
    pair = laps.pair(state, beside)
    which = f"Draw {pair.draw + 1} of {laps.draws(state).size}"
    if state == beside:
        return f"{which}, in the middle of the lap times."
    gap = f"{pair.laps[state].time - pair.laps[beside].time:+.2f}\u202fs".replace("-", "\u2212")
    return f"{which}, in the middle of what all draws gain: {gap} against '{beside}'."


def corner_rows(laps: Laps, state: str, beside: str) -> list[Page]:
    """Return every corner: its speed, and the seconds gained there against another state."""
    found = laps.result(state)
    speeds, times = laps.draws(state, "corner_speed"), laps.draws(state, "corner_time")
    before = laps.draws(beside, "corner_time")
    rows = []
    for i, corner in enumerate(found["corners"]):
        name = corner["name"]
        speed = laps.number(
            f"corner/{name}/speed", state, speeds[i], "speed",
            title=f"Slowest speed in {name}, '{state}'",
        )  # fmt: skip
        row = {
            "name": name, "class": corner["class"], "apex": corner["apex"],
            "start": corner["start"], "end": corner["end"],
            "radius": _plain(corner["radius"], "length", "m", 0),
            "speed": speed, "change": None,
        }  # fmt: skip
        if state != beside:
            row["change"] = laps.number(
                f"corner/{name}/change/{beside}", state, times[i] - before[i],
                title=f"Seconds in {name} with half the straights beside it: '{state}' less "
                f"'{beside}'", others=(beside,),
            )  # fmt: skip
        rows.append(row)
    return rows


def value_rows(laps: Laps, state: str) -> list[Page]:
    """Return what one unit of everything is worth, with a verdict against the driver's scatter."""
    rows = []
    for name, seconds in laps.unit_draws(state):
        worth = laps.worth(name, seconds)
        number = laps.number(
            f"unit/{name}", state, seconds, title=f"Seconds for {name}, '{state}'",
            decision="What a change may cost, and which one to look for.",
        )  # fmt: skip
        units = worth.noise / abs(worth.best) if worth.best else float("inf")
        rows.append(
            {
                "name": name, "number": number, "verdict": worth.verdict,
                "to_show": units if np.isfinite(units) else None,
            }
        )  # fmt: skip
    return rows


def exchange_number(laps: Laps, state: str) -> Number:
    """Return the drag one point of downforce may cost at equal lap time."""
    return laps.number(
        "exchange", state, laps.exchange(state), "ratio",
        title=f"Drag one point of downforce may cost at equal lap time, '{state}'",
        decision="Whether a wing setting pays.",
    )  # fmt: skip


def cliff_page(laps: Laps, state: str) -> Page:
    """Return the share of the lap spent where the rear axle loses its load with height."""
    share = float(laps.result(state)["near_cliff"])
    return {
        "share": share,
        "text": f"In '{state}' {100 * share:.0f}\u202f% of the lap is spent where the rear axle "
        "gains more than three points of CzS for each millimetre it is raised.",
    }


def energy_page(laps: Laps, state: str) -> Page:
    """Return fuel, brake and tyre energy of the middle car, and what it is against the baseline."""
    own, base = (laps.result(s)["energy"] for s in (state, laps.base))
    joule = {key: _plain(own[key], "energy", "MJ", 1) for key in ("engine", "brakes", "drag")}
    tyres = {f"tyre_{axle}": own[f"tyre_{axle}"] / base[f"tyre_{axle}"] for axle in AXLES}
    return {**joule, **tyres}


def _plain(value: float, dimension: str, unit: str, digits: int) -> Number:
    """Return a computed number of the middle car, which has no range."""
    number = number_of_quantity(exact(value, dimension, unit=unit))
    text = format_plain(value, dimension, unit, digits=digits)
    return number | {"text": text, "origin": "computed"}


def margin_rows(laps: Laps, state: str) -> list[Page]:
    """Return grip left at each axle by corner phase and speed band."""
    return [
        {
            "phase": cell.phase, "band": cell.band, "seconds": cell.seconds,
            "front": 100.0 * cell.front, "rear": 100.0 * cell.rear,
            "share": 100.0 * cell.front_share,
            "says": _first_to_give_up(cell.balance),
        }
        for cell in margins(laps.trace(state))
    ]  # fmt: skip


def _first_to_give_up(balance: float) -> str:
    """Return which axle has less grip left, in words."""
    if abs(balance) < _EVEN:
        return "both together"
    return "front gives up first" if balance > 0.0 else "rear gives up first"


def margin_curve(laps: Laps, state: str) -> Page:
    """Return grip left at each axle against speed, in corners, averaged over time."""
    trace = laps.trace(state)
    corner = np.abs(trace.ay) > _CORNERING
    speed, seconds = _KMH * trace.speed[corner], trace.duration[corner]
    place = np.floor(speed / _SHOWN).astype(int)
    rows: dict[str, list[float]] = {"speed_kmh": [], "front": [], "rear": [], "seconds": []}
    for step in np.unique(place):
        here = place == step
        rows["speed_kmh"].append(_SHOWN * (float(step) + 0.5))
        rows["seconds"].append(float(seconds[here].sum()))
        for axle in AXLES:
            use = getattr(trace, f"use_{axle}")[corner][here]
            rows[axle].append(100.0 * float(1.0 - np.average(use, weights=seconds[here])))
    return {**rows}


def said_page(answers: Answers) -> Page | None:
    """Return what the driver said, whether it can be aero, and suspects with their odds."""
    lap = answers.project.lap
    if lap is None or not lap.remarks:
        return None
    remarks = [Remark(phase=r.phase, feeling=r.feeling, band=r.band) for r in lap.remarks]
    gate = aero_gate(
        remarks, returned_to_baseline=lap.returned, fine_when_slow=lap.is_fine_when_slow
    )
    words = {None: "not known", True: "yes", False: "no"}
    return {
        "remarks": [
            {"said": r.said, "as": f"{r.feeling} at {r.phase}, {r.band} speed"}
            for r in lap.remarks
        ],
        "verdict": gate.verdict,
        "checks": [{"asked": text, "answer": words[answer]} for text, answer in gate.checks],
        "next_step": gate.next_step,
        "suspects": [
            {
                "suspect": h.suspect, "odds": h.probability, "cause": h.cause, "test": h.test,
                "source": h.source,
            }
            for h in hypotheses(remarks)[:6]
        ],
    }  # fmt: skip


def ranking(laps: Laps) -> list[Page]:
    """Return what could be done next, by counted-on seconds for money."""
    lap = laps.answers.project.lap
    if lap is None or not lap.changes:
        return []
    changes: list[Change] = []
    for row in lap.changes:
        seconds = laps.change(row.state, row.after)
        changes.append(
            Change(
                name=row.name, cost=row.cost, confidence=row.confidence, needs=row.needs,
                seconds=np.where(np.isfinite(seconds), seconds, np.nanmedian(seconds)),
            )
        )  # fmt: skip
    ranked = rank_changes(changes, noise=laps.driver.noise)
    state_of = {row.name: row.state for row in lap.changes}
    return [
        {
            "name": row.name, "state": state_of[row.name], "after": list(row.do_with),
            "gain": _range(row.gain, row.low, row.high), "chance": row.chance,
            "cost": float(f"{row.cost:.6g}"),
            "per_cost": row.gain_per_cost, "confidence": row.confidence,
            "verdict": "below noise" if row.below_noise else "worth doing" if row.gain > 0
            else "a loss",
        }
        for row in ranked
    ]  # fmt: skip


def _range(best: float, low: float, high: float) -> Number:
    middle = (best + low) / 2, (best + high) / 2
    summary = Summary(best=best, low=low, high=high, low_half=middle[0], high_half=middle[1])
    return number_of_summary(summary, "time")


def lap_chain(answers: Answers, address: str) -> None:
    """Keep the chain of a number of a lap, worked out when it is asked for."""
    for circuit in circuits_of(answers):
        laps = Laps(answers=answers, circuit=circuit)
        for state in answers.states:
            head = f"lap/{circuit}/{state}/"
            if address.startswith(head):
                _keep(laps, state, address.removeprefix(head))
                return


def _keep(laps: Laps, state: str, what: str) -> None:
    """Keep one chain of a state's lap, by what it is of."""
    makers: dict[str, Callable[[], Any]] = {
        "time": lambda: state_row(laps, state),
        "top": lambda: state_row(laps, state),
        "change": lambda: change_row(laps, state, what.partition("/")[2]),
        "corner": lambda: [corner_rows(laps, state, s) for s in laps.answers.states],
        "unit": lambda: value_rows(laps, state),
        "exchange": lambda: exchange_number(laps, state),
        "schedule": lambda: device_page(laps),
        "tied": lambda: lap_change(laps),
    }
    makers[what.partition("/")[0]]()
