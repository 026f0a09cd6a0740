"""Coasting stretches in a log: where the car rolls out and nothing drives or brakes it."""

from collections.abc import Sequence

import numpy as np

from tuftwork.errors import NotCovered
from tuftwork.trial.coastfit import CoastRun
from tuftwork.trial.log import Log, stretches

_LEAST_SPAN = 10.0  # [m/s] of speed lost: less says nothing of a square term
_HARDEST = 4.0  # [m/s²] slower than this is braking, not coasting


def coast_runs(log: Log, slowest: float = 15.0) -> list[CoastRun]:
    """Return the coast-downs of a log, ways taken from the course or in turn.

    Parameters
    ----------
    slowest
        Samples below are left out: rolling resistance changes there. [m/s]

    Raises
    ------
    NotCovered
        If the log holds none.
    """
    speed = log.of("speed over ground")
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for piece in stretches(speed.time):
        time, values = speed.time[piece], speed.values[piece]
        keep = values > slowest
        time, values = time[keep], values[keep]
        if time.size < 20 or values[0] - values[-1] < _LEAST_SPAN:
            continue
        slope = (values[0] - values[-1]) / (time[-1] - time[0])
        falls = np.mean(np.diff(np.interp(np.arange(time[0], time[-1], 1.0), time, values)) < 0.1)
        if slope < _HARDEST and falls > 0.95:
            found.append((time, values))
    if not found:
        raise NotCovered("No coast-down found: the speed must fall by 10 m/s in one stretch.")
    ways = _ways(log, [float(t[0]) for t, _ in found])
    return [CoastRun(time=t, speed=v, way=w) for (t, v), w in zip(found, ways, strict=True)]


def _ways(log: Log, starts: Sequence[float]) -> list[int]:
    if not log.has("course"):
        return [1 if i % 2 == 0 else -1 for i in range(len(starts))]
    course = log.of("course")
    places = np.searchsorted(course.time, np.array(starts) + 0.5)
    angles = course.values[np.minimum(places, course.time.size - 1)]
    return [1 if np.cos(a - angles[0]) >= 0 else -1 for a in angles]
