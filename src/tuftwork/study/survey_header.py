"""All that a reader of a map must know of the car, told once for every map that is handed over."""

from dataclasses import replace
from datetime import date

import numpy as np

from tuftwork.aeromap.map import MapHeader
from tuftwork.car import Floor, Project
from tuftwork.floor.estimate import CHECKED_HEIGHT
from tuftwork.quantity import format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.cliff import cliff_of
from tuftwork.study.store import digest_of

_KMH = 3.6
SOURCES = ("track", "tunnel", "solver", "model")
"""Where a cell's numbers can come from, in the order of the map file's flags."""
_SOLVED = ("LatticeWing", "ChannelFloor")
"""Engines that solve the flow; what is left are closed forms."""


def full_header(answers: Answers, base: MapHeader) -> MapHeader:
    """Return a header with all that a reader of the map must know of the car."""
    project = answers.project
    settings = [
        f"{s.name}: {', '.join(f'{k} = {v}' for k, v in s.values.items()) or 'as the parts say'}"
        + (f"; without {', '.join(s.without)}" if s.without else "")
        for s in project.states
    ]
    air = answers.job.air()
    length = project.car.wheelbase.best
    reynolds = answers.job.top_speed * length * float(air.density) / float(air.viscosity)
    day = base.day or date.today().isoformat()
    return replace(
        base,
        settings="; ".join(settings) or "one state",
        tyres="; ".join(_tyres(answers)),
        cooling=_cooling(project),
        reynolds=f"{reynolds:.3g} on the wheelbase at {answers.job.top_speed * _KMH:.0f} km/h",
        cliffs="; ".join(f"{s}: {cliff_of(answers, s).text}" for s in answers.states),
        hysteresis="; ".join(_hysteresis(answers, s) for s in answers.states),
        method=f"{base.method}; " + "; ".join(_engines(answers)),
        digest=base.digest or digest_of(project.model_dump(mode="json")),
        author=base.author or "not said",
        day=day,
        changes=f"made on {day}; later changes give another checksum",
        note=project.about.title,
    )


def source_of(answers: Answers, state: str) -> int:
    """Return where a state's cells come from, a place in ``SOURCES``."""
    kinds = {type(m).__name__ for m in answers.models(state)}
    return SOURCES.index("solver" if kinds & set(_SOLVED) else "model")


def outside_of(answers: Answers, rear: np.ndarray) -> np.ndarray:
    """Return which rear ride heights lie outside the published regimes of the floors."""
    found = np.zeros(rear.size, dtype=bool)
    for part in answers.project.parts:
        if isinstance(part, Floor):
            half = (part.diffuser_width or part.width).best / 2
            found |= (rear < CHECKED_HEIGHT[0] * half) | (rear > CHECKED_HEIGHT[1] * half)
    return found


def _engines(answers: Answers) -> list[str]:
    return [f"{m.name} by {type(m).__name__}" for m in answers.models(answers.states[0])]


def _tyres(answers: Answers) -> list[str]:
    """Return size, rate and loaded radius at rest of both axles' tyres."""
    springs = answers.suspension(answers.states[0])
    found = []
    for name in ("front", "rear"):
        axle = getattr(answers.project.car, name)
        if axle is None:
            continue
        load = float(np.median(getattr(springs, name).static_load)) / 2
        radius = axle.tyre_diameter.best / 2 - load / axle.tyre_rate.best
        found.append(
            f"{name} {format_plain(axle.tyre_diameter.best, 'height', 'mm')} unloaded, "
            f"{format_plain(axle.tyre_rate.best, 'stiffness', 'N/mm')}, "
            f"loaded radius at rest {1e3 * radius:.0f} mm"
        )
    return found


def _cooling(project: Project) -> str:
    """Return what the cooling is and how it is set."""
    streams = [p for p in project.parts if p.kind == "cooling"]
    if project.cooling is not None and any(p.kind == "air net" for p in project.parts):
        ways = [f"{e.name} by the {e.at}" for e in project.cooling.exits]
        return f"air net of the project, nothing taped over; exits: {', '.join(ways)}"
    if not streams:
        return "no cooling air in the loads"
    return f"closed form streams: {', '.join(p.name for p in streams)}; nothing taped over"


def _hysteresis(answers: Answers, state: str) -> str:
    """Return whether a car comes back at other heights than it went, in words."""
    ride, keep = answers.ride(state), answers.kept(state)
    up = np.asarray(ride["ride_height_rear"])[:, keep]
    down = np.asarray(ride["falling_rear"])[:, keep]
    differs = np.mean(np.abs(up - down) > 0.5e-3, axis=1)
    if not np.any(differs > 0.05):
        return f"{state}: the same through rising and falling speed"
    at = int(np.argmax(differs))
    speed = float(np.asarray(ride["speed"])[at]) * _KMH
    return (
        f"{state}: near {speed:.0f} km/h {100 * differs[at]:.0f} % of the draws ride at other "
        "heights through falling speed"
    )
