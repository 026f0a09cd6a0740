"""What the air of the 3-D flow passes through: cores, fans and openings of the project file."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.air import CoreRow
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Size = Annotated[Quantity | None, number("length", positive=True, most=5.0)]


def _zero(unit: str, dimension: str) -> Quantity:
    return Quantity(best=0.0, low=0.0, high=0.0, unit=unit, dimension=dimension, spread="exact")


class FlowSlab(Table):
    """A closed part that air passes; drawn here, or a part of the shape."""

    part: Annotated[_Name, Field(description="Part of the shape, or the name of the one drawn")]
    station: Annotated[
        Quantity | None, number("length"), Field(description="Of its middle; as drawn unless given")
    ] = None
    offset: Annotated[
        Quantity, number("length"), Field(description="Of its middle, to the right")
    ] = _zero("m", "length")
    height: Annotated[
        Quantity | None, number("length"), Field(description="Of its middle above the road")
    ] = None
    width: Annotated[_Size, Field(description="Of its face")] = None
    tall: Annotated[_Size, Field(description="Of its face, bottom to top")] = None
    depth: Annotated[_Size, Field(description="Along the air")] = None
    lean: Annotated[
        Quantity,
        number("angle", least=-1.3, most=1.3),
        Field(description="Of its top, rearward"),
    ] = _zero("°", "angle")

    @property
    def is_drawn(self) -> bool:
        """Whether its place and size stand here."""
        return self.station is not None

    @model_validator(mode="after")
    def _whole(self) -> "FlowSlab":
        sizes = (self.station, self.height, self.width, self.tall, self.depth)
        if any(s is not None for s in sizes) and any(s is None for s in sizes):
            raise ValueError("to draw it, give station, height, width, tall and depth together")
        return self


class FlowCore(FlowSlab):
    """A cooler's core in the flow."""

    cooler: Annotated[str, Field(description="Core of [[cooling.cores]] whose loss it has")] = ""
    rows: Annotated[
        tuple[CoreRow, ...], Field(description="Its loss by speed, where cooling has no such core")
    ] = ()

    @model_validator(mode="after")
    def _one_law(self) -> "FlowCore":
        if bool(self.cooler) == bool(self.rows):
            raise ValueError("give either 'cooler' or 'rows': where its loss comes from")
        return self


class FlowFan(FlowSlab):
    """A fan in the flow."""

    fan: Annotated[_Name, Field(description="Fan of [[cooling.fans]] whose curve it has")]


class FlowOpening(Table):
    """A face of a closed part that swallows or blows air, tied to the cooling net by its name."""

    name: Annotated[_Name, Field(description="Inlet or exit of [cooling], or a name of its own")]
    part: Annotated[_Name, Field(description="Part whose surface it lies on")]
    kind: Annotated[Literal["inlet", "outlet"], Field(description="Whether it swallows or blows")]
    station: Annotated[Quantity, number("length"), Field(description="Of its middle")]
    offset: Annotated[
        Quantity, number("length"), Field(description="Of its middle, to the right")
    ] = _zero("m", "length")
    height: Annotated[Quantity, number("length"), Field(description="Of its middle above the road")]
    faces: Annotated[
        Literal["ahead", "back", "left", "right", "up", "down"],
        Field(description="Which way its surface looks, within 45°"),
    ]
    width: Annotated[
        Quantity, number("length", positive=True, most=5.0), Field(description="Sideways, or along")
    ]
    tall: Annotated[
        Quantity,
        number("length", positive=True, most=5.0),
        Field(description="Upward, or sideways where it looks up or down"),
    ]
    mass_flow: Annotated[
        Quantity | None,
        number("mass flow", least=0.0),
        Field(description="Through it; the cooling net says it unless given"),
    ] = None
