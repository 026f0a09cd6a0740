"""The page of the car: parts together, states and devices, platform, leverage, and its chains."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np

from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.car import Project
from tuftwork.quantity import Draws, exact, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.car.corner import corner_of
from tuftwork.study.car.device import devices_of, rows_of
from tuftwork.study.car.leverage import levers_of
from tuftwork.study.car.motion import (
    MOST_G,
    Motion,
    full_size,
    motion_book,
    motion_inputs,
    motion_of,
)
from tuftwork.study.number import Link, Number, number_of_quantity, number_of_summary
from tuftwork.study.support import Support, of_parts

_KMH = 3.6
_SEEN = 0.5  # [-] share of the draws that must have a cliff for its distance to be a number
_SURVEYS = 3  # shown
Page = dict[str, Any]
CAUTION = (
    "A linear estimate says when a bounce would start, not how large it grows. Approach such "
    "speeds in small steps on a closed course, with a way to lift off."
)


def car_page(answers: Answers, *, speed: str = "", state: str = "", lateral: str = "") -> Page:
    """Return the car as one system, in a state at a speed; ``lateral`` is a corner's, entered."""
    name = answers.state_named(state)
    usual = answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
    at_speed = answers.speed_named(speed, usual=usual)
    key = f"car page {name} {at_speed} {lateral}"
    if key not in answers.worked_out:
        answers.worked_out[key] = _page(answers, name, at_speed, lateral)
    kept: Page = answers.worked_out[key]
    return kept | {"surveys": surveys_of(answers)}


def surveys_of(answers: Answers) -> list[Page]:
    """Return what large maps of this project were made, the latest first, with their errors."""
    folder = answers.job.folder
    if folder is None:
        return []
    files = list((folder / "results" / "survey").glob("*/summary.json"))
    latest = sorted(files, key=lambda path: -path.stat().st_mtime)[:_SURVEYS]
    return [json.loads(path.read_text("utf-8")) for path in latest]


def _page(answers: Answers, name: str, at_speed: float, lateral: str) -> Page:
    has_parts = bool(answers.project.parts)
    return {
        "state": name,
        "states": list(answers.states),
        "speed": number_of_quantity(exact(at_speed, "speed", unit="km/h")),
        "speeds": [round(v * _KMH, 1) for v in answers.speeds],
        "at": answers.at(name, at_speed) if has_parts else "",
        "kg_per_m2": answers.kilograms(at_speed),
        "static": _static(answers, name),
        "together": _together(answers, name, at_speed) if has_parts else None,
        "rows": rows_of(answers) if has_parts else [],
        "devices": devices_of(answers) if has_parts else [],
        "platform": platform_of(answers, name, at_speed, lateral) if answers.has_platform else None,
        "levers": _levers(answers, name, at_speed) if answers.has_platform else [],
        "partial": _missing(answers),
        "notices": answers.notices(name) if answers.has_platform else [],
    }


def _static(answers: Answers, state: str) -> dict[str, float]:
    """Return the ride heights at rest of a state, best values [mm]."""
    own = answers.project.state(state if answers.project.states else "")
    mass = answers.project.mass_state()
    return {
        "front_mm": 1e3 * (own.ride_height_front or mass.ride_height_front).best,
        "rear_mm": 1e3 * (own.ride_height_rear or mass.ride_height_rear).best,
    }


def car_support(project: Project, answers: Answers | None) -> Support:
    """Return how well the page of the car is supported."""
    return of_parts(project, answers)


def _missing(answers: Answers) -> list[str]:
    if not answers.project.parts:
        return ["No parts yet: add [[parts]] tables."]
    if not answers.has_platform:
        return ["Platform, map and leverage need [car.front] and [car.rear]: springs and tyres."]
    if answers.project.mass_state().cg_height is None:
        return ["The cliff in g of braking needs cg_height in the mass state."]
    return []


