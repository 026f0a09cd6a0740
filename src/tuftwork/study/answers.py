"""A finished study, ready to be asked: loads at any studied speed and state, with their chains."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tuftwork.aeromap.budget import Budget, CarLoad, budget, car_loads
from tuftwork.aeromap.equilibrium import PlatformPath
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.interpolate import Surface, surface_of
from tuftwork.aeromap.map import FIELDS as MAP_FIELDS
from tuftwork.aeromap.map import AeroMap
from tuftwork.aeromap.part import draws_of, inputs_of
from tuftwork.aeromap.platform import (
    STANDARD_GRAVITY,
    Suspension,
    platform_quantities,
    suspension_of,
)
from tuftwork.air import Air
from tuftwork.car import Measured, Project
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import Ensemble, format_plain, summarise, to_si
from tuftwork.study.answer_map import map_of, path_of
from tuftwork.study.flow.sighting import flow_links
from tuftwork.study.inputs import has_platform, hints_of, labels_of, state_names
from tuftwork.study.job import Job, models_in
from tuftwork.study.number import ChainBook, Link, Number, link_of_source
from tuftwork.study.reach import beyond_tables
from tuftwork.study.store import Tree

FIELDS: dict[str, tuple[str, str, str]] = {
    "front": ("area", "m²", "CzSf, front axle"),
    "rear": ("area", "m²", "CzSr, rear axle"),
    "total": ("area", "m²", "CzS, whole car"),
    "drag": ("area", "m²", "CxS"),
    "share": ("share", "%", "front share of the downforce"),
    "height_front": ("height", "mm", "hf, ride height at the front axle line"),
    "height_rear": ("height", "mm", "hr, ride height at the rear axle line"),
}
"""What is known along the platform path: name → dimension, unit, words."""

_KMH = 3.6


@dataclass(frozen=True, kw_only=True)
class Answers:
    """Results of one study.

    Attributes
    ----------
    job
        The project and its inputs.
    results
        Step → result.
    worked_out
        What was asked before: budgets, surfaces, edges of cliffs.
    """

    job: Job
    results: Mapping[str, Tree]
    worked_out: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def project(self) -> Project:
        """The project as it was when the study ran."""
        return self.job.project

    @cached_property
    def ensemble(self) -> Ensemble:
        """Draws of every input, after what was measured."""
        return self.job.driven(self.results)

    @cached_property
    def air(self) -> Air:
        """The air, draw by draw."""
        return self.job.air(self.ensemble)

    @cached_property
    def book(self) -> ChainBook:
        """Every chain of evidence asked for so far."""
        return ChainBook(
            ensemble=self.ensemble, labels=labels_of(self.project), hints=hints_of(self.project)
        )

    @property
    def states(self) -> tuple[str, ...]:
        """Names of the states, the baseline first."""
        return state_names(self.project)

    @property
    def is_tied(self) -> bool:
        """Whether measured rows narrowed the draws."""
        return bool(self.results["tie"]["rows"]) and bool(self.project.measured)

    @property
    def has_platform(self) -> bool:
        """Whether ride heights follow the loads."""
        return has_platform(self.project) and bool(self.project.parts)

    @property
    def speeds(self) -> list[float]:
        """Studied speeds [m/s], rising."""
        return sorted(q.best for q in self.project.study.speeds)

    def models(self, state: str) -> tuple[PartModel, ...]:
        """Return the models of the parts in a state, made once: an air net keeps what it solved."""
        key = f"models {state}"
        if key not in self.worked_out:
            own = state if self.project.states else ""
            self.worked_out[key] = models_in(self.project, own, self.results)
        found: tuple[PartModel, ...] = self.worked_out[key]
        return found

    def inputs_in(self, *states: str) -> frozenset[str]:
        """Return the names of the inputs on which numbers of these states can depend."""
        key = f"inputs {'|'.join(states)}"
        if key not in self.worked_out:
            names = {name for name in self.job.quantities if name.startswith("weather.")}
            for state in states:
                names |= set(inputs_of(self.models(state)))
                if self.has_platform:
                    own = state if self.project.states else ""
                    names |= set(platform_quantities(self.project, "", own))
            self.worked_out[key] = frozenset(names)
        found: frozenset[str] = self.worked_out[key]
        return found

    def state_named(self, name: str = "") -> str:
        """Return a state's name, the baseline where none is given."""
        if name and name not in self.states:
            raise UnknownName("state", name, self.states)
        return name or self.states[0]

    def speed_named(self, text: str = "", *, usual: float | None = None) -> float:
        """Return a studied speed [m/s] from ``220``, ``220 km/h`` or ``137 mph``."""
        if not text:
            return usual if usual is not None else self.speeds[-1]
        try:
            wanted = float(text) / _KMH
        except ValueError:
            number, _, unit = text.strip().partition(" ")
            try:
                wanted = to_si(float(number), unit, "speed")
            except ValueError as error:
                if isinstance(error, InputError):
                    raise
                cure = "Write it like '220 km/h'."
                raise InputError("speed", f"'{text}'", "", "not a speed", cure) from None
        near = min(self.speeds, key=lambda v: abs(v - wanted))
        if abs(near - wanted) > 0.05:
            known = ", ".join(f"{v * _KMH:.0f}" for v in self.speeds)
            cure = f"Studied: {known} km/h; add it to [study] speeds."
            raise InputError("speed", wanted * _KMH, "km/h", "was not studied", cure)
        return near

    def ride(self, state: str) -> Tree:
        """Return a state's way through the speeds."""
        found = self.results.get(f"ride {state}")
        if found is None:
            raise NotCovered(
                "The platform loop needs parts and both axles. Fill in [car.front], [car.rear] "
                "and [[parts]]."
            )
        return found

    def kept(self, state: str) -> np.ndarray:
        """Return which draws stayed on the map in a state, ``(n_draw,)``."""
        if not self.has_platform:
            return np.ones(self.ensemble.size, dtype=bool)
        return np.asarray(self.ride(state)["covered"], dtype=bool)

    def draws(self, state: str, name: str, speed: float) -> np.ndarray:
        """Return one field of ``FIELDS`` on the platform path at a studied speed ``(n_draw,)``."""
        ride = self.ride(state)
        at = int(np.argmin(np.abs(np.asarray(ride["speed"]) - speed)))
        front, rear = ride["downforce_front"][at], ride["downforce_rear"][at]
        found = {
            "front": front,
            "rear": rear,
            "total": front + rear,
            "drag": ride["drag"][at],
            "share": front / (front + rear),
            "height_front": ride["ride_height_front"][at],
            "height_rear": ride["ride_height_rear"][at],
        }
        return np.asarray(found[name])

    def at(self, state: str, speed: float) -> str:
        """Return the ride heights, speed and state a number holds at, in words."""
        if not self.has_platform:
            return f"{speed * _KMH:.0f} km/h, {state}"
        keep = self.kept(state)
        front, rear = (
            format_plain(
                summarise(self.draws(state, name, speed)[keep]).best, "height", "mm", digits=1
            )
            for name in ("height_front", "height_rear")
        )
        return f"hf {front}, hr {rear}, {speed * _KMH:.0f} km/h, {state}"

    def kilograms(self, speed: float) -> float:
        """Return ½ρV²/g: what one square metre carries at a speed. [kg/m²]"""
        return float(0.5 * np.median(self.air.density) * speed**2 / STANDARD_GRAVITY)

    def ride_number(self, state: str, name: str, speed: float) -> Number:
        """Return one field along the platform path, with its chain."""
        dimension, unit, words = FIELDS[name]
        why = f"ride/{state}/{name}/{speed * _KMH:.0f}"
        number = self.book.number(
            why,
            self.draws(state, name, speed),
            dimension,
            title=f"{words[:1].upper()}{words[1:]} at {speed * _KMH:.0f} km/h, {state}",
            links=self.car_links(state),
            unit=unit,
            at=self.at(state, speed),
            decision=_DECISIONS.get(name, ""),
            notices=self.notices(state),
            keep=self.kept(state),
            among=self.inputs_in(state),
        )
        return self.in_kilograms(number, speed)

    def in_kilograms(self, number: Number, speed: float) -> Number:
        """Return a number that also says what one square metre carries there."""
        if number["unit"] != "m²":
            return number
        return number | {"kg_per_m2": self.kilograms(speed)}

    def car_links(self, state: str) -> list[Link]:
        """Return the steps every whole-car number rests on."""
        links = flow_links(self.project, self.results["tie"]["rows"])
        if self.is_tied:
            rows = [row.id for row in self.project.measured]
            places = sorted({row.evidence for row in self.project.measured if row.evidence})
            links.append(
                Link(
                    what=f"Draws narrowed by measured rows {rows[0]} to {rows[-1]}",
                    origin="measured",
                    source=", ".join(places),
                    place=self.project.measured[0].place,
                )
            )
        for model in self.models(state):
            links += [
                link_of_source(f"{model.name}: engine of kind {model.kind}", source)
                for source in model.sources[:2]
            ]
        if self.has_platform:
            what = "Loads put at the ride heights at which springs and air agree"
            links.append(Link(what=what, origin="computed", place="platform loop"))
        return links

    def notices(self, state: str) -> list[str]:
        """Return what a reader of a state's numbers must be told."""
        found = [*(self._labelled(n) for n in self.results["tie"]["notices"]), *self.air.notices]
        if self.has_platform:
            found += self.ride(state)["notices"]
            found += self.results[f"map {state}"]["notices"]
        return list(dict.fromkeys(found))

    def _labelled(self, notice: str) -> str:
        """Return a notice that begins with an input's name with its label there."""
        name, colon, rest = notice.partition(": ")
        return f"{self.book.labels.get(name, name)}{colon}{rest}"

    def beyond(self, state: str) -> NDArray[np.bool_]:
        """Return the map's cells ``(n_front, n_rear)`` beyond the tables of its engines."""
        axes = self.results["axes"]
        ends = np.asarray(axes["front"]), np.asarray(axes["rear"])
        return beyond_tables(self.models(state), *ends)

    def platform(self, state: str, speed: float) -> PlatformState:
        """Return where the car rides in a state at a speed, draw by draw."""
        if self.has_platform:
            heights = [self.draws(state, f"height_{axle}", speed) for axle in ("front", "rear")]
        else:
            mass = self.project.mass_state()
            size = self.ensemble.size
            heights = [
                np.full(size, q.best) for q in (mass.ride_height_front, mass.ride_height_rear)
            ]
        return PlatformState(
            ride_height_front=np.nan_to_num(heights[0], nan=float(np.nanmedian(heights[0]))),
            ride_height_rear=np.nan_to_num(heights[1], nan=float(np.nanmedian(heights[1]))),
            speed=np.full(1, speed),
            density=np.asarray(self.air.density).reshape(-1),
            viscosity=np.asarray(self.air.viscosity).reshape(-1),
        )

    def loads(self, state: str, platform: PlatformState) -> CarLoad:
        """Return the loads of the whole car in a state wherever it is put, draw by draw."""
        models = self.models(state)
        return car_loads(models, platform, draws_of(models, self.ensemble))

    def measured_at(self, state: str, speed: float) -> Measured | None:
        """Return what was measured in a state within 2 % of a speed, the nearest row."""
        rows = [
            row
            for row in self.project.measured
            if (row.state or self.states[0]) == state and abs(row.speed.best / speed - 1) < 0.02
        ]
        return min(rows, key=lambda row: abs(row.speed.best - speed)) if rows else None

    def budget(self, state: str, speed: float) -> Budget:
        """Return the budget in a state at a speed, at the ride heights it then has."""
        if not self.project.parts:
            raise NotCovered("No parts yet: there is nothing to add up. Add [[parts]] tables.")
        key = f"budget {state} {speed}"
        if key not in self.worked_out:
            self.worked_out[key] = budget(
                self.models(state),
                self.platform(state, speed),
                self.ensemble,
                measured=self.measured_at(state, speed),
            )
        found: Budget = self.worked_out[key]
        return found

    def surface(self, state: str) -> Surface:
        """Return a state's map as a smooth surface, all draws."""
        key = f"surface {state}"
        if key not in self.worked_out:
            axes, made = self.results["axes"], self.results[f"map {state}"]
            fields = np.stack([made[name] for name in MAP_FIELDS])
            self.worked_out[key] = surface_of(axes["front"], axes["rear"], fields)
        found: Surface = self.worked_out[key]
        return found

    def suspension(self, state: str) -> Suspension:
        """Return the springs in a state, all draws."""
        draws = {name: self.ensemble.of(name) for name in self.job.quantities}
        return suspension_of(self.project, "", state if self.project.states else "", draws)

    def platform_path(self, state: str) -> PlatformPath:
        """Return a state's way through rising speed, the kept draws."""
        return path_of(self, state)

    def aero_map(self) -> AeroMap:
        """Return the map of all states with its header."""
        return map_of(self)


_DECISIONS: dict[str, str] = {
    "front": "How much front the car needs against its rear.",
    "rear": "Whether the floor or the wing should carry the rear axle.",
    "total": "What the car is worth in fast corners.",
    "drag": "What downforce may cost on the straights.",
    "share": "Which axle gives up first as speed rises.",
    "height_front": "Ground clearance, and how near the splitter comes to the road.",
    "height_rear": "How far the diffuser stays from its force reduction.",
}
