"""How well evidence supports each job: the small mark on the rail, and a note beside it."""

from tuftwork.car import Project
from tuftwork.study.answers import Answers

Support = tuple[str, str]


def of_model(project: Project, answers: Answers | None) -> Support:
    """Return the support of whatever the whole car's model says."""
    if answers is not None and answers.is_tied:
        return "measured", ""
    return ("computed" if project.parts else "none"), ""


def of_evidence(project: Project, answers: Answers | None) -> Support:
    """Return whether there is evidence at all."""
    return ("measured" if project.evidence else "none"), counted(len(project.evidence), "item")


def of_claims(project: Project, answers: Answers | None) -> Support:
    """Return whether anything was claimed."""
    return ("claimed" if project.claims else "none"), counted(len(project.claims), "claim")


def of_parts(project: Project, answers: Answers | None) -> Support:
    """Return the support of the budget."""
    return of_model(project, answers)[0], counted(len(project.parts), "part")


def of_map(project: Project, answers: Answers | None) -> Support:
    """Return the support of the map, which needs both axles."""
    there = project.car.front is not None and project.car.rear is not None
    return (of_model(project, answers)[0] if there else "none"), ""


def of_states(project: Project, answers: Answers | None) -> Support:
    """Return whether there is a state to compare."""
    some = len(project.states) > 1
    return ("computed" if some else "none"), counted(len(project.states), "state")


def of_runs(project: Project, answers: Answers | None) -> Support:
    """Return whether anything has been run."""
    return ("computed" if answers is not None else "none"), ""


def counted(number: int, word: str) -> str:
    """Return ``3 parts``, ``1 part`` or nothing."""
    return f"{number} {word}{'' if number == 1 else 's'}" if number else ""
