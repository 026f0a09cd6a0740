"""Why a floor's load falls as the car is lowered: the engine's own answer, rivals beside it."""

from typing import Any

import numpy as np

from tuftwork.floor.cause import Reading
from tuftwork.floor.sweep import has_hysteresis
from tuftwork.quantity import Array, format_number
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.floor_case import FloorCase
from tuftwork.study.floor_live import range_at
from tuftwork.study.floor_number import computed
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree

_MM = 1e3
_LAST = 0.008  # [m] of ride height whose loss is told
_WORTH_TELLING = 0.05  # [m²]
_NEAR = 0.004  # [m] between the engine's peak and the budget's fall, to call them one
_WORDS: dict[str, tuple[str, str, str]] = {
    "stall": ("the ramp's layer leaves it", "of the gap behind the kick line filled by layers",
              "The fall is the diffuser's: its layer leaves the ramp"),
    "burst": ("the side vortices burst", "of the swirl that breaks them down",
              "The fall is the diffuser's: its side vortices burst"),
    "choking": ("the floor chokes", "of the gap ahead of the kick line filled by layers",
                "The floor chokes: layers fill its narrowest gap"),
    "leak": ("more air leaks in", "of the exit's air leaked in",
             "The floor's edges leak away what lowering gains"),
    "strake burst": ("the strakes' vortices burst", "of the strakes' vortices broken down",
                     "The fall comes from the strakes: their vortices burst"),
}  # fmt: skip
_TESTS: dict[str, str] = {
    "stall": "Tufts and six pressure taps on the ramp, rear 10 mm up and back down.",
    "burst": "Tufts beside the diffuser's side plates and a smoke trail into its corners.",
    "choking": "Pressure taps ahead of the kick line: choking shows there before the ramp.",
    "leak": "Tape a strip to the side edges that halves their gap, and pass again.",
    "strake burst": "Take the strakes off one side and compare two passes.",
}
LINKS = (
    Link(what="Each reading held as it was higher up, the channel solved again", origin="computed",
         place="docs/models/floor-channel.md"),
)  # fmt: skip


def cause_page(answers: Answers, case: FloorCase, kept: Tree, state: str) -> dict[str, Any] | None:
    """Return the rival readings as the page shows them; None where nothing was worked out."""
    tree = kept.get("cause")
    if not tree:
        return None
    if "refused" in tree:
        return {"answer": f"Why it falls could not be worked out: {tree['refused']}", "rows": []}
    rows = [
        {
            "reading": row["reading"], "label": _WORDS[row["reading"]][0],
            "returned": _returned(answers, case, kept, state, row),
            "evidence": _evidence(row), "is_cause": row["reading"] == tree["cause"],
        }
        for row in tree["readings"]
    ]  # fmt: skip
    return {"answer": _said(case, kept), "rows": rows}


def _returned(answers: Answers, case: FloorCase, kept: Tree, state: str, row: Tree) -> Number:
    """Return the load that comes back without a reading, on the car."""
    low, high = range_at(kept, float(kept["cause"]["heights"][1]))
    value = float(kept["coverage"]) * float(row["returned"])
    at = f"hr {_MM * float(kept['cause']['heights'][1]):.1f}\u202fmm, engine alone"
    number = computed(value, low * value, high * value, "area", "m²", at)
    why = f"floor/{case.part.name}/{state}/cause {row['reading']}"
    answers.book.add(
        why, title=f"CzS that comes back unless {_WORDS[row['reading']][0]}", links=LINKS,
        number=number | {"why": why}, decision="Where to look first.", notices=[],
    )  # fmt: skip
    return number | {"why": why}


def _evidence(row: Tree) -> str:
    return (
        f"{_percent(row['higher'])} {_WORDS[row['reading']][1]} at the peak, "
        f"{_percent(row['lower'])} below it"
    )


def _said(case: FloorCase, kept: Tree) -> str:
    """Return what the engine alone says of the fall, in sentences."""
    tree, sweep = kept["cause"], kept["sweep"]
    coverage = float(kept["coverage"])
    high, low = (float(h) for h in tree["heights"])
    lost = coverage * (float(tree["higher"]) - float(tree["lower"]))
    if sweep["has_peak"]:
        first = (
            f"Lowered at this rake the channel in plan, told nothing of a fall, makes most at "
            f"{_MM * high:.0f}\u202fmm rear ride height"
        )
    else:
        first = f"The channel in plan still gains at {_MM * high:.0f}\u202fmm"
    gap, flow = np.asarray(tree["throat"]), np.asarray(tree["flow"])
    text = (
        f"{first}; {_MM * (high - low):.0f}\u202fmm lower it has "
        f"{'lost' if lost > 0 else 'gained'} {abs(lost):.3f}\u202fm², while the gap at the kick "
        f"line shrank by {_percent(1 - gap[1] / gap[0])} and the flow by "
        f"{_percent(1 - flow[1] / flow[0])}. "
    )
    rows = {r["reading"]: coverage * float(r["returned"]) for r in tree["readings"]}
    named = tree["cause"]
    if not named:
        return text + "No reading gives back enough to be called its cause."
    others = [f"{_NOUNS[n]} {_signed(v)}" for n, v in rows.items() if n != named]
    where = ""
    if named in ("stall", "burst") and np.isfinite(tree["stalled_from"]):
        where = f" (separated from station {float(tree['stalled_from']):.2f}\u202fm on)"
    choke = next(r for r in tree["readings"] if r["reading"] == "choking")
    verdict = (
        "So it chokes: the layers of floor and road"
        if named == "choking"
        else "So it does not choke: the layers of floor and road"
    )
    return (
        text + f"Undone one at a time and solved again, {_NOUNS[named]}{where} gives back "
        f"{_signed(rows[named])}\u202fm², {', '.join(others)}. {verdict} fill "
        f"{_percent(choke['lower'])} of the gap ahead of the kick line."
    )


