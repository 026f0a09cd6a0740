"""A splitter's answer as the page "Floor" shows it: numbers with ranges, chains, a sweep, words."""

from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.part import ChannelSplitter, draws_of
from tuftwork.quantity import Summary
from tuftwork.study.answers import Answers
from tuftwork.study.front_answer import front_answers
from tuftwork.study.number import Link, Number, number_of_summary
from tuftwork.study.store import Tree

_MM, _KMH = 1e3, 3.6
_LINKS = (
    Link(what="Channels under the plate solved with their layers, load and droop settled together",
         origin="computed", place="docs/models/front-floor.md"),
    Link(what="Range from what its equations leave open, on the same draws as the budget",
         origin="computed", place="floor/front.toml"),
)  # fmt: skip
_SEEN = np.radians(0.05)  # [rad] of upwash worth a line


def fronts_in(
    answers: Answers, state: str, speed: float, *, front: float | None = None,
    rear: float | None = None,
) -> list[Tree]:  # fmt: skip
    """Return every splitter with solved channels in a state at a speed, where the car then rides.

    ``front`` and ``rear`` put it elsewhere. [m]
    """
    models = answers.models(state)
    if not any(isinstance(m, ChannelSplitter) for m in models):
        return []
    key = f"fronts {state} {speed} {front} {rear}"
    if key not in answers.worked_out:
        place = answers.platform(state, speed)
        heights = {
            name: np.full(answers.ensemble.size, value)
            for name, value in (("ride_height_front", front), ("ride_height_rear", rear))
            if value is not None
        }
        draws = draws_of(models, answers.ensemble)
        answers.worked_out[key] = front_answers(models, replace(place, **heights), draws)
    found: list[Tree] = answers.worked_out[key]
    return found


def channel_row(answers: Answers, row: Tree, under: str) -> dict[str, Any]:
    """Return one splitter; its chains are kept under ``<under>/front …``."""
    at = f"lip {_MM * row['numbers']['clearance'][0]:.0f} mm over the road"
    numbers = []
    for key, label, dimension, unit in _wanted(row):
        best, low, high, low_half, high_half = row["numbers"].get(key, row.get(key))
        summary = Summary(best=best, low=low, high=high, low_half=low_half, high_half=high_half)
        why = f"{under}/front {row['name']} {key}"
        number = number_of_summary(summary, dimension, unit=unit, at=at, why=why)
        answers.book.add(
            why, title=f"{row['name']}: {label}", number=number, links=_LINKS,
            decision="Lip height, ramps, footplates and how stiff the plate must be.",
            notices=list(row["notices"]),
        )  # fmt: skip
        numbers.append({"key": key, "label": label, "number": number})
    sweep = row["sweep"]
    return {
        "name": row["name"], "engine": "channels", "numbers": numbers, "text": _text(row, numbers),
        "notices": list(row["notices"]),
        "sweep": {
            "clearance_mm": [round(_MM * v, 1) for v in sweep["clearance"]],
            **{k: [round(v, 4) for v in sweep[k]] for k in ("best", "low", "high")},
            "droop_mm": [round(_MM * v, 2) for v in sweep["droop"]],
            "now_mm": round(_MM * sweep["now"], 1),
        },
    }  # fmt: skip


def _wanted(row: Tree) -> list[tuple[str, str, str, str]]:
    rows = [
        ("total", "CzS, from above and below", "area", "m²"),
        ("front", "of it at the front axle", "area", "m²"),
        ("upper", "from the air on top", "area", "m²"),
    ]
    for name in row["strips"]:
        rows.append((f"{name} load", f"from below, {name}", "area", "m²"))
        verb = "hand" if name == "ramps" else "hands"
        if any(row["numbers"][f"{name} pressure"]):
            rows.append((f"{name} pressure", f"Cp where the {name} {verb} over", "ratio", ""))
    if "crossing" in row["numbers"]:
        rows.append(("crossing", "of the middle's air crosses to the ramps", "share", "%"))
    rows.append(("lower", "CzS more with the nose 10 mm lower", "area", "m²"))
    if "droop" in row["numbers"]:
        rows += [
            ("droop", "droop of the lip", "height", "mm"),
            ("soft", "CzS that droop adds", "area", "m²"),
            ("diverges", "speed that draws the lip to the road", "speed", "km/h"),
        ]
    rows += [
        ("onset", "angle of the air at the lip", "angle", "°"),
        ("tolerance", "angle its rolled edge bears", "angle", "°"),
        ("head", "head it hands to the floor", "ratio", ""),
    ]
    for part in row["behind"]:
        if abs(row["numbers"][f"angle {part}"][0]) > _SEEN:
            rows.append((f"angle {part}", f"turns the air up at: {part}", "angle", "°"))
    return rows


def _text(row: Tree, numbers: list[dict[str, Any]]) -> str:
    said: dict[str, Number] = {n["key"]: n["number"] for n in numbers}
    text = f"{row['name'][:1].upper()}{row['name'][1:]}: {said['total']['text']}."
    for name, share in zip(row["strips"], row["choked"], strict=True):
        fills = row["numbers"][f"{name} choke"][0]
        verb = "choke" if share > 0.5 else "hold"
        text += (
            f" The {name}{'' if name == 'ramps' else ' channel'} "
            f"{verb if name == 'ramps' else verb + 's'}: layers fill {100 * fills:.0f} % of the "
            "narrowest "
            "gap."
        )
    sweep = row["sweep"]
    k = int(np.argmax(sweep["best"]))
    if 0 < k < len(sweep["best"]) - 1:
        text += f" It makes most with its lip near {_MM * sweep['clearance'][k]:.0f} mm."
    gone = row["separated"]
    text += (
        f" The rolled edge lets go in {100 * gone:.0f} % of draws." if gone > 0.05
        else " The rolled edge holds."
    )  # fmt: skip
    if row["drawn"] > 0:
        text += f" 10 mm lower the lip is drawn to the road in {100 * row['drawn']:.0f} % of draws."
    return text
