"""A section seen end-on: a smooth outline through clicks, its chord, thickness and camber."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError

_ORDER = 5  # of the polynomials on each side at most
_GRID = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 61)))


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedShape:
    """A traced section, smoothed.

    Attributes
    ----------
    chord
        From the tail to the point furthest from it. [m]
    x, upper, lower : (n,)
        Both sides over the chord, upper as on the car. [-]
    miss
        How far the marks lie off the smooth outline, root mean square. [-]
    """

    chord: float
    x: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    miss: float

    @property
    def thickness(self) -> float:
        """Greatest distance between the sides. [-]"""
        return float(np.max(self.upper - self.lower))

    @property
    def camber(self) -> float:
        """Greatest height of the mean line, positive where it bends towards the road. [-]"""
        middle = -0.5 * (self.upper + self.lower)
        return float(middle[np.argmax(np.abs(middle))])

    def coordinates(self) -> np.ndarray:
        """Return x/c, y/c from the trailing edge over the upper side and back ``(n_point, 2)``."""
        above = np.stack([self.x, self.upper], axis=1)[::-1]
        below = np.stack([self.x, self.lower], axis=1)[1:]
        return np.concatenate([above, below])


def traced_shape(points: np.ndarray) -> TracedShape:
    """Return the smooth section through a traced outline.

    Each side is √x (1 − x) times a polynomial [kulfan2008]: round at the nose, sharp at the tail,
    no bumps between clicks. A blunt tail is read as a sharp one.

    Parameters
    ----------
    points : (n_point, 3)
        Outline in order, in the car's axes; the section lies in a plane across y. [m]

    Raises
    ------
    InputError
        If there are fewer than eight points, or one side has fewer than three.

    References
    ----------
    [kulfan2008]
    """
    around = section_coordinates(points)
    nose = int(np.argmin(around[:, 0]))
    upper, lower = around[: nose + 1], np.concatenate([around[nose:], around[:1]])
    if min(len(upper), len(lower)) < 4:
        limit, cure = "has fewer than three corners on one side", "Mark both sides alike."
        raise InputError("outline", len(points), "points", limit, cure)
    above, off_above = _side(upper)
    below, off_below = _side(lower)
    flat = points[:, [0, 2]]
    tail = flat[np.argmax(flat[:, 0])]
    return TracedShape(
        chord=float(np.max(np.linalg.norm(flat - tail, axis=1))), x=_GRID, upper=above, lower=below,
        miss=float(np.sqrt(np.mean(np.concatenate([off_above, off_below]) ** 2))),
    )  # fmt: skip


def _side(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return one side on the grid, and how far its corners lie off."""
    x = np.clip(corners[:, 0], 0.0, 1.0)
    order = int(np.clip(len(x) - 4, 1, _ORDER))
    weights, *_ = np.linalg.lstsq(_basis(x, order), corners[:, 1], rcond=None)
    return _basis(_GRID, order) @ weights, _basis(x, order) @ weights - corners[:, 1]


def _basis(x: np.ndarray, order: int) -> np.ndarray:
    # the tail is a mark and lies at y = 0, so no line to it is needed
    return np.asarray((np.sqrt(x) * (1.0 - x))[:, None] * x[:, None] ** np.arange(order))


def section_coordinates(points: np.ndarray) -> np.ndarray:
    """Return a traced section as x/c, y/c from trailing edge over the upper side and back.

    Parameters
    ----------
    points : (n_point, 3)
        Outline in order, in the car's axes; the section lies in a plane across y. [m]

    Returns
    -------
    coordinates : (n_point, 2)
        Chord along x from 0 to 1. [-]

    Raises
    ------
    InputError
        If there are fewer than eight points.
    """
    if len(points) < 8:
        raise InputError("outline", len(points), "points", "a section needs eight", "Mark more.")
    flat = points[:, [0, 2]]
    tail = flat[np.argmax(flat[:, 0])]
    nose = flat[np.argmax(np.linalg.norm(flat - tail, axis=1))]
    chord = tail - nose
    length = float(np.linalg.norm(chord))
    ahead = chord / length
    x = (flat - nose) @ ahead / length
    y = (flat - nose) @ np.array([-ahead[1], ahead[0]]) / length
    start = int(np.argmax(x))
    found = np.roll(np.stack([x, y], axis=1), -start, axis=0)
    half = found[1 : len(found) // 2]
    if half[:, 1].mean() < found[len(found) // 2 :, 1].mean():
        found = np.roll(found[::-1], 1, axis=0)
    return np.asarray(found)
