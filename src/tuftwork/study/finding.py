"""Findings: what the results say that is worth acting on, ranked by what it is worth.

Each rule looks at results only, so it finds nothing in a car that has nothing to find.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tuftwork.quantity import format_plain, probability, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.choice import is_choice
from tuftwork.study.number import Number

_KMH = 3.6
_SURE = 0.8  # [-] share of draws that must agree before a finding says so
_POINT = 0.01  # [m²]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding; ``worth`` ranks it, in points of CzS or what is as bad. [m²]"""

    title: str
    text: str
    verdict: str
    page: str
    worth: float
    numbers: tuple[Number, ...] = ()
    test: str = ""
    why: str = ""
    value: Number | None = field(default=None)


def findings_of(answers: Answers) -> list[Finding]:
    """Return a study's findings, the most valuable first."""
    found: list[Finding] = []
    if answers.has_platform:
        rules: Sequence[Callable[[Answers], list[Finding]]] = (
            _lost_with_speed,
            _shift_of_balance,
            _states,
            _rest_without_driver,
            _several_equilibria,
        )
        for rule in rules:
            found += rule(answers)
    return sorted(found, key=lambda f: -f.worth)


def _lost_with_speed(answers: Answers) -> list[Finding]:
    """Return the axle whose CzS falls as the car goes faster, and the part behind it."""
    base, slow, fast = answers.states[0], *_speed_of_most(answers)
    found = []
    for axle in ("front", "rear"):
        change = answers.draws(base, axle, fast) - answers.draws(base, axle, slow)
        change = change[answers.kept(base)]
        sure = probability(change < 0)
        size = -summarise(change).best
        if sure < _SURE or size < 3 * _POINT:
            continue
        part, share = _culprit(answers, base, axle, slow, fast)
        then, now = (answers.ride_number(base, axle, v) for v in (slow, fast))
        lost = answers.book.number(
            f"lost/{base}/{axle}",
            answers.draws(base, axle, slow) - answers.draws(base, axle, fast),
            "area",
            title=f"CzS lost at the {axle} axle from {_kmh(slow)} to {_kmh(fast)}",
            links=answers.car_links(base),
            at=answers.at(base, fast),
            decision="Raise that end first, before adding a wing.",
            keep=answers.kept(base),
            among=answers.inputs_in(base),
        )
        height = format_plain(
            summarise(answers.draws(base, f"height_{axle}", fast)[answers.kept(base)]).best,
            "height", "mm", digits=1,
        )  # fmt: skip
        found.append(
            Finding(
                title=f"The {axle} axle loses downforce as the car goes faster",
                text=f"From {_kmh(slow)} to {_kmh(fast)} its CzS falls from {then['text']} to "
                f"{now['text']}; {100 * share:.0f} % of the loss is the {part}, which at "
                f"h{axle[0]} {height} is past its height of greatest load.",
                verdict="consistent" if answers.is_tied else "needs an assumption",
                page="map",
                worth=size,
                numbers=(
                    lost | {"label": "CzS lost"},
                    then | {"label": f"at {_kmh(slow)}"},
                    now | {"label": f"at {_kmh(fast)}"},
                ),
                test=f"Two passes each way at {_kmh(fast)} with the {axle} raised 10 mm: the loss "
                "must come back.",
                why=lost["why"],
                value=lost,
            )
        )
    return found


def lost_chain(answers: Answers, address: str) -> None:
    """Keep the chain of what an axle loses with speed."""
    _lost_with_speed(answers)


def _speed_of_most(answers: Answers) -> tuple[float, float]:
    """Return the studied speeds between which the whole car loses most, or the ends."""
    base, keep = answers.states[0], answers.kept(answers.states[0])
    loads = [summarise(answers.draws(base, "total", v)[keep]).best for v in answers.speeds]
    highest = int(np.argmax(loads))
    if highest == len(loads) - 1:
        return answers.speeds[0], answers.speeds[-1]
    return answers.speeds[highest], answers.speeds[-1]


def _culprit(
    answers: Answers, state: str, axle: str, slow: float, fast: float
) -> tuple[str, float]:
    """Return the part whose own load on an axle falls most, and its share of the fall."""
    before, after = (answers.budget(state, v) for v in (slow, fast))
    falls: dict[str, float] = {}
    for row_before, row_after in zip(before.rows, after.rows, strict=False):
        if row_before.kind not in ("part", "interaction"):
            continue
        name = row_before.name.split(" → ")[-1]
        fall = np.median(getattr(row_before, axle) - getattr(row_after, axle))
        falls[name] = falls.get(name, 0.0) + float(fall)
    total = sum(max(0.0, fall) for fall in falls.values())
    worst = max(falls, key=lambda name: falls[name])
    return worst, falls[worst] / total if total > 0 else 0.0


