"""What a run of the 3-D flow keeps over time."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity


class FlowSlice(Table):
    """A plane through the air."""

    axis: Annotated[Literal["x", "y", "z"], Field(description="It is normal to this one")]
    at: Annotated[
        Quantity,
        number("length"),
        Field(description="Its place: from the front axle line, the middle, the road"),
    ]


class FlowOverTime(Table):
    """Fields kept over time, from the end of settling on; they take room on the disk."""

    every: Annotated[
        float, Field(gt=0, le=100, description="Lengths travelled between two samples")
    ]
    planes: Annotated[
        tuple[FlowSlice, ...],
        Field(max_length=20, description="Planes near the car: pressure and velocity"),
    ] = ()
    surface: Annotated[
        bool, Field(strict=True, description="Whether the pressure on the car is kept")
    ] = True

    @model_validator(mode="after")
    def _something(self) -> "FlowOverTime":
        if not self.planes and not self.surface:
            raise ValueError("nothing to keep over time: name planes or keep the surface")
        return self
