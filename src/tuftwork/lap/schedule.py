"""Active devices: which state when, how fast they move, and what happens when they stick."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.lap.mesh import Mesh
from tuftwork.lap.record import Record, Whole
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One line of a schedule: the state is taken where every condition given holds.

    Attributes
    ----------
    state
        Name of the device state.
    speed_above, speed_below [m/s], side_above, side_below [m/s²]
        Speed, and lateral acceleration as a stand-in for steering.
    braking
        Only when braking (True), only when not (False), or either (None).
    """

    state: str
    speed_above: float = 0.0
    speed_below: float = 1.0e3
    side_above: float = 0.0
    side_below: float = 1.0e3
    braking: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Rules in order, the first that holds wins; otherwise the rest state.

    Attributes
    ----------
    rules, rest
        Rules in order, and the state where none holds.
    transition
        Time to move from one state to another. [s]
    stuck
        A state the device is stuck in, whatever the rules say; None if it works.
    """

    rules: tuple[Rule, ...]
    rest: str
    transition: float = 0.0
    stuck: str | None = None

    def __post_init__(self) -> None:
        if not self.transition >= 0.0:
            raise InputError("transition", self.transition, "s", "must not be negative")


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """What a schedule needs of the case."""

    mesh: Mesh
    states: tuple[str, ...]


def follow(
    schedule: Schedule, timing: Timing, solve: Callable[[Array], Record],
    first: Whole | None = None,
) -> tuple[Record, Array]:  # fmt: skip
    """Solve lap and device positions together: solve, see what the rules say, solve again.

    ``first`` is where to begin: the states wanted in every cell, such as another draw's.

    Once a cell has changed its mind twice it keeps the state of the earlier pass, because a rule
    that switches at the very speed it causes has no settled answer there.
    """
    mesh = timing.mesh
    for name in [r.state for r in schedule.rules] + [schedule.rest]:
        if name not in timing.states:
            raise UnknownName("state", name, timing.states)
    n = mesh.length.size
    if schedule.stuck is not None:
        if schedule.stuck not in timing.states:
            raise UnknownName("state", schedule.stuck, timing.states)
        mix = np.zeros((n, 3))
        mix[:, :2] = timing.states.index(schedule.stuck)
        return solve(mix), mix
    wanted = np.full(n, timing.states.index(schedule.rest)) if first is None else first
    guess = before_speed(mesh, None)
    turns = np.zeros(n, int)
    before = -1.0
    for _ in range(40):
        mix = _moving(wanted, mesh.length, guess, schedule.transition)
        record = solve(mix)
        speed = guess = before_speed(mesh, record)
        mix = _moving(wanted, mesh.length, speed, schedule.transition)
        record = solve(mix)
        time = float(record[0])
        now = _wanted(schedule, timing.states, mesh, record)
        moved = now != wanted
        turns += moved
        now = np.where(turns > 3, wanted, now)
        if abs(time - before) < 1e-5 and not np.any(now != wanted):
            return record, mix
        wanted, before = now, time
    raise NotConverged("the device schedule does not settle: its rules switch each other")


def before_speed(mesh: Mesh, record: Record | None) -> Array:
    """Return mean cell speeds of a record, or a first guess. [m/s]"""
    if record is None:
        return np.full(mesh.length.size, 40.0)
    v = np.sqrt(2.0 * record[1])
    return np.asarray(0.5 * (v[1:] + v[:-1]))


def _wanted(schedule: Schedule, states: tuple[str, ...], mesh: Mesh, record: Record) -> Whole:
    """Return the state the rules ask for in every cell."""
    speed = before_speed(mesh, record)
    side = speed**2 * mesh.cell_road[:, 0]
    braking = record[3][:, 0] // 16 == 1
    wanted = np.full(speed.size, states.index(schedule.rest))
    for rule in reversed(schedule.rules):
        holds = (speed >= rule.speed_above) & (speed < rule.speed_below)
        holds &= (side >= rule.side_above) & (side < rule.side_below)
        if rule.braking is not None:
            holds &= braking == rule.braking
        wanted = np.where(holds, states.index(rule.state), wanted)
    return np.asarray(wanted)


def _moving(wanted: Whole, length: Array, speed: Array, transition: float) -> Array:
    """Return (from, to, share) per cell with the device moving at its own pace."""
    n = wanted.size
    mix = np.zeros((n, 3))
    mix[:, 0] = mix[:, 1] = wanted
    if transition <= 0.0 or np.all(wanted == wanted[0]):
        return mix
    seconds = length / speed
    here, target, share = int(wanted[-1]), int(wanted[-1]), 1.0
    for lap in range(2):  # the second time round starts as the first one ended
        for i in range(n):
            if wanted[i] != target:
                # turning back on the way keeps the place it has reached
                here, share = (target, 1.0 - share) if wanted[i] == here else (target, 0.0)
                target = int(wanted[i])
            share = min(1.0, share + seconds[i] / transition)
            if lap == 1:
                mix[i] = (here, target, share) if here != target else (target, target, 0.0)
    return mix