def _shift_of_balance(answers: Answers) -> list[Finding]:
    base = answers.states[0]
    keep = answers.kept(base)
    slow, fast = answers.speeds[0], answers.speeds[-1]
    shift = (answers.draws(base, "share", fast) - answers.draws(base, "share", slow))[keep]
    sure = max(probability(shift > 0), probability(shift < 0))
    size = summarise(shift).best
    if sure < _SURE or abs(size) < 0.02:
        return []
    then, now = (answers.ride_number(base, "share", v) for v in (slow, fast))
    way = "forward" if size > 0 else "rearward"
    feel = "looser" if size > 0 else "tighter"
    load = summarise(answers.draws(base, "total", fast)[keep]).best
    return [
        Finding(
            title=f"The balance moves {way} with speed, so the car grows {feel}",
            text=f"Front share {then['text']} at {_kmh(slow)}, {now['text']} at {_kmh(fast)}.",
            verdict="consistent" if answers.is_tied else "needs an assumption",
            page="map",
            worth=abs(size) * load,
            numbers=(then | {"label": f"at {_kmh(slow)}"}, now | {"label": f"at {_kmh(fast)}"}),
            test="Compare front and rear load at two speeds on one straight, both ways.",
            why=now["why"],
        )
    ]


def _states(answers: Answers) -> list[Finding]:
    """Return the state that gains most, and every state that does not deliver what it adds."""
    gains = [
        state_gain(answers, state)
        for state in answers.states[1:]
        if is_choice(answers.project, state)
    ]
    if not gains:
        return []
    best = max(gains, key=lambda g: float(g.total["best"]))
    found = []
    for gain in gains:
        size, low, high = (gain.total[k] for k in ("best", "low", "high"))
        noise = low < 0.1 * size if size > 0 else high > 0.1 * size
        held = gain.held["best"] if gain.held is not None else 0.0
        eaten = held > 2.5 * max(size, 0.0) and held > 3 * _POINT
        if not (gain is best and size > 0) and not (noise or eaten or size < 0):
            continue
        worth = max(abs(size), held) if eaten else abs(size)
        found.append(
            Finding(
                title=_state_title(gain, noise=noise, eaten=eaten, best=gain is best),
                text=_state_text(gain, eaten=eaten),
                verdict="below noise" if noise else "consistent",
                page="states",
                worth=worth,
                numbers=(
                    gain.total | {"label": "CzS gained"},
                    gain.drag | {"label": "CxS added"},
                    gain.share | {"label": "front share then"},
                ),
                test=f"A-B-A at {_kmh(gain.speed)}: baseline, '{gain.state}', baseline.",
                why=gain.total["why"],
                value=gain.total,
            )
        )
    return found


def _state_text(gain: "Gain", *, eaten: bool) -> str:
    text = (
        f"At {_kmh(gain.speed)}, with the platform loop closed, '{gain.state}' changes CzS by "
        f"{gain.total['text']} and CxS by {gain.drag['text']}; front share is then "
        f"{gain.share['text']}."
    )
    if eaten and gain.held is not None:
        text += (
            f" At unchanged ride heights CzS would change by {gain.held['text']}: the added load "
            "pushes the car down to where the floor gives it back."
        )
    return text


MINUS = "\u2212"


def _state_title(gain: "Gain", *, noise: bool, eaten: bool, best: bool) -> str:
    points = abs(gain.total["best"]) / _POINT
    if eaten:
        return f"'{gain.state}' is the wrong first move: the platform takes back what it adds"
    if noise:
        return f"'{gain.state}': no gain that could be told from nothing"
    if gain.total["best"] < 0:
        return f"'{gain.state}' costs {points:.0f} points"
    return f"'{gain.state}' is worth most of the states tried: {points:.0f} points" if best else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """A state against the baseline at one speed, differences taken draw by draw."""

    state: str
    speed: float
    total: Number
    drag: Number
    share: Number
    held: Number | None


