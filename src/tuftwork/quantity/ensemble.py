"""Ranges that travel: an ensemble of draws, and what its results say when they come back.

Every uncertain input becomes one column of standard normal deviates, drawn once with a scrambled
Sobol sequence and a fixed seed. Engines run on all draws at once; differences are taken draw by
draw, so what two cases have in common cancels.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from jaxtyping import Float

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity.end import bent
from tuftwork.quantity.quantity import Z80, Quantity
from tuftwork.quantity.source import Source

SOURCES = (
    Source(key="owen1998", place="scrambled nets"),
    Source(key="saltelli2008", place="section 1.2.5, standardised rank regression"),
)
DEFAULT_SIZE = 256
DEFAULT_SEED = 20260

Draws = Float[np.ndarray, " n_draw"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ensemble:
    """Draws of every uncertain input.

    Attributes
    ----------
    quantities
        The inputs, by name.
    deviates
        Standard normal deviates, ``(n_draw, n_uncertain)``. [-]
    columns
        Name → column of ``deviates``; exact inputs have none.
    """

    quantities: Mapping[str, Quantity]
    deviates: Float[np.ndarray, "n_draw n_uncertain"]
    columns: Mapping[str, int]

    @property
    def size(self) -> int:
        """Number of draws."""
        return int(self.deviates.shape[0])

    @property
    def uncertain(self) -> tuple[str, ...]:
        """Names of the inputs that have a range, in column order."""
        return tuple(self.columns)

    def of(self, name: str) -> Draws:
        """Return all draws of one input, ``(n_draw,)`` [SI]."""
        if name not in self.quantities:
            raise UnknownName("input", name, self.quantities)
        quantity = self.quantities[name]
        if name not in self.columns:
            return np.full(self.size, quantity.best)
        return values_at(quantity, self.deviates[:, self.columns[name]])

    def beside(self, own: Mapping[str, Quantity], *, seed: int) -> "Ensemble":
        """Return this ensemble with more inputs, drawn by themselves so that nothing here moves.

        Parameters
        ----------
        own
            Inputs by name; none of them may be in the ensemble yet.
        seed
            Of their draws.
        """
        drawn = draw_ensemble(own, size=self.size, seed=seed)
        first = self.deviates.shape[1]
        return Ensemble(
            quantities={**self.quantities, **own},
            deviates=np.concatenate([self.deviates, drawn.deviates], axis=1),
            columns={**self.columns, **{n: first + i for n, i in drawn.columns.items()}},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What a result says: best value, 80 % and 50 % range, all in SI."""

    best: float
    low: float
    high: float
    low_half: float
    high_half: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """What one input has to do with one result.

    Attributes
    ----------
    name
        The input.
    share
        Share of the result's variance (of ranks) that goes with this input. [-]
    halved
        Width of the result's 80 % range, against today's, once this input's range is halved. [-]
    """

    name: str
    share: float
    halved: float


def values_at(quantity: Quantity, deviates: Float[np.ndarray, "..."]) -> Float[np.ndarray, "..."]:
    """Return the quantity at standard normal deviates of any shape, within its ends [SI]."""
    step = np.asarray(deviates, dtype=float) / Z80
    if quantity.is_exact:
        return np.full(step.shape, quantity.best)
    if quantity.spread == "log":
        up = np.log(quantity.high / quantity.best)
        down = np.log(quantity.best / quantity.low)
        free = quantity.best * np.exp(np.where(step > 0, up, down) * step)
    else:
        arm = np.where(step > 0, quantity.high - quantity.best, quantity.best - quantity.low)
        free = quantity.best + arm * step
    ends = (quantity.least, quantity.most)
    return bent(free, quantity.best, (quantity.low, quantity.high), ends)


