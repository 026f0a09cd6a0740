"""The tunnel matrix of the plan: asked along the car's path, ordered so that it may end early."""

import csv
from io import StringIO
from typing import Any

import numpy as np

from tuftwork.car.session import TunnelMatrix
from tuftwork.study.answers import Answers
from tuftwork.trial.matrix import MatrixLine, MatrixWish, Place, order_matrix
from tuftwork.trial.plan import clock_text

Page = dict[str, Any]
_MARKS = (0.5, 0.8, 0.9)  # [-] shares of the doubt whose time is told
_REACH = 0.02  # [m] candidates farther from every question are not offered: nothing is asked there
MATRIX_COLUMNS = ("point", "start", "state", "hf_mm", "hr_mm", "repeat", "answered_percent",
                  "drag", "lift", "pitch", "note")  # fmt: skip


def matrix_lines(answers: Answers) -> tuple[MatrixWish, list[MatrixLine]] | None:
    """Return the matrix asked for and its order, None where the plan has none."""
    plan = answers.project.plan
    if plan is None or plan.matrix is None or not answers.has_platform:
        return None
    states = plan.compare or tuple(answers.states)
    wish = _wish(answers, plan.matrix, tuple(states))
    return wish, order_matrix(wish)


def _wish(answers: Answers, asked: TunnelMatrix, states: tuple[str, ...]) -> MatrixWish:
    questions = _questions(answers, states)
    near = [
        Place(state=state, height_front=hf.best, height_rear=hr.best)
        for state in states for hf in asked.front for hr in asked.rear
    ]  # fmt: skip
    candidates = [c for c in near if min(_apart(c, q) for q in questions) < _REACH]
    noise = {} if asked.noise is None else {"noise": asked.noise.best}
    return MatrixWish(
        candidates=tuple(candidates), questions=tuple(questions),
        point_time=asked.point_time.best, change_time=asked.change_time.best,
        time=asked.time.best, repeat_every=asked.repeat_every, **noise,
    )  # fmt: skip


def _apart(a: Place, b: Place) -> float:
    return float(np.hypot(a.height_front - b.height_front, a.height_rear - b.height_rear))


def _questions(answers: Answers, states: tuple[str, ...]) -> list[Place]:
    """Return where the car rides, state by state and speed by speed, weighed with dynamic pressure.

    The weight is what an error there does to the load.
    """
    top = max(answers.speeds)
    found = []
    for state in states:
        keep = answers.kept(state)
        for speed in answers.speeds:
            hf, hr = (float(np.median(answers.draws(state, f"height_{a}", speed)[keep]))
                      for a in ("front", "rear"))  # fmt: skip
            found.append(Place(state=state, height_front=hf, height_rear=hr,
                               weight=(speed / top) ** 2))  # fmt: skip
    return found


def matrix_part(answers: Answers) -> Page | None:
    """Return the tunnel matrix of the Plan page, None where none is asked for."""
    found = matrix_lines(answers)
    if found is None:
        return None
    wish, lines = found
    return {
        "candidates": len(wish.candidates), "measured": len({(x.place.state, x.place.height_front,
                                                              x.place.height_rear) for x in lines}),
        "takes": clock_text(lines[-1].start + wish.point_time) if lines else "0:00",
        "answered_percent": round(100 * lines[-1].answered) if lines else 0,
        "marks": [_mark(share, lines, wish) for share in _MARKS],
        "lines": [
            {
                "n": x.number, "start": clock_text(x.start), "state": x.place.state,
                "front_mm": round(1e3 * x.place.height_front, 1),
                "rear_mm": round(1e3 * x.place.height_rear, 1), "is_repeat": x.is_repeat,
                "answered_percent": round(100 * x.answered),
            }
            for x in lines
        ],
    }  # fmt: skip


def _mark(share: float, lines: list[MatrixLine], wish: MatrixWish) -> str:
    first = next((x for x in lines if x.answered >= share), None)
    if first is None:
        return f"{100 * share:.0f} % of the doubt along the car's path is not reached."
    when = clock_text(first.start + wish.point_time)
    return (f"{100 * share:.0f} % of the doubt along the car's path is gone after {when} h, "
            f"{first.number} points.")  # fmt: skip


def matrix_csv(answers: Answers) -> str:
    """Return the matrix as an editable table with empty columns to write in."""
    part = matrix_part(answers)
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(MATRIX_COLUMNS)
    for x in part["lines"] if part else []:
        writer.writerow([x["n"], x["start"], x["state"], x["front_mm"], x["rear_mm"],
                         "repeat" if x["is_repeat"] else "", x["answered_percent"],
                         "", "", "", ""])  # fmt: skip
    return out.getvalue()
