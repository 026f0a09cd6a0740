"""Findings from pictures: cooled parts with loose ends, outlines taken for open areas."""

from typing import Any

from tuftwork.quantity import format_quantity
from tuftwork.reading.stock import loose_sinks
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding

_LOOSE = 0.02
"""Rank of a cooled part without source or exit, beside gains in CzS. [m²]"""


def picture_findings(answers: Answers) -> list[Finding]:
    """Return what the stock of features says that is worth acting on."""
    room = answers.project.reading
    if room is None:
        return []
    rows = [(f.id, f.name, f.role, f.place, tuple(f.feeds)) for f in room.features]
    loose = loose_sinks(rows)
    if not loose:
        return []
    first = loose[0]
    likely = first.candidates[0][0] if first.candidates else ""
    ends = "; ".join(f"{one.name}: no {one.lacks}" for one in loose)
    return [
        Finding(
            title=f"{first.name}: no {first.lacks} is known"
            if len(loose) == 1
            else f"{len(loose)} cooled parts' sources and exits are not known",
            text=f"Every cooled part needs a source and an exit. {ends}."
            + (f" By pressure the likeliest {first.lacks} is {likely}." if likely else ""),
            verdict="unknown",
            page="pictures",
            worth=_LOOSE,
            test=f"Look for the duct between {likely} and it with a lamp." if likely else "",
        )
    ]


def gross_taken_for_net(answers: Answers) -> list[Finding]:
    """Return openings whose claimed area is their outline, bars and all."""
    found: list[Finding] = []
    openings = {o.name: o for o in answers.project.openings}
    for claim in answers.project.claims:
        opening: Any = openings.get(getattr(claim, "opening", ""))
        if claim.kind != "opening area" or opening is None or opening.gross_area is None:
            continue
        is_gross = opening.gross_area.low <= claim.area.best <= opening.gross_area.high
        if is_gross and claim.area.best > opening.area.high:
            found.append(
                Finding(
                    title=f"{claim.id} counts the bars of the {opening.name} as open",
                    text=f"{format_quantity(claim.area)} is its outline; open are "
                    f"{format_quantity(opening.area)}.",
                    verdict="contradicts",
                    page="pictures",
                    worth=0.03,
                    test="Mark the louvres on the photo, or measure one slot and count.",
                    why=f"claim/{claim.id}",
                )
            )
    return found
