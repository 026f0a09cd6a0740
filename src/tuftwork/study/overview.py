"""The first page: the answer in a sentence, findings by worth, how well each job stands."""

from typing import Any, Protocol, runtime_checkable

from tuftwork import __version__
from tuftwork.car import Project
from tuftwork.errors import UnknownName
from tuftwork.files import OpenProject
from tuftwork.quantity import format_plain, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.number import number_of_quantity
from tuftwork.study.registry import FINDINGS, PAGES, PageEntry, found, gathered

Page = dict[str, Any]
_KMH = 3.6


@runtime_checkable
class _Open(Protocol):
    """What the overview asks of an open project."""

    opened: OpenProject

    def answers_or_none(self) -> Answers | None: ...

    def is_stale(self) -> bool: ...


def overview_page(bench: _Open, *, only: str = "") -> Page:
    """Return the overview; without results it says what to do first.

    ``only="rail"`` asks for what the project's file alone tells, which needs no results: the jobs
    and the title block, at once.
    """
    if only == "rail":
        return _first(bench.opened)
    if only:
        raise UnknownName("part", only, ["rail"])
    answers = bench.answers_or_none()
    opened, stale = bench.opened, bench.is_stale()
    project = opened.project
    findings = ranked(answers) if answers is not None else []
    return _titled(opened) | {
        "answer": answer_of(answers, findings) if answers is not None else "",
        "findings": [_finding(i, f) for i, f in enumerate(findings, 1)],
        "state": _state(project),
        "rail": _rail(project, answers),
        "stale": stale,
        "partial": [] if answers is not None else ["Nothing has been computed yet: run the study."],
        "notices": [str(notice) for notice in opened.notices],
    }


def _titled(opened: OpenProject) -> Page:
    """Return what the title block says."""
    project = opened.project
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
        "digest": opened.digest.removeprefix("sha256:")[:12],
        "version": __version__,
    }


def _first(opened: OpenProject) -> Page:
    """Return the overview before anything is looked up: its jobs, nothing of how they stand."""
    rail = [_line(entry, "none", "") for entry in PAGES if not entry.home]
    return _titled(opened) | {
        "answer": "", "findings": [], "stale": False, "rail": rail,
        "state": {"mass state": opened.project.mass_state().name},
    }  # fmt: skip


def ranked(answers: Answers) -> list[Finding]:
    """Return all findings of a study, the most valuable first; worked out once."""
    key = "findings"
    if key not in answers.worked_out:
        every = [f for some in gathered(FINDINGS, answers) for f in some]
        answers.worked_out[key] = sorted(every, key=lambda f: -f.worth)
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
        heights = ", ".join(answers.at(base, speed).split(", ")[:2])
        made = f"At {speed * _KMH:.0f}\u202fkm/h, {base}, it rides at {heights} and makes CzS "
        made += f"{total['text']}, {_kilograms(total)}, with {share['text']} of it in front."
    else:
        row = summarise(answers.budget(base, speed).total.total)
        made = f"The parts add up to CzS {format_plain(row.best, 'area')}."
    best = _first_move(answers, findings)
    return f"{made} {best}".strip()


def _kilograms(number: Any) -> str:
    """Return a downforce area as what a client thinks in: kilograms at its speed."""
    best, low, high = (number[end] * number["kg_per_m2"] for end in ("best", "low", "high"))
    return f"{best:.0f}\u202fkg ({low:.0f} to {high:.0f})".replace("-", "\u2212")


def _first_move(answers: Answers, findings: list[Finding]) -> str:
    """Return which state gains most, where one clearly does."""
    gains = [f for f in findings if f.page == "states" and f.value and f.value["best"] > 0]
    if not gains:
        return ""
    clear = [f for f in gains if f.value and f.value["low"] > 0]
    best = max(clear, key=lambda f: f.value["best"] if f.value else 0.0, default=None)
    if best is None or best.value is None:
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
    shown: Page = {"mass state": mass.name}
    for label, key in (
        ("mass", "mass"),
        ("front weight", "front_weight"),
        ("hf at rest", "ride_height_front"),
        ("hr at rest", "ride_height_rear"),
    ):
        why = f"input/mass_states.{mass.name}.{key}"
        shown[label] = number_of_quantity(getattr(mass, key), why=why)
    shown["air temperature"] = number_of_quantity(
        project.weather.temperature, why="input/weather.temperature"
    )
    return shown


def _rail(project: Project, answers: Answers | None) -> list[Page]:
    """Return the jobs in the order of the work, each with how well evidence supports it."""
    lines = []
    for entry in PAGES:
        if entry.home:
            continue
        support, note = found(entry.support)(project, answers)
        lines.append(_line(entry, support, note))
    return lines


def _line(entry: PageEntry, support: str, note: str) -> Page:
    return {
        "page": entry.name, "title": entry.title, "support": support, "note": note,
        "results": entry.takes == "answers" or entry.name == "overview",
    }  # fmt: skip
