"""The channel under a floor, for the engine that solves it in plan."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Station = Annotated[Quantity, number("length"), Field(description="Behind the front axle line")]
_Offset = Annotated[
    Quantity, number("length", least=0.0), Field(description="From the middle of the car")
]


EdgeLoss = Annotated[
    Quantity | None,
    number("ratio", least=0.0, most=1.5),
    Field(description="Share of the speed gained without loss that air leaking in does not bring"),
]
"""Key of every channel that leaks at its edges."""


class FloorPoint(Table):
    """One point of an underside; straight between points."""

    station: _Station
    height: Annotated[
        Quantity, number("height"), Field(description="Of the underside over the reference plane")
    ]


class FloorTunnel(Table):
    """A strip of the floor with its own underside: tunnel, tray, step, ramp into an arch."""

    inner: _Offset
    outer: _Offset
    points: Annotated[
        tuple[FloorPoint, ...], Field(min_length=2, description="Its underside, front to rear")
    ]


class FloorStrake(Table):
    """A fence under the floor, one on each side."""

    start: _Station
    end: _Station
    offset: _Offset
    gap: Annotated[
        Quantity,
        number("share", least=0.0, most=1.0),
        Field(description="Left under it, over the reference plane's height"),
    ]


class FloorBlock(Table):
    """A wheel or a suspension arm in the channel, one on each side."""

    start: _Station
    end: _Station
    inner: _Offset
    outer: _Offset
    share: Annotated[
        Quantity, number("share", least=0.0, most=0.95), Field(description="Of the gap it closes")
    ]
    loss: Annotated[
        Quantity,
        number("ratio", least=0.0),
        Field(description="Dynamic pressures lost in passing it"),
    ]


class SidePressure(Table):
    """Pressure coefficient beside the floor at a station: wheel wake, wheel well, side."""

    station: _Station
    pressure: Annotated[
        Quantity, number("ratio", least=-2.0, most=1.0), Field(description="Cp outside the edge")
    ]


class HardPoint(Table):
    """What stands over the floor and limits its ramp: manifold, gearbox, jacking point."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    station: _Station
    height: Annotated[
        Quantity,
        number("height", least=0.0),
        Field(description="Lowest point over the reference plane, with the floor's thickness"),
    ]


class FloorChannel(Table):
    """With it the floor is answered by the channel solved in plan, not by the estimate."""

    nose: Annotated[
        tuple[FloorPoint, ...],
        Field(description="Underside ahead of the flat: lip and ramps, front to rear"),
    ] = ()
    tunnels: tuple[FloorTunnel, ...] = ()
    strakes: tuple[FloorStrake, ...] = ()
    blocks: tuple[FloorBlock, ...] = ()
    side: tuple[SidePressure, ...] = ()
    has_fall: Annotated[
        bool,
        Field(description="Put the empirical fall of the force below the engine's peak on top"),
    ] = False
    edge_loss: EdgeLoss = None
    discharge: Annotated[
        Quantity | None,
        number("ratio", least=0.05, most=1.0),
        Field(description="Discharge coefficient of the gap under a side edge"),
    ] = None
    base_pressure: Annotated[
        Quantity | None,
        number("ratio", least=-1.0, most=0.5),
        Field(description="Pressure coefficient behind the exit, without a wing"),
    ] = None
    sweep: Annotated[
        str,
        Field(description="Evidence id of a ride-height sweep (hr, CzS) that ties these three"),
    ] = ""
    sweep_of: Annotated[
        Literal["floor", "car", "floor alone"],
        Field(description="Whose CzS it holds: the floor's on the car, the whole car's, or that "
              "of a bare floor with neither wheels nor wing"),
    ] = "floor"  # fmt: skip
