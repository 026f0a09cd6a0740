"""Where model and measurement disagree, learned as a field over ride heights.

What was measured less what the model said, at the places it was measured, is a sample of a bias
field [kennedy2001]. A Gaussian process with a prior from physics carries it to the rest of the map:
mean nothing (the model stands until something speaks against it), size the discrepancy a model of
this kind is known for, length a floor needs to change its mind over [rasmussen2006].
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Z80, Array, Source

SOURCES = (
    Source(key="kennedy2001", place="section 4, discrepancy", status="memory"),
    Source(key="rasmussen2006", place="algorithm 2.1"),
)
LENGTH_FRONT, LENGTH_REAR = 8e-3, 6e-3
"""Ride height over which a floor's error may change: a diffuser lets go within about as much.
Common practice, no source. [m]"""
PRIOR_SIZE = 0.10
"""Standard deviation of an axle's model error before any test: a tenth of a square metre, what
estimates of this kind are off by. Common practice, no source. [m²]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One measured result against the model there. [m], [m²], standard uncertainties"""

    name: str
    height_front: float
    height_rear: float
    measured: float
    measured_doubt: float
    predicted: float
    predicted_doubt: float

    @property
    def miss(self) -> float:
        """Measured less predicted. [m²]"""
        return self.measured - self.predicted

    @property
    def score(self) -> float:
        """Miss over both uncertainties. [-]"""
        return self.miss / float(np.hypot(self.measured_doubt, self.predicted_doubt))


@dataclass(frozen=True, slots=True, kw_only=True)
class BiasField:
    """What to add to the model, anywhere.

    Attributes
    ----------
    places : (n, 2)
        hf and hr of the sightings over the lengths. [-]
    weights : (n,)
        Of the sightings. [1/m²]
    factor : (n, n)
        Lower Cholesky factor of their covariance. [m²]
    size
        Prior standard deviation, fitted within bounds. [m²]
    evidence
        Logarithm of the marginal likelihood. [-]
    """

    places: Array
    weights: Array
    factor: Array
    size: float
    evidence: float

    def at(self, height_front: Array, height_rear: Array) -> tuple[Array, Array]:
        """Return the bias and its standard uncertainty at ride heights, same shape. [m] → [m²]"""
        from scipy.linalg import solve_triangular

        shape = np.broadcast_shapes(np.shape(height_front), np.shape(height_rear))
        wanted = _scaled(np.broadcast_to(height_front, shape), np.broadcast_to(height_rear, shape))
        across = self.size**2 * _likeness(wanted, self.places)
        mean = across @ self.weights
        through = solve_triangular(self.factor, across.T, lower=True)
        variance = np.maximum(self.size**2 - np.sum(through**2, axis=0), 0.0)
        return mean.reshape(shape), np.sqrt(variance).reshape(shape)

    def support(self, height_front: Array, height_rear: Array) -> Array:
        """Return how much of the prior doubt the tests removed there, 0 to 1. [-]"""
        _, doubt = self.at(height_front, height_rear)
        return np.asarray(1 - (doubt / self.size) ** 2)


def learn_bias(
    sightings: Sequence[Sighting], *, covariance: Array | None = None, size: float | None = None
) -> BiasField:
    """Return the bias field of one axle from its sightings.

    Parameters
    ----------
    sightings
        At least one.
    covariance : (n, n)
        Of the measured values; springs and air they share make them move together. Independent
        unless given. [m⁴]
    size
        Prior standard deviation; unless given it is the likeliest between a quarter and four
        times ``PRIOR_SIZE``, weighed against that prior by a factor of two. [m²]

    References
    ----------
    [rasmussen2006] algorithm 2.1; [kennedy2001]
    """
    if not sightings:
        raise InputError("sightings", 0, "", "at least one measured result is needed")
    places = _scaled(
        np.array([s.height_front for s in sightings]), np.array([s.height_rear for s in sightings])
    )
    misses = np.array([s.miss for s in sightings])
    noise = np.diag([s.measured_doubt**2 for s in sightings]) if covariance is None else covariance
    sizes = [size] if size is not None else list(PRIOR_SIZE * 2.0 ** np.linspace(-2, 2, 33))
    best = None
    for one in sizes:
        weights, factor, evidence = _solve(places, misses, noise, one)
        worth = evidence - 0.5 * (np.log(one / PRIOR_SIZE) / np.log(2)) ** 2
        if best is None or worth > best[0]:
            best = (worth, weights, factor, one, evidence)
    assert best is not None
    return BiasField(places=places, weights=best[1], factor=best[2], size=float(best[3]),
                     evidence=float(best[4]))  # fmt: skip


def _solve(places: Array, misses: Array, noise: Array, size: float) -> tuple[Array, Array, float]:
    from scipy.linalg import cho_solve

    covariance = size**2 * _likeness(places, places) + noise + 1e-8 * np.eye(misses.size)
    factor = np.linalg.cholesky(covariance)
    weights = cho_solve((factor, True), misses)
    evidence = -0.5 * misses @ weights - np.sum(np.log(np.diag(factor)))
    evidence -= 0.5 * misses.size * np.log(2 * np.pi)
    return np.asarray(weights), factor, float(evidence)


def _scaled(front: Array, rear: Array) -> Array:
    return np.column_stack([np.ravel(front) / LENGTH_FRONT, np.ravel(rear) / LENGTH_REAR])


def _likeness(a: Array, b: Array) -> Array:
    return np.asarray(np.exp(-0.5 * np.sum((a[:, None, :] - b[None, :, :]) ** 2, axis=-1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """A place where both ranges do not meet, or nearly not, and what it is worth. [m²]"""

    sighting: Sighting
    worth: float

    @property
    def verdict(self) -> str:
        """Return a verdict word by how far apart both are."""
        score = abs(self.sighting.score)
        if score > 2 * Z80:
            return "contradicts"
        return "consistent" if score <= Z80 else "needs an assumption"


def ranked_disagreements(sightings: Sequence[Sighting]) -> list[Disagreement]:
    """Return the sightings by consequence: what of the miss both doubts cannot explain, first."""
    found = [
        Disagreement(
            sighting=s,
            worth=max(
                0.0, abs(s.miss) - Z80 * float(np.hypot(s.measured_doubt, s.predicted_doubt))
            ),
        )
        for s in sightings
    ]
    return sorted(found, key=lambda d: (-d.worth, -abs(d.sighting.score)))


def next_test(
    field: BiasField, height_front: Array, height_rear: Array, worth: Array
) -> tuple[int, Array]:
    """Return which of some places is best tested next, and the value of each.

    The value is the doubt that is left there times what the place matters.

    Parameters
    ----------
    worth : (n,)
        How much each place matters, for instance the share of a lap spent there. [-]
    """
    _, doubt = field.at(height_front, height_rear)
    value = doubt * np.asarray(worth)
    return int(np.argmax(value)), np.asarray(value)
