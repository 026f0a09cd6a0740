"""One floor of the project as the plan engine takes it: what page, command and report share."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.part import ChannelFloor, floor_spec
from tuftwork.aeromap.part.base import Reference, around_of
from tuftwork.car import Floor, Project, parts_in_state
from tuftwork.errors import NotCovered, UnknownName
from tuftwork.floor import FloorClosure, FloorShape, Stand
from tuftwork.floor.spec import FloorSpec
from tuftwork.quantity import Array

_ESTIMATE = {"discharge": "edge_discharge", "mixing": "edge_loss"}
"""The closed form's names of what the engine calls otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorCase:
    """A floor in a state.

    Attributes
    ----------
    part
        As in the project.
    spec
        Its best values as the engine takes them.
    """

    part: Floor
    spec: FloorSpec

    @property
    def has_channel(self) -> bool:
        """Whether the budget takes the floor from the engine."""
        return self.part.channel is not None

    def moved(self, **changes: Any) -> FloorShape:
        """Return the floor with some lengths and angles set anew."""
        return replace(self.spec, **changes).shape()

    def stand(self, front: float, rear: float, roll: float = 0.0) -> Stand:
        """Return how it stands."""
        return Stand(front=front, rear=rear, wheelbase=self.spec.wheelbase, roll=roll)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosureDraws:
    """What the engine's equations leave open, draw by draw ``(n_draw,)``."""

    discharge: Array
    mixing: Array
    exit_pressure: Array
    head: Array
    coverage: Array

    def best(self, base: FloorClosure) -> FloorClosure:
        """Return the closure at the medians."""
        return self.at(base, None)

    def at(self, base: FloorClosure, draw: int | None) -> FloorClosure:
        """Return the closure of one draw, or at the medians."""

        def pick(values: Array) -> float:
            return float(np.median(values) if draw is None else values[draw])

        return replace(
            base, discharge=max(pick(self.discharge), 0.05), mixing=max(pick(self.mixing), 0.0),
            exit_pressure=pick(self.exit_pressure), head=float(np.clip(pick(self.head), 0.5, 1.2)),
        )  # fmt: skip


def floors_of(project: Project) -> tuple[str, ...]:
    """Return the names of a project's floors."""
    return tuple(p.name for p in project.parts if isinstance(p, Floor))


def floor_case(project: Project, name: str = "", state: str = "") -> FloorCase:
    """Return a floor's case, the first where none is named.

    Raises
    ------
    NotCovered
        If the project has no floor.
    UnknownName
        If it has none of this name, or no such state.
    """
    parts = {
        p.name: p for p in parts_in_state(project, project.state(state)) if isinstance(p, Floor)
    }
    if not parts:
        raise NotCovered("No floor yet. Add a [[parts]] table of kind 'floor'.")
    wanted = name or next(iter(parts))
    if wanted not in parts:
        raise UnknownName("floor", wanted, parts)
    mass = project.mass_state()
    reference = Reference(
        wheelbase=project.car.wheelbase,
        frontal_area=project.car.frontal_area,
        ride_height_front=mass.ride_height_front.best,
        ride_height_rear=mass.ride_height_rear.best,
    )
    part = parts[wanted]
    return FloorCase(part=part, spec=floor_spec(part, reference))


def closure_draws(
    case: FloorCase,
    models: Sequence[PartModel],
    platform: PlatformState,
    draws: Mapping[str, Field],
) -> ClosureDraws:
    """Return what the engine needs, from the same draws as the budget, neighbours included."""
    around: dict[str, Field] = {}
    name = case.part.name
    for model in models:
        if model.name == name:
            break
        for channel, effect in model.load(platform, draws, around).effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    own = next(m for m in models if m.name == name)
    is_engine = isinstance(own, ChannelFloor)

    def of(key: str) -> Field:
        return draws[f"{name}.model.{key if is_engine else _ESTIMATE.get(key, key)}"]

    size = max(np.size(of("coverage")), np.size(platform.ride_height_rear))

    def wide(values: Field) -> Array:
        return np.broadcast_to(np.ravel(values), (size,)).astype(float)

    return ClosureDraws(
        discharge=wide(of("discharge")), mixing=wide(of("mixing")),
        exit_pressure=wide(of("base_pressure") + around_of(around, "exit_pressure")),
        head=wide(1 + around_of(around, "floor_head")), coverage=wide(of("coverage")),
    )  # fmt: skip
