"""The order of a tunnel's matrix: whenever it ends, what mattered most has been answered.

The unknown is the model's error over ride heights, a Gaussian field as in ``agreement``; states
share most of it. Each next point is the one that takes away most of the doubt along the car's own
path, per second it costs, with what the points before it have already told. What is left over is
the answer to "what if the fan stops now".
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.trial.agreement import LENGTH_FRONT, LENGTH_REAR, PRIOR_SIZE

SHARED = 0.8
"""Correlation of the model's error between two states at the same ride heights: they share floor
and body. Common practice, no source. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A state at a pair of ride heights; ``weight`` says how much is asked of it. [m], [-]"""

    state: str
    height_front: float
    height_rear: float
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MatrixWish:
    """What a session can do.

    Attributes
    ----------
    candidates
        Points that could be measured.
    questions
        Places where the answer matters, with their weights.
    point_time, change_time
        Of one point, and of going from one state to another. [s]
    time
        Of the session. [s]
    noise
        Standard deviation of one point. [m²]
    repeat_every
        The first point again after so many others; 0 for never.
    """

    candidates: tuple[Place, ...]
    questions: tuple[Place, ...]
    point_time: float
    change_time: float
    time: float
    noise: float = 0.005
    repeat_every: int = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class MatrixLine:
    """One point of the order. ``answered`` is the share of the doubt gone after it. [s], [-]"""

    number: int
    start: float
    place: Place
    is_repeat: bool
    answered: float


def order_matrix(wish: MatrixWish) -> list[MatrixLine]:
    """Return the points in the order in which they are best measured, as many as time holds.

    Raises
    ------
    InputError
        If there is nothing to ask, nothing to measure, or no time for one point.
    """
    if not wish.candidates or not wish.questions:
        raise InputError("matrix", len(wish.candidates), "points", "needs points and questions")
    if wish.point_time > wish.time:
        raise InputError("time", wish.time, "s", "holds not even one point")
    places = [*wish.questions, *wish.candidates]
    covariance = PRIOR_SIZE**2 * _likeness(places)
    weights = np.array([q.weight for q in wish.questions])
    n_question = weights.size
    whole = float(weights @ np.sqrt(np.diag(covariance)[:n_question]))
    left = list(range(n_question, len(places)))
    clock, state, first = 0.0, "", -1
    lines: list[MatrixLine] = []
    since = 0
    while True:
        due = wish.repeat_every > 0 and since >= wish.repeat_every and first >= 0
        pick = first if due else _best(covariance, weights, left, places, state, wish)
        if pick < 0:
            break
        cost = _cost(places[pick], state, wish)
        if clock + cost > wish.time:
            break
        covariance = _told(covariance, pick, wish.noise)
        doubt = np.sqrt(np.maximum(np.diag(covariance)[:n_question], 0.0))
        lines.append(MatrixLine(number=len(lines) + 1, start=clock + cost - wish.point_time,
                                place=places[pick], is_repeat=due,
                                answered=1.0 - float(weights @ doubt) / whole))  # fmt: skip
        clock, state = clock + cost, places[pick].state
        first = pick if first < 0 else first
        since = 0 if due else since + 1
        if pick in left:
            left.remove(pick)
    return lines


def _likeness(places: Sequence[Place]) -> Array:
    at = np.array([[p.height_front / LENGTH_FRONT, p.height_rear / LENGTH_REAR] for p in places])
    near = np.exp(-0.5 * np.sum((at[:, None, :] - at[None, :, :]) ** 2, axis=-1))
    same = np.array([[p.state == q.state for q in places] for p in places])
    return np.asarray(near * np.where(same, 1.0, SHARED))


def _cost(place: Place, state: str, wish: MatrixWish) -> float:
    changed = state not in ("", place.state)
    return wish.point_time + (wish.change_time if changed else 0.0)


def _best(
    covariance: Array,
    weights: Array,
    left: Sequence[int],
    places: Sequence[Place],
    state: str,
    wish: MatrixWish,
) -> int:
    """Return the candidate that takes most weighted doubt away per second, −1 where none is left.

    A change of state is paid once for all the points it opens, so its cost is spread over them.
    """
    if not left:
        return -1
    n_question = weights.size
    now = np.diag(covariance)[:n_question]
    rates = []
    for i in left:
        told = covariance[:n_question, i] ** 2 / (covariance[i, i] + wish.noise**2)
        gain = float(weights @ (np.sqrt(now) - np.sqrt(np.maximum(now - told, 0.0))))
        alike = sum(places[j].state == places[i].state for j in left)
        cost = wish.point_time + (_cost(places[i], state, wish) - wish.point_time) / alike
        rates.append(gain / cost)
    return left[int(np.argmax(rates))]


def _told(covariance: Array, pick: int, noise: float) -> Array:
    """Return the covariance once a point has been measured."""
    column = covariance[:, pick]
    return np.asarray(covariance - np.outer(column, column) / (column[pick] + noise**2))
