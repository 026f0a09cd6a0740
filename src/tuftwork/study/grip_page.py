"""What circles did to the tyres, for page, command and report: before, after, what is not told."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tuftwork.lap.parameter import INDEX
from tuftwork.quantity import Summary, exact, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.job import GRIP
from tuftwork.study.lap_answer import Laps
from tuftwork.study.number import Link, Number, number_of_quantity, number_of_summary
from tuftwork.study.store import Tree

AXLES = ("front", "rear")
_TELLS = 1.0  # [-] of its range: circles alone know the loss over load better than it was known
_BADLY = 2.0  # [-] standard deviations by which a circle is missed before a notice says so
_ALIKE = 1.1  # [-] wheel loads within that ratio are one load
_METHOD = "docs/models/grip-from-circles.md"


def grip_page(laps: Laps) -> dict[str, Any] | None:
    """Return what circles say of the tyres; None where the project has none."""
    answers = laps.answers
    kept = answers.results.get(GRIP)
    if kept is None:
        return None
    if "refused" in kept:
        said = list(kept["refused"])
        return {"refused": said, "answer": "The circles tie nothing: the tyres stay as given.",
                "says": [], "inputs": [], "friction": [], "rows": [], "notices": [],
                "lap": None}  # fmt: skip
    count = len(kept["rows"])
    return {
        "refused": [],
        "answer": f"Tied to {count} circle{'s' if count > 1 else ''}: on average the car is "
        f"{100 * kept['miss']:.1f}\u202f% of lateral acceleration off, where it was "
        f"{100 * kept['miss_before']:.1f}\u202f% before.",
        "says": [*_says(kept)],
        "inputs": [input_row(answers, row) for row in kept["inputs"]],
        "friction": [friction_row(answers, axle) for axle in AXLES if axle in kept["axles"]],
        "rows": [_row(row) for row in kept["rows"]],
        "notices": grip_notices(answers),
        "lap": lap_change(laps),
    }  # fmt: skip


def lap_change(laps: Laps) -> Number:
    """Return what the tie does to a lap of the baseline, by the exact slopes of its lap time."""
    slopes = laps.draws(laps.base, "slopes")
    shifts = laps.answers.results[GRIP]["shifts"]
    seconds = sum(slopes[:, INDEX[name]] * np.asarray(v) for name, v in shifts.items())
    return laps.number(
        "tied", laps.base, np.asarray(seconds),
        title=f"Lap time, '{laps.base}': tyres tied to circles less tyres as given",
        decision="Whether the tyres as given may be trusted for lap times.",
    )  # fmt: skip


def input_row(answers: Answers, row: Tree) -> dict[str, Any]:
    """Return one tied input before and after."""
    name, quantity = row["name"], answers.job.quantities[row["name"]]
    label = answers.book.labels.get(name, name)
    after = number_of_summary(_summary(row["posterior"]), quantity.dimension, unit=quantity.unit)
    return {
        "name": name, "label": label,
        "before": number_of_quantity(quantity, why=f"input/{name}"),
        "after": _chained(answers, f"grip/{name}", after, f"{label}, after the circles"),
        "moved": round(row["moved"], 2), "left_pct": round(100 * row["left"]),
    }  # fmt: skip


def friction_row(answers: Answers, axle: str) -> dict[str, Any]:
    """Return an axle's friction at the load circles put on its outer wheel, before and after."""
    own = answers.results[GRIP]["axles"][axle]
    load = format_plain(own["load"], "force", "kN", digits=1)
    before, after = (
        number_of_summary(_summary(own[key]), "ratio") for key in ("prior", "posterior")
    )
    title = f"{axle.capitalize()} friction at {load} on the outer wheel, after the circles"
    return {
        "axle": axle, "load": load, "before": before,
        "after": _chained(answers, f"grip/{axle} friction", after, title),
        "moved": round(own["moved"], 2), "left_pct": round(100 * own["left"]),
    }  # fmt: skip


def _chained(answers: Answers, why: str, number: Number, title: str) -> Number:
    told = number | {"why": why}
    rows = answers.results[GRIP]["rows"]
    links = [
        Link(what=f"{row['id']}: {row['kind']}", origin=row["origin"],
             source=row["evidence"], place=row["place"], number=_lateral(row["measured"]))
        for row in rows
    ]  # fmt: skip
    links.append(
        Link(what="Gaussian update of the tyres by the circles", origin="computed", place=_METHOD)
    )
    answers.book.add(why, title=title, number=told, links=links, notices=grip_notices(answers),
                     decision="Whether lap times and corner speeds can be trusted.")  # fmt: skip
    return told


