"""Two settings against each other on a day that drifts: A-B-A, mixed effects, how many runs."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Source

SOURCES = (Source(key="laird1982", place="random-effects model", status="memory"),)
Z_95, Z_POWER_80 = 1.959963984540054, 0.8416212335729143  # [-] two-sided 5 %, power 80 %


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """B less A.

    Attributes
    ----------
    size, uncertainty
        Estimate and standard uncertainty.
    dof
        Degrees of freedom of the uncertainty. [-]
    drift
        Per unit of order or time; 0 where it was not fitted.
    method
        How it was found.
    """

    size: float
    uncertainty: float
    dof: float
    drift: float
    method: str

    def range80(self) -> tuple[float, float]:
        """Return the 80 % range."""
        from scipy.stats import norm, t

        factor = norm.ppf(0.9) if not np.isfinite(self.dof) else t.ppf(0.9, max(1.0, self.dof))
        arm = float(factor) * self.uncertainty
        return self.size - arm, self.size + arm

    @property
    def is_below_noise(self) -> bool:
        """Whether nothing lies inside the 80 % range."""
        low, high = self.range80()
        return low <= 0 <= high


def bracketed(before: float, changed: float, after: float, deviation: float) -> Difference:
    """Return B − (A1 + A2)/2: what changes evenly with time cancels; u = s √1.5.

    Parameters
    ----------
    before, changed, after
        A1, B, A2.
    deviation
        Standard deviation of one run, known from elsewhere.
    """
    return Difference(
        size=changed - 0.5 * (before + after), uncertainty=deviation * sqrt(1.5), dof=np.inf,
        drift=0.5 * (after - before), method="A-B-A",
    )  # fmt: skip


def compare(
    values: Sequence[float] | Array,
    is_changed: Sequence[bool],
    order: Sequence[float] | Array | None = None,
    block: Sequence[str] | None = None,
) -> Difference:
    """Return B less A with drift taken out, and with blocks as random effects where there are many.

    Parameters
    ----------
    values : (n,)
        Result of every run.
    is_changed : (n,)
        Whether the run was with setting B.
    order : (n,)
        Time or place in the order; 0, 1, 2… unless given.
    block : (n,)
        Set of tyres, day, driver: what runs share. With three or more blocks of two runs or more a
        mixed-effects model is fitted, else ordinary least squares.

    Raises
    ------
    InputError
        If one of the settings was never run, or there are fewer than three runs.

    References
    ----------
    [laird1982]
    """
    y = np.asarray(values, dtype=float)
    changed = np.asarray(is_changed, dtype=bool)
    if y.size < 3 or changed.all() or not changed.any():
        raise InputError("runs", int(y.size), "", "A and B must both be run, at least 3 in all")
    clock = np.arange(y.size, dtype=float) if order is None else np.asarray(order, dtype=float)
    clock = clock - clock.mean()
    if block is not None and _is_grouped(block):
        return _mixed(y, changed, clock, block)
    return _least_squares(y, changed, clock)


def _is_grouped(block: Sequence[str]) -> bool:
    counts = [list(block).count(name) for name in set(block)]
    return len(counts) >= 3 and min(counts) >= 2


def _least_squares(y: Array, changed: np.ndarray, clock: Array) -> Difference:
    columns = [np.ones_like(y), changed.astype(float)]
    # drift and change cannot be told apart where B was only run after A
    steps = np.column_stack([*columns, clock])
    drifting = np.linalg.matrix_rank(steps) == 3 and y.size > 2 and is_bracketed(changed)
    design = steps if drifting else np.column_stack(columns)
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    residual = y - design @ found
    dof = y.size - design.shape[1]
    variance = float(residual @ residual / dof) if dof > 0 else np.nan
    inverse = np.linalg.inv(design.T @ design)
    return Difference(
        size=float(found[1]), uncertainty=float(np.sqrt(variance * inverse[1, 1])),
        dof=float(dof), drift=float(found[2]) if drifting else 0.0,
        method="least squares with drift" if drifting else "least squares, drift not separable",
    )  # fmt: skip


def is_bracketed(changed: np.ndarray) -> bool:
    """Return whether A was run on both sides of B, or B on both sides of A."""
    return int(np.sum(np.abs(np.diff(changed.astype(int))))) >= 2


def _mixed(y: Array, changed: np.ndarray, clock: Array, block: Sequence[str]) -> Difference:
    import warnings

    from statsmodels.regression.mixed_linear_model import MixedLM

    scale = float(np.std(y)) or 1.0
    design = np.column_stack([np.ones_like(y), changed.astype(float), clock])
    with warnings.catch_warnings():
        # a variance between blocks that comes out as nothing sits on its bound; that is an answer
        warnings.simplefilter("ignore")
        model = MixedLM(y / scale, design, groups=np.asarray(block))
        found = model.fit(reml=True)
    if not found.converged:
        return _least_squares(y, changed, clock)
    covariance = np.asarray(found.cov_params())
    return Difference(
        size=float(found.params[1]) * scale, uncertainty=float(np.sqrt(covariance[1, 1])) * scale,
        dof=float(y.size - len(set(block)) - 2), drift=float(found.params[2]) * scale,
        method="mixed effects with drift",
    )  # fmt: skip


def runs_needed(deviation: float, size: float) -> float:
    """Return the runs per setting to see a size: (z₉₅ + z₈₀)² 2 s²/Δ², normal approximation. [-]

    Parameters
    ----------
    deviation
        Standard deviation of one run.
    size
        Difference to be seen, in the same unit; two-sided 5 %, power 80 %.

    Returns
    -------
    runs
        Not rounded; take the next whole number.
    """
    if not (deviation > 0 and size > 0):
        raise InputError("size", size, "", "scatter and size to see must be above 0")
    return (Z_95 + Z_POWER_80) ** 2 * 2 * (deviation / size) ** 2


def runs_needed_exactly(deviation: float, size: float) -> int:
    """Return the whole number of runs per setting that reaches 80 % power with Student's t."""
    n = max(2, ceil(runs_needed(deviation, size)))
    while power(deviation, size, n) < 0.8:
        n += 1
    return n


def power(deviation: float, size: float, runs: int) -> float:
    """Return the chance to see a difference with so many runs per setting (two-sided 5 %). [-]"""
    from scipy.stats import nct, t

    dof = 2 * runs - 2
    if dof < 1:
        return 0.0
    bound = float(t.ppf(0.975, dof))
    centre = size / deviation * sqrt(runs / 2)
    if centre > 4 * bound + 8:
        return 1.0  # the distribution's own series gives out this far from the bound
    # the lower tail is a chance below 2.5 % that falls at once; its series gives out too
    low = 0.0 if centre > 6 else float(nct.cdf(-bound, dof, centre))
    return float(1 - nct.cdf(bound, dof, centre) + low)


def detectable(deviation: float, runs: int) -> float:
    """Return the smallest difference seen with 80 % power by so many runs per setting."""
    from scipy.optimize import brentq

    top = 50.0 * deviation
    return float(brentq(lambda size: power(deviation, size, runs) - 0.8, 1e-6 * deviation, top))
