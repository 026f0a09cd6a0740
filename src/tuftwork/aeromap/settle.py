"""Ride heights of a path put right by the engines themselves.

A path is found on the map, whose cells are some millimetres wide; between its nodes the map errs
by up to some hundredths of a square metre where a cliff crosses a cell. From there Newton's method
with slopes kept up to date (Broyden's) finds the balance of springs and the engines' own loads,
draw by draw, so that a budget at these heights adds up to the same number.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from jaxtyping import Bool, Float

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.platform import Suspension
from tuftwork.quantity import Array, Draws, Quantity, Source

_DONE = 1e-6  # [m]
_MOST = 25  # steps
_LONGEST = 1.0e-3  # [m] of one step
_FURTHEST = 6e-3  # [m] from the map's answer: beyond, it is another equilibrium
_IDLE = ("air net", "cooling")  # kinds that do not answer to ride height by themselves


@dataclass(frozen=True, slots=True)
class StillPart:
    """A part whose load does not depend on ride height: worked out once, then as it was."""

    model: PartModel
    found: PartLoad

    @property
    def name(self) -> str:
        """As the part's."""
        return self.model.name

    @property
    def kind(self) -> str:
        """As the part's."""
        return self.model.kind

    @property
    def inputs(self) -> Mapping[str, Quantity]:
        """As the part's."""
        return self.model.inputs

    @property
    def sources(self) -> tuple[Source, ...]:
        """As the part's."""
        return self.model.sources

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the load it had."""
        return self.found


def stilled(
    models: Sequence[PartModel], platform: PlatformState, draws: Mapping[str, Field]
) -> tuple[PartModel, ...]:
    """Return the models, those that answer neither to heights nor to neighbours worked out."""
    return tuple(
        StillPart(m, m.load(platform, draws, {}))
        if m.kind in _IDLE and not getattr(m, "hears", ()) else m
        for m in models
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Heights and loads of every draw at one speed; all ``(n_draw,)``.

    Attributes
    ----------
    front, rear
        Ride heights. [m]
    downforce_front, downforce_rear, drag
        CzSf, CzSr, CxS there. [m²]
    found
        Whether springs and engines agree; where not, the start stands with the engines' loads.
    """

    front: Draws
    rear: Draws
    downforce_front: Draws
    downforce_rear: Draws
    drag: Draws
    found: Bool[np.ndarray, " n_draw"]


Loads = Callable[[Draws, Draws], tuple[Draws, Draws, Draws]]
"""Front and rear ride height [m] → CzSf, CzSr, CxS [m²]."""


def settle(
    loads: Loads,
    suspension: Suspension,
    start: tuple[Draws, Draws],
    *,
    pressure: Draws,
    speed: float,
    slopes: Float[np.ndarray, "2 2 n_draw"],
) -> Settled:
    """Return the balance next to a start.

    Parameters
    ----------
    loads
        The engines'.
    suspension
        Springs, the same draws.
    start : (n_draw,), (n_draw,)
        Ride heights; NaN leaves a draw out. [m]
    pressure, speed
        Dynamic pressure [Pa] and speed [m/s].
    slopes : (2, 2, n_draw)
        Of CzSf and CzSr over front and rear ride height at the start, good enough to begin. [m]

    References
    ----------
    Slopes kept up to date by the rank-one rule [broyden1965].
    """
    begin = np.stack(start)
    live = np.isfinite(begin).all(axis=0)
    at = np.where(live, begin, np.nanmedian(begin, axis=1)[:, None] if live.any() else 0.05)
    springs = suspension.front, suspension.rear

    def miss(heights: Array) -> tuple[Array, tuple[Draws, Draws, Draws]]:
        found = loads(heights[0], heights[1])
        want = [s.height(pressure * z, speed) for s, z in zip(springs, found, strict=False)]
        return heights - np.stack(want), found

    off, found = miss(at)
    first = found
    jac = np.empty((2, 2, at.shape[1]))
    for i, spring in enumerate(springs):
        rate = _rate_at(spring.load, spring.rate, pressure * found[i])
        jac[i] = (pressure / rate) * slopes[i]
        jac[i, i] += 1.0
    best, best_at, best_found = np.abs(off).max(axis=0), at.copy(), found
    for _ in range(_MOST):
        if np.all((best < _DONE) | ~live):
            break
        det = jac[0, 0] * jac[1, 1] - jac[0, 1] * jac[1, 0]
        det = np.where(np.abs(det) < 0.05, np.where(det < 0, -0.05, 0.05), det)
        move = -np.stack([
            (jac[1, 1] * off[0] - jac[0, 1] * off[1]) / det,
            (jac[0, 0] * off[1] - jac[1, 0] * off[0]) / det,
        ])  # fmt: skip
        move = np.clip(move, -_LONGEST, _LONGEST)
        move = np.where((best < _DONE) | ~live, 0.0, move)
        at = at + move
        fresh, found = miss(at)
        size = np.maximum(np.square(move).sum(axis=0), 1e-18)
        change = fresh - off - np.einsum("ijn,jn->in", jac, move)
        jac = jac + change[:, None] * move[None] / size
        off = fresh
        now = np.abs(off).max(axis=0)
        better = now < best
        best = np.where(better, now, best)
        best_at = np.where(better, at, best_at)
        best_found = _where(better, found, best_found)
    good = live & (best < _DONE) & (np.abs(best_at - begin).max(axis=0) < _FURTHEST)
    nothing = np.full(at.shape[1], np.nan)
    told = _where(good, best_found, first)
    front, rear, drag = _where(live, told, (nothing, nothing, nothing))
    return Settled(
        front=np.where(good, best_at[0], begin[0]), rear=np.where(good, best_at[1], begin[1]),
        downforce_front=front, downforce_rear=rear, drag=drag, found=good,
    )  # fmt: skip


_Three = tuple[Draws, Draws, Draws]


def _where(which: np.ndarray, yes: _Three, no: _Three) -> _Three:
    a, b, c = (np.where(which, y, n) for y, n in zip(yes, no, strict=True))
    return a, b, c


def _rate_at(starts: Array, rates: Array, load: Draws) -> Draws:
    piece = np.sum(load[:, None] >= starts[:, 1:], axis=1)
    return np.asarray(rates[np.arange(piece.size), piece])
