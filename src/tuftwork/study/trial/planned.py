"""The plan page: power, order, time budget, stops, run sheet."""

import csv
from io import StringIO
from typing import Any

from tuftwork.car import Project
from tuftwork.car.trial import TrialPlan
from tuftwork.errors import NotCovered
from tuftwork.study.answers import Answers
from tuftwork.study.trial.matrixed import matrix_part
from tuftwork.trial.plan import SAFETY, Line, PlanWish, TestPlan, clock_text, plan_day

Page = dict[str, Any]
_KMH = 3.6
COLUMNS = ("line", "start", "kind", "state", "block", "speed_kmh", "what", "out", "back", "note")
"""Columns of the editable run sheet."""


def wish_of(project: Project, plan: TrialPlan) -> PlanWish:
    """Return what the project's plan asks for; all states where it names none."""
    states = plan.compare or tuple(s.name for s in project.states) or (project.state().name,)
    return PlanWish(
        states=tuple(states), see=plan.see.best, noise=plan.noise.best,
        speeds=tuple(q.best for q in plan.speeds), track_time=plan.track_time.best,
        pair_time=plan.pair_time.best, change_time=plan.change_time.best, seed=plan.seed,
    )  # fmt: skip


def plan_of(answers: Answers) -> tuple[TrialPlan, TestPlan]:
    """Return the project's plan and what follows from it.

    Raises
    ------
    NotCovered
        If the project has no plan.
    """
    plan = answers.project.plan
    if plan is None:
        raise NotCovered("No plan yet. Add a [plan] table: the question, what must be seen, the "
                         "noise of a pair of passes, speeds, and the time there is.")  # fmt: skip
    return plan, plan_day(wish_of(answers.project, plan))


def plan_page(answers: Answers) -> Page:
    """Return the plan page."""
    asked, plan = plan_of(answers)
    wish = plan.wish
    stops = list(plan.stops)
    if asked.wind_limit is not None:
        limit = asked.wind_limit.best
        stops.insert(1, f"Wait: mean wind above {limit:.0f} m/s, or gusts above {1.6 * limit:.0f} "
                     "m/s.")  # fmt: skip
    return {
        "question": asked.question,
        "rule": asked.rule or "Keep the change if the 80 % range of its gain lies above nothing.",
        "states": list(wish.states),
        "see_points": round(wish.see / 0.01, 2), "noise_points": round(wish.noise / 0.01, 2),
        "needed": round(plan.needed, 2), "needed_exactly": plan.needed_exactly,
        "pairs": plan.pairs, "is_enough": plan.enough,
        "answer": _answer(plan),
        "used": clock_text(plan.used), "left": clock_text(max(0.0, plan.left)),
        "powers": [
            {
                "pairs": p.pairs, "sees_points": round(p.detectable / 0.01, 1),
                "chance_percent": round(100 * p.chance), "takes": clock_text(p.seconds),
                "fits": p.seconds <= wish.track_time,
            }
            for p in plan.powers
        ],
        "lines": [line_tree(line) for line in plan.lines],
        "matrix": matrix_part(answers),
        "stops": stops, "safety": list(SAFETY), "notices": list(plan.notices),
    }  # fmt: skip


def _answer(plan: TestPlan) -> str:
    see = plan.wish.see / 0.01
    if plan.enough:
        return (f"{plan.pairs} pairs per state see {see:.0f} points four times out of five; the "
                f"sheet takes {clock_text(plan.used)} and leaves "
                f"{clock_text(max(0.0, plan.left))}.")  # fmt: skip
    return (f"The time holds {plan.pairs} pairs per state; {plan.needed_exactly} are needed to see "
            f"{see:.0f} points four times out of five.")  # fmt: skip


def line_tree(line: Line) -> Page:
    """Return a line of the run sheet."""
    return {
        "n": line.number, "start": clock_text(line.start), "kind": line.kind, "state": line.state,
        "block": line.block, "speed_kmh": None if line.speed is None else round(line.speed * _KMH),
        "what": line.what,
    }  # fmt: skip


def run_sheet_csv(answers: Answers) -> str:
    """Return the run sheet as an editable table with empty columns to write in."""
    _, plan = plan_of(answers)
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for line in plan.lines:
        tree = line_tree(line)
        writer.writerow([tree["n"], tree["start"], tree["kind"], tree["state"], tree["block"],
                         "" if tree["speed_kmh"] is None else tree["speed_kmh"], tree["what"],
                         "", "", ""])  # fmt: skip
    return out.getvalue()
