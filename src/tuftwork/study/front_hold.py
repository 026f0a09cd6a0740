"""What a splitter's plate and its stays have to hold: the load sheet of a front, draw by draw.

Of a splitter in closed form as of one whose channels are solved: load ahead of the bodywork at the
fastest the car goes, as it rides there and with the nose lower, the least proof load, and the pull
along its stays where they are described.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.part import ChannelSplitter, EstimatedSplitter, draws_of
from tuftwork.car import Project, Splitter, SplitterStays, parts_in_state
from tuftwork.floor.hold import HeldPlate, held_plate, stay_force
from tuftwork.quantity import Array, Ensemble, Quantity, format_number
from tuftwork.study.answers import Answers
from tuftwork.study.fastest import CARE, GRAVITY, PROOF, Fastest, fastest
from tuftwork.study.front_answer import LOWER
from tuftwork.study.number import Link

_KMH, _MM = 3.6, 1e3
_NEAR = 1.02  # [-]  ride heights of a studied speed hold so far from it
_CLOSED = (
    "Desk estimate. The closed form is good to some 40\u202f% before it is tied to a measurement: "
    "prove plate, stays and what carries them by at least the upper end of the proof load before "
    "the car runs."
)
_CHANNELS = (
    "Desk estimate. Prove plate, stays and what carries them by at least the upper end of the "
    "proof load before the car runs; from below the load is taken as spread evenly over the plate."
)
_NOT = (
    "Kerbs, stones, a plate that scrapes and the shake of the car are not in it; look at plate and "
    "stays after every run at first, and after every touch."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Where the plate is to be looked at: a speed [m/s] and ride heights [m] where given."""

    speed: float | None = None
    front: float | None = None
    rear: float | None = None


def hold_quantities(project: Project) -> dict[str, Quantity]:
    """Return where and how stays hold, by name."""
    found = {}
    for part in project.parts:
        if isinstance(part, Splitter) and part.stays is not None:
            found[f"{part.name}.stays.ahead"] = part.stays.ahead
            found[f"{part.name}.stays.angle"] = part.stays.angle
    return found


def hold_labels(project: Project) -> dict[str, str]:
    """Return what a person calls those numbers."""
    words = {"ahead": "stays ahead of the bodywork", "angle": "angle of the stays"}
    return {n: f"{n.split('.')[0]}: {words[n.rsplit('.', 1)[1]]}" for n in hold_quantities(project)}


def hold_rows(
    answers: Answers, state: str, under: str, asked: Asked | None = None
) -> list[dict[str, Any]]:
    """Return the load sheet of every splitter; its chains are kept under ``<under>/hold …``.

    Parameters
    ----------
    answers
        Of a study.
    state
        Of the car.
    under
        Address of the chains.
    asked
        A speed and ride heights; the fastest the car goes and where it then rides unless given.
    """
    asked = asked or Asked()
    models = answers.models(state)
    if not any(isinstance(m, EstimatedSplitter | ChannelSplitter) for m in models):
        return []
    top = fastest(answers, state)
    if asked.speed is not None:
        top = Fastest(speed=asked.speed, what="as asked")
    place = _placed(answers.platform(state, top.speed), asked, answers.ensemble.size)
    lower = replace(place, ride_height_front=np.maximum(place.ride_height_front - LOWER, 2e-3))
    draws = draws_of(models, answers.ensemble)
    level, low = (_plates(models, where, draws) for where in (place, lower))
    notices = list[str]()
    studied = answers.job.top_speed
    if asked.front is None and top.speed > _NEAR * studied and answers.has_platform:
        notices.append(f"Ride heights are those of {_KMH * studied:.0f}\u202fkm/h, the fastest "
                       "studied speed.")  # fmt: skip
    parts = {p.name: p for p in parts_in_state(answers.project, _own(answers, state))}
    teller = _Teller(answers=answers, state=state, under=under, top=top)
    rows = []
    for name, plate in level.items():
        part = parts[name]
        assert isinstance(part, Splitter)
        rows.append(teller.row(part, plate, low[name], notices))
    return rows


def _own(answers: Answers, state: str) -> Any:
    return answers.project.state(state if answers.project.states else "")


def _placed(place: PlatformState, asked: Asked, size: int) -> PlatformState:
    heights = {
        f"ride_height_{axle}": np.full(size, value)
        for axle, value in (("front", asked.front), ("rear", asked.rear))
        if value is not None
    }
    return replace(place, **heights)


