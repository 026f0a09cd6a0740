"""Traces of any length for a screen: lowest and highest value of each piece, worked out once.

Each level holds the least and the most of four pieces of the level below it, so that any window
is drawn from a few thousand numbers however many samples it spans, and no peak is ever lost.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.quantity import Array

_STEP = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Pyramid:
    """A trace and its levels; ``levels[k]`` is ``(2, n)``: least and most of 4**k samples."""

    time: Array
    levels: tuple[Array, ...]

    def window(self, start: float, end: float, most: int) -> tuple[Array, Array, Array]:
        """Return time, least and most of pieces within a window, at most about so many.

        Parameters
        ----------
        start, end
            [s]
        most
            Pieces wanted; up to four times as many samples are returned where the trace itself is
            short enough.
        """
        first = max(0, int(np.searchsorted(self.time, start)) - 1)
        last = min(self.time.size, int(np.searchsorted(self.time, end)) + 1)
        level = 0
        while level < len(self.levels) - 1 and (last - first) / _STEP**level > most:
            level += 1
        size = _STEP**level
        a, b = first // size, -(-last // size)
        piece = self.levels[level][:, a:b]
        at = np.minimum(np.arange(a, a + piece.shape[1]) * size, self.time.size - 1)
        return self.time[at], piece[0], piece[1]


def build_pyramid(time: Array, values: Array) -> Pyramid:
    """Return the pyramid of a trace. [s], any unit"""
    levels = [np.stack([values, values])]
    while levels[-1].shape[1] > 512:
        below = levels[-1]
        n = below.shape[1]
        edges = np.arange(0, n, _STEP)
        levels.append(
            np.stack([np.fmin.reduceat(below[0], edges), np.fmax.reduceat(below[1], edges)])
        )
    return Pyramid(time=time, levels=tuple(levels))
