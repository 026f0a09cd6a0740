"""Pages of a test day: the log with its faults, and what its passes say."""

from typing import Any
from zlib import crc32

import numpy as np

from tuftwork.car.trial import TrialDay
from tuftwork.quantity import Z80, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree
from tuftwork.study.trial.roles import columns_of_day
from tuftwork.study.trial.session_page import has_sessions, laps_part, session_parts
from tuftwork.study.trial.shown import (
    KMH,
    VERSIONS,
    coast_number,
    day_named,
    days_of,
    needs_cures,
    result_number,
    row_at,
    tree_of,
    usual_version,
)
from tuftwork.trial.log import ROLES

Page = dict[str, Any]
MINUS = "\u2212"


def log_page(answers: Answers, day: str = "") -> Page:
    """Return the log page: columns, faults as cards, what the cures would change."""
    one = day_named(answers, day)
    tree = tree_of(answers, one)
    columns = columns_of_day(answers, one)
    page: Page = {
        "day": one.name, "days": [d.name for d in days_of(answers)], "roles": list(ROLES),
        "columns": [
            {"name": name, "unit": unit, "role": role, "is_guess": bool(guess and role)}
            for name, unit, role, guess in columns
        ],
        "guesses": sum(1 for _, _, role, guess in columns if role and guess),
        "is_said": bool(one.roles or one.units),
    }  # fmt: skip
    if "refused" in tree:
        return page | {"refused": list(tree["refused"]), "faults": [], "knowing": [],
                       "notices": list(tree["refused"])}  # fmt: skip
    faults = [_card(i, h) for i, h in enumerate(tree["faults"], 1)]
    begin, end = tree["span"]
    return page | {
        "mass_state": tree["mass_state"],
        "rows": tree["rows"],
        "span_s": [begin, end],
        "faults": [f for f in faults if f["is_fault"]],
        "knowing": [f for f in faults if not f["is_fault"]],
        "left": len([h for h in tree["remaining"] if h["cures"]]),
        "cures": list(tree["done"]),
        "before_after": _before_after(answers, one, tree),
        "passes": [
            {
                "n": i, "state": p["state"], "speed_kmh": round(p["speed"] * KMH, 2),
                "way": "out" if p["way"] > 0 else "back", "start_s": round(p["start"], 2),
                "end_s": round(p["end"], 2),
            }
            for i, p in enumerate(tree["passes"], 1)
        ],
        "traces": [c[2] for c in tree["columns"] if c[2] and c[2] != "time"],
        "how": f"Take a cure with: tuftwork log PROJECT --day '{one.name}' --take 1; take it back "
        "with --undo 1. The log itself is never changed.",
        "notices": list(tree["notices"]),
    }  # fmt: skip


def _card(number: int, h: Tree) -> Page:
    return {
        "n": number, "kind": h["kind"], "title": h["title"], "is_fault": h["is_fault"],
        "size": size_text(h), "evidence": list(h["evidence"]),
        "sure": round(h["strength"], 1), "taken": h["taken"],
        "cure": "; ".join(c["words"] for c in h["cures"]) or
        ("nothing to cure: reduction allows for it" if not h["is_fault"] else "no cure: mend it"),
        "changes": _changes_text(h), "worth_points": round(h["worth"] / 0.01, 1),
    }  # fmt: skip


def size_text(h: Tree) -> str:
    """Return a hypothesis' size with its range, digits after its half-width."""
    half = max(h["high"] - h["best"] if "best" in h else h["high"] - h["size"], 1e-12)
    digits = int(max(0, min(4, 1 - np.floor(np.log10(half)))))
    digits = 0 if abs(h["size"]) >= 100 else digits
    unit = f"\u202f{h['unit']}" if h["unit"] else ""
    text = f"{h['size']:.{digits}f}{unit} ({h['low']:.{digits}f} to {h['high']:.{digits}f})"
    return text.replace("-", MINUS)


def _changes_text(h: Tree) -> str:
    if not h["changes"]:
        return ""
    parts = [
        f"CzS{axle[0]} {pair[0] / 0.01:+.0f} points at the slowest speed, "
        f"{pair[1] / 0.01:+.0f} at the fastest"
        for axle, pair in h["changes"].items()
    ]
    return "; ".join(parts).replace("-", MINUS)