def _together(answers: Answers, state: str, speed: float) -> Page:
    """Return isolated parts beside the system, and each interaction, largest first."""
    found = answers.budget(state, speed)
    at = answers.at(state, speed)
    head = f"car/together/{state}/{speed * _KMH:.0f}"

    def number(name: str, field: str, draws: Draws) -> Number:
        return answers.book.number(
            f"{head}/{name}/{field}", draws, "area",
            title=f"{name}: {_FIELDS[field]} at {speed * _KMH:.0f} km/h, {state}",
            links=answers.car_links(state), at=at, keep=answers.kept(state),
            among=answers.inputs_in(state),
            decision="Whether parts may be judged one by one on this car.",
        )  # fmt: skip

    def row(name: str, what: Any) -> Page:
        fields = {"front": what.front, "rear": what.rear, "total": what.total, "drag": what.drag}
        return {"name": name} | {f: number(name, f, d) for f, d in fields.items()}

    pairs = found.of_kind("interaction")
    pairs = tuple(sorted(pairs, key=lambda r: -float(np.median(np.abs(r.total) + abs(r.drag)))))
    return {
        "isolated": row("parts alone", found.isolated),
        "between": row("between parts", found.together),
        "system": row("the system", found.total),
        "pairs": [row(r.name, r) | {"note": r.note} for r in pairs],
    }


_FIELDS = {"front": "CzSf", "rear": "CzSr", "total": "CzS", "drag": "CxS"}


def platform_of(answers: Answers, state: str, speed: float, lateral: str = "") -> Page:
    """Return how the platform stands at a speed and moves through all of them."""
    motion = motion_of(answers, state)
    at = motion.at(speed)
    tell = _Teller(answers, state, speed)
    slopes = motion.slopes[:2, :, at].sum(axis=0)
    total = motion.path.downforce_front[at] + motion.path.downforce_rear[at]
    index = 1e-3 * np.sum(np.abs(slopes / total), axis=0)
    shift = [
        1e-3 * (motion.slopes[0, i, at] - motion.path.downforce_front[at] / total * slopes[i])
        / total
        for i in (0, 1)
    ]  # fmt: skip
    return {
        "index": tell("index", "Sensitivity index: CzS per mm of both ends", index, "share", "%"),
        "per_mm": [
            {
                "axle": axle,
                "total": tell(f"per mm {axle}", f"CzS per mm of {axle} ride height",
                              1e-3 * slopes[i], "area", "m²"),
                "share": tell(f"share per mm {axle}", f"Front share per mm of {axle} ride height",
                              shift[i], "share", "%"),
            }
            for i, axle in enumerate(("front", "rear"))
        ],
        "cliffs": [_cliff(motion, tell, speed, axle) for axle in ("front", "rear")],
        "divergence": _divergence(motion, tell),
        "bounce": _bounce(motion, tell),
        "corner": corner_of(answers, motion, state, speed, lateral),
        "curve": _curve(motion),
        "assumed": _assumed(answers.project),
        "caution": CAUTION,
    }  # fmt: skip


def bounce_of(answers: Answers, state: str, speed: float) -> Page:
    """Return what :func:`platform_of` says of a bounce, alone."""
    return _bounce(motion_of(answers, state), _Teller(answers, state, speed))


class _Teller:
    """Turns draws of the kept draws into numbers with chains that may blame the motion."""

    def __init__(self, answers: Answers, state: str, speed: float) -> None:
        self.answers, self.state, self.speed = answers, state, speed
        self.book = motion_book(answers)
        self.among = answers.inputs_in(state) | frozenset(motion_inputs(answers.project))
        self.at = answers.at(state, speed)

    def __call__(
        self, name: str, words: str, draws: Draws, dimension: str, unit: str, at: str = "",
        decision: str = "",
    ) -> Number:  # fmt: skip
        full = full_size(self.answers, self.state, draws)
        return self.book.number(
            f"car/platform/{self.state}/{self.speed * _KMH:.0f}/{name}", full, dimension,
            unit=unit, title=f"{words}, {self.state}", links=self._links(), at=at or self.at,
            keep=np.isfinite(full), among=self.among, decision=decision,
        )  # fmt: skip

    def _links(self) -> list[Link]:
        return [
            *self.answers.car_links(self.state),
            Link(what="Heave and pitch of the body on springs, tyres and dampers, the load late",
                 origin="computed", source="leishman1989", place="lag of the load"),
        ]  # fmt: skip


