"""A state against the baseline from every pass of a day: one model for all speeds, with drift."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.trial.compare import is_bracketed


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedGain:
    """A state less the baseline at one speed, from every pass, drift taken out.

    Attributes
    ----------
    speed
        [m/s]
    size, uncertainty
        [m²]
    """

    speed: float
    size: float
    uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PassComparison:
    """One state against the baseline over all speeds of a day.

    Attributes
    ----------
    gains
        Speed by speed.
    drift, drift_uncertainty
        What a pass's load gains an hour in the same state: tyres, fuel, zeros. [N/h]
    scatter
        Deviation of one pass. [N]
    dof
        Degrees of freedom.
    method
        How it was found.
    """

    gains: tuple[PairedGain, ...]
    drift: float
    drift_uncertainty: float
    scatter: float
    dof: float
    method: str


def compare_passes(
    force: Array,
    pressure: Array,
    speed: Array,
    is_changed: Sequence[bool],
    hours: Array,
    block: Sequence[str],
) -> PassComparison:
    """Return a state less the baseline at every speed, one drift for the whole day taken out.

    Loads, not coefficients, scatter alike at all speeds: F = q (a_v + b_v B) + d t. With six or
    more runs each run's own level is a random effect (mixed effects); with fewer it cannot be told
    from the change itself and least squares are used.

    Parameters
    ----------
    force, pressure, speed, hours : (n,)
        Load [N], dynamic pressure [Pa], nominal speed [m/s] and time [h] of every pass.
    is_changed, block
        Whether it was driven in the other state, and in which run.

    Raises
    ------
    InputError
        If no speed was driven in both states.

    References
    ----------
    [laird1982]
    """
    y, q = np.asarray(force, dtype=float), np.asarray(pressure, dtype=float)
    changed, clock = np.asarray(is_changed, dtype=bool), np.asarray(hours, dtype=float)
    speeds = np.asarray(speed, dtype=float)
    both = [v for v in np.unique(speeds) if np.ptp(changed[speeds == v].astype(int)) == 1]
    if not both:
        raise InputError("passes", int(y.size), "", "no speed was driven in both states")
    keep = np.isin(speeds, both)
    y, q, changed, clock, speeds = y[keep], q[keep], changed[keep], clock[keep], speeds[keep]
    runs = np.asarray(block)[keep]
    columns = [q * (speeds == v) for v in both] + [q * (speeds == v) * changed for v in both]
    drifting = is_bracketed(changed[np.argsort(clock)])
    design = np.column_stack([*columns, clock - clock.mean()] if drifting else columns)
    if np.unique(runs).size >= 6:
        found = _mixed_passes(y, design, runs)
    else:
        found = _plain_passes(y, design)
    terms, doubts, scatter, dof, method = found
    n = len(both)
    return PassComparison(
        gains=tuple(PairedGain(speed=float(v), size=float(terms[n + i]),
                               uncertainty=float(doubts[n + i])) for i, v in enumerate(both)),
        drift=float(terms[-1]) if drifting else 0.0,
        drift_uncertainty=float(doubts[-1]) if drifting else 0.0, scatter=scatter, dof=dof,
        method=method + (", drift taken out" if drifting else ", drift not separable"),
    )  # fmt: skip


def _plain_passes(y: Array, design: Array) -> tuple[Array, Array, float, float, str]:
    import statsmodels.api as sm

    found = sm.OLS(y, design).fit()
    return (np.asarray(found.params), np.asarray(found.bse), float(np.sqrt(found.scale)),
            float(found.df_resid), "least squares over all speeds")  # fmt: skip


def _mixed_passes(
    y: Array, design: Array, runs: np.ndarray
) -> tuple[Array, Array, float, float, str]:
    import warnings

    from statsmodels.regression.mixed_linear_model import MixedLM

    scale = float(np.std(y)) or 1.0
    sizes = np.linalg.norm(design, axis=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance of nothing sits on its bound; an answer
        found = MixedLM(y / scale, design / sizes, groups=runs).fit(reml=True)
    if not found.converged:
        return _plain_passes(y, design)
    count = design.shape[1]
    doubts = np.sqrt(np.diag(np.asarray(found.cov_params()))[:count]) * scale / sizes
    dof = float(y.size - count - np.unique(runs).size)
    left = float(np.sqrt(found.scale)) * scale
    terms = np.asarray(found.fe_params) * scale / sizes
    return terms, doubts, left, dof, "mixed effects, runs random"
