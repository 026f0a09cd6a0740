"""How well evidence supports the pages of a test day: the marks on the rail."""

from tuftwork.car import Project
from tuftwork.study.answers import Answers

Support = tuple[str, str]


def of_plan(project: Project, answers: Answers | None) -> Support:
    """Return whether a test day is planned."""
    return ("computed" if project.plan is not None else "none"), ""


def of_log(project: Project, answers: Answers | None) -> Support:
    """Return whether there is a log, and how many faults are left in it."""
    if not project.days:
        return "none", ""
    trees = [answers.results.get(f"day {d.name}", {}) for d in project.days] if answers else []
    left = sum(1 for tree in trees for h in tree.get("remaining", []) if h["is_fault"])
    if any("refused" in tree for tree in trees):
        return "assumed", "cannot be read"
    return "measured", f"{left} fault{'s' if left != 1 else ''} left" if left else ""


def of_days(project: Project, answers: Answers | None) -> Support:
    """Return whether anything was measured on a day of its own."""
    return ("measured" if project.days else "none"), ""
