"""Where a wing stands, and so what air it meets and whom it touches.

A rear wing hears roof and front wing and lowers the diffuser's exit pressure; a front wing shades
the rear wing; a section under the nose vents into a pressure of its own and robs the floor of
head; a beam wing stands in the car's own wake and pulls at the diffuser from close by.
"""

from collections.abc import Collection, Mapping
from typing import Literal

import numpy as np

from tuftwork.aeromap.interface import Field
from tuftwork.aeromap.part.base import Reference, around_of
from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.aeromap.part.front_channel import angle_at
from tuftwork.car import BeamWing, FrontSection, WingPart
from tuftwork.quantity import Array, Numeric, Quantity

Role = Literal["front wing", "rear wing", "front section", "beam wing"]
_TABLES: Mapping[str, str] = {"front section": "front_section", "beam wing": "beam_wing"}
HEARS: Mapping[str, tuple[str, ...]] = {
    "rear wing": ("rear_wing_angle", "rear_wing_pressure"),
    "front wing": (),
    "front section": (),
    "beam wing": (),
}
"""Role → channels that change its load."""


def role_of(part: WingPart, reference: Reference) -> Role:
    """Return where a wing of the project stands."""
    if isinstance(part, FrontSection):
        return "front section"
    if isinstance(part, BeamWing):
        return "beam wing"
    return "rear wing" if part.station.best > reference.wheelbase.best / 2 else "front wing"


def role_coefficients(role: str) -> Mapping[str, Coefficient]:
    """Return what a role leaves open besides the wing's own engine; ``wing`` for either place."""
    table = _TABLES.get(role)
    own = coefficients_of("aeromap.part", table) if table is not None else {}
    ahead = role in ("front wing", "front section", "wing")
    return {**own, **(coefficients_of("aeromap.part", "edge") if ahead else {})}


def role_quantities(part: WingPart) -> dict[str, Quantity]:
    """Return the numbers of a part that only its role has, by key."""
    if isinstance(part, FrontSection):
        return {"exit_pressure": part.exit_pressure, "vented": part.vented}
    if isinstance(part, BeamWing):
        return {"clearance": part.clearance}
    return {}


def role_idle(role: Role, heard: Collection[str]) -> set[str]:
    """Return the coefficients that change nothing in this role."""
    ahead = role in ("front wing", "front section")
    idle = {"lower_pressure"} if ahead else {"wake", "upwash"}
    if "exit_pressure" not in heard:
        idle.add("lower_pressure")
    if "rear_wing_angle" not in heard:
        idle |= {"wake", "upwash", "blocking"}
    if "floor_head" not in heard:
        idle.add("floor_loss")
    if "floor_edge" not in heard:
        idle |= {"edge_upwash", "edge_limit"}
    return idle


def onset_of(
    role: Role, around: Mapping[str, Field], own: Mapping[str, Field], name: str = ""
) -> tuple[Field, Field]:
    """Return the change of onset angle [rad] and of dynamic pressure [-] a wing meets.

    A front wing or section of that ``name`` hears the splitter ahead of it.
    """
    if role == "rear wing":
        return around_of(around, "rear_wing_angle"), around_of(around, "rear_wing_pressure")
    if role == "beam wing":
        return own["angle"], np.maximum(own["head"], -0.95)
    return around_of(around, angle_at(name)), np.zeros(1)


def vent_gain(
    coefficient: Numeric,
    exit_pressure: Numeric,
    *,
    vented: Numeric,
    edge_pressure: Numeric,
    suction_share: Numeric,
    confined: Numeric,
) -> Array:
    """Return what a section's coefficient gains where its suction side vents into low pressure.

    A suction side's speeds scale with the speed at which it lets its air go: with the pressure
    coefficient C_e at the exit instead of C_t at a free trailing edge, every 1 − Cp of it grows by
    (1 − C_e)/(1 − C_t), and the coefficient by x f ((1 − C_e)/(1 − C_t) − 1)(1 + s C).

    Parameters
    ----------
    coefficient
        Without the vent, C. [-]
    exit_pressure
        Where it vents, C_e. [-]
    vented
        Share of the span that vents there, x. [-]
    edge_pressure
        At a free trailing edge, C_t. [-]
    suction_share
        Share of the coefficient made by suction, s. [-]
    confined
        How far the exit decides: 1 for a closed duct, 0 for a free edge, f. [-]

    References
    ----------
    [smith1975]: dumping velocity and canonical pressures.
    """
    growth = (1 - np.asarray(exit_pressure)) / (1 - np.asarray(edge_pressure)) - 1
    return np.asarray(vented * np.asarray(confined) * growth * (1 + suction_share * coefficient))


def vented_by(
    key: Mapping[str, Field], own: Mapping[str, Field], coefficient: Field
) -> tuple[Field, Field]:
    """Return the gain of coefficient of a section under the nose, and the drag that goes with it.

    ``key`` holds the part's own numbers. [-]
    """
    gain = vent_gain(
        coefficient,
        key["exit_pressure"],
        vented=np.clip(key["vented"], 0.0, 1.0),
        edge_pressure=own["edge_pressure"],
        suction_share=own["suction_share"],
        confined=np.clip(own["confined"], 0.0, 1.0),
    )
    return gain, np.asarray(own["vent_drag"] * np.abs(gain))


def effects_ahead(
    own: Mapping[str, Field], coefficient: Field, edge: Field | None = None
) -> dict[str, Field]:
    """Return what a wing at the front does to those behind, as far as anyone hears it.

    ``edge`` is the change of head at the floor's edge behind it.
    """
    found: dict[str, Field] = {}
    pushing = np.maximum(coefficient, 0.0)
    if "wake" in own:
        found["rear_wing_pressure"] = -own["wake"] * pushing
        # air that a front wing turns up takes incidence off the wing behind it
        found["rear_wing_angle"] = -own["upwash"] * coefficient
    if "floor_loss" in own:
        found["floor_head"] = -own["floor_loss"] * pushing
    if edge is not None and np.any(edge):
        found["floor_head"] = np.asarray(found.get("floor_head", np.zeros(1)) + edge)
    return found


def effects_of_beam(
    own: Mapping[str, Field], coefficient: Field, suction: Field
) -> dict[str, Field]:
    """Return what a beam wing does to the diffuser under it and the wing above it."""
    found: dict[str, Field] = {}
    if "lower_pressure" in own:
        found["exit_pressure"] = own["lower_pressure"] * suction
    if "blocking" in own:
        found["rear_wing_pressure"] = -own["blocking"] * np.maximum(coefficient, 0.0)
    return found