def _row(row: Tree) -> dict[str, Any]:
    radius = number_of_quantity(exact(row["radius"], "length", unit="m"))
    return {
        key: row[key] for key in ("id", "kind", "at", "state", "mass_state", "gave_up", "evidence")
    } | {
        "radius": radius, "measured": _lateral(row["measured"]) | {"origin": row["origin"]},
        "before": _lateral(row["before"]), "after": _lateral(row["after"]),
        "miss": round(row["miss"], 1),
    }  # fmt: skip


def _lateral(ends: Sequence[float]) -> Number:
    return number_of_summary(_summary(ends), "acceleration", unit="g")


def _summary(ends: Sequence[float]) -> Summary:
    best, low, high, *half = (float(v) for v in ends)
    low_half, high_half = half or ((best + low) / 2, (best + high) / 2)
    return Summary(best=best, low=low, high=high, low_half=low_half, high_half=high_half)


def _says(kept: Tree) -> list[str]:
    """Return what the circles tell of each axle, and what they cannot."""
    found: list[str] = []
    for axle in AXLES:
        own = kept["axles"].get(axle)
        if own is None:
            found.append(f"No circle says where the {axle} gives up: its own tyres stay as given.")
            continue
        loads = (own["lightest"], own["heaviest"])
        ends = [f"{v / 1e3:.1f}" for v in loads]
        span = " to ".join(dict.fromkeys(ends)) + "\u202fkN"
        found.append(
            f"{axle.capitalize()}: friction with {span} on the outer wheel is known to "
            f"{100 * own['left']:.0f}\u202f% of the range it had."
        )
        if own["alone"] is None:
            continue
        if own["alone"] < _TELLS:
            found.append(
                f"How {axle} grip falls with load is told by the circles themselves: to "
                f"{100 * own['alone']:.0f}\u202f% of the range it was given."
            )
        else:
            who = "this one circle" if own["count"] == 1 else "they"
            why = "their loads lie too close for their doubt"
            if own["count"] == 1:
                why = "it loads the tyre in one way"
            elif loads[1] < _ALIKE * loads[0]:
                why = "they load the outer wheel alike"
            found.append(
                f"How {axle} grip falls with load {who} cannot tell: {why}. Grip and its loss move "
                "together, and which of the two moved is a matter of the ranges they were given. "
                "The same pad with ballast, or a faster circle with downforce, could."
            )
    unsaid = [row["id"] for row in kept["rows"] if row["gave_up"] == "not said"]
    if unsaid:
        found.append(
            f"Which axle gave up is not said for {', '.join(unsaid)}: it ties the weaker one, draw "
            "by draw, and neither surely."
        )
    if any(row["kind"] == "corner" for row in kept["rows"]):
        found.append(
            "In a corner grip, the road's share of it and the driver's margin cannot be told "
            "apart: they share what the corner says by their ranges."
        )
    return found


def grip_notices(answers: Answers) -> list[str]:
    """Return what a reader must know before trusting the tied tyres."""
    kept = answers.results[GRIP]
    found = [
        f"{row['id']}: the car misses this circle by {abs(row['miss']):.1f} standard deviations."
        for row in kept["rows"]
        if abs(row["miss"]) > _BADLY
    ]
    found += [
        f"{row['id']}: measured without a range, taken as exact."
        for row in kept["rows"]
        if row["measured"][1] == row["measured"][2]
    ]
    for row in kept["inputs"]:
        if outside(row):
            label = answers.book.labels.get(row["name"], row["name"])
            found.append(f"{label}: was moved outside the range it was given.")
    return found


def signed(value: float) -> str:
    """Return a number of standard deviations with its sign."""
    return f"{value:+.1f}".replace("-", "\u2212")


def outside(row: Tree) -> bool:
    """Return whether an input's best value now lies outside the range it was given."""
    return bool(not row["prior"][1] <= row["posterior"][0] <= row["prior"][2])


def grip_chain(answers: Answers, address: str) -> None:
    """Keep the chain of a tied input or of an axle's friction."""
    kept, name = answers.results[GRIP], address.removeprefix("grip/")
    for row in kept.get("inputs", ()):
        if row["name"] == name:
            input_row(answers, row)
    for axle in kept.get("axles", {}):
        if name == f"{axle} friction":
            friction_row(answers, axle)
