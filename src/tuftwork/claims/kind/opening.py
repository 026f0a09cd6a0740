"""The area of an opening: net of bars and mesh, or the outline."""

from dataclasses import replace

from tuftwork.car import OpeningClaim
from tuftwork.claims.belief import Equation, Statement
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.evidence import of_unknown
from tuftwork.claims.finding import Figure
from tuftwork.claims.frame import Frame, ranged, relative_sd
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity, format_quantity


def opening_case(claim: OpeningClaim, frame: Frame) -> Case:
    """Return a claimed opening as equations; the claim is taken to mean the net area."""
    area = ranged(claim.area, "area")
    line = bound("opening")
    net = f"net@{claim.opening}"
    check = held_against("area of any opening", area, line.least, line.most, line.source)
    return Case(
        statement=_statement(claim, area, net, 1.0),
        expectations=(
            Expectation(
                label=f"net area of the {claim.opening}",
                predict=of_unknown(net),
                uses=(net,),
                dimension="area",
                unit="m²",
            ),
        ),
        equation="A = net area: outline less bars, louvres and mesh",
        working=(f"A = {plain(area.best, 'area', area.unit)}", *_known(claim, frame)),
        implied=(Figure(label="net area", quantity=area),),
        bounds=(check,),
        readings=tuple(_readings(claim, area)),
        question="is it the outline or the net area, of one side or both, and how was it measured",
    )


def _known(claim: OpeningClaim, frame: Frame) -> list[str]:
    lines = []
    for opening in frame.project.openings:
        if opening.name == claim.opening:
            lines.append(f"evidence: net {format_quantity(opening.area)}")
            if opening.gross_area is not None:
                ratio = claim.area.best / opening.gross_area.best
                lines.append(f"evidence: outline {format_quantity(opening.gross_area)}; "
                             f"claimed over outline {ratio:.2f}")  # fmt: skip
            lines.append(f"claimed over net {claim.area.best / opening.area.best:.2f}")
    return lines


def _statement(claim: OpeningClaim, area: Quantity, name: str, factor: float) -> Statement:
    equation = Equation(
        predict=lambda at: factor * at(name), uses=(name,), observed=area.best, sd=relative_sd(area)
    )
    return Statement(id=claim.id, equations=(equation,), is_claim=True)


def _readings(claim: OpeningClaim, area: Quantity) -> list[Reading]:
    rows = (
        ("gross area", "the outline was counted, bars and louvres included", "gross", 1.0),
        ("both sides", "both sides were counted together", "net", 2.0),
        ("one side", "one side of two was counted", "net", 0.5),
    )
    return [
        Reading(
            name=name,
            label=label,
            text=f"{plain(area.best, 'area', area.unit)}, {label}",
            statements=(_statement(claim, area, f"{what}@{claim.opening}", factor),),
            figure=Figure(label=f"{what} area", quantity=_divided(area, factor)),
        )
        for name, label, what, factor in rows
    ]


def _divided(area: Quantity, factor: float) -> Quantity:
    return replace(
        area, best=area.best / factor, low=area.low / factor, high=area.high / factor,
        origin="claimed",
    )  # fmt: skip
