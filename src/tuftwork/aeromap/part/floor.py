"""A floor with its diffuser behind the closed-form estimate."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, EstimatedPart, Reference, around_of, loaded
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden
from tuftwork.car import Floor
from tuftwork.floor.estimate import (
    CHECKED_HEIGHT,
    SOURCES,
    FloorCoefficients,
    FloorGeometry,
    FloorLoad,
    FloorOnset,
    estimate_floor,
)
from tuftwork.quantity import Quantity

_KEYS = ("width", "front_station", "kick_station", "exit_station", "diffuser_angle")
_TOUCH = 1e-3  # [m]  clearance at the kick line at which a floor counts as resting on the road


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedFloor(EstimatedPart):
    """An under-floor: hears what hangs over its exit and what its inlet is fed with."""

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the floor's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        wheelbase = draws[WHEELBASE]
        found = self.estimate(platform, draws, around)
        ratio = float(np.median(platform.ride_height_rear) / np.median(self._half_width(draws)))
        notices = self._notices(found, ratio)
        return loaded(found.downforce, found.moment, found.drag, wheelbase, notices=notices)

    def estimate(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> FloorLoad:
        """Return the engine's whole answer, with the three parts of the load and the regime."""
        own = {key: self.key(key, draws) for key in _KEYS}
        gap = f"{self.name}.edge_gap"
        geometry = FloorGeometry(
            **own,
            diffuser_width=2 * self._half_width(draws),
            edge_gap=draws[gap] if gap in self.inputs else None,
        )
        lift = _resting(platform, geometry.kick_station, draws[WHEELBASE])
        onset = FloorOnset(
            ride_height_front=platform.ride_height_front + lift,
            ride_height_rear=platform.ride_height_rear + lift,
            wheelbase=draws[WHEELBASE],
            exit_pressure=around_of(around, "exit_pressure"),
            head=around_of(around, "floor_head"),
        )
        return estimate_floor(geometry, onset, FloorCoefficients(**self.coefficients(draws)))

    def _half_width(self, draws: Mapping[str, Field]) -> Field:
        """Return half the diffuser's width, the floor's where it has none of its own [m]."""
        own = f"{self.name}.diffuser_width"
        return self.key("diffuser_width" if own in self.inputs else "width", draws) / 2

    def _notices(self, found: FloorLoad, height_ratio: float) -> tuple[str, ...]:
        notices = []
        below = float(np.mean(found.margin < 0))
        if below > 0.5:
            notices.append(f"{self.name}: below its height of greatest load in most draws.")
        elif below > 0.1:
            notices.append(
                f"{self.name}: may be below its height of greatest load ({100 * below:.0f} %)."
            )
        low, high = CHECKED_HEIGHT
        if not low <= height_ratio <= high:
            notices.append(
                f"{self.name}: ride height over half width {height_ratio:.2f} is outside "
                f"{low:g} to {high:g}, where regimes are published."
            )
        return tuple(notices)


def _resting(platform: PlatformState, kick: Field, wheelbase: Field) -> Field:
    """Return by how much the road holds up a floor that would reach into it. [m].

    Corners of a map with a high nose and a low tail put the kick line of some draws below the
    road. No car runs there, so such a cell needs a value and no meaning.
    """
    front, rear = platform.ride_height_front, platform.ride_height_rear
    height = front + (rear - front) * kick / wheelbase
    return np.asarray(np.maximum(_TOUCH - height, 0.0))


def floor_model(part: Floor, reference: Reference) -> EstimatedFloor:
    """Return the model of a floor of the project."""
    own = overridden(coefficients_of("floor", "estimate"), part.model, part.name)
    given: dict[str, Any] = {key: getattr(part, key) for key in _KEYS}
    for key in ("diffuser_width", "edge_gap"):
        value = getattr(part, key)
        if value is not None:
            given[key] = value
    inputs: dict[str, Quantity] = {f"{part.name}.{k}": q for k, q in given.items()}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    return EstimatedFloor(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=SOURCES,
        reference=reference,
        hears=("exit_pressure", "floor_head"),
    )
