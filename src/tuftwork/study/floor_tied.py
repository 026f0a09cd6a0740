"""What a ride-height sweep did to a floor's channel, for page and command: before, after, left."""

from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.quantity import Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.floor_case import FloorCase
from tuftwork.study.floor_number import computed
from tuftwork.study.floor_sweep import OPEN, swept
from tuftwork.study.job import FLOOR_SWEEPS
from tuftwork.study.number import Link, Number, number_of_quantity
from tuftwork.study.store import Tree

_AIM = 0.10  # [-] residual above which the channel does not follow the sweep
_WORDS = {"floor": "the floor on the car", "car": "the whole car", "floor alone": "a bare floor"}


def calibration_of(answers: Answers, case: FloorCase, state: str) -> dict[str, Any] | None:
    """Return a floor's calibration as the page shows it; None where it names no sweep."""
    name = case.part.name
    if name not in {p.name for p in swept(answers.project)}:
        return None
    kept: Tree = answers.results[FLOOR_SWEEPS]["floors"][name]
    channel = case.part.channel
    evidence = channel.sweep if channel is not None else ""
    head: dict[str, Any] = {"sweep": evidence, "refused": list(kept.get("refused", ()))}
    if head["refused"]:
        return head | {"answer": f"The sweep {evidence} ties nothing: {head['refused'][0]}",
                       "rows": [], "points": [], "notices": []}  # fmt: skip
    miss, before = float(kept["miss"]), float(kept["miss_before"])
    answer = (
        f"Tied to the sweep {evidence} of {_WORDS[str(kept['of'])]}: "
        f"{len(kept['rear'])} ride heights, residual {100 * miss:.1f} % where {100 * before:.1f} "
        "% stood before."
    )
    notices = []
    if miss > _AIM:
        notices.append(
            f"{name}: the channel follows the sweep {evidence} to {100 * miss:.0f} % only; its "
            "shape over "
            "ride height is not this floor's."
        )
    rows = []
    for key, label in OPEN.items():
        quantity = answers.job.quantities.get(f"{name}.model.{key}")
        if quantity is None or quantity.is_exact:
            continue
        if quantity.dimension == "share":
            quantity = replace(quantity, unit="%")
        low, best, high = _after(kept, f"{name}.model.{key}", quantity)
        if not quantity.low <= best <= quantity.high:
            notices.append(f"{name}: {label} was moved outside the range it was given.")
        after = computed(best, low, high, quantity.dimension, quantity.unit, f"sweep {evidence}")
        rows.append({
            "key": key, "label": label, "before": number_of_quantity(quantity),
            "after": _chained(answers, f"floor/{name}/{state}/tied {key}", after,
                              f"{name}: {label} after the sweep", evidence),
        })  # fmt: skip
    return head | {
        "answer": answer, "rows": rows, "notices": notices, "of": str(kept["of"]),
        "miss_before_pct": round(100 * before, 1), "miss_pct": round(100 * miss, 1),
        "points": [_point(kept, k) for k in range(len(kept["rear"]))],
    }  # fmt: skip


def _after(kept: Tree, name: str, quantity: Quantity) -> tuple[float, float, float]:
    mean, deviation = 0.0, 1.0
    if name in kept["names"]:
        at = list(kept["names"]).index(name)
        mean = float(kept["mean"][at])
        deviation = float(np.sqrt(np.asarray(kept["covariance"])[at, at]))
    low, best, high = (float(quantity.at(mean + s * deviation)) for s in (-1.2816, 0.0, 1.2816))
    return low, best, high


def _chained(answers: Answers, why: str, number: Number, title: str, evidence: str) -> Number:
    told = number | {"why": why}
    links = (
        Link(what="Ride-height sweep", origin="measured", place=evidence),
        Link(what="Gaussian update of the floor's model by the sweep", origin="computed",
             place="docs/models/floor-channel.md"),
    )  # fmt: skip
    answers.book.add(why, title=title, number=told, links=links, notices=[],
                     decision="Whether the level of the floor can be trusted.")  # fmt: skip
    return told


def _point(kept: Tree, k: int) -> dict[str, Any]:
    measured, doubt = float(kept["measured"][k]), float(kept["deviation"][k])
    arm, place = 1.2816 * doubt, f"hr {1e3 * float(kept['rear'][k]):.1f} mm"
    number = number_of_quantity(
        Quantity(best=measured, low=measured - arm, high=measured + arm, unit="m²",
                 dimension="area", origin="measured", place=place)
    ) | {"at": place}  # fmt: skip
    after = float(kept["after"][k])
    return {
        "rear_mm": round(1e3 * float(kept["rear"][k]), 1), "measured": number,
        "before": round(float(kept["before"][k]), 4), "after": round(after, 4),
        "left_pct": round(100 * (after / measured - 1), 1),
    }  # fmt: skip