def _before_after(answers: Answers, day: TrialDay, tree: Tree) -> list[Page]:
    """Return the baseline's results before and after, speed by speed."""
    base = answers.states[0]
    last = usual_version(tree)
    found = []
    for row in tree["results"][last]:
        if row["state"] != base:
            continue
        before = row_at(tree, "as read", base, row["speed"])
        if before is None:
            continue
        found.append(
            {
                "speed_kmh": round(row["speed"] * KMH, 1),
                "front_before": result_number(answers, day, before, "front", "as read"),
                "front_after": result_number(answers, day, row, "front", last),
                "rear_before": result_number(answers, day, before, "rear", "as read"),
                "rear_after": result_number(answers, day, row, "rear", last),
                "share_before": result_number(answers, day, before, "share", "as read"),
                "share_after": result_number(answers, day, row, "share", last),
            }
        )
    return found


def results_page(answers: Answers, day: str = "", version: str = "") -> Page:
    """Return the results page: CzSf and CzSr per state and speed, differences, budget, coast."""
    parts = session_parts(answers)
    if not days_of(answers) and has_sessions(answers.project):
        return {"day": "", "days": [], "rows": [], "notices": []} | parts
    one = day_named(answers, day)
    tree = tree_of(answers, one)
    page: Page = {"day": one.name, "days": [d.name for d in days_of(answers)]} | parts
    page["laps"] = laps_part(answers, one.name)
    if "refused" in tree:
        return page | {"refused": list(tree["refused"]), "rows": [],
                       "notices": list(tree["refused"])}  # fmt: skip
    name = version if version in VERSIONS else usual_version(tree)
    notices = list(tree["notices"])
    if name == "all cures" and needs_cures(tree):
        notices.insert(0, "Faults are left that nobody accepted: these numbers show what all "
                       "proposed cures would give. See the Log page.")  # fmt: skip
    elif not answers.project.measured:
        notices.append("Budget, map, lap and claims do not stand on these results yet: keep them "
                       "with 'tuftwork reduce --keep', then run the study.")  # fmt: skip
    rows = [
        {
            "state": row["state"], "speed_kmh": round(row["speed"] * KMH, 1),
            "passes": len(row["passes"]), "both_ways": row["both_ways"],
            **{f: result_number(answers, one, row, f, name)
               for f in ("height_front", "height_rear", "front", "rear", "total", "share")},
        }
        for row in tree["results"][name]
    ]  # fmt: skip
    return page | {
        "version": name, "versions": list(VERSIONS), "mass_state": tree["mass_state"],
        "rows": rows, "differences": _differences(answers, one, tree, name),
        "paired": [_paired(answers, one, p, name) for p in tree["paired"][name]],
        "budgets": [_budget(b) for b in tree["budgets"]],
        "coast": _coast(answers, one, tree),
        "scatter": [f"{s:.0f} N" for s in tree["scatter"]], "notices": notices,
    }  # fmt: skip


def _differences(answers: Answers, day: TrialDay, tree: Tree, version: str) -> list[Page]:
    """Return every other state less the baseline at each speed, drift taken out."""
    base = answers.states[0]
    found = []
    for row in tree["results"][version]:
        if row["state"] == base:
            continue
        other = row_at(tree, version, base, row["speed"])
        if other is None:
            continue
        found.append(
            {
                "state": row["state"], "against": base, "speed_kmh": round(row["speed"] * KMH, 1),
                **{f: difference_number(answers, day, (row, other), f, version)
                   for f in ("front", "rear", "total")},
                "verdict": _verdict(answers, day, (row, other), version),
            }
        )  # fmt: skip
    return found


def difference_number(
    answers: Answers, day: TrialDay, rows: tuple[Tree, Tree], field: str, version: str
) -> Number:
    """Return a state less the baseline, draw by draw: springs and air are the same in both."""
    from tuftwork.study.trial.shown import at_of, draws_of

    row, other = rows
    kmh = f"{row['speed'] * KMH:.0f}"
    words = {"front": "CzSf", "rear": "CzSr", "total": "CzS"}[field]
    return answers.book.number(
        f"trial/{day.name}/{version}/{row['state']} less {other['state']}/{field}/{kmh}",
        draws_of(row, field) - draws_of(other, field), "area", origin="measured",
        title=f"{words}: '{row['state']}' less '{other['state']}' at {kmh} km/h, measured",
        links=[Link(what="A-B-A: baseline before and after, so that an even drift cancels",
                    origin="measured", source=", ".join(day.logs))],
        at=at_of(row), decision="Whether the change is kept.",
    )  # fmt: skip


