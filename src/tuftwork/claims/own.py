"""What the study says of changes, as evidence: of one state against another, and of a lap."""

from collections.abc import Callable, Sequence

import numpy as np

from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.finding import Changed, Lapped
from tuftwork.claims.frame import Frame, gained_name, worth_name
from tuftwork.quantity import Z80, Array

_FLOOR = 3e-3  # [m²] or [s]: a third of a point; straight lines between speeds are no better


def own_statements(
    frame: Frame, changed: Sequence[Changed], lapped: Sequence[Lapped]
) -> list[Statement]:
    """Return the study's own differences as statements; each holds by itself."""
    found = []
    pairs = dict.fromkeys((row.state, row.against) for row in changed)
    for state, against in pairs:
        rows = [r for r in changed if (r.state, r.against) == (state, against)]
        found.append(_differences(frame, rows))
    for lap in lapped:
        worth = worth_name(lap.circuit)
        # worth is an unknown by a factor: the statement is relative to it
        spread = max(_sd(lap.worth) / abs(float(np.median(lap.worth))), 0.01)
        equations = [
            Equation(predict=_of(worth), uses=(worth,), observed=float(np.median(lap.worth)),
                     sd=spread)
        ]  # fmt: skip
        for state, seconds in lap.gained.items():
            name = gained_name(lap.circuit, state)
            equations.append(_held(_of(name), (name,), seconds))
        found.append(
            Statement(id=f"laps of {lap.circuit}", equations=tuple(equations), is_claim=False)
        )
    return found


def _differences(frame: Frame, rows: Sequence[Changed]) -> Statement:
    """Return a state's differences as one statement: draws hang together over all speeds."""
    equations, columns = [], []
    for row in rows:
        rise, uses = change_of(frame, row.state, row.against, row.speed)
        equations.append(_held(rise, uses, row.downforce))
        columns.append(np.asarray(row.downforce, dtype=float))
    last = rows[-1]
    names = frame.drag(last.state), frame.drag(last.against)
    equations.append(_held(_less(*names), names, last.drag))
    columns.append(np.asarray(last.drag, dtype=float))
    covariance = np.atleast_2d(np.cov(np.stack(columns)))
    # draws are few: a fiftieth of each variance, uncorrelated, keeps the matrix from being thin
    floor = np.diag(np.maximum(0.02 * np.diag(covariance), _FLOOR**2))
    return Statement(id=f"computed '{last.state}'", equations=tuple(equations), is_claim=False,
                     covariance=covariance + floor)  # fmt: skip


def change_of(
    frame: Frame, state: str, against: str, speed: float
) -> tuple[Callable[[At], float], tuple[str, ...]]:
    """Return a state's CzS less another's at a speed, and the unknowns it is of [m²]."""
    after, before = frame.axle("car", speed, state), frame.axle("car", speed, against)

    def predict(at: At) -> float:
        return after(at) - before(at)

    return predict, (*after.uses, *before.uses)


def _less(first: str, second: str) -> Callable[[At], float]:
    return lambda at: at(first) - at(second)


def _of(name: str) -> Callable[[At], float]:
    return lambda at: at(name)


def _held(predict: Callable[[At], float], uses: tuple[str, ...], draws: Array) -> Equation:
    return Equation(predict=predict, uses=uses, observed=float(np.median(draws)),
                    sd=max(_sd(draws), _FLOOR), is_relative=False)  # fmt: skip


def _sd(draws: Array) -> float:
    """Return half the 80 % range over its deviate: tails of draws are not taken for doubt."""
    low, high = np.quantile(draws, (0.1, 0.9))
    return float(high - low) / (2 * Z80)
