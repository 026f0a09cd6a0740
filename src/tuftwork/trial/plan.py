"""A test day on paper: how many repeats, in which order, in what time, and when to stop."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from tuftwork.errors import InputError
from tuftwork.trial.compare import detectable, power, runs_needed, runs_needed_exactly

SAFETY = (
    "Closed course with run-off at the end of the straight; never a public road.",
    "A second person watches, with a radio and the marshals' number; nobody tests alone.",
    "Fast passes in steps: 60, 80, 90, 100 % of the highest speed, each stop looked over.",
    "Wings, splitter and their mounts proof-loaded and looked at before the first fast pass.",
    "Tyre pressures and wheel nuts after the first pass; loggers and cables tied down.",
    "The driver may end the day at any time and gives no reason.",
)
"""Safety lines of every run sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWish:
    """What a day is to find out, and what there is to do it with. [SI]

    Attributes
    ----------
    states
        First the baseline, then what is compared with it, in the order of their worth.
    see, noise
        Smallest difference that matters, and the deviation of one pair of passes. [m²]
    speeds
        Of the passes, the most telling first. [m/s]
    track_time, pair_time, change_time
        [s]
    seed
        Of the random orders.
    """

    states: tuple[str, ...]
    see: float
    noise: float
    speeds: tuple[float, ...]
    track_time: float
    pair_time: float
    change_time: float
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the run sheet. ``kind`` is set up, pair, or check. [s], [m/s]"""

    number: int
    start: float
    kind: str
    state: str
    speed: float | None
    block: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """What so many pairs per state can see. [m²]"""

    pairs: int
    detectable: float
    chance: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """A day's plan.

    Attributes
    ----------
    needed, needed_exactly
        Pairs per state to see what matters, by the normal rule and with Student's t. [-]
    pairs
        Pairs per state that fit. [-]
    lines
        The run sheet.
    used, left
        Time of the sheet and what is left of the track time. [s]
    powers
        What fewer or more pairs would see.
    enough
        Whether what fits sees what matters.
    stops
        When to stop.
    notices
        What a reader must be told.
    """

    wish: PlanWish
    needed: float
    needed_exactly: int
    pairs: int
    lines: tuple[Line, ...]
    used: float
    left: float
    powers: tuple[Power, ...]
    enough: bool
    stops: tuple[str, ...]
    notices: tuple[str, ...]

    __test__ = False


def plan_day(wish: PlanWish) -> TestPlan:
    """Return the plan of a day.

    Each comparison is A-B-A: baseline, change, baseline; the second baseline serves the next
    change as its first. The first speed is driven in every block before the others, so a day
    that ends early has answered the most telling question with drift taken out.

    Raises
    ------
    InputError
        If there is nothing to compare, or the time holds not even one A-B-A.
    """
    if len(wish.states) < 2:
        raise InputError("states", len(wish.states), "", "a comparison needs two",
                         "Name them in compare.")  # fmt: skip
    needed = runs_needed(wish.noise, wish.see)
    exactly = runs_needed_exactly(wish.noise, wish.see)
    blocks = _blocks(wish.states)
    pairs = _pairs_that_fit(wish, blocks, want=exactly)
    lines, used = _lines(wish, blocks, pairs)
    counts = sorted({2, 3, pairs, exactly, 2 * exactly})
    powers = tuple(
        Power(pairs=n, detectable=detectable(wish.noise, n), chance=power(wish.noise, wish.see, n),
              seconds=_lines(wish, blocks, n)[1])
        for n in counts if n >= 2
    )  # fmt: skip
    enough = pairs >= exactly
    return TestPlan(
        wish=wish, needed=needed, needed_exactly=exactly, pairs=pairs, lines=tuple(lines),
        used=used, left=wish.track_time - used, powers=powers, enough=enough, stops=_stops(wish),
        notices=_notices(wish, pairs, exactly),
    )  # fmt: skip


def _blocks(states: Sequence[str]) -> list[str]:
    """Return the states in the order they are set: A B A C A …"""
    order = [states[0]]
    for state in states[1:]:
        order += [state, states[0]]
    return order


def _pairs_per_block(wish: PlanWish, blocks: Sequence[str], pairs: int) -> list[int]:
    """Return pairs at the first speed for each block; a baseline's are split over its blocks."""
    baseline = wish.states[0]
    count = sum(b == baseline for b in blocks)
    return [max(1, ceil(pairs / count)) if b == baseline else pairs for b in blocks]


