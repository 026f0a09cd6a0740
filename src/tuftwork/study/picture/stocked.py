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
from tuftwork.study.picture.ruled import circuit_lines, mending, paths, washing_lines
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
        "paths": paths(desk),
        "mending": mending(desk),
        "ask": questions(bench, desk),
    }


def questions(bench: Any, desk: Desk) -> list[dict[str, Any]]:
    """Return open readings by what their answer would change, the most first.

    Where the study has run: the standard deviation of CzS, front share and the hottest circuit's
    temperature over the rivals, from slopes of the ensemble on the key each rival would set.
    Elsewhere the weights alone. Ranked by points, one per cent of balance counting as two points
    and one kelvin as half a point.
    """
    answers = bench.answers_or_none()
    targets = {} if answers is None else targets_of(answers)
    found: list[dict[str, Any]] = []
    for feature in desk.room.features:
        if len(feature.rivals) < 2:
            continue
        weights = np.array([r.weight for r in feature.rivals])
        weights = weights / weights.sum()
        worth = _worth(answers, targets, desk, feature, weights)
        doubt = float(-np.sum(weights * np.log2(weights)))
        best = max(feature.rivals, key=lambda r: r.weight)
        found.append(
            {
                "feature": feature.id,
                "name": feature.name,
                "ask": best.decider or f"What is {feature.name} for?",
                "doubt_bits": doubt,
                "points": None if worth is None else worth.get("points", 0.0),
                "balance_percent": None if worth is None else worth.get("balance"),
                "kelvin": None if worth is None else worth.get("kelvin"),
                "text": _worth_text(worth, has_run=answers is not None),
            }
        )
    found.sort(key=lambda q: (-_rank(q), -q["doubt_bits"]))
    return found


def _rank(question: dict[str, Any]) -> float:
    """Return how much an answer is worth, in points. A convention of ranking, no source."""
    return float(
        (question["points"] or 0.0)
        + 2.0 * (question["balance_percent"] or 0.0)
        + 0.5 * (question["kelvin"] or 0.0)
    )


def _worth_text(worth: dict[str, float] | None, *, has_run: bool) -> str:
    if not has_run:
        return "run the study to see what it changes"
    if worth is None:
        return "what it changes is not in the model yet"
    parts = []
    if worth.get("points", 0.0) >= 0.05:
        parts.append(f"CzS by {worth['points']:.1f} points")
    if worth.get("balance", 0.0) >= 0.05:
        parts.append(f"balance by {worth['balance']:.1f} %")
    if worth.get("kelvin", 0.0) >= 0.5:
        parts.append(f"the hottest circuit by {worth['kelvin']:.0f} K")
    if not parts:
        return "changes less than a tenth of a point, a tenth of a per cent and half a kelvin"
    return f"moves {' and '.join(parts)} either way"


def targets_of(answers: Any) -> dict[str, np.ndarray]:
    """Return what an answer could change, draw by draw: points, balance in per cent, kelvin."""
    found: dict[str, np.ndarray] = {}
    if answers.project.parts:
        loads = answers.budget(answers.states[0], answers.speeds[-1])
        row = next(row for row in loads.rows if row.kind == "total")
        size = answers.ensemble.size
        total = np.broadcast_to(np.asarray(row.total), size)
        front = np.broadcast_to(np.asarray(row.front), size)
        found["points"] = total / _POINT
        if np.all(np.abs(total) > 1e-6):
            found["balance"] = 100.0 * front / total
    hottest = hottest_circuit(answers)
    if hottest is not None:
        found["kelvin"] = hottest
    return found


def hottest_circuit(answers: Any) -> np.ndarray | None:
    """Return the temperature of the circuit nearest its limit, draw by draw; None without one."""
    tree = answers.results.get("cooling", {})
    hottest = tree.get("hottest") if isinstance(tree, dict) else None
    if not hottest:
        return None
    room = answers.project.cooling
    limits = {c.name: c.limit.best for c in room.circuits if c.limit is not None}
    rows = {n: np.asarray(v, dtype=float).ravel() for n, v in hottest.items() if n in limits}
    rows = {n: v for n, v in rows.items() if v.size == answers.ensemble.size}
    if not rows:
        return None
    return max(rows.items(), key=lambda row: float(np.median(row[1])) - limits[row[0]])[1]


def _worth(
    answers: Any,
    targets: dict[str, np.ndarray],
    desk: Desk,
    feature: Any,
    weights: np.ndarray,
) -> dict[str, float] | None:
    """Return the standard deviation of every target over the rivals of a feature."""
    if answers is None or not targets:
        return None
    moved = {name: np.zeros(len(weights)) for name in targets}
    known = False
    for key in {k for r in feature.rivals for k in r.values}:
        if key not in answers.job.quantities:
            continue
        here = answers.job.quantities[key].best
        for name, drawn in targets.items():
            slope = _slope(answers, key, drawn)
            for k, rival in enumerate(feature.rivals):
                text = rival.values.get(key)
                value = here if text is None else value_at(desk.project, key, text)
                moved[name][k] += slope * ((here if value is None else value) - here)
        known = True
    if not known:
        return None
    return {name: float(np.sqrt(weights @ np.square(m - weights @ m)))
            for name, m in moved.items()}  # fmt: skip


def _slope(answers: Any, key: str, target: np.ndarray) -> float:
    """Return how a target follows a key over the ensemble: regression on all inputs that matter."""
    keep = answers.kept(answers.states[0]) & np.isfinite(target)
    values = target[keep]
    quantities = answers.job.quantities
    matter = answers.inputs_in(answers.states[0])
    names = [key] + [
        n for n, q in quantities.items()
        if n != key and not q.is_exact and (n in matter or n.startswith(key.partition(".")[0]))
    ]  # fmt: skip
    drawn = np.stack([np.asarray(answers.ensemble.of(n), dtype=float)[keep] for n in names], axis=1)
    spread = drawn.std(axis=0)
    if spread[0] == 0:
        return 0.0
    used = spread > 0
    scaled = (drawn[:, used] - drawn[:, used].mean(axis=0)) / spread[used]
    ridge = 0.5 * np.eye(scaled.shape[1])
    solved = np.linalg.solve(scaled.T @ scaled + ridge, scaled.T @ (values - values.mean()))
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
    tree["checks"] = [
        *(_ramp(desk) if feature.kind == "ramp" else []),
        *circuit_lines(feature), *washing_lines(desk, feature),
    ]  # fmt: skip
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
