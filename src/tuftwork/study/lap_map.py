"""The study's aero map where laps go: nodes added above and below, and the table a lap reads."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.map import FIELDS, AirAt, build_map
from tuftwork.aeromap.part import draws_of
from tuftwork.car import Project
from tuftwork.errors import NotCovered, TuftworkError
from tuftwork.lap import AeroTable
from tuftwork.quantity import Array
from tuftwork.study.job import Job, _tables, models_in
from tuftwork.study.lap_car import LapCar
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

Axes = dict[str, Array]
_NONE: Mapping[str, Sequence[float]] = {}
_GAP = 0.005  # [m] between nodes added to the map
_LIFT = 0.026  # [m] a nose rises under power, or a tail under brakes, above its height at rest
_LOWEST = 0.004  # [m]


def wide_name(state: str) -> str:
    """Return the name of the step that widens a state's map to where laps go."""
    return f"wide map {state}"


def wide_step(job: Job, state: str) -> Step:
    """Return the step of a state's map with added nodes, which all its laps read."""

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        try:
            return dict(wide_map(job, state, widened(results["axes"], job.project), results))
        except TuftworkError as error:  # without it no lap is driven; the rest stands
            return {"refused": str(error)}

    own = job.project
    inputs = {
        "heights": [str(own.mass_state().ride_height_front), str(own.mass_state().ride_height_rear)]
        + [[str(s.ride_height_front), str(s.ride_height_rear)] for s in own.states],
        "top": job.top_speed,
    }
    return Step(
        name=wide_name(state), title=f"Aero map for laps: {state}", inputs=inputs, work=work,
        needs=("tie", "axes", f"map {state}", *_tables(own)), weight=1.0,
    )  # fmt: skip


def fields_of(results: Mapping[str, Tree], state: str) -> dict[str, Array]:
    """Return the fields of a state's widened map, all draws. [m²]

    Raises
    ------
    NotCovered
        If the map could not be widened, with the reason.
    """
    found = results[wide_name(state)]
    if "refused" in found:
        raise NotCovered(found["refused"])
    return {name: np.asarray(found[name]) for name in FIELDS}


def widened(axes: Tree, project: Project, asked: Mapping[str, Sequence[float]] = _NONE) -> Axes:
    """Return the study's map axes with nodes added where a lap goes beyond them.

    A lap lifts the nose under power and the tail under brakes; ``asked`` are ride heights at rest
    that are not among the study's own. [m]
    """
    mass = project.mass_state()
    found = {}
    for axle in ("front", "rear"):
        axis = np.asarray(axes[axle])
        key = f"ride_height_{axle}"
        own = [getattr(mass, key).best]
        own += [getattr(s, key).best for s in project.states if getattr(s, key) is not None]
        rest = [*own, *asked.get(axle, ())]
        above = np.arange(axis[-1] + _GAP, max(rest) + _LIFT + _GAP, _GAP)
        below = np.arange(axis[0] - _GAP, axis[0] - (min(own) - min(rest)) - _GAP, -_GAP)
        found[axle] = np.r_[below[::-1][below[::-1] >= _LOWEST], axis, above]
    return found


def wide_map(
    job: Job, state: str, axes: Axes, results: Mapping[str, Tree]
) -> list[tuple[str, Array]]:
    """Return a state's map with the added nodes, all draws, by field. [m²]"""
    ensemble = job.ensemble(results["tie"])
    air = job.air()
    at = AirAt(speed=job.top_speed, density=float(air.density), viscosity=float(air.viscosity))
    models = models_in(job.project, state, results)
    draws = draws_of(models, ensemble)
    made = build_map(
        {"one": lambda platform: car_loads(models, platform, draws)},
        front=axes["front"], rear=axes["rear"], air=at,
    )  # fmt: skip
    return [(name, np.asarray(getattr(made, name)[0])) for name in FIELDS]


def aero_table(
    axes: Tree, fields: Mapping[str, Array], car: LapCar, states: tuple[str, ...] = ("fixed",)
) -> AeroTable:
    """Return the lap's table of maps ``(n_state, n_front, n_rear, n_draw)``."""
    drawn: dict[str, Any] = {name: np.moveaxis(v, -1, 0) for name, v in fields.items()}
    return AeroTable(
        ride_height_front=np.asarray(axes["front"]),
        ride_height_rear=np.asarray(axes["rear"]),
        roll_loss_front=car.roll_loss, roll_loss_rear=car.roll_loss,
        states=states, **drawn,
    )  # fmt: skip


def middle_table(aero: AeroTable) -> AeroTable:
    """Return the table of the median of the draws."""
    if aero.n_draw == 1:
        return aero
    return replace(aero, **{name: np.median(getattr(aero, name), axis=0) for name in FIELDS})