def _cliff(motion: Motion, tell: _Teller, speed: float, axle: str) -> Page:
    clear = motion.clearance(axle)[motion.at(speed)]
    there = np.isfinite(clear)
    pedal = "braking" if axle == "front" else "driving"
    page: Page = {
        "axle": axle,
        "pedal": pedal,
        "height": None,
        "g": None,
        "beyond": None,
        "text": "",
    }
    if np.mean(there) < _SEEN:
        page["text"] = f"The map shows no cliff of the {axle} axle."
    else:
        page["height"] = tell(
            f"cliff {axle}", f"Height of the {axle} above its cliff", clear, "height", "mm",
            decision="How much lower this end may be set.",
        )  # fmt: skip
    g = motion.g_to_cliff(speed, axle)
    if g is None:
        page["text"] = f"{page['text']} In g: needs cg_height in the mass state.".strip()
        return page
    held = np.isnan(g)
    page["beyond"] = float(np.mean(held))
    capped = np.where(held, MOST_G, g)
    if np.all(g == 0):
        page["text"] = "Already past it at steady speed."
    elif page["beyond"] < 1 and (page["height"] is not None or page["beyond"] < _SEEN):
        page["g"] = tell(
            f"g {axle}", f"{pedal.capitalize()} at which the {axle} passes its cliff",
            STANDARD_GRAVITY * capped, "acceleration", "g",
            decision="Whether the pedals can find the cliff.",
        )  # fmt: skip
    if page["beyond"] > 0:
        share = f"{100 * page['beyond']:.0f} %"
        more = f"{share} of the draws stay clear of it up to {MOST_G:g} g of {pedal}."
        page["text"] = f"{page['text']} {more}".strip()
    return page


def _divergence(motion: Motion, tell: _Teller) -> Page:
    found = motion.divergence()
    some = np.isfinite(found)
    margin = tell(
        "margin", "Margin against static divergence at the top speed", motion.path.margin[-1],
        "ratio", "",
    )  # fmt: skip
    top = motion.speed[-1] * _KMH
    if np.mean(some) < _SEEN:
        text = f"The air helps the springs up to {top:.0f} km/h in most draws: none is in sight."
        return {"margin": margin, "speed": None, "text": text}
    draws = np.where(some, found, np.nan)
    speed = tell("divergence", "Speed of static divergence", draws, "speed", "km/h")
    text = "Springs cannot hold the car from there on" if summarise(draws[some]).low * _KMH < top \
        else "beyond the speeds studied"  # fmt: skip
    return {"margin": margin, "speed": speed, "text": text}


def _bounce(motion: Motion, tell: _Teller) -> Page:
    onset, top = motion.onset, motion.speed[-1] * _KMH
    page: Page = {
        "share": onset.share,
        "damping": tell("damping", f"Damping of the slowest swing at {top:.0f} km/h",
                        motion.modes.ratio[-1], "share", "%"),
        "frequency": tell("frequency", f"Its frequency at {top:.0f} km/h",
                          motion.modes.frequency[-1], "frequency", "Hz"),
        "onset": None,
        "at": None,
    }  # fmt: skip
    if np.sum(np.isfinite(onset.speed)) >= 8:
        page["onset"] = tell(
            "onset", "Speed at which the car begins to bounce, where it does", onset.speed,
            "speed", "km/h", decision="Dampers and rear ride height before more floor.",
        )  # fmt: skip
        page["at"] = tell("onset frequency", "Frequency there", onset.frequency, "frequency", "Hz")
    share = f"{100 * onset.share:.0f} %"
    if onset.share == 0:
        page["text"] = f"In no draw does a bounce grow by itself up to {top:.0f} km/h."
    elif page["onset"] is None:
        page["text"] = f"In {share} of the draws a bounce grows by itself below {top:.0f} km/h."
    else:
        page["text"] = (
            f"In {share} of the draws a bounce grows by itself below {top:.0f} km/h; there it "
            f"starts at {page['onset']['text']}, {page['at']['text']}."
        )
    return page


