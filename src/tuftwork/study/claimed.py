"""Claims as pages show them, and what they add to the findings."""

from typing import Any

import numpy as np

from tuftwork.car import GainClaim, LapGainClaim
from tuftwork.claims import Changed, ClaimFinding, ClaimsReport, Computed, Lapped, check_claims
from tuftwork.errors import NotCovered
from tuftwork.lap.value import POINT
from tuftwork.quantity import Array, Summary
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.lap_answer import Laps, circuits_of
from tuftwork.study.number import Link, Number, number_of_quantity, number_of_summary

_WORTH = {"contradicts": 0.20, "needs an assumption": 0.05}
"""Rank of a claim's finding beside gains in CzS: an impossible claim misleads money. [m²]"""


def claims_report(answers: Answers) -> ClaimsReport:
    """Return the check of all claims, worked out once."""
    if "claims" not in answers.worked_out:
        answers.worked_out["claims"] = check_claims(
            answers.project, computed=_computed(answers), changed=_changed(answers),
            lapped=_lapped(answers),
        )  # fmt: skip
    found: ClaimsReport = answers.worked_out["claims"]
    return found


def claims_tree(answers: Answers) -> dict[str, Any]:
    """Return the claims page."""
    report = claims_report(answers)
    return {
        "claims": [_claim(answers, claim) for claim in report.claims],
        "together": {
            "verdict": report.together.verdict,
            "conflicts": [list(c) for c in report.together.conflicts],
            "text": report.together.text,
        },
        "unknowns": [
            {
                "name": unknown.name,
                "label": unknown.label,
                "number": _computed_number(unknown.quantity),
                "prior": number_of_quantity(unknown.prior),
            }
            for unknown in report.unknowns
        ],
        "notices": list(report.notices),
    }


def claim_chain(answers: Answers, address: str) -> None:
    """Keep the chain of a claim."""
    claims_tree(answers)


def claim_findings(answers: Answers) -> list[Finding]:
    """Return what the claims add to the findings: one for all that contradict."""
    if not answers.project.claims:
        return []
    report = claims_report(answers)
    wrong = [c for c in report.claims if c.verdict == "contradicts"]
    if not wrong:
        return []
    names = ", ".join(c.id for c in wrong)
    worst = max(wrong, key=lambda c: c.distance or np.inf)
    return [
        Finding(
            title=f"{len(wrong)} of {len(report.claims)} claims cannot be true as said ({names})",
            text=f"{worst.id}: {worst.because}",
            verdict="contradicts",
            page="claims",
            worth=_WORTH["contradicts"],
            test=worst.ask,
            why=f"claim/{worst.id}",
        )
    ]


def _computed(answers: Answers) -> tuple[Computed, ...]:
    """Return what the engines say where nothing was measured."""
    if not answers.has_platform:
        return ()
    if answers.is_tied:
        return _drag_alone(answers)
    base, keep = answers.states[0], answers.kept(answers.states[0])
    found = []
    for speed in answers.speeds:
        rows = answers.budget(base, speed).of_kind("part")
        found.append(
            Computed(
                speed=speed,
                front=answers.draws(base, "front", speed)[keep],
                rear=answers.draws(base, "rear", speed)[keep],
                drag=answers.draws(base, "drag", speed)[keep],
                parts=tuple((row.name, row.total[keep]) for row in rows),
                state=base,
            )
        )
    return tuple(found)


def _changed(answers: Answers) -> tuple[Changed, ...]:
    """Return what claimed states change, at every studied speed, by the budget's own draws."""
    if not answers.has_platform:
        return ()
    base, found = answers.states[0], []
    gains = [c for c in answers.project.claims if isinstance(c, GainClaim) and c.state]
    for state, against in dict.fromkeys((c.state, c.against or base) for c in gains):
        if state == against:
            continue
        keep = answers.kept(state) & answers.kept(against)
        for speed in answers.speeds:
            change = {
                name: (answers.draws(state, name, speed) - answers.draws(against, name, speed))[
                    keep
                ]
                for name in ("total", "drag")
            }
            found.append(
                Changed(state=state, against=against, speed=speed, downforce=change["total"],
                        drag=change["drag"])
            )  # fmt: skip
    return tuple(found)


