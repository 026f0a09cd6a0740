"""What next: possible changes ranked by seconds for money, with what each one needs first."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array

Confidence = Literal["measured", "computed, checked", "computed", "guessed"]

SPREAD: dict[Confidence, float] = {
    "measured": 1.0,
    "computed, checked": 0.9,
    "computed": 0.7,
    "guessed": 0.4,
}
"""Share of the computed gain to count on, by how it is known. common practice, no source"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing that could be done.

    Attributes
    ----------
    name, cost
        What, and for how much [money].
    seconds : (n_draw,)
        Change of lap time draw by draw, negative is quicker. [s]
    confidence
        How the gain is known.
    needs
        Changes that have to come first; without them the gain is not there.
    """

    name: str
    cost: float
    seconds: Array
    confidence: Confidence = "computed"
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedChange:
    """A change in the order to do it, with what it brings together with what it needs."""

    name: str
    do_with: tuple[str, ...]
    gain: float
    low: float
    high: float
    chance: float
    cost: float
    gain_per_cost: float
    confidence: Confidence
    below_noise: bool


def rank_changes(changes: Sequence[Change], *, noise: float = 0.0) -> tuple[RankedChange, ...]:
    """Return changes ranked by counted-on seconds for money.

    A change is taken together with everything it needs: gains and costs of the chain are summed,
    draw by draw, each gain counted by its confidence. What an earlier line brings already is
    not paid again. Gains that the driver's scatter hides come after those it does not, however
    cheap they are: nobody could tell whether they were had.

    Parameters
    ----------
    changes : (n_change,)
        What could be done. [-]
    noise : ()
        Driver's scatter below which a gain cannot be shown. [s]

    Returns
    -------
    ranked : (n_change,)
        Best first; ``do_with`` lists what comes first. [s]

    Raises
    ------
    InputError, UnknownName
        If a cost is not above 0, a need is unknown, or needs go in a circle.

    Notes
    -----
    Gains of a chain are added; a change that alters what another is worth should be given as a
    chain computed together.
    """
    by_name = {c.name: c for c in changes}
    for c in changes:
        if not c.cost > 0.0:
            raise InputError("cost", c.cost, "", f"of '{c.name}' must be above 0", "Use 1 if free.")
        for need in c.needs:
            if need not in by_name:
                raise UnknownName("needs", need, by_name)
    chains = {c.name: _chain(c.name, by_name, ()) for c in changes}
    done: set[str] = set()
    out: list[RankedChange] = []
    while len(out) < len(changes):
        best: RankedChange | None = None
        for c in changes:
            if c.name in done:
                continue
            todo = [n for n in chains[c.name] if n not in done]
            entry = _entry(c, [by_name[n] for n in todo], noise)
            if best is None or _order(entry) > _order(best):
                best = entry
        if best is None:
            break
        for name in (*best.do_with, best.name):
            if name not in done:
                done.add(name)
                if name == best.name:
                    out.append(best)
                else:
                    out.append(_entry(by_name[name], [by_name[name]], noise))
    return tuple(out)


def _order(entry: RankedChange) -> tuple[bool, float]:
    """Return what a line is ranked by, best greatest."""
    return entry.gain > 0.0 and not entry.below_noise, entry.gain_per_cost


def _chain(name: str, by_name: dict[str, Change], seen: tuple[str, ...]) -> list[str]:
    """Return a change and all it needs, first things first."""
    if name in seen:
        raise InputError("needs", " -> ".join((*seen, name)), "", "go in a circle")
    chain: list[str] = []
    for need in by_name[name].needs:
        chain += [n for n in _chain(need, by_name, (*seen, name)) if n not in chain]
    return [*chain, name]


def _entry(change: Change, parts: Sequence[Change], noise: float) -> RankedChange:
    """Return one line of the ranking."""
    gain = -np.sum([SPREAD[p.confidence] * np.asarray(p.seconds) for p in parts], axis=0)
    cost = float(sum(p.cost for p in parts))
    best = float(np.median(gain))
    low, high = (float(v) for v in np.percentile(gain, [10.0, 90.0]))
    weakest = min(parts, key=lambda p: SPREAD[p.confidence]).confidence
    return RankedChange(
        name=change.name, do_with=tuple(p.name for p in parts if p.name != change.name),
        gain=best, low=low, high=high, chance=float(np.mean(gain > 0.0)), cost=cost,
        gain_per_cost=best / cost, confidence=weakest, below_noise=abs(best) < noise,
    )  # fmt: skip
