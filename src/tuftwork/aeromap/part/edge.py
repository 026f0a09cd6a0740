"""A rolled edge behind something that turns the air up: what it bears, what it costs when it fails.

The edge is a floor's, with a radius of its own (``edge_radius``). Beyond the angle it bears its
nose separates and the air behind it has lost head in proportion to that angle.
"""

from collections.abc import Mapping

import numpy as np

from tuftwork.aeromap.interface import Field
from tuftwork.aeromap.part.base import EstimatedPart, Reference
from tuftwork.car import Floor
from tuftwork.floor.nose import edge_tolerance
from tuftwork.quantity import Array, Numeric, Quantity
from tuftwork.wing.horseshoe import horseshoe_angle

_DEEP = 0.4  # [m] length of floor behind its leading edge that the edge's nose belongs to
_SHARP = 0.5  # [-] head a separated edge costs per tangent of the air's angle: sharp entrance
_ABRUPT = 0.15  # [-] of the angle borne over which an edge lets go


def edge_loss(angle: Numeric, radius: Numeric, limit: Numeric) -> Array:
    """Return the head a floor's rolled edge costs in air at an angle to it [-].

    0.5 tan α once it has separated: the loss of a sharp entrance per slope. A closure of our own.

    Parameters
    ----------
    angle
        Of the air, up or down. [rad]
    radius
        Of the edge. [m]
    limit
        Lowest pressure it bears, negative Cp. [-]
    """
    bears = np.maximum(edge_tolerance(np.maximum(radius, 1e-5), _DEEP, limit=limit), 1e-4)
    over = np.clip((np.abs(angle) / bears - 1) / _ABRUPT, -40.0, 40.0)
    return np.asarray(_SHARP * np.abs(np.tan(angle)) / (1 + np.exp(-over)))


def edged_floor(reference: Reference) -> Floor | None:
    """Return the first floor whose leading edge has a radius, if any."""
    parts = reference.project.parts if reference.project is not None else ()
    return next((p for p in parts if isinstance(p, Floor) and p.edge_radius is not None), None)


def edge_inputs(role: str, station: float, reference: Reference) -> dict[str, Quantity]:
    """Return the numbers of the edge behind a wing ahead of it; none where there is none."""
    floor = edged_floor(reference) if role in ("front wing", "front section") else None
    if floor is None or floor.edge_radius is None or floor.front_station.best <= station:
        return {}
    return {
        f"{floor.name}.edge_radius": floor.edge_radius,
        f"{floor.name}.front_station": floor.front_station,
    }


def edge_head(
    wing: EstimatedPart, down: Field, own: Mapping[str, Field], draws: Mapping[str, Field]
) -> Field:
    """Return the change of head that a wing's upwash makes at the floor's edge behind it [-]."""
    floor = edged_floor(wing.reference)
    if floor is None or "edge_upwash" not in own or f"{floor.name}.edge_radius" not in wing.inputs:
        return np.zeros(1)
    reference = wing.reference
    slope = (reference.ride_height_rear - reference.ride_height_front) / reference.wheelbase.best
    station = draws[f"{floor.name}.front_station"]
    angle = own["edge_upwash"] * horseshoe_angle(
        down, wing.key("span", draws), behind=station - wing.key("station", draws),
        above=reference.ride_height_front + slope * station, height=wing.key("height", draws),
    )  # fmt: skip
    return -edge_loss(angle, draws[f"{floor.name}.edge_radius"], own["edge_limit"])