_NOUNS = {
    "stall": "the ramp's layer", "burst": "the burst of the side vortices", "choking": "choking",
    "leak": "the leak", "strake burst": "the burst of the strakes' vortices",
}  # fmt: skip


def _percent(share: float) -> str:
    return f"{100 * float(share):.0f}\u202f%"


def _signed(value: float) -> str:
    text = f"{value:+.3f}"
    return "0.000" if text.strip("+-") == "0.000" else text.replace("-", "\u2212")


def cause_findings(answers: Answers, case: FloorCase, kept: Tree, state: str) -> list[Finding]:
    """Return why the load falls with ride height, where the budget's map has it falling."""
    s, tree = kept["sweep"], kept.get("cause")
    height, budget = np.asarray(s["height"]), np.asarray(s["budget"])
    now = float(kept["heights"][1])
    lost = _lost(height, budget, now)
    if lost < _WORTH_TELLING or not tree or "refused" in tree:
        return []
    number = computed(lost, 0.6 * lost, 1.4 * lost, "area", "m²", f"hr {_MM * now:.1f} mm")
    why = f"floor/{case.part.name}/{state}/cause"
    answers.book.add(
        why, title="Lost by the last 8 mm of rear ride height", links=LINKS,
        number=number | {"why": why}, notices=[],
        decision="Raise the rear, or hold the diffuser's layer.",
    )  # fmt: skip
    steepest = _steepest(height, budget)
    named: Reading | str = tree["cause"]
    peak = float(tree["heights"][0])
    confirmed = bool(s["has_peak"]) and bool(named) and abs(peak - steepest) < _NEAR + _LAST / 2
    title = (
        _WORDS[named][2] if named
        else "The floor falls past its height of greatest load; the channel alone does not say why"
    )  # fmt: skip
    numbers = [number | {"why": why, "label": "CzS gone with the last 8 mm"}]
    numbers += [
        _returned(answers, case, kept, state, row) | {"label": f"back unless {_words(row)}"}
        for row in tree["readings"][:2]
    ]
    return [
        Finding(
            title=title, verdict="consistent" if confirmed else "needs an assumption",
            text=f"Of the floor's CzS {number['text']} go with the last 8\u202fmm at the rear; the "
            f"budget falls steepest at {_MM * steepest:.0f}\u202fmm. {_said(case, kept)} "
            f"{_size(kept, lost)} {hysteresis_of(case)}",
            page="floor", worth=0.4 * lost, numbers=tuple(numbers),
            test=_TESTS.get(named, _TESTS["stall"]), why=why,
        )
    ]  # fmt: skip


def _words(row: Tree) -> str:
    return _WORDS[row["reading"]][0]


def _lost(height: Array, load: Array, now: float) -> float:
    above = min(now + _LAST, float(height[-1]))
    return float(np.interp(above, height, load) - np.interp(now, height, load))


def _steepest(height: Array, load: Array) -> float:
    """Return the height between whose neighbours a load rises fastest with height [m]."""
    slope = np.diff(load) / np.diff(height)
    k = int(np.argmax(slope))
    return float(0.5 * (height[k] + height[k + 1]))


def _size(kept: Tree, lost: float) -> str:
    """Return how much of the budget's fall a steady channel explains."""
    s, peak = kept["sweep"], float(kept["cause"]["heights"][0])
    height, engine = np.asarray(s["height"]), np.asarray(s["best"])
    low = max(peak - _LAST, float(height[0]))
    own = float(np.interp(peak, height, engine) - np.interp(low, height, engine))
    share = max(own, 0.0) / lost
    if share > 0.8:
        return "That is as much as the map loses."
    return (
        f"Of the size it explains {_percent(share)} over 8\u202fmm below its peak: what is left is "
        "no part of a steady, symmetric channel."
    )


def hysteresis_of(case: FloorCase) -> str:
    """Return what was published of hysteresis at a ramp's angle."""
    angle = case.spec.diffuser_angle
    degrees = format_number(float(np.degrees(angle)), 1)
    known = has_hysteresis(angle)
    if known is None:
        return (
            f"Hysteresis in ride height was measured from 15° on and not at 10°; {degrees}° lies "
            "between. Empirical: the engine has one state at each height."
        )
    seen = "was measured" if known else "was not seen"
    return (
        f"At {degrees}° hysteresis in ride height {seen} on a published body"
        + (": once fallen, raise the car further than it was lowered." if known else ".")
        + " Empirical: the engine has one state at each height."
    )
