"""What the cooling says that is worth acting on: the restriction, named, with its cure."""

from typing import Any

from tuftwork.study.answers import Answers
from tuftwork.study.cooling_page import cooling_page, cure_text
from tuftwork.study.cooling_tell import Teller, certain
from tuftwork.study.finding import Finding
from tuftwork.study.number import Number

_BOIL = 0.25  # [m²] of CzS a car that overheats is set against: it must slow down or stop


def cooling_findings(answers: Answers) -> list[Finding]:
    """Return the circuits that cross their limit too often, with what restricts them."""
    if answers.project.cooling is None:
        return []
    page = cooling_page(answers)
    tell = Teller(answers)
    net = answers.results["cooling"]
    return [
        _finding(tell, circuit, net, page)
        for circuit in page["circuits"]
        if circuit["verdict"] in ("over its limit", "doubtful")
    ]


def _finding(tell: Teller, circuit: Any, net: Any, page: Any) -> Finding:
    name = circuit["name"]
    found = net["restrictions"][name]
    over = circuit["over"]
    word = {"inlet": "inlet", "exit": "exit", "cooler": "core"}[found["kind"]]
    return Finding(
        title=f"{name.capitalize()} runs too hot, and the {word} is why: {found['part']}",
        text=f"At {tell.at} it reaches {circuit['hottest']['text']} and crosses "
        f"{circuit['limit']['text']} with a chance of {over['text']}. "
        f"{cure_text(tell, name, net)} {_next_best(found)}",
        verdict="needs an assumption",
        page="cooling",
        worth=_BOIL * over["best"] / 100.0,
        numbers=(
            circuit["hottest"] | {"label": f"{name}, hottest"},
            over | {"label": "chance of crossing its limit"},
            *_areas(found, page),
        ),
        test="Five laps with the exit opened by half: log the temperature and the air's, and tape "
        "the paint or strip sensors in the core's outlet air.",
        why=circuit["hottest"]["why"],
    )  # fmt: skip


def _next_best(found: Any) -> str:
    """Return what a quarter more of the two most telling parts would gain, in words."""
    best = sorted(found["gain"].items(), key=lambda pair: -pair[1])[:2]
    said = [f"{part} {kelvin:.0f}\u202fK" for part, kelvin in best if kelvin > 0.5]
    return f"A quarter more would gain: {', '.join(said)}." if said else ""


def _areas(found: Any, page: Any) -> list[Number]:
    """Return the areas the restricting opening has and needs, place by place."""
    sized = found["sized"]
    if sized is None:
        return []
    now = certain(sized["now"], "area")
    rows = [row for row in page["exits"] if row["exit"] == found["part"] and row["needed"]]
    needs = [row["needed"] | {"label": f"needed at the {row['place']}"} for row in rows]
    if not needs and sized["needed"] is not None:
        needs = [certain(sized["needed"], "area") | {"label": "needed there"}]
    return [now | {"label": "net area now"}, *needs]
