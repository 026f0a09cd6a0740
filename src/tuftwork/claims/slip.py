"""Likely slips behind a figure, ranked with odds: every reading through the same equations.

Odds are the weight of a reading before looking, times the density it gives to the figure as it
was written, over the sum of all readings; "none of these" is among them, and "as said" unless the
verdict already excludes it.
"""

from math import log

import numpy as np

from tuftwork.claims.belief import Belief, Statement, misfit
from tuftwork.claims.case import Case, Reading
from tuftwork.claims.finding import Slip
from tuftwork.claims.table import slip_weight

_LEAST = 0.02
"""Readings less likely than this are left out. [-]"""
_NEVER = -1e9


def likely_slips(case: Case, belief: Belief, *, may_hold: bool) -> tuple[Slip, ...]:
    """Return the readings that could be behind a claim, the likeliest first.

    Parameters
    ----------
    case
        The claim.
    belief
        Of the shared unknowns, from evidence.
    may_hold
        Whether it may be as said; where it may not, the odds are those among the other readings.

    Returns
    -------
    slips
        With "none of these" last, where it is likely enough to be named.
    """
    if not case.readings or case.statement is None:
        return ()
    as_said = _figure_density(case.statement, belief) if may_hold else _NEVER
    made_up = log(slip_weight("none of these")) + log(case.scale)
    read = [log(slip_weight(r.name)) + _density(r, belief) for r in case.readings]
    logs = np.array([as_said, made_up, *read])
    odds = np.exp(logs - np.logaddexp.reduce(logs))
    slips = [_slip(r, float(share)) for r, share in zip(case.readings, odds[2:], strict=True)]
    kept = sorted((slip for slip in slips if slip.odds >= _LEAST), key=lambda slip: -slip.odds)
    if odds[1] >= _LEAST:
        kept.append(
            Slip(name="none of these", label="none of these; of another car, or made up",
                 reading="", odds=float(odds[1]), figure=None, is_possible=True)
        )  # fmt: skip
    return tuple(kept)


def _density(reading: Reading, belief: Belief) -> float:
    if not reading.is_possible:
        return _NEVER
    if reading.density is not None:
        return reading.density(belief)
    found = [_figure_density(statement, belief) for statement in reading.statements]
    return float(np.logaddexp.reduce(found)) - log(len(found)) if found else _NEVER


def _figure_density(statement: Statement, belief: Belief) -> float:
    """Return the density of one figure; said of many speeds, it is that where it fits worst."""
    singles = [
        Statement(id=statement.id, equations=(equation,), is_claim=True)
        for equation in statement.equations
    ]
    return min(misfit(belief, [single]).density for single in singles)


def _slip(reading: Reading, odds: float) -> Slip:
    return Slip(
        name=reading.name,
        label=reading.label,
        reading=reading.text,
        odds=odds,
        figure=reading.figure,
        is_possible=reading.is_possible,
    )
