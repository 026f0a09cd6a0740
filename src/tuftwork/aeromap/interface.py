"""What a part's aero model takes and gives; every engine is reached through this.

Shapes: platform fields broadcast against ``(..., n_draw)``; the last axis is always the draws, so
one call answers for all ride heights and all draws at once.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np
from jaxtyping import Float

from tuftwork.quantity import Quantity, Source

Field = Float[np.ndarray, "..."]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatformState:
    """Where the car stands over the road, in the air it meets.

    Attributes
    ----------
    ride_height_front, ride_height_rear : (..., n_draw) or broadcastable
        Of the reference plane at the axle lines. [m]
    speed : (...) broadcastable
        Air speed. [m/s]
    density, viscosity : (...) broadcastable
        Of the air. [kg/m³], [Pa s]
    yaw, roll : (...) broadcastable
        Yaw at mid wheelbase, air from the left positive. [rad]
    steer : (...) broadcastable
        Of the front wheels, to the right positive. [rad]
    """

    ride_height_front: Field
    ride_height_rear: Field
    speed: Field
    density: Field
    viscosity: Field
    yaw: Field = field(default_factory=lambda: np.zeros(1))
    roll: Field = field(default_factory=lambda: np.zeros(1))
    steer: Field = field(default_factory=lambda: np.zeros(1))


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoad:
    """What one part does to the car, and to its neighbours.

    Attributes
    ----------
    downforce_front, downforce_rear, drag : (..., n_draw)
        CzSf, CzSr (loads at the axles' contact patches) and CxS. The moment of the part's own drag
        about the ground is already in the axle loads. [m²]
    effects
        What this part changes for others, by channel (``CHANNELS``), each broadcastable.
    notices
        What a reader must be told: outside the checked range, stalled, choked.
    roll_moment
        Volume of its roll moment about the middle, turning the right side down; None where its
        engine looks at no roll. [m³]
    within
        Of this very load, what a neighbour has a part in, by ``source → target``: front, rear and
        drag, each broadcastable. The budget shows it as an interaction of its own. [m²]
    mass_flow : (..., n_draw)
        Air it takes in for cooling; None where it takes none. [kg/s]
    """

    downforce_front: Field
    downforce_rear: Field
    drag: Field
    effects: Mapping[str, Field] = field(default_factory=dict)
    notices: tuple[str, ...] = ()
    roll_moment: Field | None = None
    within: Mapping[str, tuple[Field, Field, Field]] = field(default_factory=dict)
    mass_flow: Field | None = None


CHANNELS: dict[str, str] = {
    "rear_wing_angle": "change of onset angle at the rear wing [rad], air coming down positive",
    "rear_wing_pressure": "dynamic pressure at the rear wing over the free stream's, minus 1 [-]",
    "exit_pressure": "change of pressure coefficient at the diffuser's exit [-], suction negative",
    "floor_head": "change of total-pressure coefficient at the floor's inlet [-], loss negative",
}
"""Ways in which parts touch each other: name → meaning and unit. Effects add."""


@runtime_checkable
class PartModel(Protocol):
    """A part with its geometry and setting, for all draws, behind one engine.

    ``inputs`` names every uncertain number it uses (geometry paths such as ``rear wing.span`` and
    engine coefficients such as ``rear wing.model.slope``), so that ranges can be traced back.
    A model may have ``knows``, names of what its own engine already holds: kinds of neighbours
    (``wheels``), attitudes of the car (``roll``, ``yaw``); those terms are then not added to it.
    """

    @property
    def name(self) -> str:
        """As in the project."""
        ...

    @property
    def kind(self) -> str:
        """Kind of part, as in the project."""
        ...

    @property
    def inputs(self) -> Mapping[str, Quantity]:
        """Every uncertain number it uses, by name."""
        ...

    @property
    def sources(self) -> tuple[Source, ...]:
        """What its engine rests on."""
        ...

    def load(
        self,
        platform: PlatformState,
        draws: Mapping[str, Field],
        around: Mapping[str, Field],
    ) -> PartLoad:
        """Return the part's load.

        Parameters
        ----------
        platform
            Ride heights, speed and air.
        draws
            Name in ``inputs`` → its draws, ``(n_draw,)``. [SI]
        around
            Channel → summed effect of the neighbours; a missing channel is zero.
        """
        ...
