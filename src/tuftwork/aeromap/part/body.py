"""Bodies, wheels and lumps: coefficients on an area, with a share on the front axle."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import FRONTAL_AREA, EstimatedPart, Reference, full
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden
from tuftwork.car import Body
from tuftwork.errors import InputError
from tuftwork.quantity import Quantity, Source, exact

SOURCES = (Source(key="hucho1998", place="coefficients on frontal area", status="memory"),)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoefficientPart(EstimatedPart):
    """A part known by its coefficients; a body also turns and slows the air at the rear wing."""

    has_roof: bool = False

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the part's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        path = f"{self.name}.area"
        area = draws[path if path in self.inputs else FRONTAL_AREA]
        downforce = area * self.key("downforce", draws)
        front = downforce * self.key("front_share", draws)
        drag = area * self.key("drag", draws)
        effects: dict[str, Field] = {}
        if self.has_roof:
            own = self.coefficients(draws)
            effects = {
                "rear_wing_angle": own["roof_downwash"],
                "rear_wing_pressure": np.maximum(own["roof_wake"], -0.95),
            }
        front, rear, drag = full(front, downforce - front, drag)
        return PartLoad(downforce_front=front, downforce_rear=rear, drag=drag, effects=effects)


def body_model(part: Body, reference: Reference, heard: Collection[str]) -> CoefficientPart:
    """Return the model of a body, wheels or lump of the project.

    Raises
    ------
    InputError
        If there is downforce or lift and no share says on which axle.
    """
    has_load = part.downforce.best != 0 or not part.downforce.is_exact
    if part.front_share is None and has_load:
        cure = "Say on which axle its downforce or lift acts, for example '45 % ± 10 %'."
        raise InputError(f"{part.name}.front_share", "missing", "", "is needed", cure)
    given: dict[str, Any] = {"downforce": part.downforce, "drag": part.drag}
    given["front_share"] = part.front_share or exact(0.5, "share", unit="%", place="no load")
    if part.area is not None:
        given["area"] = part.area
    inputs: dict[str, Quantity] = {f"{part.name}.{k}": q for k, q in given.items()}
    if part.area is None:
        inputs[FRONTAL_AREA] = reference.frontal_area
    has_roof = part.kind == "body" and "rear_wing_angle" in heard
    if has_roof:
        own = overridden(coefficients_of("aeromap.part", "body"), part.model, part.name)
        inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    elif part.model:
        first = next(iter(part.model))
        limit = "has no engine coefficients here"
        raise InputError(f"{part.name}.model.{first}", f"'{part.model[first]}'", "", limit)
    return CoefficientPart(
        name=part.name,
        kind=part.kind,
        inputs=inputs,
        sources=SOURCES,
        reference=reference,
        has_roof=has_roof,
    )
