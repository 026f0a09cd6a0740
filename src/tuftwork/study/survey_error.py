"""How good reading between runs is, told by runs drawn by lot that the surrogate never saw.

Cells that rounds choose lie where the surrogate is least sure, and say nothing fair of the rest.
So the last runs of every state and slice are drawn by lot from all cells left. What they miss by,
over the deviation the surrogate gives itself, is the factor that puts four of five in its range;
states and slices with few of them lean on all. Coverage is told crosswise: half of the lot sets
the factor, the other half is counted. In the end they help as runs like any other.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.map import FIELDS
from tuftwork.aeromap.surrogate import HeldOut, held_out_error, widened
from tuftwork.study.survey_plan import Job, Plan

_FOLDS = 5  # turns in which the lot is held out; four fifths of it help, as all of it will
_LEAN = 40.0  # [-] cells by lot at which a state's own factor counts as much as that of all


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """How good reading between runs is in a state and slice, told in CzS.

    Attributes
    ----------
    held
        Misses at cells drawn by lot. [m²]
    factor
        On the surrogate's deviation. [-]
    covered
        Share of the misses within 80 % ranges whose factor these misses had no part in. [-]
    """

    held: HeldOut
    factor: float
    covered: float


def outputs_of(fields: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return the fields of every run side by side, CzS last, ``(n_run, n_output)``."""
    total = fields[FIELDS[0]] + fields[FIELDS[1]]
    return np.concatenate([*fields.values(), total], axis=1)


def errors_of(plan: Plan) -> dict[Job, HeldOut]:
    """Return the misses at cells drawn by lot, of every state and slice that has such."""
    found = {}
    for job in plan.jobs:
        by_lot = set(plan.by_lot(job))
        cells, fields, _ = plan.read(job)
        held = np.array([c in by_lot for c in cells], dtype=bool)
        if np.any(held) and np.sum(~held) >= 6:
            outputs = outputs_of(fields)
            last = slice(outputs.shape[1] - plan.n_draw, None)
            found[job] = held_out_error(plan.places(cells), outputs, held, last, _FOLDS)
    return found


def judged(errors: Mapping[Job, HeldOut]) -> dict[Job, Judged]:
    """Return factor and coverage of every state and slice."""
    factors = factors_of(errors)
    halves = [
        {job: replace(e, ratios=e.ratios[k::2]) for job, e in errors.items() if e.count > 1}
        for k in (0, 1)
    ]
    crossed = [factors_of(half) for half in halves]
    return {
        job: Judged(held=e, factor=factors[job], covered=_crossed(job, halves, crossed, e))
        for job, e in errors.items()
    }


def factors_of(errors: Mapping[Job, HeldOut]) -> dict[Job, float]:
    """Return the factor of every state and slice, leaning on that of all where cells are few."""
    if not errors:
        return {}
    of_all = np.log(widened(np.concatenate([e.ratios for e in errors.values()])))
    found = {}
    for job, error in errors.items():
        own, count = np.log(widened(error.ratios)), len(error.ratios)
        found[job] = float(np.exp((count * own + _LEAN * of_all) / (count + _LEAN)))
    return found


def coverage(found: Mapping[Job, Judged]) -> tuple[float, int]:
    """Return the share of all misses in range, and the number of cells they were taken at."""
    count = sum(j.held.count for j in found.values())
    if count == 0:
        return 0.0, 0
    return sum(j.covered * j.held.count for j in found.values()) / count, count


def _crossed(
    job: Job, halves: list[dict[Job, HeldOut]], factors: list[dict[Job, float]], error: HeldOut
) -> float:
    """Return the coverage of each half by the factor that the other half sets."""
    if job not in factors[0]:
        return error.covered()
    counted = [halves[k][job].covered(factors[1 - k][job]) for k in (0, 1)]
    sizes = [len(halves[k][job].ratios) for k in (0, 1)]
    return float(np.average(counted, weights=sizes))
