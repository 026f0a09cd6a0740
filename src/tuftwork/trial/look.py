"""What every look at a log shares: the scene, lines through passes, how a finding is written."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.quantity import Z80, Array
from tuftwork.trial.cure import Cure
from tuftwork.trial.log import Log
from tuftwork.trial.passes import PassTable
from tuftwork.trial.setup import MassLoads, Setup

SURE = 3.5
"""Standard uncertainties a fault must lie from nothing: with some fifteen questions asked of every
log this keeps false alarms well under 5 %. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a look sees."""

    log: Log
    table: PassTable
    setup: Setup
    race: MassLoads
    others: tuple[MassLoads, ...]

    def column(self, role: str) -> Array:
        """Return a channel's means, pass by pass."""
        return self.table.column(role)

    def has(self, *roles: str) -> bool:
        """Return whether all of these channels have a mean in every pass."""
        return all(np.all(np.isfinite(self.column(r))) for r in roles)

    @property
    def speed(self) -> Array:
        """Speed over ground, pass by pass. [m/s]"""
        return np.array([p.speed for p in self.table.passes])

    @property
    def way(self) -> Array:
        """+1 out, −1 back."""
        return np.array([float(p.way) for p in self.table.passes])

    @property
    def pressure(self) -> Array:
        """Dynamic pressure, from the air speed where it is plausible, else over ground. [Pa]"""
        air = self.column("air speed")
        good = np.all(np.isfinite(air)) and 0.8 < np.median(air / self.speed) < 1.25
        speed = air if good else self.speed
        return 0.5 * float(self.setup.density) * speed**2

    def samples(self, role: str) -> Array:
        """Return a channel's samples within the passes, one after the other."""
        channel = self.log.of(role)
        pieces = []
        for p in self.table.passes:
            a, b = np.searchsorted(channel.time, (p.start, p.end))
            pieces.append(channel.values[a:b])
        return np.concatenate(pieces)


LookAt = Callable[[Look], list[dict[str, Any]]]
"""A look: returns the fields of its hypotheses."""


def written(
    kind: str,
    title: str,
    size: tuple[float, float],
    unit: str,
    evidence: Sequence[str],
    cures: Sequence[Cure] = (),
    *,
    strength: float | None = None,
    is_fault: bool = True,
) -> dict[str, Any]:
    """Return the fields of a hypothesis; ``size`` is the estimate and its standard uncertainty."""
    best, doubt = size
    if strength is None:
        strength = abs(best) / doubt if doubt > 0 else np.inf
    return {
        "kind": kind, "title": title, "evidence": tuple(evidence), "size": float(best),
        "low": float(best - Z80 * doubt), "high": float(best + Z80 * doubt), "unit": unit,
        "strength": float(min(strength, 999.0)), "is_fault": is_fault, "cures": tuple(cures),
    }  # fmt: skip


def weighted_line(x: Array, y: Array) -> tuple[float, float, float, float]:
    """Return intercept, slope and their standard uncertainties of a straight line."""
    design = np.column_stack([np.ones_like(x), x])
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ y
    dof = max(1, x.size - 2)
    variance = float(np.sum((y - design @ found) ** 2) / dof)
    doubts = np.sqrt(np.diag(inverse) * variance)
    return float(found[0]), float(found[1]), float(doubts[0]), float(doubts[1])
