"""A best value with an 80 % range, and draws from it; used for the room's default bands."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Origin

_Z90 = 1.2815515655446004  # [-]  90 % point of the normal law: half of an 80 % range


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A best value between two ends that hold it in 8 cases of 10.

    Attributes
    ----------
    low, best, high
        Ends of the 80 % range and the best value, in the unit of the thing described.
    origin
        How the band came to be known.
    note
        Where it comes from, in words.
    lowest, highest
        Physical limits at which draws are held.
    """

    low: float
    best: float
    high: float
    origin: Origin = "assumed"
    note: str = ""
    lowest: float = -np.inf
    highest: float = np.inf

    def __post_init__(self) -> None:
        if not self.low <= self.best <= self.high:
            raise InputError("best", self.best, "", f"must lie in {self.low:g} to {self.high:g}")

    def draws(self, n_draw: int, seed: int) -> Array:
        """Return ``(n_draw,)`` draws of a normal law with a left and a right width."""
        z = np.random.default_rng(seed).standard_normal(n_draw)
        left, right = (self.best - self.low) / _Z90, (self.high - self.best) / _Z90
        free = self.best + np.where(z < 0, left * z, right * z)
        return np.clip(free, self.lowest, self.highest)


def relative_draws(best: float, half_range: float, n_draw: int, seed: int) -> Array:
    """Return lognormal draws about ``best`` whose 80 % range is about ±``half_range`` (share)."""
    z = np.random.default_rng(seed).standard_normal(n_draw)
    return np.asarray(best * np.exp(np.log1p(half_range) / _Z90 * z))
