"""Balance as the driver feels it: axle margins, words turned into suspects, and the aero gate."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal, get_args

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.lap.record import LapTrace, Whole
from tuftwork.quantity import Numeric

Phase = Literal["entry", "middle", "exit"]
Feeling = Literal["loose", "tight"]
Band = Literal["low", "medium", "high"]
Suspect = Literal["aero", "platform", "mechanical"]

BAND_SPEED = (30.0, 48.0)
"""Speeds between low and medium and between medium and high. [m/s]  common practice"""


def axle_loads(
    downforce: Numeric, drag: Numeric, *, behind_front: float, height: float, wheelbase: float
) -> tuple[Numeric, Numeric]:
    """Return what a part's force adds to each axle, by moments about the contact patches.

    ΔF_rear = (L x + D h)/l, ΔF_front = L - ΔF_rear.

    Parameters
    ----------
    downforce, drag : (...)
        Force of the part. [N]
    behind_front : ()
        Place of its centre of load behind the front axle. [m]
    height : ()
        Height of its drag above ground. [m]
    wheelbase : ()
        Wheelbase. [m]

    Returns
    -------
    front, rear : (...)
        Load added to each axle. [N]

    References
    ----------
    [milliken1995].
    """
    if not wheelbase > 0.0:
        raise InputError("wheelbase", wheelbase, "m", "must be above 0")
    rear = (np.asarray(downforce) * behind_front + np.asarray(drag) * height) / wheelbase
    return np.asarray(downforce) - rear, rear


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginCell:
    """Grip left at each axle in one phase and speed band; balance > 0: the front has less."""

    phase: Phase
    band: Band
    seconds: float
    front: float
    rear: float
    front_share: float

    @property
    def balance(self) -> float:
        """Rear margin less front margin: positive is a car that runs wide first."""
        return self.rear - self.front


def phases_of(trace: LapTrace, *, least_side: float = 3.0) -> Whole:
    """Return the corner phase of every cell: 0 entry, 1 middle, 2 exit, -1 straight.

    Parameters
    ----------
    trace : ()
        A solved lap. [-]
    least_side : ()
        Lateral acceleration below which the car is on a straight. [m/s²]

    Returns
    -------
    phase : (n,)
        Entry while braking, exit while the engine pushes with the corner opening. [-]
    """
    side = np.abs(trace.ay) > least_side
    phase = np.where(side, 1, -1)
    phase = np.where(side & (trace.braking | (trace.ax < -1.0)), 0, phase)
    return np.asarray(np.where(side & ~trace.braking & (trace.ax > 1.0), 2, phase))


def margins(trace: LapTrace) -> tuple[MarginCell, ...]:
    """Return mean axle margins by corner phase and speed band.

    Parameters
    ----------
    trace : ()
        A solved lap. [-]

    Returns
    -------
    cells : (n_cell,)
        Only phases and bands the lap has. [-]
    """
    phase = phases_of(trace)
    band = np.digitize(trace.speed, BAND_SPEED)
    out = []
    for i, phase_name in enumerate(get_args(Phase)):
        for j, band_name in enumerate(get_args(Band)):
            here = (phase == i) & (band == j)
            if not np.any(here):
                continue
            w = trace.duration[here]
            out.append(
                MarginCell(
                    phase=phase_name, band=band_name, seconds=float(w.sum()),
                    front=float(1.0 - np.average(trace.use_front[here], weights=w)),
                    rear=float(1.0 - np.average(trace.use_rear[here], weights=w)),
                    front_share=float(np.average(trace.front_share[here], weights=w)),
                )
            )  # fmt: skip
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One possible cause with its probability, what to test, and where the odds come from."""

    suspect: Suspect
    probability: float
    cause: str
    test: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """What a driver says: phase, feeling, speed band."""

    phase: Phase
    feeling: Feeling
    band: Band


