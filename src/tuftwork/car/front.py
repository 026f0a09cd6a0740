"""The channels under a splitter, for the engine that solves them."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.floor import EdgeLoss
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Station = Annotated[Quantity, number("length"), Field(description="Behind the front axle line")]
_Offset = Annotated[
    Quantity, number("length", least=0.0), Field(description="From the middle of the car")
]
_Node = Annotated[
    str,
    Field(
        max_length=60,
        description="Node of the air net whose way out it shares: front wells, a duct's end",
    ),
]
_Share = Annotated[
    Quantity | None,
    number("share", least=0.0, most=1.0),
    Field(description="Of its air that goes into that node; the engine's range unless given"),
]
VentPlace = Literal["bonnet", "bonnet-front", "side", "wheel-well", "base", "underfloor"]


class SplitterStays(Table):
    """Stays from the nose that hold a splitter's plate ahead of the bodywork."""

    count: Annotated[int, Field(strict=True, ge=1, le=12, description="Of them, both sides")]
    ahead: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Where they hold the plate, ahead of the bodywork's edge"),
    ]
    angle: Annotated[
        Quantity,
        number("angle", least=0.17, most=1.5708),
        Field(description="Between stay and plate; upright unless given"),
    ] = Quantity(best=1.5707963, low=1.5707963, high=1.5707963, unit="°", dimension="angle")


class SplitterRamps(Table):
    """Ramps in the plate's underside that climb into the front arches, one on each side."""

    inner: _Offset
    outer: _Offset
    start: _Station
    end: _Station
    rise: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Of the underside at the end over the plate's"),
    ]
    pressure: Annotated[
        Quantity | None,
        number("ratio", least=-2.0, most=1.0),
        Field(description="Cp in the arch where it ends; the wheels' unless given"),
    ] = None
    into: _Node = ""
    into_share: _Share = None
    fence_depth: Annotated[
        Quantity | None,
        number("height", least=0.0),
        Field(
            description="Of fences below the plate along the ramps' inner edges: they hold back "
            "air that would cross from the middle; none unless given"
        ),
    ] = None

    @model_validator(mode="after")
    def _holds_together(self) -> "SplitterRamps":
        """Refuse a ramp of no length or no width."""
        faults = []
        if not self.outer.best > self.inner.best:
            faults.append("'outer' must lie farther out than 'inner'")
        if not self.end.best > self.start.best:
            faults.append("'end' must lie behind 'start'")
        elif self.rise.best > 1.2 * (self.end.best - self.start.best):
            faults.append("'rise' makes it steeper than 50°: enter a shorter rise or an opening")
        if self.pressure is not None and self.into:
            faults.append("'pressure' and 'into' say the same thing twice: keep one")
        if self.into_share is not None and not self.into:
            faults.append("'into_share' changes nothing without 'into'")
        if faults:
            raise ValueError("; ".join(faults))
        return self


class SplitterVent(Table):
    """A way up for the air under the plate: over the bonnet, out at the sides, by a cooler."""

    area: Annotated[
        Quantity, number("area", positive=True), Field(description="Net area of the way out")
    ]
    leaves_by: Annotated[VentPlace, Field(description="Surface it leaves by")] = "bonnet"
    station: Annotated[
        Quantity | None,
        number("length"),
        Field(description="Where it leaves, behind the front axle line; needed for its jet"),
    ] = None
    pressure: Annotated[
        Quantity | None,
        number("ratio", least=-2.0, most=1.0),
        Field(description="Cp on that surface; the surface's range unless given"),
    ] = None
    discharge: Annotated[
        Quantity | None,
        number("ratio", least=0.05, most=1.0),
        Field(description="Discharge coefficient of the way out; the surface's unless given"),
    ] = None
    into: _Node = ""
    cooler_area: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="Face of a cooler the air passes on its way"),
    ] = None
    cooler_loss: Annotated[
        Quantity | None,
        number("ratio", positive=True),
        Field(description="Its loss, over the dynamic pressure of the air at its face"),
    ] = None

    @model_validator(mode="after")
    def _holds_together(self) -> "SplitterVent":
        """Refuse half a cooler, and a surface's pressure behind a node that has its own."""
        faults = []
        if (self.cooler_area is None) != (self.cooler_loss is None):
            faults.append("a cooler in the way needs both 'cooler_area' and 'cooler_loss'")
        if self.into and self.pressure is not None:
            faults.append("'pressure' and 'into' say the same thing twice: keep one")
        if self.into and self.station is not None:
            faults.append("'station' changes nothing with 'into': the air net has the jet")
        if faults:
            raise ValueError("; ".join(faults))
        return self


class SplitterChannel(Table):
    """With it the splitter is answered by the channels under it, not by the estimate."""

    handover: Annotated[
        Quantity,
        number("length"),
        Field(description="Station where the middle hands over: flat floor, vent"),
    ]
    pressure: Annotated[
        Quantity | None,
        number("ratio", least=-2.0, most=1.0),
        Field(description="Cp where the middle hands over; the floor's pull unless given"),
    ] = None
    ramps: SplitterRamps | None = None
    vent: SplitterVent | None = None
    edge_loss: EdgeLoss = None
    discharge: Annotated[
        Quantity | None,
        number("ratio", least=0.05, most=1.0),
        Field(description="Discharge coefficient of the gap under the plate's ends"),
    ] = None
    lip_angle: Annotated[
        Quantity | None,
        number("angle", least=-0.5, most=0.8),
        Field(description="Angle at which the air meets the lip from above, the car level"),
    ] = None

    @model_validator(mode="after")
    def _holds_together(self) -> "SplitterChannel":
        """Refuse two hand-over pressures."""
        if self.vent is not None and self.pressure is not None:
            raise ValueError("'pressure' changes nothing with a vent: give the vent its own")
        return self
