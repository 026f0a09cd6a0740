"""What is believed of shared unknowns, and how statements about them move it.

Unknowns that must stay positive are carried as their logarithm. A statement is a set of equations
*predicted(unknowns) = observed ± sd*; believing it is a Gaussian update (weighted least squares
with the prior as one more measurement), iterated because some equations are not linear.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np
from jaxtyping import Float
from scipy.special import chdtrc

from tuftwork.errors import NotConverged
from tuftwork.quantity import Z80, Origin, Quantity, Source

SOURCE = Source(key="tarantola2005", place="section 3.2, Gaussian least squares", status="memory")
_STEP = 1e-5
_CLOSE = 1e-8
_MOST = 60

At = Callable[[str], float]
"""Gives the value of an unknown by its name. [SI]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """One unknown and what is believed of it before anything is read.

    Attributes
    ----------
    name, label
        Key, and words for people.
    best
        Best value. [SI]
    sd
        Standard deviation: of the logarithm where ``is_log``, else of the value.
    is_log
        Whether it must stay positive.
    """

    name: str
    label: str
    best: float
    sd: float
    is_log: bool
    dimension: str
    unit: str
    origin: Origin = "assumed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Equation:
    """One equation between unknowns and a number.

    Attributes
    ----------
    predict
        What the number would be, from the unknowns.
    uses
        Names of the unknowns it reads.
    observed, sd
        The number and its standard deviation; both relative to ``observed`` where ``is_relative``.
    is_relative
        Whether the difference counts against the number's own size.
    """

    predict: Callable[[At], float]
    uses: tuple[str, ...]
    observed: float
    sd: float
    is_relative: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """Something said or measured: equations that hold together.

    Attributes
    ----------
    id
        As in the project; computed results have ids of their own.
    is_claim
        Whether it is a claim, and not evidence.
    covariance : (n_equation, n_equation) or None
        Of the differences, where they are not independent.
    """

    id: str
    equations: tuple[Equation, ...]
    is_claim: bool
    covariance: Float[np.ndarray, "n n"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """Mean and covariance of all unknowns, logarithms where they must stay positive."""

    unknowns: tuple[Unknown, ...]
    index: Mapping[str, int]
    mean: Float[np.ndarray, " n"]
    covariance: Float[np.ndarray, "n n"]

    def best(self, name: str) -> float:
        """Return the best value of an unknown [SI]."""
        return _value(self, self.mean, name)

    def quantity(self, name: str, origin: Origin = "computed") -> Quantity:
        """Return best value and 80 % range of an unknown."""
        unknown = self.unknowns[self.index[name]]
        arm = Z80 * float(np.sqrt(self.covariance[self.index[name], self.index[name]]))
        best = self.best(name)
        if unknown.is_log:
            low, high = best * exp(-arm), best * exp(arm)
        else:
            low, high = best - arm, best + arm
        return Quantity(
            best=best, low=low, high=high, unit=unknown.unit, dimension=unknown.dimension,
            spread="log" if unknown.is_log else "normal", origin=origin,
        )  # fmt: skip


def believe(
    unknowns: Sequence[Unknown], correlation: Float[np.ndarray, "n n"] | None = None
) -> Belief:
    """Return the belief before anything is read."""
    sd = np.array([u.sd for u in unknowns])
    mean = np.array([log(u.best) if u.is_log else u.best for u in unknowns])
    matrix = np.eye(len(unknowns)) if correlation is None else correlation
    return Belief(
        unknowns=tuple(unknowns),
        index={u.name: i for i, u in enumerate(unknowns)},
        mean=mean,
        covariance=matrix * np.outer(sd, sd),
    )


def update(belief: Belief, statements: Iterable[Statement]) -> Belief:
    """Return the belief after statements are taken as true within their ranges.

    Raises
    ------
    NotConverged
        If the iteration does not settle.

    References
    ----------
    [tarantola2005] section 3.2.
    """
    held = list(statements)
    if not held:
        return belief
    noise = noise_of(held)
    around = belief.mean
    for _ in range(_MOST):
        difference, slope = linearised(belief, held, around)
        innovation = difference - slope @ (belief.mean - around)
        total = slope @ belief.covariance @ slope.T + noise
        gain = np.linalg.solve(total, slope @ belief.covariance).T
        following = belief.mean + gain @ innovation
        # half a step keeps a curved equation from overshooting
        step = following - around
        around = around + (step if np.max(np.abs(step)) < 0.5 else 0.5 * step)
        if np.max(np.abs(step)) < _CLOSE:
            covariance = belief.covariance - gain @ slope @ belief.covariance
            return Belief(
                unknowns=belief.unknowns, index=belief.index, mean=around,
                covariance=0.5 * (covariance + covariance.T),
            )  # fmt: skip
    names = ", ".join(s.id for s in held)
    raise NotConverged(f"claims: the update with {names} did not settle in {_MOST} steps")


def linearised(
    belief: Belief, statements: Sequence[Statement], around: Float[np.ndarray, " n"]
) -> tuple[Float[np.ndarray, " m"], Float[np.ndarray, "m n"]]:
    """Return observed less predicted, and the slope of predicted, for every equation.

    Parameters
    ----------
    belief
        For the names.
    statements
        Whose equations count.
    around : (n,)
        Where the equations are taken as linear.
    """
    rows = [e for s in statements for e in s.equations]
    difference = np.empty(len(rows))
    slope = np.zeros((len(rows), around.size))
    for row, equation in enumerate(rows):
        scale = abs(equation.observed) if equation.is_relative else 1.0
        predicted = equation.predict(_getter(belief, around))
        difference[row] = (equation.observed - predicted) / scale
        for name in equation.uses:
            column = belief.index[name]
            moved = around.copy()
            moved[column] += _STEP
            up = equation.predict(_getter(belief, moved))
            moved[column] -= 2 * _STEP
            down = equation.predict(_getter(belief, moved))
            slope[row, column] = (up - down) / (2 * _STEP * scale)
    return difference, slope


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """How far statements lie from a belief.

    Attributes
    ----------
    squared
        Squared distance in standard deviations, over all equations. [-]
    n_equation
        How many equations.
    probability
        Of a distance as large or larger by chance. [-]
    density
        Logarithm of the probability density of the numbers as written. [-]
    """

    squared: float
    n_equation: int
    probability: float
    density: float


def misfit(belief: Belief, statements: Sequence[Statement]) -> Misfit:
    """Return how far statements lie from a belief, all of them together."""
    difference, slope = linearised(belief, statements, belief.mean)
    total = slope @ belief.covariance @ slope.T + noise_of(statements)
    squared = float(difference @ np.linalg.solve(total, difference))
    count = difference.size
    spread = float(np.linalg.slogdet(total)[1])
    return Misfit(
        squared=squared,
        n_equation=count,
        probability=float(chdtrc(count, squared)),
        density=-0.5 * (squared + spread + count * log(2 * np.pi)),
    )


def predicted(
    belief: Belief, predict: Callable[[At], float], uses: Sequence[str]
) -> tuple[float, float]:
    """Return best value and standard deviation of a function of the unknowns [SI]."""
    best = predict(_getter(belief, belief.mean))
    equation = Equation(predict=predict, uses=tuple(uses), observed=0.0, sd=1.0, is_relative=False)
    held = Statement(id="", equations=(equation,), is_claim=False)
    slope = linearised(belief, [held], belief.mean)[1][0]
    return best, float(np.sqrt(max(0.0, slope @ belief.covariance @ slope)))


def noise_of(statements: Sequence[Statement]) -> Float[np.ndarray, "m m"]:
    """Return the covariance of the differences of statements, one block each."""
    sizes = [len(s.equations) for s in statements]
    noise = np.zeros((sum(sizes), sum(sizes)))
    start = 0
    for statement, size in zip(statements, sizes, strict=True):
        block = slice(start, start + size)
        if statement.covariance is not None:
            noise[block, block] = statement.covariance
        else:
            noise[block, block] = np.diag([e.sd**2 for e in statement.equations])
        start += size
    return noise


def _getter(belief: Belief, at: Float[np.ndarray, " n"]) -> At:
    return lambda name: _value(belief, at, name)


def _value(belief: Belief, at: Float[np.ndarray, " n"], name: str) -> float:
    column = belief.index[name]
    number = float(at[column])
    return exp(min(number, 50.0)) if belief.unknowns[column].is_log else number
