"""How far a state stays from the cliff: the edge over ride heights, and what to say about it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.balance import CLIFF_CRITERION, Balance, balance_of, cliff_line
from tuftwork.aeromap.interpolate import Surface
from tuftwork.quantity import format_number, summarise
from tuftwork.study.answers import Answers

_KMH = 3.6
_DRAWS = 96  # enough for the median of an edge
_SEEN = 0.5  # [-] share of draws that must have an edge for it to be drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class CliffLine:
    """The edge of the rear axle's cliff over front ride height, medians of the draws.

    Attributes
    ----------
    front, rear
        Points of the edge; empty where the map has none. [m]
    text
        What to know about it, in words.
    to_cliff
        Height of the rear above the edge, ``(n_speed, n_draw)`` of the kept draws. [m]
    """

    front: np.ndarray
    rear: np.ndarray
    text: str
    to_cliff: np.ndarray

    @property
    def page(self) -> dict[str, Any]:
        """The line as pages take it."""
        return {
            "front_mm": (1e3 * self.front).tolist(),
            "rear_mm": (1e3 * self.rear).tolist(),
            "text": self.text,
        }

    def clearance(self, front: np.ndarray, rear: np.ndarray) -> np.ndarray | None:
        """Return how far ride heights lie above the line [m], None where there is none."""
        if self.front.size < 2:
            return None
        return np.asarray(rear - np.interp(front, self.front, self.rear))


def cliff_of(answers: Answers, state: str) -> CliffLine:
    """Return the rear cliff of a state, with the distance to it along the platform path."""
    key = f"cliff {state}"
    kept = answers.worked_out.get(key)
    if kept is None:
        kept = answers.worked_out[key] = _cliff(answers, state)
    assert isinstance(kept, CliffLine)
    return kept


def balance_in(answers: Answers, state: str) -> Balance:
    """Return loads, stiffness and distance to the cliffs of the kept draws along the path."""
    key = f"balance {state}"
    kept = answers.worked_out.get(key)
    if kept is None:
        path = answers.platform_path(state)
        surface = answers.surface(state)
        draws = np.flatnonzero(answers.kept(state))
        kept = answers.worked_out[key] = balance_of(path, _some(surface, draws))
    assert isinstance(kept, Balance)
    return kept


def _cliff(answers: Answers, state: str) -> CliffLine:
    surface = answers.surface(state)
    draws = np.flatnonzero(answers.kept(state))
    few = _some(surface, draws[:: max(1, draws.size // _DRAWS)])
    front = np.linspace(surface.front[0], surface.front[-1], 25)
    edges = cliff_line(few, "rear", front)
    seen = np.mean(np.isfinite(edges), axis=1) >= _SEEN
    line = np.array([np.nanmedian(row) for row in edges[seen]])
    balance = balance_in(answers, state)
    return CliffLine(
        front=front[seen],
        rear=line,
        text=_words(answers, balance.to_cliff_rear),
        to_cliff=balance.to_cliff_rear,
    )


def _words(answers: Answers, to_cliff: np.ndarray) -> str:
    share = f"{CLIFF_CRITERION / 10:.0f}"
    there = np.isfinite(to_cliff)
    if np.mean(there) < _SEEN:
        return (
            f"No rear cliff on this map: nowhere does the rear axle lose more than {share} % of "
            "its load per millimetre."
        )
    said = []
    for at, speed in enumerate(answers.speeds):
        row = to_cliff[at][there[at]]
        if row.size < to_cliff.shape[1] / 2:
            continue
        summary = summarise(1e3 * row)
        if summary.high < 0:
            ends = (format_number(-summary.high, 1), format_number(-summary.low, 1))
            said.append(
                (speed, f"{format_number(-summary.best, 1)} mm past it ({' to '.join(ends)})")
            )
    if not said:
        return _nearest(answers, to_cliff, there)
    first, last = said[0][0], said[-1]
    return (
        f"The rear passes the edge of its cliff (more than {share} % of its load lost per "
        f"millimetre) by {first * _KMH:.0f} km/h; at {last[0] * _KMH:.0f} km/h it rides {last[1]}."
    )


def _nearest(answers: Answers, to_cliff: np.ndarray, there: np.ndarray) -> str:
    """Return where the rear is nearest to its cliff, no surer than the draws are."""
    found, speed = min(
        ((summarise(1e3 * to_cliff[at][there[at]]), v)
         for at, v in enumerate(answers.speeds) if np.any(there[at])),
        key=lambda pair: pair[0].best,
    )  # fmt: skip
    ends = f"{format_number(found.low, 1)} to {format_number(found.high, 1)}"
    at = f"{speed * _KMH:.0f} km/h"
    if found.low > 0:
        return (
            f"The rear stays above its cliff; nearest at {at}, "
            f"{format_number(found.best, 1)} mm above the edge ({ends})."
        )
    return (
        f"Whether the rear stays above its cliff is not known: at {at} it is "
        f"{format_number(found.best, 1)} mm above the edge ({ends}; minus is past it)."
    )


def _some(surface: Surface, draws: np.ndarray) -> Surface:
    return replace(surface, nodes=np.ascontiguousarray(surface.nodes[draws]))
