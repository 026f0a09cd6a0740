"""Predicted against measured: sightings, the bias field over the map, what to test next."""

from typing import Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import draws_of as part_draws
from tuftwork.car.trial import TrialDay
from tuftwork.errors import NotCovered
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree
from tuftwork.study.trial.shown import (
    KMH,
    at_of,
    day_named,
    days_of,
    needs_cures,
    result_number,
    row_at,
    simple_range,
    tree_of,
    usual_version,
)
from tuftwork.trial.agreement import (
    BiasField,
    Sighting,
    learn_bias,
    next_test,
    ranked_disagreements,
)

Page = dict[str, Any]
_GRID = 17
_WELL_KNOWN = (
    0.5  # [-] share of the prior doubt a test must remove for a cell to be called measured
)


def agreement_page(answers: Answers, day: str = "") -> Page:
    """Return the agreement page of a day."""
    one = day_named(answers, day)
    tree = tree_of(answers, one)
    page: Page = {"day": one.name, "days": [d.name for d in days_of(answers)]}
    if "refused" in tree or not answers.project.parts:
        why = tree.get("refused", ["No parts yet: there is no prediction to hold against the day."])
        return page | {"rows": [], "notices": list(why)}
    sightings = {axle: sightings_of(answers, one, axle) for axle in ("front", "rear")}
    fields = {
        axle: learn_bias(s, covariance=_covariance(tree, axle)) for axle, s in sightings.items()
    }
    ranked = ranked_disagreements([*sightings["front"], *sightings["rear"]])
    verdicts = {d.sighting.name: (d.verdict, d.worth) for d in ranked}
    return page | {
        "version": usual_version(tree),
        "rows": _rows(answers, one, tree, verdicts),
        "ranked": [
            {"name": d.sighting.name, "verdict": d.verdict, "miss": round(d.sighting.miss, 4),
             "worth_points": round(d.worth / 0.01, 1)}
            for d in ranked[:6]
        ],
        "bias": {axle: _field(answers, field) for axle, field in fields.items()},
        "path": _path(answers, one, fields),
        "next": _next(answers, fields),
        "notices": _notices(tree, fields),
    }  # fmt: skip


def _covariance(tree: Tree, axle: str) -> np.ndarray:
    """Return how the measured results of an axle move together, draw by draw. [m⁴]"""
    rows = [np.asarray(r[axle]) for r in tree["results"][usual_version(tree)]]
    return np.atleast_2d(np.cov(np.stack(rows)))


def _prior(answers: Answers) -> Any:
    """Return the ensemble before any measured row narrowed it."""
    return answers.job.ensemble(answers.results["draws"])


def predicted(answers: Answers, row: Tree) -> tuple[np.ndarray, np.ndarray]:
    """Return what the untouched model says for a result, at the heights it was measured at. [m²]"""
    key = f"predicted {row['state']} {row['speed']:.3f} {float(np.median(row['front'])):.5f}"
    if key not in answers.worked_out:
        models = answers.models(row["state"] if row["state"] in answers.states else "")
        ensemble = _prior(answers)
        air = answers.job.air(ensemble)
        size = ensemble.size
        place = PlatformState(
            ride_height_front=np.full(size, float(np.median(row["height_front"]))),
            ride_height_rear=np.full(size, float(np.median(row["height_rear"]))),
            speed=np.full(1, row["speed"]),
            density=np.asarray(air.density).reshape(-1),
            viscosity=np.asarray(air.viscosity).reshape(-1),
        )
        loads = car_loads(models, place, part_draws(models, ensemble))
        answers.worked_out[key] = (
            np.broadcast_to(loads.downforce_front, size).copy(),
            np.broadcast_to(loads.downforce_rear, size).copy(),
        )
    kept: tuple[np.ndarray, np.ndarray] = answers.worked_out[key]
    return kept


def sightings_of(answers: Answers, day: TrialDay, axle: str) -> list[Sighting]:
    """Return every measured result of a day against the model before it saw any."""
    tree = tree_of(answers, day)
    found = []
    for row in tree["results"][usual_version(tree)]:
        front, rear = predicted(answers, row)
        said, doubt = simple_range(front if axle == "front" else rear)
        measured, own = simple_range(row[axle])
        found.append(
            Sighting(
                name=f"CzS{axle[0]}, {row['speed'] * KMH:.0f} km/h, {row['state']}",
                height_front=float(np.median(row["height_front"])),
                height_rear=float(np.median(row["height_rear"])),
                measured=measured, measured_doubt=own, predicted=said, predicted_doubt=doubt,
            )
        )  # fmt: skip
    return found


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


def _field(answers: Answers, field: BiasField) -> Page:
    """Return the bias over the map: best, doubt, and where it is measured rather than computed."""
    axes = answers.results.get("axes")
    if axes is None:
        raise NotCovered("The bias field needs the map: both axles and parts.")
    hf, hr = (np.asarray(axes[a]) for a in ("front", "rear"))
    hf, hr = np.linspace(hf[0], hf[-1], _GRID), np.linspace(hr[0], hr[-1], _GRID)
    best, doubt = field.at(hf[None, :], hr[:, None])
    support = field.support(hf[None, :], hr[:, None])
    return {
        "front_mm": (1e3 * hf).round(2).tolist(), "rear_mm": (1e3 * hr).round(2).tolist(),
        "best": best.round(4).tolist(), "doubt": doubt.round(4).tolist(),
        "origin": np.where(support > _WELL_KNOWN, "measured", "computed").tolist(),
        "measured_share": round(float(np.mean(support > _WELL_KNOWN)), 3),
        "size": round(field.size, 3),
    }  # fmt: skip


