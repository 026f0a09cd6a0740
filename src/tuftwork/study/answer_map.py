"""Map and platform path of a finished study, as other rooms take them."""

from typing import TYPE_CHECKING

import numpy as np

from tuftwork.aeromap.equilibrium import PlatformPath
from tuftwork.aeromap.map import FIELDS as MAP_FIELDS
from tuftwork.aeromap.map import AeroMap, AirAt, MapHeader
from tuftwork.quantity import ORIGINS
from tuftwork.study.flow.sighting import narrowed_by

if TYPE_CHECKING:
    from tuftwork.study.answers import Answers


def path_of(answers: "Answers", state: str) -> PlatformPath:
    """Return a state's way through rising speed, the kept draws."""
    ride, keep = answers.ride(state), answers.kept(state)
    fields = {
        name: np.asarray(ride[name])[:, keep]
        for name in ("ride_height_front", "ride_height_rear", *MAP_FIELDS, "margin")
    }
    speed = np.asarray(ride["speed"])
    pressure = 0.5 * np.asarray(answers.air.density).reshape(-1)
    pressure = np.broadcast_to(pressure, keep.shape)[keep] * np.square(speed)[:, None]
    return PlatformPath(
        speed=speed,
        ride_height_front=fields["ride_height_front"],
        ride_height_rear=fields["ride_height_rear"],
        downforce_front=fields["downforce_front"],
        downforce_rear=fields["downforce_rear"],
        drag=fields["drag"],
        margin=fields["margin"],
        load_front=pressure * fields["downforce_front"],
        load_rear=pressure * fields["downforce_rear"],
        count=np.asarray(ride["count"])[:, keep].astype(np.int64),
        jumped=np.asarray(ride["jumped"])[:, keep].astype(bool),
        covered=np.ones(int(np.sum(keep)), dtype=bool),
    )


def map_of(answers: "Answers") -> AeroMap:
    """Return the map of all states with its header."""
    axes = answers.results["axes"]
    made = [answers.results[f"map {state}"] for state in answers.states]
    shape = (len(made), len(axes["front"]), len(axes["rear"]))
    mass, air = answers.project.mass_state(), answers.job.air()
    sources = {source.key: source for m in answers.models("") for source in m.sources}
    return AeroMap(
        front=np.asarray(axes["front"]),
        rear=np.asarray(axes["rear"]),
        states=answers.states,
        **{name: np.stack([m[name] for m in made]) for name in MAP_FIELDS},
        air=AirAt(
            speed=answers.job.top_speed,
            density=float(air.density),
            viscosity=float(air.viscosity),
        ),
        origin=np.full(shape, ORIGINS.index("computed")),
        valid=np.ones(shape, dtype=bool),
        extrapolated=np.stack([answers.beyond(state) for state in answers.states]),
        sources=tuple(sources.values()),
        notices=tuple(answers.notices(answers.states[0])),
        header=MapHeader(
            car=answers.project.car.name,
            configuration=", ".join(p.name for p in answers.project.parts),
            mass_state=mass.name,
            author=answers.project.about.author,
            day=str(answers.project.about.day or ""),
            method=_engines(answers)
            + narrowed_by(answers.project, answers.results["tie"]["rows"], is_tied=answers.is_tied),
        ),
    )


def _engines(answers: "Answers") -> str:
    has_table = any(hasattr(m, "covers") for m in answers.models(""))
    return (
        "part engines, floors from their channels' tables"
        if has_table
        else ("closed-form part engines")
    )
