"""Findings of the circles: tyres that are not what they were said to be."""

from tuftwork.errors import NotCovered
from tuftwork.quantity import Z80
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.grip_page import AXLES, friction_row, input_row, lap_change, outside, signed
from tuftwork.study.job import GRIP
from tuftwork.study.lap_answer import Laps, circuits_of
from tuftwork.study.lap_finding import points_of


def grip_findings(answers: Answers) -> list[Finding]:
    """Return that circles cannot be used, or that they put tyres outside their range."""
    kept = answers.results.get(GRIP)
    if kept is None or not circuits_of(answers):
        return []
    if "refused" in kept:
        return [
            Finding(
                title="The circles driven tie nothing", text=kept["refused"][0], verdict="unknown",
                page="lap", worth=0.02,
                test="Put right what is named; the tyres stay as they were given till then.",
            )
        ]  # fmt: skip
    far = [a for a in AXLES if a in kept["axles"] and abs(kept["axles"][a]["moved"]) > Z80]
    beyond = [row for row in kept["inputs"] if outside(row)]
    if not far and not beyond:
        return []
    try:
        laps = Laps.of(answers)
        change = lap_change(laps)
        worth = points_of(laps, laps.base, change["best"])
    except NotCovered:
        return []
    rows = [friction_row(answers, axle) for axle in far]
    said = [
        f"{row['axle']} friction at {row['load']} is {row['after']['text']} where "
        f"{row['before']['text']} was given ({signed(row['moved'])} standard deviations)"
        for row in rows
    ]
    inputs = [input_row(answers, row) for row in beyond]
    said += [
        f"{row['label']} is {row['after']['text']} where {row['before']['text']} was given"
        for row in inputs
    ]
    first = rows[0]["after"] if rows else inputs[0]["after"]
    axles = " and ".join(far) or "tyres'"
    text = "; ".join(said)
    return [
        Finding(
            title=f"The circles put the {axles} grip outside the range it was given",
            text=f"{text[:1].upper()}{text[1:]}. A lap of {laps.circuit} changes by "
            f"{change['text']} with the tyres as driven.",
            verdict="contradicts", page="lap", worth=worth,
            numbers=(first | {"label": "after the circles"}, change | {"label": "lap time"}),
            test="Drive the circle again both ways round, tyres at working temperature, and read "
            "its radius from the line driven; till then lap times hold for the tyres as driven.",
            why=first["why"], value=change,
        )
    ]  # fmt: skip