def _seconds(wish: PlanWish, blocks: Sequence[str], pairs: int) -> float:
    per_block = _pairs_per_block(wish, blocks, pairs)
    driven = sum(per_block) + (len(wish.speeds) - 1) * len(blocks)
    return driven * wish.pair_time + (len(blocks) - 1) * wish.change_time


def _pairs_that_fit(wish: PlanWish, blocks: Sequence[str], want: int) -> int:
    spare = wish.track_time - (len(blocks) - 1) * wish.change_time
    spare -= (len(wish.speeds) - 1) * len(blocks) * wish.pair_time
    at_least = len(blocks) * wish.pair_time
    if spare < at_least:
        raise InputError(
            "track_time", wish.track_time / 3600, "h", "holds not even one A-B-A of this plan",
            f"Needed: {_seconds(wish, blocks, 1) / 3600:.1f} h. Compare fewer states, or drive "
            "fewer speeds.",
        )  # fmt: skip
    pairs = 1
    while pairs < want and _seconds(wish, blocks, pairs + 1) <= wish.track_time:
        pairs += 1
    return pairs


def _lines(wish: PlanWish, blocks: Sequence[str], pairs: int) -> tuple[list[Line], float]:
    """Return the run sheet: in each block the telling speed first, the others in random order."""
    random = np.random.default_rng(wish.seed)
    clock = 0.0
    found: list[Line] = []

    def add(kind: str, state: str, speed: float | None, block: str, what: str, took: float) -> None:
        nonlocal clock
        found.append(Line(number=len(found) + 1, start=clock, kind=kind, state=state, speed=speed,
                          block=block, what=what))  # fmt: skip
        clock += took

    per_block = _pairs_per_block(wish, blocks, pairs)
    for i, (state, count) in enumerate(zip(blocks, per_block, strict=True)):
        block = f"{chr(65 + wish.states.index(state))}{blocks[:i].count(state) + 1}"
        if i:
            what = f"Set '{state}'; note ride heights with driver, fuel, pressures"
            add("set up", state, None, block, what, wish.change_time)
        else:
            add("check", state, None, block, "Zero the pots with the driver on board; note "
                "ride heights, fuel, air", 0.0)  # fmt: skip
        others = list(wish.speeds[1:])
        random.shuffle(others)
        for speed in [wish.speeds[0]] * count + others:
            first = "out first" if random.random() < 0.5 else "back first"
            add("pair", state, speed, block, f"One pass each way, {first}", wish.pair_time)
    return found, clock


def _stops(wish: PlanWish) -> tuple[str, ...]:
    points = wish.see / 0.01
    return (
        "Stop and look: any part moved, scraped, cracked or loose; any warning on the dash.",
        "Stop the comparison: the two baselines differ by more than "
        f"{100 * 2.8 * wish.noise:.0f} points; find out why before going on.",
        f"Answered early: after any A-B-A the 80 % range lies wholly above or below "
        f"{points:.0f} points.",
        "Give up the comparison: the 80 % range lies inside ± the size that matters; it is not "
        "worth more time.",
    )


def _notices(wish: PlanWish, pairs: int, exactly: int) -> tuple[str, ...]:
    found = []
    if pairs < exactly:
        sees = detectable(wish.noise, pairs) if pairs >= 2 else None
        what = f"only {sees / 0.01:.1f} points" if sees else "nothing with any certainty"
        found.append(
            f"Time holds {pairs} pairs per state where {exactly} are needed: {what} can be told "
            "from noise. Compare fewer states, or find more time."
        )
    if len(wish.states) > 2:
        found.append("States stand in the order of their worth: an early end loses the last first.")
    return tuple(found)


def clock_text(seconds: float) -> str:
    """Return ``1:05`` of seconds since the start."""
    minutes = floor(seconds / 60 + 0.5)
    return f"{minutes // 60}:{minutes % 60:02d}"