def _table() -> list[dict[str, str]]:
    """Return the table of driver's words."""
    text = files("tuftwork.lap").joinpath("driver_words.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def hypotheses(remarks: Sequence[Remark]) -> tuple[Hypothesis, ...]:
    """Return suspects for what a driver says, likeliest first.

    Odds of the matching lines of the table are multiplied over remarks and brought to a sum of 1;
    each cause keeps the place of its best line.

    Parameters
    ----------
    remarks : (n,)
        What the driver says. [-]

    Returns
    -------
    hypotheses : (n_cause,)
        With probability, test and source. [-]

    Raises
    ------
    InputError, UnknownName
        If nothing is said, or a word is not in the vocabulary.

    Notes
    -----
    The odds are common practice written down, not measured: a place to start testing.
    """
    if not remarks:
        raise InputError("remarks", 0, "", "needs at least one remark")
    rows = _table()
    odds: dict[str, float] = {}
    best: dict[str, dict[str, str]] = {}
    for n, remark in enumerate(remarks):
        for word, kind in ((remark.phase, Phase), (remark.feeling, Feeling), (remark.band, Band)):
            if word not in get_args(kind):
                raise UnknownName("driver's word", word, get_args(kind))
        said: dict[str, float] = {}
        for row in rows:
            if all(row[k] in ("any", getattr(remark, k)) for k in ("phase", "feeling", "band")):
                said[row["cause"]] = said.get(row["cause"], 0.0) + float(row["odds"])
                best.setdefault(row["cause"], row)
        for cause in set(odds) | set(said):
            # a cause silent about one remark is not struck out, only made unlikely
            before = odds.get(cause, 1.0 if n == 0 else 0.1**n)
            odds[cause] = before * said.get(cause, 0.1)
    total = sum(odds.values())
    found = [
        Hypothesis(
            suspect=best[c]["suspect"], probability=o / total, cause=c,  # type: ignore[arg-type]
            test=best[c]["test"], source=best[c]["source"],
        )
        for c, o in odds.items()
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda h: -h.probability))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """Answer to "is it aero at all?": verdict, checks passed and failed, next step."""

    verdict: Literal["aero", "not aero", "undecided"]
    checks: tuple[tuple[str, bool | None], ...]
    next_step: str


def aero_gate(
    remarks: Sequence[Remark],
    *,
    returned_to_baseline: bool | None,
    fine_when_slow: bool | None = None,
) -> Gate:
    """Return whether a complaint can be aero at all.

    Aero grows with v²: it must be there at high speed, be absent or faint at low speed, and stay
    when the baseline is driven again (else tyres, fuel or weather moved).

    Parameters
    ----------
    remarks : (n,)
        What the driver says. [-]
    returned_to_baseline : ()
        Whether the complaint came and went with the part on return to baseline; None if untested.
    fine_when_slow : ()
        Whether the same phase is fine in slow corners; None if nobody asked. [-]

    Returns
    -------
    gate : ()
        Verdict first. [-]
    """
    if not remarks:
        raise InputError("remarks", 0, "", "needs at least one remark")
    fast = any(r.band == "high" for r in remarks)
    slow = any(r.band == "low" for r in remarks)
    quiet = (not slow) if fine_when_slow is None and slow else fine_when_slow
    checks: tuple[tuple[str, bool | None], ...] = (
        ("present at high speed", fast),
        ("absent at low speed", quiet),
        ("follows the part on return to baseline", returned_to_baseline),
    )
    answers = [answer for _, answer in checks]
    if False in answers:
        failed = next(text for text, answer in checks if answer is False)
        return Gate(
            verdict="not aero", checks=checks,
            next_step=f"Not '{failed}': look at springs, bars, differential and tyres first.",
        )  # fmt: skip
    if None in answers:
        missing = next(text for text, answer in checks if answer is None)
        return Gate(verdict="undecided", checks=checks, next_step=f"Find out: {missing}?")
    return Gate(
        verdict="aero", checks=checks,
        next_step="Compare front share against speed with the map, then test one step in A-B-A.",
    )  # fmt: skip
