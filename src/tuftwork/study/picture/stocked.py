"""The stock of features as a page shows it, and the questions worth asking next."""

from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import draws_of as part_draws
from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.quantity import format_number
from tuftwork.quantity.format import MINUS
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
    temperature over the rivals, from slopes on the key each rival would set.
    Elsewhere the weights alone. Ranked by points, one per cent of balance counting as two points
    and one kelvin as half a point.
    """
    answers = bench.answers_or_none()
    hottest = None if answers is None else hottest_circuit(answers)
    found: list[dict[str, Any]] = []
    for feature in desk.room.features:
        if len(feature.rivals) < 2:
            continue
        weights = np.array([r.weight for r in feature.rivals])
        weights = weights / weights.sum()
        worth = _worth(answers, hottest, desk, feature, weights)
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
    joined = ", ".join(parts[:-1]) + " and " + parts[-1] if len(parts) > 1 else parts[0]
    return f"moves {joined} either way"


def load_slopes(answers: Any, key: str) -> dict[str, float]:
    """Return how the car's loads follow a key, at the ride heights of the fastest speed.

    Differences of two evaluations one standard deviation apart, every other input as it is drawn
    before anything measured narrowed it. Points and per cent of balance per SI unit of the key.
    """
    ensemble = answers.job.ensemble(answers.results["draws"])
    if not answers.project.parts or key not in ensemble.columns:
        return {}
    state, speed = answers.states[0], answers.speeds[-1]
    models = answers.models(state)
    air = answers.job.air(ensemble)
    keep = answers.kept(state)
    heights = (
        [
            float(np.median(np.asarray(answers.draws(state, f"height_{axle}", speed))[keep]))
            for axle in ("front", "rear")
        ]
        if answers.has_platform
        else [0.05, 0.05]
    )
    place = PlatformState(
        ride_height_front=np.full(ensemble.size, heights[0]),
        ride_height_rear=np.full(ensemble.size, heights[1]), speed=np.full(1, speed),
        density=np.asarray(air.density).reshape(-1),
        viscosity=np.asarray(air.viscosity).reshape(-1),
    )  # fmt: skip
    found, values = [], []
    for way in (-1.0, 1.0):
        deviates = np.array(ensemble.deviates)
        deviates[:, ensemble.columns[key]] = way
        moved = replace(ensemble, deviates=deviates)
        loads = car_loads(models, place, part_draws(models, moved))
        front = np.broadcast_to(loads.downforce_front, ensemble.size)
        total = front + np.broadcast_to(loads.downforce_rear, ensemble.size)
        found.append((float(np.median(total)) / _POINT, float(np.median(100.0 * front / total))))
        values.append(float(np.median(moved.of(key))))
    step = values[1] - values[0]
    if step == 0:
        return {}
    points, balance = ((found[1][i] - found[0][i]) / step for i in (0, 1))
    return {"points": points, "balance": balance}


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
    answers: Any, hottest: np.ndarray | None, desk: Desk, feature: Any, weights: np.ndarray
) -> dict[str, float] | None:
    """Return the standard deviation of points, balance and kelvin over the rivals of a feature."""
    if answers is None:
        return None
    moved: dict[str, np.ndarray] = {}
    for key in {k for r in feature.rivals for k in r.values}:
        if key not in answers.job.quantities:
            continue
        here = answers.job.quantities[key].best
        slopes = load_slopes(answers, key)
        if hottest is not None and key.startswith("cooling."):
            slopes["kelvin"] = _slope(answers, key, hottest)
        for name, slope in slopes.items():
            row = moved.setdefault(name, np.zeros(len(weights)))
            for k, rival in enumerate(feature.rivals):
                text = rival.values.get(key)
                value = here if text is None else value_at(desk.project, key, text)
                row[k] += slope * ((here if value is None else value) - here)
    if not moved:
        return None
    return {name: float(np.sqrt(weights @ np.square(m - weights @ m)))
            for name, m in moved.items()}  # fmt: skip


def _slope(answers: Any, key: str, target: np.ndarray) -> float:
    """Return how a temperature follows a key: regression on the cooling's own inputs."""
    keep = answers.kept(answers.states[0]) & np.isfinite(target)
    values = target[keep]
    names = [key] + [
        n for n, q in answers.job.quantities.items()
        if n != key and not q.is_exact and n.startswith("cooling.")
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
            f"Cp {_signed(band.low)} to {_signed(band.high)} there: air goes {way.name} "
            f"({100 * way.weight:.0f} %) [{band.source}]"
        )
    return tree


def _signed(value: float) -> str:
    return ("+" if value >= 0 else "") + format_number(value, 2)


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
            f"{check.quantity} {format_number(check.value, 2)}, usual "
            f"{f'{check.low:g}'.replace('-', MINUS)} to {f'{check.high:g}'.replace('-', MINUS)}: "
            f"inside {100 * check.chance_inside:.0f} % [{check.source}]"
        )
    return lines
