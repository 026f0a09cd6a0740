"""Findings of the lap: which state to run first, in seconds, and whether a driver can feel it."""

import numpy as np

from tuftwork.lap.value import POINT
from tuftwork.quantity import Array
from tuftwork.study.answers import Answers
from tuftwork.study.choice import is_choice, proposed
from tuftwork.study.finding import Finding
from tuftwork.study.lap import step_name
from tuftwork.study.lap_answer import Laps, circuits_of
from tuftwork.study.lap_page import change_row, cliff_page

_SURE = 0.8  # [-] share of draws that must agree before a finding says so
_MOST = 1.0  # [m²] no finding of a lap ranks above a hundred points
VERDICTS = {
    "quicker": "consistent", "slower": "consistent", "below noise": "below noise",
    "sign unknown": "unknown",
}  # fmt: skip
"""Verdict of a lap → verdict of a finding."""


def lap_findings(answers: Answers) -> list[Finding]:
    """Return the findings of the first circuit's laps."""
    names = circuits_of(answers)
    if not names:
        return []
    refused = [
        (state, found["refused"])
        for state in answers.states
        if "refused" in (found := answers.results[step_name(names[0], state)])
    ]
    if refused:
        return [_refused(names[0], *refused[0])]
    laps = Laps(answers=answers, circuit=names[0])
    project = answers.project
    changes = {s: laps.change(s) for s in answers.states[1:] if is_choice(project, s)}
    if not changes:
        return []
    best = min(changes, key=lambda s: float(np.nanmedian(changes[s])))
    found = _best(laps, best) if np.nanmedian(changes[best]) < 0.0 else []
    for state in changes:
        if state != best and state in proposed(project) and _is_part_change(answers, state):
            found += _wrong_first(laps, state, best, changes)
    return found


def _refused(circuit: str, state: str, reason: str) -> Finding:
    return Finding(
        title=f"The lap of {circuit} could not be run",
        text=f"In '{state}': {reason}", verdict="unknown", page="lap", worth=0.03,
        test="Put right what is named; everything else in this study stands.",
    )  # fmt: skip


def points_of(laps: Laps, state: str, seconds: float) -> float:
    """Return what seconds are worth in CzS at this circuit. [m²]"""
    per_point = abs(float(np.nanmedian(dict(laps.unit_draws(state))["one point of CzS"])))
    return min(_MOST, POINT * abs(seconds) / max(per_point, 1e-6))


def _best(laps: Laps, state: str) -> list[Finding]:
    """Return the state that is worth most, in seconds."""
    row = change_row(laps, state)
    change = row["change"]
    cliff = cliff_page(laps, laps.base)
    noise = laps.driver.noise
    felt = (
        f"more than the {noise:.2f}\u202fs this driver's laps scatter by"
        if row["verdict"] == "quicker"
        else f"not told from the {noise:.2f}\u202fs this driver's laps scatter by"
    )
    title = f"'{state}' is worth {_seconds(-change['best'])} a lap of {laps.circuit}"
    return [
        Finding(
            title=title,
            text=f"Against '{laps.base}' the lap changes by {change['text']}, {felt}. "
            f"{cliff['text']}",
            verdict=VERDICTS[row["verdict"]], page="lap",
            worth=points_of(laps, state, change["best"]),
            numbers=(change | {"label": "lap time"},),
            test=f"A-B-A with {laps.driver.laps} clean laps each: '{laps.base}', '{state}', "
            f"'{laps.base}'.",
            why=change["why"], value=change,
        )
    ]  # fmt: skip


def _is_part_change(answers: Answers, state: str) -> bool:
    """Return whether a state turns parts and leaves the ride heights at rest alone."""
    own = answers.project.state(state)
    return bool(own.values) and own.ride_height_front is None and own.ride_height_rear is None


def _wrong_first(laps: Laps, state: str, best: str, changes: dict[str, Array]) -> list[Finding]:
    """Return a change of a part alone that another state clearly beats on this lap."""
    gap = changes[best] - changes[state]
    gap = gap[np.isfinite(gap)]
    if float(np.mean(gap < 0.0)) < _SURE:
        return []
    row, rest = change_row(laps, state), change_row(laps, best, state)
    change, lost = row["change"], rest["change"]
    small = row["verdict"] in ("below noise", "sign unknown")
    order = (
        f"'{best}' first, then whatever is left to gain"
        if _is_part_change(laps.answers, best)
        else "the platform first, then the part"
    )
    return [
        Finding(
            title=f"'{state}' first is the wrong move on this lap"
            + (": it cannot be told from nothing" if small else ""),
            text=f"A lap of {laps.circuit} changes by {change['text']} with '{state}' and by "
            f"{lost['text']} more with '{best}' instead, the same draws for both: {order}.",
            verdict=VERDICTS[row["verdict"]], page="lap",
            worth=points_of(laps, best, lost["best"]),
            numbers=(change | {"label": f"'{state}'"}, lost | {"label": f"'{best}' instead"}),
            test=f"Run '{best}' before '{state}'.",
            why=change["why"], value=change,
        )
    ]  # fmt: skip


def _seconds(value: float) -> str:
    return f"{value:.2f}\u202fs"
