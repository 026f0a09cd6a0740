"""A few draws that stand for all of them, where a page cannot wait for every draw.

Taking the first draws of an ensemble makes a sample of it: its middle differs from that of the
whole by a seventh of the range with 32 draws, and one setting then has two middles on one page.
The draws are chosen instead, from what all of them have already said of the car: loads on the
platform path and seconds a lap, of every state. The chosen ones have the quantiles of the whole.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from tuftwork.quantity import Array
from tuftwork.study.store import Tree

_QUANTILES = (0.1, 0.25, *[0.5] * 4, 0.75, 0.9)  # the middle counts most: it is what is compared
_EVERY = 2  # studied speed, from the fastest down: loads beside each other say the same
_SWEEPS = 40  # exchanges end by themselves long before


def said_by_all(results: Mapping[str, Tree], states: Sequence[str], laps: Sequence[str]) -> Array:
    """Return what every draw said of the car, ``(n_feature, n_draw)``; NaN where it said nothing.

    Parameters
    ----------
    results
        Of the study's steps.
    states
        Of the car, the baseline first.
    laps
        Names of the steps that lap these states, in the same order.
    """
    rows: list[Array] = []
    for state in states:
        ride = results[f"ride {state}"]
        front, rear = np.asarray(ride["downforce_front"]), np.asarray(ride["downforce_rear"])
        whole = front + rear
        for speed in range(whole.shape[0] - 1, -1, -_EVERY):
            rows += [whole[speed], front[speed] / whole[speed], np.asarray(ride["drag"])[speed]]
    driven = [results[name] for name in laps if "refused" not in results[name]]
    for lap in driven:
        time = np.asarray(lap["time"])
        rows += [time, np.asarray(lap["top_speed"]), time - np.asarray(driven[0]["time"])]
    return np.array(rows, dtype=float)


def standing_draws(said: Array, most: int) -> Array:
    """Return which draws stand for all, in order.

    From an even walk through the draws in order of their first principal component, draws are
    exchanged one for one as long as that brings the chosen ones' distribution of every feature
    nearer to that of all draws: the share below each quantile, the mean and the mean square.

    Parameters
    ----------
    said : (n_feature, n_draw)
        What every draw said; NaN is taken as the middle. [any]
    most
        How many to choose; all where there are no more.

    Returns
    -------
    chosen : (n_chosen,)
        Indices of draws.
    """
    size = said.shape[1]
    if size <= most:
        return np.arange(size)
    marks = _marks(said)
    target = marks.mean(axis=0)
    order = _walk(said)
    chosen = order[((np.arange(most) + 0.5) * size / most).astype(int)]
    others = np.setdiff1d(order, chosen)
    total = marks[chosen].sum(axis=0) - most * target
    for _ in range(_SWEEPS):
        is_better = False
        for k in range(most):
            gap = total - marks[chosen[k]]
            # |gap + m|² for every other draw m
            cost = np.sum(marks[others] ** 2, axis=1) + 2.0 * marks[others] @ gap
            j = int(np.argmin(cost))
            now = float(np.sum(marks[chosen[k]] ** 2) + 2.0 * marks[chosen[k]] @ gap)
            if cost[j] < now - 1e-9 * (1.0 + abs(now)):
                total = gap + marks[others[j]]
                chosen[k], others[j] = others[j], chosen[k]
                is_better = True
        if not is_better:
            break
    return np.sort(chosen)


def left_over(draws: Array, chosen: Array) -> float:
    """Return how far the middle of the chosen draws lies from that of all [as given]."""
    return float(abs(np.nanmedian(draws[chosen]) - np.nanmedian(draws)))


def _marks(said: Array) -> Array:
    """Return what is to be alike, a row a draw: steps at the quantiles, value and its square."""
    columns = []
    for row in _filled(said):
        spread = float(np.std(row))
        if not spread > 1e-12 * max(1.0, float(np.max(np.abs(row)))):
            continue
        score = (row - row.mean()) / spread
        columns += [score <= q for q in np.quantile(score, _QUANTILES)]
        columns += [score, 0.5 * score**2]
    return np.array(columns, dtype=float).T.reshape(said.shape[1], -1)


def _walk(said: Array) -> Array:
    """Return the draws in order of the first principal component of what they said."""
    filled = _filled(said)
    spread = filled.std(axis=1)
    moving = spread > 0.0
    if not np.any(moving):
        return np.arange(said.shape[1])
    score = (filled[moving] - filled[moving].mean(axis=1)[:, None]) / spread[moving][:, None]
    first = np.linalg.svd(score, full_matrices=False)[2][0]
    return np.argsort(first * np.sign(first[np.argmax(np.abs(first))]), kind="stable")


def _filled(said: Array) -> Array:
    known = np.where(np.isfinite(said), said, np.nan)
    some = np.any(np.isfinite(known), axis=1)
    known = known[some]
    return np.where(np.isfinite(known), known, np.nanmedian(known, axis=1)[:, None])