def _path(answers: Answers, day: TrialDay, fields: dict[str, BiasField]) -> list[Page]:
    """Return the map along the platform path with the bias put in: model, track and both."""
    if not answers.has_platform:
        return []
    base = answers.states[0]
    keep = answers.kept(base)
    rng = np.random.default_rng(7)
    shake = {a: rng.standard_normal(int(keep.sum())) for a in fields}
    found = []
    for speed in answers.speeds:
        heights = [answers.draws(base, f"height_{a}", speed)[keep] for a in ("front", "rear")]
        hf, hr = (np.full(1, float(np.median(h))) for h in heights)
        row: Page = {"speed_kmh": round(speed * KMH, 1), "front_mm": round(1e3 * float(hf[0]), 1),
                     "rear_mm": round(1e3 * float(hr[0]), 1)}  # fmt: skip
        for axle, field in fields.items():
            bias, doubt = field.at(hf, hr)
            said = _model_at(answers, base, speed, float(hf[0]), float(hr[0]))[axle]
            draws = np.full(keep.size, np.nan)
            draws[keep] = said + float(bias[0]) + float(doubt[0]) * shake[axle]
            row[axle] = answers.book.number(
                f"trial/{day.name}/learned/{axle}/{speed * KMH:.0f}", draws, "area", keep=keep,
                title=f"CzS{axle[0]} at {speed * KMH:.0f} km/h: model with the learned bias",
                links=[Link(what="Model's middle plus the bias field of the test day",
                            origin="computed", source="kennedy2001", place="section 4")],
                at=answers.at(base, speed),
            )  # fmt: skip
            row[f"{axle}_origin"] = (
                "measured" if float(field.support(hf, hr)[0]) > _WELL_KNOWN else "computed"
            )
        found.append(row)
    return found


def _model_at(
    answers: Answers, state: str, speed: float, front: float, rear: float
) -> dict[str, float]:
    row = {"state": state, "speed": speed, "height_front": np.full(1, front),
           "height_rear": np.full(1, rear), "front": np.array([front * 1e3 + rear])}  # fmt: skip
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
    found = list(tree["notices"])
    if needs_cures(tree):
        found.insert(0, "Faults of the log are not accepted yet: compared is what all proposed "
                     "cures would give.")  # fmt: skip
    sizes = ", ".join(f"{axle} {field.size:.2f} m²" for axle, field in fields.items())
    found.append(f"The model's error is taken to be of this size where nothing was measured: "
                 f"{sizes}.")  # fmt: skip
    return found


def trial_findings(answers: Answers) -> list[Finding]:
    """Return what the test days add to the findings."""
    found: list[Finding] = []
    for day in days_of(answers):
        tree = tree_of(answers, day)
        if "refused" in tree:
            found.append(_refused_finding(day, tree))
            continue
        found += _fault_finding(answers, day, tree)
    return found


def _refused_finding(day: TrialDay, tree: Tree) -> Finding:
    return Finding(
        title=f"The log of '{day.name}' could not be used", text=" ".join(tree["refused"])[:400],
        verdict="unknown", page="log", worth=0.05, test="Mend the file or say its columns' roles.",
    )  # fmt: skip


def _fault_finding(answers: Answers, day: TrialDay, tree: Tree) -> list[Finding]:
    left = [h for h in tree["remaining"] if h["is_fault"]]
    if not left:
        return []
    base = answers.states[0]
    rows = [r for r in tree["results"]["all cures"] if r["state"] == base]
    text = " ".join(f"{h['title']}." for h in left)
    numbers: tuple[Number, ...] = ()
    worth = 0.0
    if rows:
        fast = max(rows, key=lambda r: r["speed"])
        before = row_at(tree, "as read", base, fast["speed"])
        if before is not None:
            numbers = (
                result_number(answers, day, before, "rear", "as read"),
                result_number(answers, day, fast, "rear", "all cures"),
            )
            worth = abs(numbers[0]["best"] - numbers[1]["best"])
            text += (f" As read, CzSr at {fast['speed'] * KMH:.0f} km/h is {numbers[0]['text']}; "
                     f"with all cures {numbers[1]['text']}.")  # fmt: skip
    many = f"{len(left)} fault{'s' if len(left) > 1 else ''}"
    return [
        Finding(
            title=f"The log of '{day.name}' holds {many} that bend every number in it", text=text,
            verdict="needs an assumption", page="log", worth=worth, numbers=numbers,
            test="Zero the pots with the driver on board, press each corner by hand, and read the "
            "air speed at two speeds both ways: five minutes in the car park.",
            why=numbers[1]["why"] if numbers else "",
        )
    ]  # fmt: skip
