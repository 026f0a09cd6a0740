"""The first page: the answer in a sentence, findings by worth, how well each job stands."""

from typing import Any

from tuftwork import __version__
from tuftwork.car import Project
from tuftwork.files import OpenProject
from tuftwork.quantity import format_plain, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.claimed import claim_findings
from tuftwork.study.finding import Finding, findings_of
from tuftwork.study.number import number_of_quantity

Page = dict[str, Any]
_KMH = 3.6


def overview_page(opened: OpenProject, answers: Answers | None, *, stale: bool) -> Page:
    """Return the overview; without results it says what to do first."""
    project = opened.project
    findings = ranked(answers) if answers is not None else []
    return {
        "project": {
            "title": project.about.title,
            "client": project.about.client,
            "author": project.about.author,
            "question": project.about.question,
            "car": project.car.name,
            "class": project.car.category,
            "day": str(project.about.day or ""),
            "confidential": project.about.confidential,
        },
        "answer": answer_of(answers, findings) if answers is not None else "",
        "findings": [_finding(i, f) for i, f in enumerate(findings, 1)],
        "state": _state(project),
        "rail": _rail(project, answers),
        "stale": stale,
        "partial": [] if answers is not None else ["Nothing has been computed yet: run the study."],
        "digest": opened.digest.removeprefix("sha256:")[:12],
        "version": __version__,
        "notices": [str(notice) for notice in opened.notices],
    }


def ranked(answers: Answers) -> list[Finding]:
    """Return all findings of a study, the most valuable first; worked out once."""
    key = "findings"
    if key not in answers.worked_out:
        found = [*findings_of(answers), *claim_findings(answers)]
        answers.worked_out[key] = sorted(found, key=lambda f: -f.worth)
    kept: list[Finding] = answers.worked_out[key]
    return kept


def answer_of(answers: Answers, findings: list[Finding]) -> str:
    """Return the study in a sentence or two: what it makes, and what to do first."""
    base = answers.states[0]
    speed = answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
    if not answers.project.parts:
        return "No parts are entered yet, so nothing can be said of the car as a whole."
    if answers.has_platform:
        total = answers.ride_number(base, "total", speed)
        share = answers.ride_number(base, "share", speed)
        made = f"At {speed * _KMH:.0f} km/h ({answers.at(base, speed)}) the car makes CzS "
        made += f"{total['text']} with {share['text']} of it in front."
    else:
        row = summarise(answers.budget(base, speed).total.total)
        made = f"The parts add up to CzS {format_plain(row.best, 'area')}."
    best = _first_move(answers, findings)
    return f"{made} {best}".strip()


def _first_move(answers: Answers, findings: list[Finding]) -> str:
    """Return which state gains most, where one clearly does."""
    gains = [f for f in findings if f.page == "states" and f.value and f.value["best"] > 0]
    if not gains:
        return ""
    best = max(gains, key=lambda f: f.value["best"] if f.value else 0.0)
    clear = best.value is not None and best.value["low"] > 0
    if not clear or best.value is None:
        return "None of the states tried gains more than the noise."
    state = best.value["why"].split("/")[1]
    return f"Of the states tried, '{state}' gains most: {best.value['text']} of CzS."


def _finding(rank: int, finding: Finding) -> Page:
    return {
        "rank": rank,
        "title": finding.title,
        "text": finding.text,
        "numbers": list(finding.numbers),
        "verdict": finding.verdict,
        "value": finding.value,
        "test": finding.test,
        "page": finding.page,
        "why": finding.why,
    }


def _state(project: Project) -> Page:
    mass = project.mass_state()
    found: Page = {"mass state": mass.name}
    for label, key in (
        ("mass", "mass"),
        ("front weight", "front_weight"),
        ("hf at rest", "ride_height_front"),
        ("hr at rest", "ride_height_rear"),
    ):
        why = f"input/mass_states.{mass.name}.{key}"
        found[label] = number_of_quantity(getattr(mass, key), why=why)
    found["air temperature"] = number_of_quantity(
        project.weather.temperature, why="input/weather.temperature"
    )
    return found


def _rail(project: Project, answers: Answers | None) -> list[Page]:
    """Return the jobs in the order of the work, each with how well evidence supports it."""
    tied = answers is not None and answers.is_tied
    model = "measured" if tied else "computed" if project.parts else "none"
    has_states = len(project.states) > 1
    evidence = "measured" if project.evidence else "none"
    return [
        {"page": "overview", "title": "Overview", "support": model, "note": ""},
        {"page": "evidence", "title": "Evidence", "support": evidence,
         "note": _count(len(project.evidence), "item")},
        {"page": "claims", "title": "Claims", "support": "claimed" if project.claims else "none",
         "note": _count(len(project.claims), "claim")},
        {"page": "budget", "title": "Budget", "support": model,
         "note": _count(len(project.parts), "part")},
        {"page": "map", "title": "Map", "support": model if project.car.front else "none",
         "note": ""},
        {"page": "states", "title": "States", "support": "computed" if has_states else "none",
         "note": _count(len(project.states), "state")},
        {"page": "runs", "title": "Runs", "support": "computed" if answers else "none", "note": ""},
    ]  # fmt: skip


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}" if number else ""
