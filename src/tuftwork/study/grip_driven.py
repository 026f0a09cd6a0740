"""Circles driven by every draw of the study: its car, the air there, what was measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.map import FIELDS
from tuftwork.aeromap.platform import platform_quantities
from tuftwork.air import air_of
from tuftwork.car import Circle, Project
from tuftwork.lap import AeroTable
from tuftwork.lap.circle import SteadyCircle, circle_limit
from tuftwork.lap.parameter import INDEX
from tuftwork.lap.vehicle import parameters_of
from tuftwork.quantity import Array, Ensemble, Quantity
from tuftwork.study.inputs import state_names
from tuftwork.study.job import Job
from tuftwork.study.lap_car import lap_car, lap_quantities
from tuftwork.study.lap_map import aero_table
from tuftwork.study.store import Tree

_SEED = 20263  # of what belongs to circles alone
_COMMON = 0.5  # [-] share of the variance of what the car cannot follow that all circles share
_AGAIN = 0.4  # [-] the same, that a circle driven again shares with itself; the rest is each one's


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A circle with what every draw needs to drive it.

    Attributes
    ----------
    circle, steady
        As written; radius, bank and aero draw by draw.
    parameters : (n_draw, n_parameter)
        Of the car, with the tyres' columns to be filled in.
    measured : (n_draw,)
        Lateral acceleration as each draw has it measured. [m/s²]
    same
        What makes it this circle to the car: place, radius, state, mass state, axle. Two with one
        are one circle driven again.
    """

    circle: Circle
    steady: SteadyCircle
    parameters: Array
    measured: Array
    same: tuple[str, ...]

    def limits(self, tyres: Mapping[str, Array]) -> Array:
        """Return the lateral acceleration at the limit of the first draws, with their tyres."""
        few = tyres["track_grip"].size
        steady = replace(self.steady, radius=self.steady.radius[:few], bank=self.steady.bank[:few])
        return circle_limit(steady, self.placed(tyres)).lateral

    def placed(self, tyres: Mapping[str, Array]) -> Array:
        """Return the parameters of the first draws with their tyres on this circle's road."""
        p = np.array(self.parameters[: tyres["track_grip"].size])
        is_pad = self.circle.kind == "skid pad"
        for name, values in tyres.items():
            if name in INDEX:
                p[:, INDEX[name]] = values
        for axle in ("front", "rear"):
            if is_pad:
                p[:, INDEX[f"margin_{axle}"]] = 0.0
            else:
                p[:, INDEX[f"grip_{axle}"]] *= tyres["track_grip"]
        return p


def driven_circles(
    job: Job, circles: Sequence[Circle], ensemble: Ensemble, results: Mapping[str, Tree]
) -> list[Driven]:
    """Return every circle with its car, air and aero for every draw."""
    own: dict[str, Quantity] = {}
    for circle in circles:
        for name, quantity in _own_quantities(job, circle).items():
            if name not in own or _width(quantity) > _width(own[name]):  # one place, two doubts
                own[name] = quantity
    drawn = ensemble.beside(own, seed=_SEED)  # together, so that one place has one radius error
    quantities = {**job.quantities, **own}
    aeros: dict[tuple[str, float], AeroTable] = {}
    found = []
    for circle in circles:
        project = _in_mass_state(job.project, circle.mass_state)
        state = circle.state or state_names(project)[0]
        car = lap_car(project, state, quantities, drawn, _density(job, circle, drawn))
        p = np.tile(parameters_of(car.vehicle, car.air), (drawn.size, 1))
        for name, shift in car.draws.shifts.items():
            p[:, INDEX[name]] += shift
        key = state, car.roll_loss
        if key not in aeros:
            fields = {n: results[f"map {state}"][n][None] for n in FIELDS}
            aeros[key] = aero_table(results["axes"], fields, car)
        found.append(
            Driven(
                circle=circle, parameters=p, measured=_measured(circle, drawn),
                steady=SteadyCircle(
                    radius=drawn.of(_radius_name(circle)), aero=aeros[key],
                    bank=drawn.of(_bank_name(circle)), flags=car.vehicle.flags,
                    first=circle.gave_up,
                ),
                same=(_radius_name(circle), _bank_name(circle), state, project.mass_state().name,
                      circle.gave_up),
            )
        )  # fmt: skip
    return found


def unfollowed(rows: Sequence[Driven], share: float) -> Array:
    """Return the covariance of what a steady car cannot follow, ``(n_row, n_row)``.

    Half is common to all circles. A circle driven again is missed for the same reasons: it shares
    most of the rest too, so that driving it often does not make the car better than it is.
    """
    again = np.array([[a.same == b.same for b in rows] for a in rows], dtype=float)
    own = 1.0 - _COMMON - _AGAIN
    return np.asarray(share**2 * (_COMMON + _AGAIN * again + own * np.eye(len(rows))))


def _width(quantity: Quantity) -> float:
    return quantity.high - quantity.low


def _measured(circle: Circle, drawn: Ensemble) -> Array:
    """Return lateral acceleration as each draw has it measured. [m/s²]"""
    radius = drawn.of(_radius_name(circle))
    measure = drawn.of(f"circle.{circle.id}.{circle.measure}")
    if circle.measure == "lateral":
        return measure
    if circle.measure == "speed":
        return np.asarray(measure**2 / radius)
    return np.asarray(radius * (2.0 * np.pi / measure) ** 2)


def _radius_name(circle: Circle) -> str:
    """Return the name of a radius: circles at one place with one radius share its error."""
    return f"circle.{_place(circle)}.radius.{circle.radius.best:.6g}"


def _bank_name(circle: Circle) -> str:
    """Return the name of a bank: a place has one, and one error of it."""
    return f"circle.{_place(circle)}.bank.{circle.bank.best:.6g}"


def _place(circle: Circle) -> str:
    """Return where a circle is; pads that nobody named are one, as corners are not."""
    return circle.at or ("skid pad" if circle.kind == "skid pad" else circle.id)


def _own_quantities(job: Job, circle: Circle) -> dict[str, Quantity]:
    """Return what a circle is uncertain of by itself, and a mass state the study has not."""
    project = _in_mass_state(job.project, circle.mass_state)
    state = circle.state or state_names(project)[0]
    found = {_radius_name(circle): circle.radius, _bank_name(circle): circle.bank}
    for key in (circle.measure, "temperature", "pressure"):
        own = getattr(circle, key)
        if own is not None:
            found[f"circle.{circle.id}.{key}"] = own
    own_state = state if project.states else ""
    for more in (platform_quantities(project, "", own_state), lap_quantities(project)):
        found |= {name: q for name, q in more.items() if name not in job.quantities}
    return found


def _in_mass_state(project: Project, name: str) -> Project:
    if not name:
        return project
    study = project.study.model_copy(update={"mass_state": name})
    return project.model_copy(update={"study": study})


def _density(job: Job, circle: Circle, drawn: Ensemble) -> Array:
    values: dict[str, Any] = {}
    for key in ("temperature", "pressure", "altitude", "humidity"):
        if getattr(job.project.weather, key) is not None:
            values[key] = drawn.of(f"weather.{key}")
    for key in ("temperature", "pressure"):
        if getattr(circle, key) is not None:
            values[key] = drawn.of(f"circle.{circle.id}.{key}")
    if circle.pressure is not None:
        values.pop("altitude", None)
    return np.asarray(air_of(**values).density)