def _lapped(answers: Answers) -> tuple[Lapped, ...]:
    """Return what laps say, where a lap time is claimed and could be run."""
    claims = [c for c in answers.project.claims if isinstance(c, LapGainClaim)]
    found = []
    for circuit in circuits_of(answers) if claims else ():
        laps = Laps(answers=answers, circuit=circuit)
        try:
            time, base = laps.draws(laps.base), laps.base
            worth = dict(laps.unit_draws(base))["one point of CzS"] / -POINT
            there = np.isfinite(time) & np.isfinite(worth)
            gained = {}
            for state in dict.fromkeys(c.state for c in claims if c.state not in ("", base)):
                seconds = -laps.change(state)
                gained[state] = seconds[np.isfinite(seconds)]
        except NotCovered:
            continue  # no laps there: a claim is judged by what is usual
        if any(not c.state and c.downforce is None for c in claims):
            gained = _every_gain(laps, gained)
        found.append(
            Lapped(circuit=circuit, lap_time=time[there], worth=worth[there], gained=gained)
        )
    return tuple(found)


def _every_gain(laps: Laps, gained: dict[str, Array]) -> dict[str, Array]:
    """Return what every state that has laps gains: a claim that names none is held beside all."""
    found = dict(gained)
    for state in laps.answers.states[1:]:
        try:
            seconds = -laps.change(state)
        except NotCovered:
            continue
        finite = seconds[np.isfinite(seconds)]
        if state not in found and finite.size:
            found[state] = finite
    return found


def _drag_alone(answers: Answers) -> tuple[Computed, ...]:
    """Return the engines' drag where measured rows say the loads and none of them the drag."""
    base = answers.states[0]
    if any(row.drag is not None for row in answers.project.measured):
        return ()
    keep, speed = answers.kept(base), answers.speeds[-1]
    return (Computed(speed=speed, drag=answers.draws(base, "drag", speed)[keep], state=base),)


def _claim(answers: Answers, claim: ClaimFinding) -> dict[str, Any]:
    why = f"claim/{claim.id}"
    links = [Link(what=f"{claim.by or 'Someone'} said: {claim.said}", origin="claimed")]
    links += [Link(what=line, origin="computed") for line in claim.working]
    links += [
        Link(
            what=figure.label,
            origin=figure.quantity.origin,
            place=figure.quantity.place,
            number=number_of_quantity(figure.quantity),
        )
        for figure in claim.expected
    ]
    if claim.implied:
        answers.book.add(
            why,
            title=f"{claim.id}: {claim.said}",
            number=number_of_quantity(claim.implied[0].quantity, why=why),
            links=links,
            decision=claim.ask,
        )
    implied = [{"label": f.label, "number": number_of_quantity(f.quantity, why=why)}
               for f in claim.implied]  # fmt: skip
    implied += [
        {"label": f"evidence: {f.label}", "number": number_of_quantity(f.quantity)}
        for f in claim.expected
    ]
    return {
        "id": claim.id,
        "said": claim.said,
        "by": claim.by,
        "verdict": claim.verdict,
        "because": claim.because,
        "equation": claim.equation,
        "working": list(claim.working),
        "implied": implied,
        "bounds": [
            {
                "label": f"{bound.label} [{bound.source}]",
                "number": number_of_quantity(bound.quantity),
                "ok": bound.is_met,
            }
            for bound in claim.bounds
        ],
        "slips": [
            {
                "label": slip.label,
                "odds": slip.odds,
                "reading": slip.reading,
                "number": number_of_quantity(slip.figure.quantity) if slip.figure else None,
            }
            for slip in claim.slips
        ],
        "assumption": claim.assumption,
        "ask": claim.ask,
        "why": why,
    }


def _computed_number(quantity: Any) -> Number:
    half = (quantity.at(-0.6744897501960817), quantity.at(0.6744897501960817))
    summary = Summary(
        best=quantity.best, low=quantity.low, high=quantity.high,
        low_half=half[0], high_half=half[1],
    )  # fmt: skip
    return number_of_summary(summary, quantity.dimension, unit=quantity.unit)
