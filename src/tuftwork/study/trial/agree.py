"""Predicted against measured: sightings, the bias field over the map, what to test next."""

from typing import Any

import numpy as np

from tuftwork.car.trial import TrialDay
from tuftwork.errors import NotCovered
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree
from tuftwork.study.trial.shown import (
    KMH,
    at_of,
    day_named,
    days_of,
    needs_cures,
    result_number,
    tree_of,
    usual_version,
)
from tuftwork.study.trial.sighted import WELL_KNOWN, Learned, learned_of, predicted
from tuftwork.study.trial.strayed import strayed_notices
from tuftwork.trial.agreement import BiasField, Disagreement, next_test, ranked_disagreements

Page = dict[str, Any]
_GRID, _MOST_RANKED = 17, 8


def agreement_page(answers: Answers, day: str = "") -> Page:
    """Return the agreement page of a day, tunnel sessions with it; of tunnels alone without one."""
    alone = not days_of(answers) and bool(answers.project.tunnels)
    one = None if alone else day_named(answers, day)
    tree: Tree = {} if one is None else tree_of(answers, one)
    page: Page = {"day": one.name if one else "", "days": [d.name for d in days_of(answers)],
                  "tunnels": [t.name for t in answers.project.tunnels], "rows": [], "ranked": [],
                  "path": []}  # fmt: skip
    if "refused" in tree or not answers.project.parts:
        why = tree.get("refused", ["No parts yet: there is no prediction to hold against the day."])
        return page | {"notices": list(why)}
    learned = {axle: learned_of(answers, one, axle) for axle in ("front", "rear")}
    known = {axle: found for axle, found in learned.items() if found is not None}
    if len(known) < 2:
        return page | {"notices": ["Nothing measured could be read."]}
    ranked = ranked_disagreements([s for found in known.values() for s in found.sightings])
    verdicts = {d.sighting.name: (d.verdict, d.worth) for d in ranked}
    fields = {axle: found.field for axle, found in known.items()}
    return page | {
        "version": usual_version(tree) if one else "",
        "rows": _rows(answers, one, tree, verdicts) if one else [],
        "ranked": [_ranked(d) for d in ranked[:_MOST_RANKED]],
        "consistent": sum(d.verdict == "consistent" for d in ranked), "compared": len(ranked),
        "bias": {axle: _field(answers, found) for axle, found in known.items()},
        "path": _path(answers, one.name if one else "tunnel", known),
        "next": _next(answers, fields),
        "notices": [*(strayed_notices(answers, one) if one else []), *_notices(tree, fields)],
    }  # fmt: skip


def _ranked(one: Disagreement) -> Page:
    """Return one disagreement: where, by how much, what of it no range explains."""
    sighting = one.sighting
    return {
        "name": sighting.name, "verdict": one.verdict, "miss": round(sighting.miss, 4),
        "miss_points": round(sighting.miss / 0.01, 1), "worth_points": round(one.worth / 0.01, 1),
        "text": f"measured {sighting.measured:.3f}, predicted {sighting.predicted:.3f} m²",
    }  # fmt: skip


def _rows(
    answers: Answers, day: TrialDay, tree: Tree, verdicts: dict[str, tuple[str, float]]
) -> list[Page]:
    name = usual_version(tree)
    found = []
    for row in tree["results"][name]:
        front, rear = predicted(answers, row)
        line: Page = {"state": row["state"], "speed_kmh": round(row["speed"] * KMH, 1)}
        for axle, draws in (("front", front), ("rear", rear)):
            key = f"CzS{axle[0]}, {row['speed'] * KMH:.0f} km/h, {row['state']}"
            line[f"{axle}_measured"] = result_number(answers, day, row, axle, name)
            line[f"{axle}_predicted"] = _predicted_number(answers, day, row, axle, draws)
            line[f"{axle}_verdict"] = verdicts[key][0]
        found.append(line)
    return found


def _predicted_number(
    answers: Answers, day: TrialDay, row: Tree, axle: str, draws: np.ndarray
) -> Number:
    kmh = f"{row['speed'] * KMH:.0f}"
    return answers.book.number(
        f"trial/{day.name}/predicted/{row['state']}/{axle}/{kmh}", draws, "area",
        title=f"CzS{axle[0]} predicted at {kmh} km/h, {row['state']}, before any measurement",
        links=[Link(what="Budget of parts at the ride heights that were measured",
                    origin="computed", place="no measured row narrowed these draws")],
        at=at_of(row), decision="How far the model is believed where nothing was measured.",
    )  # fmt: skip


