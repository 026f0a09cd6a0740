"""A day's states against the baseline from every single pass, one drift for the day taken out."""

import numpy as np

from tuftwork.errors import InputError
from tuftwork.study.store import Tree
from tuftwork.trial.paired import PassComparison, compare_passes
from tuftwork.trial.passes import PassTable, Run
from tuftwork.trial.reduction import pass_loads
from tuftwork.trial.setup import Setup


def paired_tree(table: PassTable, setup: Setup, base: str, runs: list[Run]) -> list[Tree]:
    """Return every other state less the baseline, as plain trees; states never met are left out."""
    loads, _ = pass_loads(table, setup.best())
    states = [p.state for p in table.passes]
    found = []
    for state in dict.fromkeys(states):
        if state == base:
            continue
        keep = np.array([s in (base, state) for s in states])
        try:
            gain = compare_passes(
                np.asarray(loads.front + loads.rear)[keep], np.asarray(loads.pressure)[keep],
                np.array([p.nominal for p in table.passes])[keep],
                [s == state for s in states if s in (base, state)],
                np.array([p.start for p in table.passes])[keep] / 3600,
                [_run_of(p.start, runs) for p, k in zip(table.passes, keep, strict=True) if k],
            )  # fmt: skip
        except InputError:
            continue
        found.append(_plain(gain, state, base, int(keep.sum())))
    return found


def _run_of(start: float, runs: list[Run]) -> str:
    return next((str(i) for i, r in enumerate(runs) if r.start <= start <= r.end), "")


def _plain(gain: PassComparison, state: str, base: str, passes: int) -> Tree:
    return {
        "state": state, "against": base, "passes": passes, "method": gain.method,
        "drift": [gain.drift, gain.drift_uncertainty], "scatter": gain.scatter, "dof": gain.dof,
        "rows": [[g.speed, g.size, g.uncertainty] for g in gain.gains],
    }  # fmt: skip
