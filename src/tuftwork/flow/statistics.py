"""Means of unsteady series: where the start-up ends, and how well the mean is known."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError

Floats = npt.NDArray[np.float64]
FEWEST = 16
"""A series shorter than this has no mean worth an error. [samples]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesMean:
    """Mean of a series after its start-up.

    Attributes
    ----------
    mean
        Mean of the kept samples.
    error
        Standard error of that mean, the samples' correlation counted.
    n_start
        Samples dropped as start-up.
    n_independent
        How many independent samples the kept ones are worth. [-]
    """

    mean: float
    error: float
    n_start: int
    n_independent: float


def start_up(series: Floats) -> int:
    """Return how many samples to drop so that the standard error of the rest is least.

    The marginal standard error rule: drop n samples where s²/(N − n) is smallest, at most half.

    Parameters
    ----------
    series : (n,)
        Samples at even spacing.

    Returns
    -------
    n_start : ()
        Samples to drop.

    References
    ----------
    [white1997]
    """
    reversed_ = series[::-1]
    count = np.arange(1, len(series) + 1)
    mean = np.cumsum(reversed_) / count
    spread = np.maximum(np.cumsum(reversed_**2) / count - mean**2, 0.0)
    score = (spread / count)[::-1]
    last = max(1, len(series) // 2)
    return int(np.argmin(score[:last]))


def correlation_time(series: Floats) -> float:
    """Return the integrated autocorrelation time, 1 + 2 Σ ρ_k, in samples.

    The sum stops at the first lag k ≥ 5 τ(k), the usual self-consistent window.

    Parameters
    ----------
    series : (n,)
        Samples at even spacing.

    Returns
    -------
    tau : ()
        At least 1. [samples]

    References
    ----------
    [sokal1997] section 3.
    """
    x = np.asarray(series, dtype=float) - np.mean(series)
    power = float(np.dot(x, x))
    if power == 0.0:
        return 1.0
    size = 1 << (2 * len(x) - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(x, size)) ** 2
    rho = np.fft.irfft(spectrum, size)[: len(x)] / power
    tau = 2.0 * np.cumsum(rho) - 1.0
    window = np.flatnonzero(np.arange(len(x)) >= 5.0 * np.maximum(tau, 1.0))
    found = float(tau[window[0]]) if window.size else float(tau.max())
    return max(1.0, found)


def series_mean(series: Floats, *, n_start: int | None = None) -> SeriesMean:
    """Return the mean of a series after its start-up, with its standard error.

    Parameters
    ----------
    series : (n,)
        Samples at even spacing.
    n_start
        Samples to drop; None finds them.

    Returns
    -------
    result
        Mean and error.

    Raises
    ------
    InputError
        If fewer than 16 samples are left or one is not finite.

    Examples
    --------
    >>> import numpy as np
    >>> series_mean(np.tile([1.0, 3.0], 50)).mean
    2.0
    """
    series = np.asarray(series, dtype=float)
    if not np.all(np.isfinite(series)):
        raise InputError("series", "not finite", "", "every sample must be a number")
    first = start_up(series) if n_start is None and len(series) else int(n_start or 0)
    kept = series[first:]
    if len(kept) < FEWEST:
        raise InputError("series", len(kept), "samples", f"at least {FEWEST} are needed")
    independent = len(kept) / correlation_time(kept)
    error = float(np.std(kept, ddof=1)) / np.sqrt(max(independent, 1.0))
    return SeriesMean(
        mean=float(kept.mean()), error=float(error), n_start=first, n_independent=independent
    )
