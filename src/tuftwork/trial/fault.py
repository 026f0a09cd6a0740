"""The fault finder: what is wrong with a log, ranked, each with evidence, size and cure.

Each look works on the log as the looks before it left it, because a wrong gain must be seen before
a zero can be judged. Nothing is changed: a cure is a proposal until somebody takes it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from tuftwork.errors import NotCovered
from tuftwork.trial.cure import Cure, with_cures
from tuftwork.trial.log import Log
from tuftwork.trial.look import Look
from tuftwork.trial.look_shape import SHAPE_LOOKS
from tuftwork.trial.look_size import SIZE_LOOKS
from tuftwork.trial.look_worth import KNOWING_LOOKS
from tuftwork.trial.passes import Gates, PassTable, Run, find_passes
from tuftwork.trial.reduction import best_results
from tuftwork.trial.setup import MassLoads, Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One thing that may be wrong, or worth knowing.

    Attributes
    ----------
    kind
        Short name of the fault.
    title
        What it is, in a sentence.
    evidence
        Why it is thought so.
    size, low, high, unit
        How large, with its 80 % range; ``unit`` as written.
    strength
        Size over its standard uncertainty. [-]
    is_fault
        False where nothing is broken and reduction already allows for it.
    cures
        What would put it right; none where nothing can.
    worth
        Largest change of CzSf or CzSr that the cure makes. [m²]
    changes
        Axle → change at the slowest and fastest speed. [m²]
    """

    kind: str
    title: str
    evidence: tuple[str, ...]
    size: float
    low: float
    high: float
    unit: str
    strength: float
    is_fault: bool = True
    cures: tuple[Cure, ...] = ()
    worth: float = 0.0
    changes: Mapping[str, tuple[float, float]] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspects:
    """What the finder was told of the car and the day.

    Attributes
    ----------
    setup
        The car; best values are used.
    race
        Axle loads at rest as the passes were driven.
    others
        Other mass states in which somebody may have zeroed the pots.
    runs
        Which state was driven when.
    """

    setup: Setup
    race: MassLoads
    others: Sequence[MassLoads] = ()
    runs: Sequence[Run] = ()
    gates: Gates | None = None


def find_faults(log: Log, suspects: Suspects) -> list[Hypothesis]:
    """Return everything found, faults first, the most consequential first.

    Parameters
    ----------
    log
        As read, or with cures already taken.
    suspects
        What is known of car and day.

    Raises
    ------
    NotCovered
        If the log has no constant-speed passes.
    """
    working = log
    found: list[Hypothesis] = []
    for look in (*SHAPE_LOOKS, *SIZE_LOOKS, *KNOWING_LOOKS):
        table = find_passes(working, suspects.runs, suspects.gates)
        scene = Look(log=working, table=table, setup=suspects.setup.best(), race=suspects.race,
                     others=tuple(suspects.others))  # fmt: skip
        seen = [Hypothesis(**one) for one in look(scene)]
        weighed = [_weighed(one, working, table, suspects) for one in seen]
        found += weighed
        cures = [cure for one in seen if one.is_fault for cure in one.cures]
        working = with_cures(working, cures)
    return sorted(found, key=lambda h: (not h.is_fault, -h.worth, -h.strength))


def _weighed(one: Hypothesis, log: Log, table: PassTable, suspects: Suspects) -> Hypothesis:
    """Return a hypothesis with what its cure changes."""
    if not one.cures:
        return one
    try:
        before = best_results(table, suspects.setup)
        cured = find_passes(with_cures(log, one.cures), suspects.runs, suspects.gates)
        after = best_results(cured, suspects.setup)
    except NotCovered:
        return one
    first = next(iter(before))[0]
    speeds = sorted(v for s, v in before if s == first)
    changes = {}
    for axle, place in (("front", 0), ("rear", 1)):
        ends = []
        for v in (speeds[0], speeds[-1]):
            near = min((k for k in after if k[0] == first), key=lambda k: abs(k[1] - v))
            ends.append(after[near][place] - before[first, v][place])
        changes[axle] = (ends[0], ends[1])
    worth = max(abs(c) for pair in changes.values() for c in pair)
    return replace(one, worth=float(worth), changes=changes)


def repaired(log: Log, suspects: Suspects) -> tuple[Log, list[Hypothesis]]:
    """Return the log with every proposed cure taken, and what was found: for trying things out."""
    found = find_faults(log, suspects)
    cures = [cure for h in in_order(found) if h.is_fault for cure in h.cures]
    return with_cures(log, cures), found


def in_order(found: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Return hypotheses in the order in which their cures must be put in."""
    return sorted(found, key=_order)


CURE_ORDER = (
    "wrong unit", "swapped channels", "inverted channel", "stuck sensor", "clipped signal",
    "time offset", "wrong gain", "air-speed error", "drifting zero", "zero in another mass state",
)  # fmt: skip
"""Order in which cures are put in: a gain before a zero, because the zero was found after it."""


def _order(hypothesis: Hypothesis) -> int:
    kinds: Callable[[str], int] = CURE_ORDER.index
    return kinds(hypothesis.kind) if hypothesis.kind in CURE_ORDER else len(CURE_ORDER)
