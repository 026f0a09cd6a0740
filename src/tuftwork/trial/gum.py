"""Uncertainty of a measured result: the law of propagation, degrees of freedom, straight lines.

Follows the Guide to the expression of uncertainty in measurement [jcgm100]: standard uncertainties
of the inputs, sensitivities, combined uncertainty, effective degrees of freedom, and the terms of
second order where first-order sensitivities vanish.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Source

SOURCES = (Source(key="jcgm100", place="sections 4, 5, G.4, H.1, H.3", status="memory"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input: its value, standard uncertainty and degrees of freedom (∞ where not given)."""

    value: float
    uncertainty: float
    dof: float = inf

    @classmethod
    def rectangular(cls, value: float, half_width: float, dof: float = inf) -> "Input":
        """Return an input anywhere within ± a half-width, evenly."""
        return cls(value=value, uncertainty=half_width / sqrt(3), dof=dof)

    @classmethod
    def arcsine(cls, value: float, half_width: float, dof: float = inf) -> "Input":
        """Return an input that swings like a sine between ± a half-width."""
        return cls(value=value, uncertainty=half_width / sqrt(2), dof=dof)

    @classmethod
    def combined(cls, value: float, parts: Sequence[tuple[float, float]]) -> "Input":
        """Return an input whose uncertainty is a root sum of squares of (u, dof) parts."""
        total = sqrt(sum(u**2 for u, _ in parts))
        return cls(value=value, uncertainty=total, dof=effective_dof(parts))


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """A result and its budget.

    Attributes
    ----------
    value, uncertainty
        Estimate and combined standard uncertainty, first order.
    dof
        Effective degrees of freedom. [-]
    contributions
        Input → |sensitivity| × uncertainty, in the result's unit.
    second_order
        Pair of inputs → contribution of its second-order term.
    """

    value: float
    uncertainty: float
    dof: float
    contributions: Mapping[str, float]
    second_order: Mapping[tuple[str, str], float]

    @property
    def full_uncertainty(self) -> float:
        """Combined standard uncertainty, second-order terms included."""
        return sqrt(self.uncertainty**2 + sum(u**2 for u in self.second_order.values()))

    def expanded(self, coverage: float) -> float:
        """Return the half-width that holds a share of results, with Student's t."""
        return self.uncertainty * coverage_factor(coverage, self.dof)

    def shares(self) -> dict[str, float]:
        """Return each input's share of the variance, the largest first. [-]"""
        total = self.uncertainty**2 or 1.0
        found = {name: u**2 / total for name, u in self.contributions.items()}
        return dict(sorted(found.items(), key=lambda pair: -pair[1]))


def propagate(function: Callable[..., float], inputs: Mapping[str, Input]) -> Combined:
    """Return a result with its uncertainty budget.

    Parameters
    ----------
    function
        Takes the inputs' values by name.
    inputs
        Taken as independent.

    Notes
    -----
    Sensitivities are central differences over one standard uncertainty, so a mildly curved
    function is judged over the range it is used in.

    References
    ----------
    [jcgm100] sections 5.1 and G.4; the note to 5.1.2 for second order.
    """
    best = {name: i.value for name, i in inputs.items()}
    value = function(**best)
    slopes = {}
    for name, one in inputs.items():
        ends = [function(**{**best, name: one.value + sign * one.uncertainty}) for sign in (1, -1)]
        slopes[name] = 0.5 * (ends[0] - ends[1])  # already times the uncertainty
    contributions = {name: abs(slope) for name, slope in slopes.items()}
    total = sqrt(sum(u**2 for u in contributions.values()))
    dof = effective_dof([(u, inputs[n].dof) for n, u in contributions.items()])
    return Combined(
        value=float(value), uncertainty=total, dof=dof, contributions=contributions,
        second_order=_second_order(function, inputs),
    )  # fmt: skip


def _second_order(
    function: Callable[..., float], inputs: Mapping[str, Input]
) -> dict[tuple[str, str], float]:
    """Return u_i u_j ∂²f/∂x_i∂x_j for every pair; products of two unknowns live here only."""
    best = {name: i.value for name, i in inputs.items()}
    names = list(inputs)
    found = {}
    for i, first in enumerate(names):
        for second in names[i + 1 :]:
            corners = [
                sign_a * sign_b * function(
                    **{
                        **best,
                        first: best[first] + sign_a * inputs[first].uncertainty,
                        second: best[second] + sign_b * inputs[second].uncertainty,
                    }
                )
                for sign_a in (1, -1)
                for sign_b in (1, -1)
            ]  # fmt: skip
            found[first, second] = abs(sum(corners)) / 4
    return found


def effective_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a root sum of squares (Welch–Satterthwaite)."""
    total = sum(u**2 for u, _ in parts)
    spent = sum(u**4 / dof for u, dof in parts if np.isfinite(dof))
    return total**2 / spent if spent > 0 else inf


def coverage_factor(coverage: float, dof: float) -> float:
    """Return the factor whose range holds a share of results; fractions of a freedom are cut."""
    from scipy.stats import norm, t

    upper = 0.5 * (1 + coverage)
    return float(norm.ppf(upper)) if not np.isfinite(dof) else float(t.ppf(upper, int(dof)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line y = intercept + slope (x − about), with its covariance."""

    intercept: float
    slope: float
    about: float
    covariance: Array
    scatter: float
    dof: int

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope. [-]"""
        c = self.covariance
        return float(c[0, 1] / np.sqrt(c[0, 0] * c[1, 1]))

    def at(self, x: float) -> tuple[float, float]:
        """Return the line's value and its standard uncertainty at x."""
        step = x - self.about
        row = np.array([1.0, step])
        return self.intercept + self.slope * step, float(np.sqrt(row @ self.covariance @ row))


def fit_line(x: Array, y: Array, *, about: float = 0.0) -> Line:
    """Fit a straight line by least squares, with the covariance of its two numbers.

    Parameters
    ----------
    x, y : (n,)
        At least three points, not all at one x.
    about
        Where the intercept is taken.

    References
    ----------
    [jcgm100] H.3.
    """
    step = np.asarray(x, dtype=float) - about
    values = np.asarray(y, dtype=float)
    if step.size < 3:
        raise InputError("points", int(step.size), "", "a line with a range needs at least 3")
    if not np.ptp(step) > 0:
        raise InputError("points", "all at one place", "", "a line needs two different places")
    design = np.column_stack([np.ones_like(step), step])
    normal = np.linalg.inv(design.T @ design)
    found = normal @ design.T @ values
    dof = int(step.size - 2)
    variance = float(np.sum((values - design @ found) ** 2) / dof)
    return Line(
        intercept=float(found[0]), slope=float(found[1]), about=about,
        covariance=np.asarray(normal * variance), scatter=sqrt(variance), dof=dof,
    )  # fmt: skip