def _curve(motion: Motion) -> Page:
    """Return damping of the least damped swing and clearances against speed, for the charts."""

    def line(values: np.ndarray, dimension: str, unit: str) -> list[Number | None]:
        found: list[Number | None] = []
        for row in values:
            good = row[np.isfinite(row)]
            enough = good.size >= _SEEN * row.size
            found.append(
                number_of_summary(summarise(good), dimension, unit=unit) if enough else None
            )
        return found

    return {
        "speed_kmh": [round(v * _KMH, 1) for v in motion.speed],
        "damping": line(motion.modes.ratio, "share", "%"),
        "frequency": line(motion.modes.frequency, "frequency", "Hz"),
        "front": line(motion.clearance("front"), "height", "mm"),
        "rear": line(motion.clearance("rear"), "height", "mm"),
        "margin": line(motion.path.margin, "ratio", ""),
    }


def _assumed(project: Project) -> list[str]:
    """Return what the motion assumes because the project does not say it."""
    said = ["how late the load follows: 1.5 floor lengths, give or take a factor of two"]
    for axle, table in (("front", project.car.front), ("rear", project.car.rear)):
        if table is not None and table.damping is None:
            said.append(f"{axle} dampers: 0.35 to 1.0 of critical ([car.{axle}] damping)")
    if project.mass_state().pitch_inertia is None:
        said.append("pitch inertia from the axle distances (pitch_inertia)")
    return said


def _levers(answers: Answers, state: str, speed: float) -> list[Page]:
    tell = _Teller(answers, state, speed)
    tell.among = answers.inputs_in(state)
    rows = []
    for lever in levers_of(answers, state, speed):
        key = lever.name.replace("/", " ")
        rank = summarise(lever.rank)

        def number(
            name: str, words: str, draws: Draws, dimension: str = "area", unit: str = "m²"
        ) -> Number:
            return tell(
                f"lever {key} {name}", f"{words}: {lever.name}, {lever.step}", draws,  # noqa: B023
                dimension, unit, decision="Which end of the car to work on first.",
            )  # fmt: skip

        rows.append(
            {
                "name": lever.name,
                "step": lever.step,
                "total": number("total", "CzS gained with the platform settled", lever.total),
                "held": number("held", "CzS at unchanged ride heights", lever.held)
                if lever.held is not None else None,
                "drag": number("drag", "CxS added", lever.drag),
                "share": number("share", "Front share moved", lever.share, "share", "%"),
                "rank": [int(rank.low), round(rank.best), int(np.ceil(rank.high))],
            }
        )  # fmt: skip
    return rows


def car_chain(answers: Answers, address: str) -> None:
    """Keep the chains of the page of the car for the state and speed an address names."""
    words = address.split("/")
    makers: dict[str, Callable[[], object]] = {
        "together": lambda: _together(answers, words[2], answers.speed_named(words[3])),
        "platform": lambda: (
            platform_of(answers, words[2], answers.speed_named(words[3])),
            _levers(answers, words[2], answers.speed_named(words[3])),
        ),
        "corner": lambda: corner_of(
            answers,
            motion_of(answers, words[2]),
            words[2],
            answers.speed_named(words[3]),
            words[4],
        ),
        "state": lambda: rows_of(answers),
        "stuck": lambda: devices_of(answers),
    }
    makers[words[1]]()
