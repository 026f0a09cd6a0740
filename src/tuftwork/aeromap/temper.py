"""A tempered sequential sampler for a few hundred unknowns of which the data inform a few.

The likelihood is let in step by step. At each step draws are resampled by weight, then moved by
Metropolis steps: random-walk steps in the directions the data speak of (found from gradients at
some of the draws), steps that leave the prior as it is in all others. So inputs the data say
nothing about keep their ranges.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from jaxtyping import Float

from tuftwork.errors import NotConverged
from tuftwork.quantity import Source

SOURCES = (
    Source(key="delmoral2006", place="tempered sequential samplers", status="memory"),
    Source(key="cui2016", place="likelihood-informed directions", status="memory"),
)
_ESS = 0.5  # [-] share of draws that must still count after a step of tempering
_INFORMED = 0.05  # [-] gain of precision over the prior from which a direction counts as informed
_AT = 24  # draws at which gradients are taken
_NUDGE = 0.2  # [-] step of the gradients, wide enough to see over a cliff
_MOST_LEVELS = 80

Matrix = Float[np.ndarray, "n_draw n_unknown"]
Line = Float[np.ndarray, " n_draw"]
Directions = Float[np.ndarray, "n_unknown n_informed"]
Whitened = Callable[[Matrix], Float[np.ndarray, "n_row n_draw"]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampler:
    """What is sampled: prior standard normal, likelihood exp(−½ Σ r²).

    Attributes
    ----------
    whitened
        Unknowns ``(n_draw, n_unknown)`` → residuals r ``(n_row, n_draw)``, unit variance each. [-]
    moves
        Pairs of steps (informed, others) at each level; three times as many at the last.
    """

    whitened: Whitened
    moves: int

    def log_likelihood(self, unknowns: Matrix) -> Line:
        """Return the logarithm of the likelihood of each draw, but for a constant [-]."""
        return np.asarray(-0.5 * np.sum(self.whitened(unknowns) ** 2, axis=0))


def tempered(sampler: Sampler, prior: Matrix, seed: int) -> tuple[Matrix, int]:
    """Return draws of the posterior, as many as were given, and the number of levels.

    Parameters
    ----------
    sampler
        Residuals and number of moves.
    prior : (n_draw, n_unknown)
        Standard normal draws. [-]
    seed
        The same seed gives the same draws.

    Raises
    ------
    NotConverged
        If the likelihood cannot be let in within 80 levels, or steps are refused throughout.

    References
    ----------
    [delmoral2006], [cui2016]
    """
    rng = np.random.default_rng(seed)
    draws, power, level = prior, 0.0, 0
    steps = [0.8, 0.6]
    likelihood = sampler.log_likelihood(draws)
    while power < 1:
        level += 1
        if level > _MOST_LEVELS:
            raise NotConverged(f"tempering: after {level} levels the rows are not let in fully")
        grown = _next_power(likelihood, power)
        keep = _resampled(_weights(likelihood, grown - power), rng)
        draws, likelihood, power = draws[keep], likelihood[keep], grown
        informed = _informed(sampler, draws, power, rng)
        moves = sampler.moves * (3 if power == 1 else 1)
        taken = np.zeros(2)
        for _ in range(moves):
            for kind, propose in enumerate((_walk, _drift)):
                proposal, cost = propose(draws, informed, steps[kind], rng)
                there = sampler.log_likelihood(proposal)
                yes = np.log(rng.uniform(size=len(draws))) < power * (there - likelihood) + cost
                draws = np.where(yes[:, None], proposal, draws)
                likelihood = np.where(yes, there, likelihood)
                share = float(np.mean(yes))
                taken[kind] += share / moves
                # aims at the acceptance that moves draws furthest
                steps[kind] *= float(np.exp(0.5 * (share - 0.25)))
            steps[1] = min(steps[1], 0.95)
        if taken.min() < 0.02:
            raise NotConverged(
                f"tempering: only {100 * taken.min():.1f} % of the steps were taken; the rows may "
                "contradict each other, or the models need more range"
            )
    return draws, level


def _walk(
    draws: Matrix, informed: Directions, step: float, rng: np.random.Generator
) -> tuple[Matrix, Line]:
    """Propose a random walk in the informed directions; cost is the prior's change [-]."""
    count = informed.shape[1]
    if count == 0:
        return draws, np.zeros(len(draws))
    along = draws @ informed
    spread = np.atleast_2d(np.cov(along, rowvar=False)) + 1e-9 * np.eye(count)
    factor = np.linalg.cholesky(spread)
    jump = rng.standard_normal(along.shape) @ factor.T * (step * 2.38 / np.sqrt(count))
    cost = 0.5 * (np.sum(along**2, axis=1) - np.sum((along + jump) ** 2, axis=1))
    return draws + jump @ informed.T, cost


def _drift(
    draws: Matrix, informed: Directions, step: float, rng: np.random.Generator
) -> tuple[Matrix, Line]:
    """Propose a step in all other directions that leaves the prior as it is; it costs nothing."""
    along = draws @ informed @ informed.T
    fresh = rng.standard_normal(draws.shape)
    fresh -= fresh @ informed @ informed.T
    others = np.sqrt(1 - step**2) * (draws - along) + step * fresh
    return along + others, np.zeros(len(draws))


def _informed(
    sampler: Sampler, draws: Matrix, power: float, rng: np.random.Generator
) -> Directions:
    """Return the directions the data speak of, orthonormal, strongest first.

    Eigenvectors of the mean of JᵀJ over some draws, J the gradient of the residuals.
    """
    size, count = draws.shape
    places = draws[rng.choice(size, size=min(_AT, size), replace=False)]
    nudged = places[:, None, :] + _NUDGE * np.eye(count)
    base = sampler.whitened(places)
    there = sampler.whitened(nudged.reshape(-1, count)).reshape(base.shape[0], len(places), count)
    gradient = (there - base[:, :, None]) / _NUDGE
    mean = np.einsum("rpi,rpj->ij", gradient, gradient) / len(places)
    gain, directions = np.linalg.eigh(mean)
    return np.asarray(directions[:, ::-1][:, gain[::-1] * power > _INFORMED])


def _next_power(likelihood: Line, power: float) -> float:
    """Return how far the likelihood may be let in so that half of the draws still count."""
    low, high = power, 1.0
    if _effective(_weights(likelihood, 1.0 - power)) >= _ESS:
        return 1.0
    for _ in range(50):
        middle = (low + high) / 2
        if _effective(_weights(likelihood, middle - power)) >= _ESS:
            low = middle
        else:
            high = middle
    return low


def _weights(likelihood: Line, power: float) -> Line:
    weights = np.exp(power * (likelihood - np.max(likelihood)))
    return np.asarray(weights / np.sum(weights))


def _effective(weights: Line) -> float:
    """Return the effective share of draws [-]."""
    return float(1 / np.sum(weights**2) / weights.size)


def _resampled(weights: Line, rng: np.random.Generator) -> np.ndarray:
    """Return indices of draws, each as often as its weight asks (systematic)."""
    places = (np.arange(weights.size) + rng.uniform()) / weights.size
    found = np.searchsorted(np.cumsum(weights), places)
    return np.asarray(np.minimum(found, weights.size - 1))
