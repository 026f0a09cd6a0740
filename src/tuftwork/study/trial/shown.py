"""Results of test days as numbers with their chains, shared by pages, report, findings."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car.trial import TrialDay
from tuftwork.errors import NotCovered, UnknownName
from tuftwork.quantity import Z80
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree

KMH = 3.6
VERSIONS = ("as read", "accepted", "all cures")
FIELDS: Mapping[str, tuple[str, str, str]] = {
    "front": ("area", "m²", "CzSf"),
    "rear": ("area", "m²", "CzSr"),
    "total": ("area", "m²", "CzS"),
    "share": ("share", "%", "front share"),
    "height_front": ("height", "mm", "hf"),
    "height_rear": ("height", "mm", "hr"),
}


def days_of(answers: Answers) -> tuple[TrialDay, ...]:
    """Return the project's test days."""
    return answers.project.days


def day_named(answers: Answers, name: str = "") -> TrialDay:
    """Return a day, the last where no name is given.

    Raises
    ------
    NotCovered
        If the project has no test days.
    """
    days = days_of(answers)
    if not days:
        raise NotCovered("No test day yet. Add a [[days]] table with the log's evidence id.")
    if not name:
        return days[-1]
    found = {day.name: day for day in days}
    if name not in found:
        raise UnknownName("day", name, found)
    return found[name]


def tree_of(answers: Answers, day: TrialDay) -> Tree:
    """Return what a day's step found."""
    return answers.results.get(f"day {day.name}", {"refused": ["This day has not been run yet."]})


def needs_cures(tree: Tree) -> bool:
    """Return whether faults with cures are left that nobody accepted."""
    return any(h["cures"] for h in tree["remaining"])


def usual_version(tree: Tree) -> str:
    """Return which version of a day's results is spoken of first."""
    return "all cures" if needs_cures(tree) else "accepted"


def draws_of(row: Tree, field: str) -> np.ndarray:
    """Return one field of a result, draw by draw."""
    front, rear = np.asarray(row["front"]), np.asarray(row["rear"])
    if field == "total":
        return np.asarray(front + rear)
    if field == "share":
        return np.asarray(front / (front + rear))
    return np.asarray(row[field])


def row_at(tree: Tree, version: str, state: str, speed: float) -> Tree | None:
    """Return a state's result within 2 % of a speed, None where there is none."""
    rows = [r for r in tree["results"][version] if r["state"] == state
            and abs(r["speed"] / speed - 1) < 0.02]  # fmt: skip
    return min(rows, key=lambda r: abs(r["speed"] - speed)) if rows else None


def at_of(row: Tree) -> str:
    """Return where a result holds, in words."""
    hf, hr = (1e3 * float(np.median(row[f"height_{axle}"])) for axle in ("front", "rear"))
    return f"hf {hf:.1f} mm, hr {hr:.1f} mm, {row['speed'] * KMH:.0f} km/h, {row['state']}"


def result_number(
    answers: Answers, day: TrialDay, row: Tree, field: str, version: str = ""
) -> Number:
    """Return one measured number of a day with its chain."""
    tree = tree_of(answers, day)
    name = version or usual_version(tree)
    dimension, unit, words = FIELDS[field]
    kmh = f"{row['speed'] * KMH:.0f}"
    number = answers.book.number(
        f"trial/{day.name}/{name}/{row['state']}/{field}/{kmh}",
        draws_of(row, field), dimension, unit=unit, origin="measured",
        title=f"{words} measured at {kmh} km/h, {row['state']}, {day.name}, {_words(name)}",
        links=_links(day, tree, row, name), at=at_of(row),
        decision="Whether the model is believed here, and what is changed first.",
        notices=_row_notices(row), among=_among(answers),
    )  # fmt: skip
    return answers.in_kilograms(number, row["speed"])


def _words(version: str) -> str:
    return {"as read": "log as read", "accepted": "accepted cures",
            "all cures": "all cures taken"}[version]  # fmt: skip


def _links(day: TrialDay, tree: Tree, row: Tree, version: str) -> list[Link]:
    passes = [tree["passes"][i] for i in row["passes"] if i < len(tree["passes"])]
    lines = [p["lines"] for p in passes]
    span = f"samples {lines[0][0]} to {lines[-1][1]}" if lines else ""
    ways = "both ways" if row["both_ways"] else "one way more than the other"
    found = [
        Link(what=f"{len(row['passes'])} passes, {ways}", origin="measured",
             source=", ".join(day.logs), place=span),
        Link(what="Axle load from springs and pots over dynamic pressure", origin="computed",
             source="sae1594", place="loads at the contact patches"),
    ]  # fmt: skip
    done = list(tree["done"]) if version != "as read" else []
    if version == "all cures":
        done += [c["words"] for h in tree["remaining"] for c in h["cures"]]
    found += [Link(what=f"Cure: {words}", origin="computed", place="the log itself is unchanged")
              for words in done]  # fmt: skip
    return found


def _row_notices(row: Tree) -> list[str]:
    if row["both_ways"]:
        return []
    return ["Not driven both ways alike: slope is inside this number."]


def _among(answers: Answers) -> frozenset[str]:
    names = [n for n in answers.ensemble.uncertain if n.startswith(("car.front", "car.rear",
             "weather.", "mass_states."))]  # fmt: skip
    return frozenset(names)


def coast_number(answers: Answers, day: TrialDay) -> Number | None:
    """Return CxS of a day's coast-downs with its chain, None where there were none."""
    tree = tree_of(answers, day)
    coast = tree.get("coast")
    if not coast:
        return None
    return answers.book.number(
        f"trial/{day.name}/coast", np.asarray(coast["drag"]), "area", origin="measured",
        title=f"CxS from coast-downs, {day.name}",
        links=[
            Link(what=f"Fit of v(t) to {coast['runs']} coast-downs, "
                 f"{coast['from'] * KMH:.0f} to {coast['to'] * KMH:.0f} km/h", origin="measured",
                 source=", ".join(day.coast_downs)),
            Link(what=f"{coast['tyres']:.3f} m² taken off: tyres roll under downforce too",
                 origin="computed", place="rolling resistance times measured CzS"),
            Link(what=f"Wind {coast['wind']:+.1f} m/s and grade {100 * coast['grade']:+.2f} % "
                 "found with it", origin="computed", source="yasin1978"),
        ],
        at=f"mean of {coast['from'] * KMH:.0f} to {coast['to'] * KMH:.0f} km/h",
        notices=coast["notices"], among=_among(answers),
    )  # fmt: skip


def simple_range(draws: Any) -> tuple[float, float]:
    """Return the median and the standard uncertainty that the 80 % range stands for."""
    low, best, high = np.quantile(np.asarray(draws), (0.1, 0.5, 0.9))
    return float(best), float((high - low) / (2 * Z80))
