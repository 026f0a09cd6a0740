"""What every part behind a closed-form engine shares: names of inputs and loads at the axles."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad
from tuftwork.car import Project
from tuftwork.quantity import Quantity, Source

WHEELBASE = "car.wheelbase"
FRONTAL_AREA = "car.frontal_area"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The car around a part: lengths every engine needs, and the ride heights stations refer to.

    Attributes
    ----------
    wheelbase, frontal_area
        Of the car.
    ride_height_front, ride_height_rear
        At rest in the reference mass state, best values: heights of parts are given there. [m]
    project
        The whole of it, for parts whose tables stand elsewhere.
    """

    wheelbase: Quantity
    frontal_area: Quantity
    ride_height_front: float
    ride_height_rear: float
    project: Project | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedPart:
    """A part behind a closed-form engine; concrete parts add ``load``.

    Attributes
    ----------
    name, kind
        As in the project.
    inputs
        Every uncertain number it uses, by name.
    sources
        What its engine rests on.
    reference
        The car around it.
    hears
        Channels that change its load.
    """

    name: str
    kind: str
    inputs: Mapping[str, Quantity]
    sources: tuple[Source, ...]
    reference: Reference
    hears: tuple[str, ...] = ()

    def key(self, key: str, draws: Mapping[str, Field]) -> Field:
        """Return the draws of one of the part's own numbers."""
        return draws[f"{self.name}.{key}"]

    def coefficients(self, draws: Mapping[str, Field]) -> dict[str, Field]:
        """Return the draws of the engine's coefficients, by their short names."""
        head = f"{self.name}.model."
        return {name[len(head) :]: draws[name] for name in self.inputs if name.startswith(head)}


def around_of(around: Mapping[str, Field], channel: str) -> Field:
    """Return a channel's summed effect; a missing channel is zero."""
    found = around.get(channel)
    return np.zeros(1) if found is None else found


def at_axles(downforce: Field, moment: Field, wheelbase: Field) -> tuple[Field, Field]:
    """Return downforce areas at the front and rear contact patches [m²].

    ``moment`` is the sum of downforce area times station behind the front axle line, and of drag
    area times height above the ground. [m³]
    """
    rear = moment / wheelbase
    return downforce - rear, rear


def pitched_height(
    height: Field, station: Field, rise_front: Field, rise_rear: Field, wheelbase: Field
) -> Field:
    """Return a point's height once the axle lines have risen against the reference state [m]."""
    return np.asarray(height + rise_front + (rise_rear - rise_front) * station / wheelbase)


def full(*fields: Field) -> tuple[Field, ...]:
    """Return fields broadcast against each other."""
    return tuple(np.broadcast_arrays(*fields))


def loaded(
    downforce: Field,
    moment: Field,
    drag: Field,
    wheelbase: Field,
    *,
    effects: Mapping[str, Field] | None = None,
    notices: tuple[str, ...] = (),
) -> PartLoad:
    """Return a part's load from its downforce, moment and drag."""
    front, rear = at_axles(downforce, moment, wheelbase)
    front, rear, drag = full(front, rear, drag)
    return PartLoad(
        downforce_front=front,
        downforce_rear=rear,
        drag=drag,
        effects=effects or {},
        notices=notices,
    )
