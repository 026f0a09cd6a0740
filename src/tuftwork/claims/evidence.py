"""What is known of the car, as statements: measured rows, openings, and what was computed."""

from collections.abc import Callable, Sequence
from math import hypot

import numpy as np

from tuftwork.car import Measured, Opening, Project
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.finding import Computed
from tuftwork.claims.frame import Frame, relative_sd
from tuftwork.claims.table import tolerance
from tuftwork.quantity import Z80, Quantity

BUDGET = "budget"
"""Id of the statement that the parts add up to the car."""
_WHOLE_CAR = 3
"""Parts, a body among them, from which a list is taken to be a whole car's. [-]"""
COMPUTED = "computed"
"""Id of the study's own results among the evidence."""


def evidence_of(
    project: Project, frame: Frame, computed: Sequence[Computed]
) -> tuple[Statement, ...]:
    """Return every statement that is not a claim."""
    found = [_measured(row, frame) for row in project.measured]
    found += [_opening(opening) for opening in project.openings]
    found += [_computed(frame, computed)] if computed else []
    found += _budget(project, frame)
    return tuple(found)


def of_unknown(name: str) -> Callable[[At], float]:
    """Return the function that reads one unknown."""
    return lambda at: at(name)


def sd_of(quantity: Quantity) -> float:
    """Return the standard deviation of a quantity; a hundredth where it was given no range."""
    if quantity.is_exact:
        return max(0.01 * abs(quantity.best), 1e-6)
    return (quantity.high - quantity.low) / (2 * Z80)


def _measured(row: Measured, frame: Frame) -> Statement:
    equations = []
    # a speed read wrong moves every coefficient measured at it
    by_speed = 2 * relative_sd(row.speed)
    for axle, value in (("front", row.downforce_front), ("rear", row.downforce_rear)):
        curve = frame.axle(axle, row.speed.best, row.state)
        sd = hypot(sd_of(value), by_speed * abs(value.best))
        equations.append(Equation(predict=curve, uses=curve.uses, observed=value.best, sd=sd,
                                  is_relative=False))  # fmt: skip
    if row.drag is not None:
        name = frame.drag(row.state)
        sd = hypot(sd_of(row.drag) / row.drag.best, by_speed, tolerance("drag against speed") / Z80)
        equations.append(
            Equation(predict=of_unknown(name), uses=(name,), observed=row.drag.best, sd=sd)
        )
    return Statement(id=row.id, equations=tuple(equations), is_claim=False)


def _budget(project: Project, frame: Frame) -> list[Statement]:
    """Return that the parts add up to the car, where the list of parts can be a whole car's."""
    names = [f"part@{p.name}" for p in project.parts if p.kind not in ("cooling", "air net")]
    if len(names) < _WHOLE_CAR or not any(part.kind == "body" for part in project.parts):
        return []
    speeds = sorted(speed.best for speed in project.study.speeds)
    curve = frame.axle("car", speeds[len(speeds) // 2])

    def left_over(at: At) -> float:
        return curve(at) - sum(at(name) for name in names)

    equation = Equation(predict=left_over, uses=(*curve.uses, *names), observed=0.0,
                        sd=tolerance("budget of parts") / Z80, is_relative=False)  # fmt: skip
    return [Statement(id=BUDGET, equations=(equation,), is_claim=False)]


def _opening(opening: Opening) -> Statement:
    rows = [("net", opening.area)]
    if opening.gross_area is not None:
        rows.append(("gross", opening.gross_area))
    equations = [
        Equation(predict=of_unknown(f"{what}@{opening.name}"), uses=(f"{what}@{opening.name}",),
                 observed=area.best, sd=sd_of(area) / area.best)
        for what, area in rows
    ]  # fmt: skip
    return Statement(id=opening.name, equations=tuple(equations), is_claim=False)


def _computed(frame: Frame, computed: Sequence[Computed]) -> Statement:
    """Return the study's results as one statement: its draws hang together over all speeds."""
    equations, columns = [], []
    for row in computed:
        for axle, draws in (("front", row.front), ("rear", row.rear)):
            if draws is None:
                continue
            curve = frame.axle(axle, row.speed, row.state)
            values = np.asarray(draws, dtype=float)
            equations.append(Equation(predict=curve, uses=curve.uses, is_relative=False,
                                      observed=float(np.median(values)), sd=1.0))  # fmt: skip
            columns.append(values)
        if row.drag is not None:
            name = frame.drag(row.state)
            values = np.asarray(row.drag, dtype=float)
            equations.append(Equation(predict=of_unknown(name), uses=(name,), is_relative=False,
                                      observed=float(np.median(values)), sd=1.0))  # fmt: skip
            columns.append(values)
    covariance = np.atleast_2d(np.cov(np.stack(columns)))
    # draws are few: a hundredth of each variance, uncorrelated, keeps the matrix from being thin
    floor = np.diag(np.maximum(0.02 * np.diag(covariance), 1e-5))
    return Statement(id=COMPUTED, equations=tuple(equations), is_claim=False,
                     covariance=covariance + floor)  # fmt: skip