def _plates(
    models: Sequence[PartModel], platform: PlatformState, draws: Mapping[str, Field]
) -> dict[str, HeldPlate]:
    """Return what is ahead of the bodywork's edge, by splitter, as parts around leave it."""
    around: dict[str, Field] = {}
    found: dict[str, HeldPlate] = {}
    for model in models:
        if isinstance(model, EstimatedSplitter):
            found[model.name] = held_plate(*model.read(platform, draws))
        elif isinstance(model, ChannelSplitter):
            here = model.read(platform, draws, around)
            below = here.gain * sum(strip.plate for strip in here.loads.strips)
            projection = model.key("projection", draws)
            found[model.name] = HeldPlate(
                load=np.asarray(here.upper + below),
                moment=np.asarray(
                    here.upper * (projection - here.upper_centre) + 0.5 * below * projection
                ),
            )
        for channel, effect in model.load(platform, draws, around).effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Teller:
    """Puts a plate's loads into numbers with their chains."""

    answers: Answers
    state: str
    under: str
    top: Fastest

    def row(
        self, part: Splitter, level: HeldPlate, lower: HeldPlate, notices: Sequence[str]
    ) -> dict[str, Any]:
        """Return one splitter's load sheet."""
        size = self.answers.ensemble.size
        pressure = 0.5 * float(np.median(self.answers.air.density)) * self.top.speed**2
        load, dive = pressure * level.load, pressure * lower.load
        most = np.maximum(load, dive)
        moment = pressure * np.maximum(level.moment, lower.moment)
        at = f"{_KMH * self.top.speed:.0f}\u202fkm/h"
        nose = f"{_MM * LOWER:.0f}\u202fmm"
        wanted: list[tuple[str, str, Array, str, str]] = [
            ("plate", f"load on the plate ahead of the bodywork at {at}, {self.top.what}", load,
             "force", "N"),
            ("place", "it acts ahead of the bodywork's edge by", level.arm, "height", "mm"),
            ("dive", f"the same load with the nose {nose} lower", dive, "force", "N"),
            ("edge", "moment about the bodywork's edge, the greater of both", moment, "moment",
             "N m"),
            ("proof", "least proof load, one and a half times the greater of both", PROOF * most,
             "force", "N"),
        ]  # fmt: skip
        if part.stays is not None:
            pull = self._pull(part.name, part.stays, moment)
            count = part.stays.count
            words = f"pull along {'the stay' if count == 1 else f'each of {count} stays'}"
            wanted += [
                ("stay", f"{words}, the greater of both", pull, "force", "N"),
                ("proof stay", f"least proof {words}", PROOF * pull, "force", "N"),
            ]
        caution = _CHANNELS if part.channel is not None else _CLOSED
        cautions = [caution, _NOT, *CARE, *([self.top.notice] if self.top.notice else [])]
        told = [*cautions, *notices]
        numbers = [
            {"key": f"hold {key}", "label": label, "number": self._number(
                part, key, label, np.broadcast_to(values, (size,)), (dimension, unit), told)}
            for key, label, values, dimension, unit in wanted
        ]  # fmt: skip
        keep = self.answers.kept(self.state)
        upper = float(np.quantile(np.broadcast_to(PROOF * most, (size,))[keep], 0.9))
        arm = float(np.median(np.broadcast_to(level.arm, (size,))[keep]))
        stays = "" if part.stays is not None else (
            " Without [parts.stays] the bodywork's edge has to hold all of it, or whatever stays "
            "there are."
        )  # fmt: skip
        text = (
            f"Prove the plate with {format_number(upper, 0)}\u202fN "
            f"({format_number(upper / GRAVITY, 0)}\u202fkg) spread over it so that it acts "
            f"{_MM * arm:.0f}\u202fmm ahead of the bodywork's edge.{stays}"
        )
        return {
            "name": part.name, "text": text, "numbers": numbers, "notices": told,
            "cautions": cautions,
            "load_area": float(np.median(np.broadcast_to(level.load, (size,))[keep])),
        }  # fmt: skip

    def _pull(self, name: str, stays: SplitterStays, moment: Array) -> Array:
        drawn = self.answers.ensemble
        ahead, angle = (
            _drawn(drawn, f"{name}.stays.{key}", quantity)
            for key, quantity in (("ahead", stays.ahead), ("angle", stays.angle))
        )
        return stay_force(moment, count=stays.count, ahead=ahead, angle=angle)

    def _number(
        self, part: Splitter, key: str, label: str, values: Array, kind: tuple[str, str],
        notices: Sequence[str],
    ) -> dict[str, Any]:  # fmt: skip
        answers, (dimension, unit) = self.answers, kind
        engine = "Channels under the plate solved" if part.channel else "Splitter in closed form"
        place = "front-floor" if part.channel else "splitter-estimate"
        links = [
            Link(what=f"{engine}: what lies ahead of the bodywork's edge", origin="computed",
                 place=f"docs/models/{place}.md"),
            Link(what="Plate hinged at the bodywork's edge; proof load by common practice",
                 origin="computed", place="docs/models/splitter-estimate.md"),
        ]  # fmt: skip
        stays = {n for n in hold_quantities(answers.project) if n.startswith(f"{part.name}.stays")}
        return answers.book.number(
            f"{self.under}/hold {part.name} {key}", values, dimension, unit=unit,
            title=f"{part.name}: {label}", links=links, keep=answers.kept(self.state),
            at=f"{_KMH * self.top.speed:.0f}\u202fkm/h, {self.state}", notices=notices,
            decision="Thickness and proof load of the plate, number and place of its stays.",
            among=answers.inputs_in(self.state) | stays,
        )  # fmt: skip


def _drawn(ensemble: Ensemble, name: str, quantity: Quantity) -> Array | float:
    return ensemble.of(name) if name in ensemble.columns else quantity.best