def draw_ensemble(
    quantities: Mapping[str, Quantity],
    *,
    size: int = DEFAULT_SIZE,
    seed: int = DEFAULT_SEED,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Ensemble:
    """Draw every uncertain input together.

    Parameters
    ----------
    quantities
        Inputs by name; exact ones take no column.
    size
        Number of draws; a power of two keeps the sequence balanced. [-]
    seed
        Of the scrambling; the same seed gives the same draws.
    correlations
        Pairs of names → correlation of their deviates, −1 to 1. [-]

    Returns
    -------
    ensemble
        The draws.

    Raises
    ------
    InputError
        If the size is below 2, a pair is unknown, or the correlations contradict each other.

    References
    ----------
    [owen1998]
    """
    from scipy.stats import norm, qmc

    if not size >= 2:
        raise InputError("size", size, "draws", "an ensemble needs at least 2")
    names = [name for name, quantity in quantities.items() if not quantity.is_exact]
    columns = {name: i for i, name in enumerate(names)}
    if not names:
        return Ensemble(quantities=dict(quantities), deviates=np.zeros((size, 0)), columns={})
    sobol = qmc.Sobol(d=len(names), scramble=True, rng=np.random.default_rng(seed))
    power = int(np.ceil(np.log2(size)))
    uniform = sobol.random_base2(power)[:size]
    deviates = norm.ppf(np.clip(uniform, 1e-9, 1 - 1e-9))
    if correlations:
        deviates = deviates @ _correlation_factor(columns, correlations).T
    return Ensemble(quantities=dict(quantities), deviates=deviates, columns=columns)


def summarise(draws: Float[np.ndarray, "..."]) -> Summary:
    """Return the median and the 80 % and 50 % ranges of a result's draws. [as given]

    Raises
    ------
    InputError
        If a draw is not a number: an engine failed and must say so itself.
    """
    values = np.asarray(draws, dtype=float).ravel()
    if not np.all(np.isfinite(values)):
        count = int(np.sum(~np.isfinite(values)))
        raise InputError("draws", count, "of them", "are not numbers")
    low, low_half, best, high_half, high = np.quantile(values, (0.1, 0.25, 0.5, 0.75, 0.9))
    return Summary(
        best=float(best), low=float(low), high=float(high),
        low_half=float(low_half), high_half=float(high_half),
    )  # fmt: skip


def influences(
    ensemble: Ensemble, result: Draws, *, most: int = 5, among: Collection[str] | None = None
) -> tuple[Influence, ...]:
    """Return the inputs that dominate a result's range, largest first.

    Shares are those of a standardised rank regression on the inputs that rank correlation picks
    out of the noise; the effect of halving an input's range is found by weighting the draws.

    Parameters
    ----------
    ensemble
        The inputs.
    result : (n_draw,)
        The result, draw by draw. [any]
    most
        At most so many are returned.
    among
        Inputs the result can depend on, where that is known: others that only move together with
        one of them are then not blamed.

    Returns
    -------
    influences
        With a share above 1 % each.

    References
    ----------
    [saltelli2008] section 1.2.5.
    """
    values = np.asarray(result, dtype=float)
    spread = float(np.ptp(values))
    if not ensemble.columns or not spread > 1e-12 * max(1.0, float(np.max(np.abs(values)))):
        return ()
    inputs = _standardised(_ranks(ensemble.deviates))
    ranks = _standardised(_ranks(values[:, None]))[:, 0]
    screened = np.abs(inputs.T @ ranks) / values.size
    names = ensemble.uncertain
    if among is not None:
        screened = np.where([name in among for name in names], screened, 0.0)
    picked = np.flatnonzero(screened > 1.5 / np.sqrt(values.size))
    if picked.size == 0:
        return ()
    picked = picked[np.argsort(-screened[picked])][: max(1, values.size // 4)]
    slopes = np.linalg.lstsq(inputs[:, picked], ranks, rcond=None)[0]
    # covariance decomposition: with correlated inputs the shares still add up to R²
    shares = slopes * (inputs[:, picked].T @ ranks) / values.size
    found = [
        Influence(
            name=names[column],
            share=float(share),
            halved=halved_width(ensemble, names[column], values),
        )
        for column, share in zip(picked, shares, strict=True)
        if share > 0.01
    ]
    return tuple(sorted(found, key=lambda i: -i.share)[:most])


def halved_width(ensemble: Ensemble, name: str, result: Draws) -> float:
    """Return how wide a result's 80 % range would be, against today's, were one input's halved.

    Draws are weighted by the ratio of the narrower to today's density of that input, so no engine
    runs again; holds where draws of the other inputs do not move with it.
    """
    deviate = ensemble.deviates[:, ensemble.columns[name]]
    # an ensemble tied to measurements has moved and narrowed: halve what is left of the range
    deviate = (deviate - np.mean(deviate)) / max(float(np.std(deviate)), 1e-12)
    weights = np.exp(-1.5 * deviate**2)
    order = np.argsort(result)
    cumulative = np.cumsum(weights[order]) - 0.5 * weights[order]
    cumulative /= np.sum(weights)
    low, high = np.interp((0.1, 0.9), cumulative, np.asarray(result)[order])
    today_low, today_high = np.quantile(result, (0.1, 0.9))
    return float(min(1.0, (high - low) / max(today_high - today_low, 1e-300)))


def probability(condition: np.ndarray) -> float:
    """Return the share of draws for which a condition holds [-]."""
    return float(np.mean(np.asarray(condition, dtype=bool)))


def _ranks(columns: Float[np.ndarray, "n k"]) -> Float[np.ndarray, "n k"]:
    return np.argsort(np.argsort(columns, axis=0), axis=0).astype(float)


def _standardised(columns: Float[np.ndarray, "n k"]) -> Float[np.ndarray, "n k"]:
    return np.asarray((columns - columns.mean(axis=0)) / columns.std(axis=0))


def _correlation_factor(
    columns: Mapping[str, int], correlations: Mapping[tuple[str, str], float]
) -> Float[np.ndarray, "k k"]:
    matrix = np.eye(len(columns))
    for (first, second), value in correlations.items():
        for name in (first, second):
            if name not in columns:
                raise UnknownName("correlated input", name, columns)
        if not -1 <= value <= 1:
            raise InputError(f"correlation of {first} and {second}", value, "", "must be -1 to 1")
        matrix[columns[first], columns[second]] = matrix[columns[second], columns[first]] = value
    try:
        return np.asarray(np.linalg.cholesky(matrix + 1e-12 * np.eye(len(columns))))
    except np.linalg.LinAlgError:
        pairs = ", ".join(f"{a}–{b}" for a, b in list(correlations)[:4])
        raise InputError("correlations", pairs, "", "contradict each other") from None


def pairs_of(names: Sequence[str], value: float) -> dict[tuple[str, str], float]:
    """Return one correlation for every pair of names, for :func:`draw_ensemble`."""
    return dict.fromkeys(combinations(names, 2), value)
