"""What every wing of the project shares, whichever engine answers: how it stands, what it does."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, EstimatedPart, Reference, pitched_height
from tuftwork.aeromap.part.coefficient import Coefficient, overridden, without
from tuftwork.aeromap.part.edge import edge_head, edge_inputs
from tuftwork.aeromap.part.wing_role import (
    HEARS,
    Role,
    effects_ahead,
    effects_of_beam,
    onset_of,
    role_idle,
    role_of,
    role_quantities,
)
from tuftwork.car import WingPart
from tuftwork.quantity import Quantity
from tuftwork.wing.estimate import bound_vortex_suction

_KEYS = ("span", "chord", "incidence", "station", "height")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a wing stands in the air at a platform state, and what air meets it.

    Attributes
    ----------
    height
        Over the road. [m]
    incidence
        Of setting and pitch, without what comes from ahead. [rad]
    tilt, head
        Angle [rad] and change of head [-] from what stands ahead.
    reynolds
        On the chord. [-]
    """

    height: Field
    incidence: Field
    tilt: Field
    head: Field
    reynolds: Field


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedWing(EstimatedPart):
    """A wing; ``role`` says where it stands, see ``wing_role``."""

    role: Role = "rear wing"

    def standing(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> Standing:
        """Return how it stands; a car that rises at the rear carries its wing nose-down with it."""
        wheelbase, station = draws[WHEELBASE], self.key("station", draws)
        front = platform.ride_height_front - self.reference.ride_height_front
        rear = platform.ride_height_rear - self.reference.ride_height_rear
        tilt, head = onset_of(self.role, around, self.coefficients(draws), self.name)
        return Standing(
            height=pitched_height(self.key("height", draws), station, front, rear, wheelbase),
            incidence=self.key("incidence", draws) + (rear - front) / wheelbase,
            tilt=tilt,
            head=head,
            reynolds=platform.density * platform.speed * self.key("chord", draws)
            / platform.viscosity,
        )  # fmt: skip

    def done_to_others(
        self, coefficient: Field, down: Field, draws: Mapping[str, Field],
        below: Callable[[], Field],
    ) -> dict[str, Field]:  # fmt: skip
        """Return what it does to its neighbours; ``below`` is the Cp under it at the exit."""
        own = self.coefficients(draws)
        if self.role == "beam wing":
            span, chord = self.key("span", draws), self.key("chord", draws)
            clear = np.maximum(self.key("clearance", draws), 0.25 * chord)
            suction = bound_vortex_suction(coefficient, chord, span, clear)
            return effects_of_beam(own, coefficient, suction)
        if "lower_pressure" in own:
            return {"exit_pressure": own["lower_pressure"] * below()}
        return effects_ahead(own, coefficient, edge_head(self, down, own, draws))

    def stall_notices(self, margin: Field) -> list[str]:
        """Return what is to be said of draws past the stall; ``margin`` is below 0 there."""
        stalled = float(np.mean(margin < 0))
        if stalled > 0.5:
            return [f"{self.name}: past the stall in most draws."]
        if stalled > 0.1:
            return [f"{self.name}: may be past the stall ({100 * stalled:.0f} % of draws)."]
        return []


def placed(
    part: WingPart,
    reference: Reference,
    heard: Collection[str],
    *,
    coefficients: Mapping[str, Coefficient],
    idle: Collection[str],
    optional: Mapping[str, Quantity | None],
) -> dict[str, Any]:
    """Return the fields every wing's model has, from the project's table.

    Parameters
    ----------
    part, reference
        The wing and the car.
    heard
        Channels some part hears.
    coefficients
        Of the engine and the role.
    idle
        Names of those that change nothing on this wing, beside the role's own.
    optional
        What may be missing from the table, by its key.
    """
    role = role_of(part, reference)
    own = overridden(coefficients, part.model, part.name)
    edge = edge_inputs(role, part.station.best, reference)
    heard = {*heard, "floor_edge"} if edge else heard
    own = without(own, {*role_idle(role, heard), *idle}, part.model, part.name)
    given: dict[str, Quantity] = {key: getattr(part, key) for key in _KEYS} | role_quantities(part)
    given |= {key: q for key, q in optional.items() if q is not None}
    inputs = {f"{part.name}.{k}": q for k, q in given.items()}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()} | edge
    return {
        "name": part.name, "kind": part.kind, "inputs": inputs | {WHEELBASE: reference.wheelbase},
        "reference": reference, "hears": HEARS[role], "role": role,
    }  # fmt: skip
