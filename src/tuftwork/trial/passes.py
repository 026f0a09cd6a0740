"""Constant-speed passes in a log: where the car held its speed, which way, in which state."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import NotCovered
from tuftwork.quantity import Array
from tuftwork.trial.log import Channel, Log, stretches

_BLOCK = 1.0  # [s] means over a block say whether the speed moves; shorter ones see the driver
_STANDING = 0.5  # [m/s]
_SAME_SPEED = 0.018  # [-] passes closer than this belong to one nominal speed


@dataclass(frozen=True, slots=True, kw_only=True)
class Gates:
    """What counts as a constant-speed pass.

    Attributes
    ----------
    slowest
        Below it nothing is a pass. [m/s]
    shortest
        [s]
    unsteady
        Largest change of the speed from one second to the next. [m/s]
    """

    slowest: float = 12.0
    shortest: float = 2.0
    unsteady: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Part of the day driven in one state. [s]"""

    state: str
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One pass: means of every channel over its time.

    Attributes
    ----------
    start, end
        [s]
    state
        Of the car.
    way
        +1 out, −1 back.
    speed, nominal
        Mean over ground, and the speed its group is called by. [m/s]
    push
        Mean rate of change of the speed. [m/s²]
    means
        Role → mean; the air speed's is the root of the mean square. [SI]
    lines
        First and last sample of the base channel, for the chain.
    """

    start: float
    end: float
    state: str
    way: int
    speed: float
    nominal: float
    push: float
    means: Mapping[str, float]
    lines: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassTable:
    """All passes of a day, and the stretches during which the car stood."""

    passes: tuple[Pass, ...]
    rests: tuple[Mapping[str, float], ...]
    notices: tuple[str, ...]

    def column(self, role: str) -> Array:
        """Return a channel's means, pass by pass; not a number where it is missing."""
        return np.array([p.means.get(role, np.nan) for p in self.passes])

    def groups(self) -> dict[tuple[str, float], list[int]]:
        """Return the places of the passes of each state and nominal speed."""
        found: dict[tuple[str, float], list[int]] = {}
        for i, one in enumerate(self.passes):
            found.setdefault((one.state, one.nominal), []).append(i)
        return dict(sorted(found.items()))


def find_passes(log: Log, runs: Sequence[Run] = (), gates: Gates | None = None) -> PassTable:
    """Return the constant-speed passes of a log.

    Parameters
    ----------
    log
        With speed over ground at least.
    runs
        Which state was driven when; all one state where none are given.
    gates
        What counts as a pass.

    Raises
    ------
    NotCovered
        If no stretch of the log is a pass.
    """
    gate = gates or Gates()
    speed = log.of("speed over ground")
    found: list[tuple[float, float]] = []
    rests: list[Mapping[str, float]] = []
    for piece in stretches(speed.time):
        time, values = speed.time[piece], speed.values[piece]
        found += _steady(time, values, gate)
        rests += [means_between(log, a, b) for a, b in _standing(time, values)]
    if not found:
        cure = "Lower the gates, or check the unit of the speed channel."
        raise NotCovered(f"No constant-speed pass found in the log. {cure}")
    notices: list[str] = []
    ways = _ways(log, found, notices)
    speeds = [float(np.mean(_between(speed, a, b))) for a, b in found]
    nominal = _nominal(speeds)
    passes = []
    for i, edges in enumerate(found):
        state = _state_at(edges, runs)
        if state is not None:
            passes.append(_pass(log, edges, ways[i], (speeds[i], nominal[i]), state))
    if len(passes) < len(found):
        notices.append(f"{len(found) - len(passes)} passes lie in no run and were left out.")
    if not passes:
        raise NotCovered("No pass lies in a run of the day: check the runs' start and end.")
    return PassTable(passes=tuple(passes), rests=tuple(rests), notices=tuple(notices))


def means_between(log: Log, start: float, end: float) -> dict[str, float]:
    """Return every channel's mean between two times; the air speed's as the root mean square."""
    found = {}
    for role, channel in log.channels.items():
        values = _between(channel, start, end)
        if values.size:
            square = role == "air speed"
            mean = np.sqrt(np.mean(values**2)) if square else np.mean(values)
            found[role] = float(mean)
    return found


