"""What measured rows did to a floor's level, and what in it they cannot tell apart."""

from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.part import ChannelFloor
from tuftwork.floor.table import evaluate
from tuftwork.quantity import Array, Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.floor_case import FloorCase
from tuftwork.study.floor_number import computed
from tuftwork.study.floor_sweep import OPEN
from tuftwork.study.number import Link, number_of_quantity

_LEAK = ("discharge", "mixing")
_LINKS = (
    Link(what="Measured rows of the whole car", origin="measured"),
    Link(what="Draws of every input moved to where they agree with the rows", origin="computed",
         place="docs/models/tie.md"),
)  # fmt: skip


def level_of(answers: Answers, case: FloorCase, state: str) -> dict[str, Any] | None:
    """Return what was measured made of a channel's open numbers; None where nothing was."""
    name = case.part.name
    model = next((m for m in answers.models(state) if m.name == name), None)
    if not answers.is_tied or not isinstance(model, ChannelFloor):
        return None
    tied = {r["name"]: r for r in answers.results["tie"]["narrowed"]}
    rows, after = [], {}
    for key, label in OPEN.items():
        path = f"{name}.model.{key}"
        quantity = answers.job.quantities.get(path)
        if path not in tied or quantity is None:
            continue
        shown = replace(quantity, unit="%") if quantity.dimension == "share" else quantity
        best, low, high = (float(v) for v in tied[path]["posterior"][:3])
        after[key] = best
        why, place = f"floor/{name}/{state}/level {key}", "after what was measured"
        number = computed(best, low, high, shown.dimension, shown.unit, place) | {"why": why}
        answers.book.add(
            why, title=f"{name}: {label}", number=number, links=_LINKS, notices=[],
            decision="Whether the floor is worth working on, and on what.",
        )  # fmt: skip
        rows.append({"key": key, "label": label, "before": number_of_quantity(shown),
                     "after": number, "moved": round(_moved(answers, path), 1)})  # fmt: skip
    if "coverage" not in after:
        return None
    return {"answer": _answer(answers, model, after, rows), "rows": rows}


def _moved(answers: Answers, path: str) -> float:
    """Return by how many of its own standard deviations an input's middle was moved."""
    tie = answers.results["tie"]
    return float(np.mean(np.asarray(tie["deviates"])[:, list(tie["names"]).index(path)]))


def _answer(
    answers: Answers, model: ChannelFloor, after: dict[str, float], rows: list[dict[str, Any]]
) -> str:
    own = next(r for r in rows if r["key"] == "coverage")
    moved = f"{own['moved']:+.1f}".replace("-", "−")
    said = (
        f"What was measured moves this floor's load over that of a clean plate from "
        f"{own['before']['text']} to {own['after']['text']}, by {moved} standard deviations."
    )
    quantities = {k: answers.job.quantities[f"{model.name}.model.{k}"] for k in _LEAK if k in after}
    if len(quantities) < len(_LEAK):
        return said
    ratio = _leakier(answers, model, after, quantities)
    would = after["coverage"] / float(np.mean(ratio))
    prior = answers.job.quantities[f"{model.name}.model.coverage"]
    where = "inside" if prior.low <= would <= prior.high else "still outside"
    shape = float(np.ptp(ratio) / np.mean(ratio))
    return (
        f"{said} More leak would do much the same: with discharge and edge loss at the leaky ends "
        f"of their ranges it would stand at {100 * would:.0f} %, {where} the "
        f"range it was given, and over the measured ride heights the load's shape would differ by "
        f"{100 * shape:.0f} %. So the level is sure, not its reason: a poorer floor or a leakier "
        "one; a sweep of ride heights on the floor alone tells them apart."
    )


def _leakier(
    answers: Answers, model: ChannelFloor, after: dict[str, float], prior: dict[str, Quantity]
) -> Array:
    """Return the load with a leaky edge over that found, at the ride heights of the rows."""
    rows = answers.project.measured
    heights: dict[str, Any] = {
        "front": np.array([m.ride_height_front.best for m in rows]),
        "rear": np.array([m.ride_height_rear.best for m in rows]),
    }
    assert model.table is not None
    exit_pressure = np.array(after.get("base_pressure", -0.2))
    found, leaky = (
        evaluate(
            model.table, **heights, exit_pressure=exit_pressure, head=np.ones(1),
            discharge=np.array(d), mixing=np.array(m),
        ).downforce
        for d, m in (
            (after["discharge"], after["mixing"]),
            (prior["discharge"].high, prior["mixing"].high),
        )
    )  # fmt: skip
    return np.asarray(leaky / found)