def state_gain(answers: Answers, state: str, speed: float | None = None) -> Gain:
    """Return what a state gains over the baseline; ``held`` at the baseline's ride heights."""
    base = answers.states[0]
    top = _speed_for_states(answers) if speed is None else speed
    keep = answers.kept(base) & answers.kept(state)
    at = answers.at(state, top)

    def number(name: str, words: str, draws: np.ndarray) -> Number:
        return answers.book.number(
            f"state/{state}/{name}/{top * _KMH:.0f}", draws, "area",
            title=f"{words}: '{state}' less '{base}' at {_kmh(top)}",
            links=answers.car_links(state), at=at, keep=keep,
            among=answers.inputs_in(base, state),
            decision="Whether this change is worth testing, and before which other.",
            notices=answers.notices(state),
        )  # fmt: skip

    total = number(
        "total", "CzS", answers.draws(state, "total", top) - answers.draws(base, "total", top)
    )
    drag = number(
        "drag", "CxS", answers.draws(state, "drag", top) - answers.draws(base, "drag", top)
    )
    return Gain(
        state=state, speed=top, total=total, drag=drag,
        share=answers.ride_number(state, "share", top), held=_held_gain(answers, state, top, keep),
    )  # fmt: skip


def _speed_for_states(answers: Answers) -> float:
    """Return the speed states are compared at: the second highest studied, where there are two."""
    return answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]


def _held_gain(answers: Answers, state: str, speed: float, keep: np.ndarray) -> Number | None:
    """Return the gain at the baseline's ride heights, where the state has no heights of its own."""
    own = answers.project.state(state)
    if own.ride_height_front is not None or own.ride_height_rear is not None:
        return None
    base = answers.states[0]
    platform = answers.platform(base, speed)
    loads = [answers.loads(name, platform).downforce for name in (state, base)]
    return answers.book.number(
        f"state/{state}/held/{speed * _KMH:.0f}", loads[0] - loads[1], "area",
        title=f"CzS at unchanged ride heights: '{state}' less '{base}' at {_kmh(speed)}",
        links=answers.car_links(state), at=answers.at(base, speed), keep=keep,
        among=answers.inputs_in(base, state),
    )  # fmt: skip


def _rest_without_driver(answers: Answers) -> list[Finding]:
    """Return a second mass state whose ride heights at rest differ from the study's."""
    project = answers.project
    usual = project.mass_state()
    found = []
    for other in project.mass_states:
        if other.name == usual.name:
            continue
        front = other.ride_height_front.best - usual.ride_height_front.best
        rear = other.ride_height_rear.best - usual.ride_height_rear.best
        kilograms = usual.mass.best - other.mass.best
        if kilograms <= 0.0 or max(abs(front), abs(rear)) < 1e-3:
            continue  # with ballast or more fuel it is another car, not a sheet without its driver
        lost = _worth_of_height(answers, rear)
        found.append(
            Finding(
                title=f"Ride heights '{other.name}' are not those the car runs at",
                text=f"They were taken {kilograms:.0f} kg lighter and read "
                f"{1e3 * front:+.0f} mm front, {1e3 * rear:+.0f} mm rear against "
                f"'{usual.name}'. Everything here is for '{usual.name}'.".replace("-", MINUS),
                verdict="needs an assumption",
                page="overview",
                worth=lost,
                test="Measure ride heights again with the driver on board and the fuel noted.",
            )
        )
    return found


def _worth_of_height(answers: Answers, rear: float) -> float:
    """Return roughly what an error of the rear ride height is worth in CzS. [m²]"""
    base = answers.states[0]
    speed = answers.speeds[-1]
    platform = answers.platform(base, speed)
    moved = replace(platform, ride_height_rear=platform.ride_height_rear + rear)
    change = answers.loads(base, moved).downforce - answers.loads(base, platform).downforce
    return float(abs(np.median(change)))


def _several_equilibria(answers: Answers) -> list[Finding]:
    found = []
    for state in answers.states:
        count = np.asarray(answers.ride(state)["count"])[:, answers.kept(state)]
        share = float(np.mean(count > 1, axis=1).max(initial=0.0))
        if share < 0.1:
            continue
        at = answers.speeds[int(np.argmax(np.mean(count > 1, axis=1)))]
        found.append(
            Finding(
                title=f"'{state}' may ride at two heights at one speed",
                text=f"Near {_kmh(at)}, {100 * share:.0f} % of the draws have more than one "
                "equilibrium of springs and air: the car may come back from a bump at another "
                "height.",
                verdict="needs an assumption",
                page="map",
                worth=0.02,
                test="Repeat one pass after a hard bump and compare ride heights.",
            )
        )
    return found


def _kmh(speed: float) -> str:
    return f"{speed * _KMH:.0f}\u202fkm/h"