def _pass(
    log: Log, edges: tuple[float, float], way: int, speeds: tuple[float, float], state: str
) -> Pass:
    start, end = edges
    speed = log.of("speed over ground")
    first, last = np.searchsorted(speed.time, edges)
    # the mean of the change of speed is that between the ends, whatever happens between them
    time, values = speed.time[first:last], speed.values[first:last]
    few = min(5, max(1, time.size // 4))
    slope = (np.mean(values[-few:]) - np.mean(values[:few])) / (
        np.mean(time[-few:]) - np.mean(time[:few])
    )
    base = log.base
    lines = np.searchsorted(base.time, edges)
    return Pass(
        start=start, end=end, state=state, way=way, speed=speeds[0], nominal=speeds[1],
        push=float(slope),
        means=means_between(log, start, end), lines=(int(lines[0]), int(lines[1]) - 1),
    )  # fmt: skip


def _between(channel: Channel, start: float, end: float) -> Array:
    first, last = np.searchsorted(channel.time, (start, end))
    return channel.values[first:last]


def _steady(time: Array, values: Array, gate: Gates) -> list[tuple[float, float]]:
    """Return stretches whose one-second means hardly move."""
    if time[-1] - time[0] < gate.shortest - _BLOCK / 5:
        return []
    count = max(1, int((time[-1] - time[0]) / _BLOCK + 0.5))
    edges = np.linspace(time[0], time[-1] + 1e-9, count + 1)
    places = np.searchsorted(time, edges)
    sizes = np.diff(places)
    if not np.all(sizes > 0):
        return []
    means = np.add.reduceat(values, places[:-1]) / sizes
    calm = np.abs(np.diff(means)) < gate.unsteady
    found: list[tuple[float, float]] = []
    begin = 0
    for i in range(count):
        goes_on = i < count - 1 and bool(calm[i]) and abs(means[i + 1] - means[begin]) < 1.5
        if goes_on:
            continue
        span = edges[i + 1] - edges[begin]
        if span >= gate.shortest - 1e-6 and means[begin] > gate.slowest:
            found.append((float(edges[begin]), float(edges[i + 1])))
        begin = i + 1
    return found


def _standing(time: Array, values: Array) -> list[tuple[float, float]]:
    still = np.abs(values) < _STANDING
    if not still.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(int), [0]])))
    spans = [(float(time[a]), float(time[b - 1])) for a, b in zip(edges[::2], edges[1::2],
                                                                  strict=True)]  # fmt: skip
    return [(a, b) for a, b in spans if b - a >= 1.0]


def _ways(log: Log, found: Sequence[tuple[float, float]], notices: list[str]) -> list[int]:
    if not log.has("course"):
        notices.append("No course channel: passes are taken to go out and back in turn.")
        return [1 if i % 2 == 0 else -1 for i in range(len(found))]
    course = log.of("course")
    turns = [_between(course, a, b) for a, b in found]
    angles = [float(np.angle(np.mean(np.exp(1j * c)))) if c.size else np.nan for c in turns]
    ways = [1 if np.cos(a - angles[0]) >= 0 else -1 for a in angles]
    if len(set(ways)) == 1:
        notices.append("All passes go one way: wind and slope are inside the results.")
    return ways


def _nominal(speeds: Sequence[float]) -> list[float]:
    """Return the mean speed of each pass's group of like speeds."""
    order = np.argsort(speeds)
    groups: list[list[int]] = []
    for i in order:
        if groups and speeds[i] < speeds[groups[-1][0]] * (1 + _SAME_SPEED):
            groups[-1].append(int(i))
        else:
            groups.append([int(i)])
    found = [0.0] * len(speeds)
    for group in groups:
        mean = float(np.mean([speeds[i] for i in group]))
        for i in group:
            found[i] = mean
    return found


def _state_at(edges: tuple[float, float], runs: Sequence[Run]) -> str | None:
    if not runs:
        return ""
    middle = 0.5 * (edges[0] + edges[1])
    return next((run.state for run in runs if run.start <= middle <= run.end), None)
