"""The stock of features as a page shows it, and the questions worth asking next."""

from typing import Any

import numpy as np

from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.reading.stock import (
    in_or_out,
    loose_sinks,
    ramp_checks,
    statement_holds,
    zone_band,
)
from tuftwork.study.number import number_of_quantity
from tuftwork.study.picture.desk import Desk
from tuftwork.study.picture.page import number_of_reading
from tuftwork.study.picture.save import value_at

_BAY = (-0.25, 0.05)
"""Pressure coefficient in a bay behind an opening, 80 % range. Common practice, no source. [-]"""
_POINT = 0.01  # [m²]


def stock_tree(bench: Any, desk: Desk) -> dict[str, Any]:
    """Return the stock: features, what is loose, what to ask next."""
    room = desk.room
    rows = [(f.id, f.name, f.role, f.place, tuple(f.feeds)) for f in room.features]
    loose = [
        {
            "name": one.name,
            "lacks": one.lacks,
            "candidates": [{"name": n, "pressure": cp} for n, cp in one.candidates],
            "text": f"{one.name}: no {one.lacks} is known. "
            + (
                f"Likeliest: {one.candidates[0][0]}." if one.candidates else "None is in the stock."
            ),
        }
        for one in loose_sinks(rows)
    ]
    return {
        "list": [_feature(desk, f) for f in room.features],
        "loose": loose,
        "ask": questions(bench, desk),
    }


def questions(bench: Any, desk: Desk) -> list[dict[str, Any]]:
    """Return open readings by what their answer would change, the most first.

    Where the study has run: the standard deviation of CzS over the rivals, from the slope of the
    ensemble of the whole car's load on the key each rival would set. Elsewhere the weights alone.
    """
    answers = bench.answers_or_none()
    found: list[dict[str, Any]] = []
    for feature in desk.room.features:
        if len(feature.rivals) < 2:
            continue
        weights = np.array([r.weight for r in feature.rivals])
        weights = weights / weights.sum()
        worth = _worth(answers, desk, feature, weights)
        doubt = float(-np.sum(weights * np.log2(weights)))
        best = max(feature.rivals, key=lambda r: r.weight)
        found.append(
            {
                "feature": feature.id,
                "name": feature.name,
                "ask": best.decider or f"What is {feature.name} for?",
                "doubt_bits": doubt,
                "points": None if worth is None else worth / _POINT,
                "text": "run the study to see what it changes" if answers is None else (
                    f"moves CzS by {worth / _POINT:.1f} points either way"
                    if worth is not None and worth / _POINT >= 0.05
                    else "what it changes is not in the model yet" if worth is None
                    else "changes less than a tenth of a point"
                ),
            }
        )  # fmt: skip
    found.sort(key=lambda q: (-(q["points"] or 0.0), -q["doubt_bits"]))
    return found


def _worth(answers: Any, desk: Desk, feature: Any, weights: np.ndarray) -> float | None:
    """Return the standard deviation of CzS over the rivals of a feature. [m²]"""
    if answers is None or not answers.project.parts:
        return None
    total = np.zeros(len(weights))
    known = False
    for key in {k for r in feature.rivals for k in r.values}:
        if key not in answers.job.quantities:
            continue
        here = answers.job.quantities[key].best
        slope = _slope(answers, key)
        for k, rival in enumerate(feature.rivals):
            text = rival.values.get(key)
            value = here if text is None else value_at(desk.project, key, text)
            total[k] += slope * ((here if value is None else value) - here)
        known = True
    if not known:
        return None
    mean = float(weights @ total)
    return float(np.sqrt(weights @ np.square(total - mean)))


def _slope(answers: Any, key: str) -> float:
    """Return how CzS follows a key over the ensemble: regression on all inputs that matter."""
    state, speed = answers.states[0], answers.speeds[-1]
    loads = answers.budget(state, speed)
    total = next(row.total for row in loads.rows if row.kind == "total")
    keep = answers.kept(state)
    total = np.broadcast_to(np.asarray(total), keep.shape)[keep]
    names = [key] + [
        n for n, q in answers.job.quantities.items()
        if n != key and not q.is_exact and n in answers.inputs_in(state)
    ]  # fmt: skip
    drawn = np.stack([np.asarray(answers.ensemble.of(n), dtype=float)[keep] for n in names], axis=1)
    spread = drawn.std(axis=0)
    if spread[0] == 0:
        return 0.0
    used = spread > 0
    scaled = (drawn[:, used] - drawn[:, used].mean(axis=0)) / spread[used]
    ridge = 0.5 * np.eye(scaled.shape[1])
    solved = np.linalg.solve(scaled.T @ scaled + ridge, scaled.T @ (total - total.mean()))
    return float(solved[0] / spread[0])


def _feature(desk: Desk, feature: Any) -> dict[str, Any]:
    numbers = []
    for name in feature.readings:
        try:
            asked = desk.asked(name)
            number = number_of_reading(asked, desk.reading(asked))
        except (InputError, NotConverged, NotCovered):
            continue
        numbers.append({"label": asked.name, "number": number})
    tree = {
        "id": feature.id, "name": feature.name, "kind": feature.kind, "known": feature.known,
        "role": feature.role, "zone": feature.place, "picture": feature.picture,
        "mark": feature.mark, "feeds": list(feature.feeds), "numbers": numbers,
        "confidence": number_of_quantity(feature.confidence) if feature.confidence else None,
        "rivals": [
            {"reading": r.reading, "weight": r.weight, "decider": r.decider}
            for r in sorted(feature.rivals, key=lambda r: -r.weight)
        ],
        "note": feature.note,
    }  # fmt: skip
    if feature.kind == "ramp":
        tree["checks"] = _ramp(desk)
    if feature.place and feature.kind in ("opening", "vent", "brake feed"):
        try:
            band = zone_band(feature.place)
        except InputError:
            return tree
        inward, outward = in_or_out(feature.place, _BAY)
        way = inward if inward.weight > outward.weight else outward
        tree["pressure"] = (
            f"Cp {band.low:+.2f} to {band.high:+.2f} there: air goes {way.name} "
            f"({100 * way.weight:.0f} %) [{band.source}]"
        )
    return tree


def _ramp(desk: Desk) -> list[str]:
    """Return what the floor's diffuser is beside usual ones, and where it starts."""
    floor = next((p for p in desk.project.parts if p.kind == "floor"), None)
    if floor is None:
        return []
    rng = np.random.default_rng(11)
    kick, end, angle = (
        np.array([q.at(float(z)) for z in rng.standard_normal(400)])
        for q in (floor.kick_station, floor.exit_station, floor.diffuser_angle)
    )
    wheelbase = desk.project.car.wheelbase.best
    early = statement_holds(kick, below=wheelbase)
    lines = [f"starts ahead of the rear axle line: {100 * early:.0f} %"]
    for check in ramp_checks(kick, end, angle, wheelbase):
        lines.append(
            f"{check.quantity} {check.value:.2f}, usual {check.low:g} to {check.high:g}: "
            f"inside {100 * check.chance_inside:.0f} % [{check.source}]"
        )
    return lines