def _field(answers: Answers, learned: Learned) -> Page:
    """Return the bias over the map: best, doubt, and what each cell rests on."""
    field = learned.field
    axes = answers.results.get("axes")
    if axes is None:
        raise NotCovered("The bias field needs the map: both axles and parts.")
    hf, hr = (np.asarray(axes[a]) for a in ("front", "rear"))
    hf, hr = np.linspace(hf[0], hf[-1], _GRID), np.linspace(hr[0], hr[-1], _GRID)
    best, doubt = field.at(hf[None, :], hr[:, None])
    source = learned.source(hf[None, :], hr[:, None], WELL_KNOWN)
    return {
        "front_mm": (1e3 * hf).round(2).tolist(), "rear_mm": (1e3 * hr).round(2).tolist(),
        "best": best.round(4).tolist(), "doubt": doubt.round(4).tolist(),
        "origin": np.where(source == "model", "computed", "measured").tolist(),
        "source": source.tolist(),
        "measured_share": round(float(np.mean(source != "model")), 3),
        "tunnel_share": round(float(np.mean(source == "tunnel")), 3),
        "size": round(field.size, 3),
    }  # fmt: skip


def _path(answers: Answers, day: str, known: dict[str, Learned]) -> list[Page]:
    """Return the map along the platform path with the bias put in: model, tunnel and track."""
    if not answers.has_platform:
        return []
    base = answers.states[0]
    keep = answers.kept(base)
    rng = np.random.default_rng(7)
    shake = {a: rng.standard_normal(int(keep.sum())) for a in known}
    found = []
    for speed in answers.speeds:
        heights = [answers.draws(base, f"height_{a}", speed)[keep] for a in ("front", "rear")]
        hf, hr = (np.full(1, float(np.median(h))) for h in heights)
        row: Page = {"speed_kmh": round(speed * KMH, 1), "front_mm": round(1e3 * float(hf[0]), 1),
                     "rear_mm": round(1e3 * float(hr[0]), 1)}  # fmt: skip
        for axle, learned in known.items():
            bias, doubt = learned.field.at(hf, hr)
            said = _model_at(answers, base, speed, float(hf[0]), float(hr[0]))[axle]
            draws = np.full(keep.size, np.nan)
            draws[keep] = said + float(bias[0]) + float(doubt[0]) * shake[axle]
            row[axle] = answers.book.number(
                f"trial/{day}/learned/{axle}/{speed * KMH:.0f}", draws, "area", keep=keep,
                title=f"CzS{axle[0]} at {speed * KMH:.0f} km/h: model with the learned bias",
                links=[Link(what="Model's middle plus the bias field of what was measured",
                            origin="computed", source="kennedy2001", place="section 4")],
                at=answers.at(base, speed),
            )  # fmt: skip
            source = str(learned.source(hf, hr, WELL_KNOWN)[0])
            row[f"{axle}_source"] = source
            row[f"{axle}_origin"] = "computed" if source == "model" else "measured"
        found.append(row)
    return found


def _model_at(
    answers: Answers, state: str, speed: float, front: float, rear: float
) -> dict[str, float]:
    row = {"state": state, "speed": speed, "height_front": np.full(1, front),
           "height_rear": np.full(1, rear)}  # fmt: skip
    said = predicted(answers, row)
    return {axle: float(np.median(d)) for axle, d in zip(("front", "rear"), said, strict=True)}


def _next(answers: Answers, fields: dict[str, BiasField]) -> Page | None:
    """Return which state and speed would teach most, weighed by what the load does there."""
    if not answers.has_platform:
        return None
    places = [(s, v) for s in answers.states for v in answers.speeds]
    heights = [
        [float(np.median(answers.draws(s, f"height_{a}", v)[answers.kept(s)])) for s, v in places]
        for a in ("front", "rear")
    ]
    hf, hr = (np.array(h) for h in heights)
    top = max(answers.speeds)
    weight = np.array([(v / top) ** 2 for _, v in places])
    values = sum(next_test(field, hf, hr, weight)[1] for field in fields.values())
    best = int(np.argmax(values))
    state, speed = places[best]
    doubts = [float(f.at(hf[best : best + 1], hr[best : best + 1])[1][0]) for f in fields.values()]
    return {
        "state": state, "speed_kmh": round(speed * KMH, 1),
        "front_mm": round(1e3 * float(hf[best]), 1),
        "rear_mm": round(1e3 * float(hr[best]), 1),
        "text": f"'{state}' at {speed * KMH:.0f} km/h (hf {1e3 * hf[best]:.1f}, hr "
        f"{1e3 * hr[best]:.1f} mm): there the model's error is least known, ±{doubts[0]:.2f} m² "
        f"front and ±{doubts[1]:.2f} m² rear, weighed with dynamic pressure.",
    }  # fmt: skip


def _notices(tree: Tree, fields: dict[str, BiasField]) -> list[str]:
    found = list(tree.get("notices", []))
    if tree and needs_cures(tree):
        found.insert(0, "Faults of the log are not accepted yet: compared is what all proposed "
                     "cures would give.")  # fmt: skip
    sizes = ", ".join(f"{axle} {field.size:.2f} m²" for axle, field in fields.items())
    found.append(f"The model's error is taken to be of this size where nothing was measured: "
                 f"{sizes}.")  # fmt: skip
    return found
