"""One number with its unit, its 80 % range and its origin; no arithmetic by design.

Arithmetic is done on plain SI floats, and ranges travel through an ensemble of draws
(``ensemble.py``). A ``Quantity`` is what stands at the two ends of that way.
"""

from dataclasses import dataclass, field, replace
from math import exp, inf, isfinite, isinf, log
from typing import Literal

from tuftwork.errors import InputError
from tuftwork.quantity.end import SHORT, bent
from tuftwork.quantity.source import Origin

Spread = Literal["exact", "normal", "log"]
"""How draws lie about the best value: not at all, evenly, or by a factor (the sign is kept)."""

Z80 = 1.2815515655446004
"""Standard normal deviate of the 90 % point: an 80 % range reaches ±Z80 σ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A value, its 80 % range, the unit it was written in, its origin and its place.

    Attributes
    ----------
    best, low, high
        Best value and the ends of the 80 % range, in SI. ``low ≤ best ≤ high``; the two arms may
        differ, which makes the range one-sided.
    unit
        Unit it was written in and is shown in, as the unit table spells it.
    dimension
        Key of ``DIMENSIONS``.
    spread
        How draws lie about the best value.
    origin
        How the number came to be known.
    place
        Where it stands: photo and mark, log and lines, paper and table, method and version.
    least, most
        Physical ends, in SI: no draw lies beyond them (``end.py``).
    """

    best: float
    low: float
    high: float
    unit: str
    dimension: str
    spread: Spread = "normal"
    origin: Origin = "assumed"
    place: str = ""
    least: float = field(default=-inf, compare=False)
    most: float = field(default=inf, compare=False)

    def __post_init__(self) -> None:
        if not (isfinite(self.best) and isfinite(self.low) and isfinite(self.high)):
            raise InputError("value", str(self.best), self.unit, "must be a finite number")
        if not self.low <= self.best <= self.high:
            limit = f"its range {self.low:g} to {self.high:g} must hold it"
            raise InputError("value", self.best, "in SI", limit)
        if not self.least <= self.low <= self.high <= self.most:
            limit = f"its range must lie between the ends {self.least:g} and {self.most:g}"
            raise InputError("value", self.best, "in SI", limit)
        if self.spread == "log" and not self.low * self.high > 0:
            raise InputError("value", self.best, "in SI", "a range by a factor must not reach zero")

    @property
    def is_exact(self) -> bool:
        """Whether no range was given."""
        return self.low == self.high

    def at(self, z: float) -> float:
        """Return the value at a standard normal deviate; ±Z80 are the ends of the range [SI]."""
        step = z / Z80
        if self.spread == "log":
            arm = log(self.high / self.best) if step > 0 else log(self.best / self.low)
            value = self.best * exp(step * arm)
        else:
            arm = self.high - self.best if step > 0 else self.best - self.low
            value = self.best + step * arm
        return float(bent(value, self.best, (self.low, self.high), (self.least, self.most)))

    def within(self, least: float | None, most: float | None) -> "Quantity":
        """Return this quantity with physical ends: no draw of it lies beyond them.

        The best value stays. An arm of the range that reaches an end or goes past it stops short
        of it, at ``SHORT`` of the way from the best value; other ranges stay as they are.

        Parameters
        ----------
        least, most
            The ends; None where there is none. [SI]

        Raises
        ------
        InputError
            If the best value lies beyond an end.

        Notes
        -----
        A range by a factor never reaches zero and needs no end there.
        """
        down = -inf if least is None else least
        up = inf if most is None else most
        if self.spread == "log":
            down = -inf if self.best > 0 >= down else down
            up = inf if self.best < 0 <= up else up
        if isinf(down) and isinf(up):
            return self
        if not down <= self.best <= up:
            raise InputError("value", self.best, "in SI", f"must lie between {down:g} and {up:g}")
        if self.is_exact:
            return replace(self, least=down, most=up)
        return replace(
            self, least=down, most=up,
            low=max(self.low, self.best - SHORT * (self.best - down)),
            high=min(self.high, self.best + SHORT * (up - self.best)),
        )  # fmt: skip


def exact(
    value: float, dimension: str, *, unit: str, origin: Origin = "assumed", place: str = ""
) -> Quantity:
    """Return a Quantity without a range from an SI value [SI]."""
    return Quantity(
        best=value, low=value, high=value, unit=unit, dimension=dimension,
        spread="exact", origin=origin, place=place,
    )  # fmt: skip
