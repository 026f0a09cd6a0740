"""Brakes of one car as the project file says it: stops of a lap, discs, ducts."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.air import InletKind
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity


def _factor(arm: float) -> Quantity:
    return Quantity(best=1.0, low=1.0 / (1.0 + arm), high=1.0 + arm, unit="", dimension="ratio",
                    spread="log")  # fmt: skip


class Stop(Table):
    """One braking of the lap."""

    fast: Annotated[
        Quantity, number("speed", positive=True, most=120.0), Field(description="Where it begins")
    ]
    slow: Annotated[
        Quantity, number("speed", least=0.0, most=110.0), Field(description="Where it ends")
    ]


class BrakeDuct(Table):
    """Air led to a disc: an opening, a hose or a hollow member, the disc's eye."""

    area: Annotated[Quantity, number("area", positive=True), Field(description="Of the opening")]
    kind: Annotated[InletKind, Field(description="Of opening")] = "leading-edge"
    width: Annotated[
        Quantity, number("height", positive=True), Field(description="Of hose or member, inside")
    ]
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Likewise; a hose's diameter")
    ]
    length: Annotated[Quantity, number("length", positive=True), Field(description="Along it")]
    bends: Annotated[
        tuple[Annotated[Quantity, number("angle", positive=True, most=3.2)], ...],
        Field(description="Angles of its sharp bends"),
    ] = ()
    eye_area: Annotated[
        Quantity, number("area", positive=True), Field(description="Free area into the disc's eye")
    ]
    eye_pressure: Annotated[
        Quantity,
        number("ratio", least=-2.0, most=1.0),
        Field(description="Pressure coefficient in the wheel"),
    ] = Quantity(best=-0.1, low=-0.2, high=0.0, unit="", dimension="ratio")


class Disc(Table):
    """One disc of an axle."""

    mass: Annotated[
        Quantity, number("mass", positive=True), Field(description="Of the heated rings, no bell")
    ]
    diameter: Annotated[Quantity, number("height", positive=True), Field(description="Outside")]
    inner_diameter: Annotated[
        Quantity, number("height", positive=True), Field(description="Of the rubbed ring")
    ]
    material: Annotated[Literal["iron", "carbon"], Field(description="Of the rings")] = "iron"
    pad: Annotated[Literal["race", "street"], Field(description="Its pads")] = "race"
    is_vented: Annotated[bool, Field(strict=True, description="Whether it has vanes")] = True
    vane_area: Annotated[
        Quantity, number("area", positive=True), Field(description="Wetted by the vanes' air")
    ] = Quantity(best=0.16, low=0.13, high=0.19, unit="m²", dimension="area")
    convection: Annotated[
        Quantity,
        number("ratio", positive=True),
        Field(description="On every heat transfer coefficient: how far the correlations hold"),
    ] = _factor(0.30)
    duct: Annotated[BrakeDuct | None, Field(description="Air led to it")] = None


class Brakes(Table):
    """What the brakes do in a lap."""

    lap_time: Annotated[
        Quantity, number("time", positive=True), Field(description="Of the lap of these stops")
    ]
    laps: Annotated[int, Field(strict=True, ge=1, le=60, description="Run one after the other")] = 6
    temperature: Annotated[
        Quantity,
        number("temperature", least=230.0, most=330.0),
        Field(description="Of the air"),
    ]
    grip: Annotated[
        Quantity,
        number("ratio", positive=True, most=4.0),
        Field(description="Of the tyres in braking"),
    ]
    front_share: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Of the braking energy in front"),
    ]
    fluid: Annotated[
        Literal["DOT 3", "DOT 4", "DOT 5.1", "race"], Field(description="Grade of the fluid")
    ] = "DOT 4"
    is_wet: Annotated[
        bool, Field(strict=True, description="Old fluid: its wet boiling point counts")
    ] = False
    stops: Annotated[
        tuple[Stop, ...],
        Field(description="Of a lap, in order; measured ones stand over a lap that can be run"),
    ] = ()
    front: Annotated[Disc | None, Field(description="Front discs")] = None
    rear: Annotated[Disc | None, Field(description="Rear discs")] = None