def _paired(answers: Answers, day: TrialDay, tree: Tree, version: str) -> Page:
    """Return a state less the baseline from every pass, with the day's drift."""
    drift, doubt = tree["drift"]
    return {
        "state": tree["state"], "against": tree["against"], "method": tree["method"],
        "passes": tree["passes"], "scatter": f"{tree['scatter']:.0f}\u202fN",
        "drift": f"{drift:+.0f} ± {Z80 * doubt:.0f}\u202fN an hour".replace("-", MINUS),
        "rows": [
            {"speed_kmh": round(speed * KMH, 1), "gain": number, "verdict": _gain_word(number)}
            for speed, size, own in tree["rows"]
            for number in [_paired_number(answers, day, tree, (speed, size, own), version)]
        ],
    }  # fmt: skip


def _paired_number(
    answers: Answers, day: TrialDay, tree: Tree, row: tuple[float, float, float], version: str
) -> Number:
    speed, size, doubt = row
    kmh = f"{speed * KMH:.0f}"
    noise = np.random.default_rng(crc32(f"{day.name} {tree['state']} {kmh}".encode()))
    draws = size + doubt * noise.standard_t(max(tree["dof"], 1), answers.ensemble.size)
    return answers.book.number(
        f"trial/{day.name}/{version}/{tree['state']} by passes/{kmh}", draws, "area",
        origin="measured",
        title=f"CzS: '{tree['state']}' less '{tree['against']}' at {kmh} km/h, from every pass",
        links=[Link(what=f"{tree['passes']} passes at all speeds: {tree['method']}",
                    origin="measured", source=", ".join(day.logs)),
               Link(what="Springs and pots at their best values: they scale a difference little",
                    origin="computed")],
        decision="Whether the change is kept.", among=(),
    )  # fmt: skip


def _gain_word(number: Number) -> str:
    if number["low"] < 0 < number["high"]:
        return "below noise"
    return "gains" if number["best"] > 0 else "loses"


def _verdict(answers: Answers, day: TrialDay, rows: tuple[Tree, Tree], version: str) -> str:
    return _gain_word(difference_number(answers, day, rows, "total", version))


def _budget(budget: Tree) -> Page:
    front = np.sqrt(sum(x[1] ** 2 for x in budget["lines"])) or 1.0
    rear = np.sqrt(sum(x[2] ** 2 for x in budget["lines"])) or 1.0
    return {
        "state": budget["state"], "speed_kmh": round(budget["speed"] * KMH, 1),
        "lines": [
            {
                "name": name, "front": format_plain(f, "area", digits=4),
                "rear": format_plain(r, "area", digits=4),
                "front_share": round(float(f**2 / front**2), 3),
                "rear_share": round(float(r**2 / rear**2), 3),
            }
            for name, f, r in budget["lines"]
        ],
        "combined_front": format_plain(float(front), "area", digits=4),
        "combined_rear": format_plain(float(rear), "area", digits=4),
    }  # fmt: skip


def _coast(answers: Answers, day: TrialDay, tree: Tree) -> Page | None:
    coast = tree.get("coast")
    if not coast:
        return None
    number = coast_number(answers, day)
    rolling = np.median(np.asarray(coast["rolling"]))
    split = coast["split"]
    return {
        "drag": number, "runs": coast["runs"],
        "rolling": format_plain(float(rolling), "force", digits=0),
        "wind": f"{coast['wind']:+.1f}\u202fm/s along the way out".replace("-", MINUS),
        "grade": f"{100 * coast['grade']:+.2f}\u202f%".replace("-", MINUS),
        "split": "" if split is None else f"{split:+.0f}\u202fN out less back".replace("-", MINUS),
        "from": f"{coast['from'] * KMH:.0f} to {coast['to'] * KMH:.0f} km/h",
        "standards": [f"{name}: {'; '.join(short) if short else 'as asked'}"
                      for name, short in coast["standards"]],
    }  # fmt: skip


def trial_chain(answers: Answers, address: str) -> None:
    """Keep the chains of every measured number of a day."""
    from tuftwork.study.trial.agree import agreement_page

    name = address.split("/")[1]
    if name not in {d.name for d in days_of(answers)}:
        agreement_page(answers)
        return
    results_page(answers, name)
    for version in VERSIONS:
        if f"/{version}/" in address:
            results_page(answers, name, version)
    log_page(answers, name)
    agreement_page(answers, name)
