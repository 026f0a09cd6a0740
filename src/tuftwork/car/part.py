"""Parts of a car that carry load: what is known of each, one table per kind.

Stations are measured rearward from the front axle line, heights upward from the ground at the
ride heights of the reference mass state.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.floor import FloorChannel, HardPoint
from tuftwork.car.front import SplitterChannel, SplitterStays
from tuftwork.car.table import number
from tuftwork.car.wing import BeamWing, DivePlane, FrontSection, PartTable, Wing
from tuftwork.quantity import Quantity


class Floor(PartTable):
    """The under-floor with its diffuser."""

    kind: Literal["floor"]
    width: Annotated[
        Quantity, number("length", positive=True), Field(description="Between the side edges")
    ]
    front_station: Annotated[
        Quantity,
        number("length"),
        Field(description="Leading edge of the flat, behind the front axle line"),
    ]
    kick_station: Annotated[
        Quantity, number("length"), Field(description="Kick line, where the diffuser begins")
    ]
    exit_station: Annotated[
        Quantity, number("length"), Field(description="Trailing edge of the diffuser")
    ]
    diffuser_angle: Annotated[
        Quantity,
        number("angle", least=0.0, most=0.7),
        Field(description="Of the ramp to the reference plane"),
    ]
    diffuser_width: Annotated[
        Quantity | None,
        number("length", positive=True),
        Field(description="Between its side plates"),
    ] = None
    edge_gap: Annotated[
        Quantity | None,
        number("height", least=0.0),
        Field(description="Gap under the side edge where it is not the ride height: skirt, lip"),
    ] = None
    edge_radius: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(
            description="Of its rolled leading edge, where air that rises behind a splitter "
            "meets it"
        ),
    ] = None
    channel: Annotated[
        FloorChannel | None,
        Field(description="With it the channel is solved in plan instead of estimated"),
    ] = None
    hard_points: Annotated[
        tuple[HardPoint, ...],
        Field(description="What stands over the floor and limits its ramp"),
    ] = ()
    kick_limit: Annotated[
        Quantity | None,
        number("length"),
        Field(
            description="Foremost station the rules let the ramp begin at; as it is unless given"
        ),
    ] = None
    exit_limit: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Greatest height of the exit over the reference plane the rules allow"),
    ] = None

    @model_validator(mode="after")
    def _runs_rearward(self) -> "Floor":
        """Refuse a floor whose exit lies ahead of its kick line, or that ahead of its front."""
        front, kick, end = (
            q.best for q in (self.front_station, self.kick_station, self.exit_station)
        )
        if not front < kick <= end:
            raise ValueError(
                f"its stations must run rearward: front_station {front:.3f} m, kick_station "
                f"{kick:.3f} m, exit_station {end:.3f} m"
            )
        return self


class Splitter(PartTable):
    """A plate ahead of and under the nose."""

    kind: Literal["splitter"]
    projection: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Ahead of the bodywork in plan"),
    ]
    width: Annotated[Quantity, number("length", positive=True), Field(description="Across the car")]
    lip_radius: Annotated[
        Quantity, number("height", positive=True), Field(description="Radius of the leading edge")
    ]
    station: Annotated[
        Quantity,
        number("length"),
        Field(description="Leading edge behind the front axle line (negative: ahead)"),
    ]
    drop: Annotated[
        Quantity, number("height"), Field(description="Underside below the reference plane")
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="mm", dimension="height", spread="exact")
    stiffness: Annotated[
        Quantity | None,
        number("stiffness", positive=True),
        Field(description="Load on the plate per droop of its lip; rigid unless given"),
    ] = None
    stays: Annotated[
        SplitterStays | None,
        Field(description="Stays that hold the plate: with them the load sheet tells their force"),
    ] = None
    channel: Annotated[
        SplitterChannel | None,
        Field(description="With it the channels under the plate are solved instead of estimated"),
    ] = None
    footplate_depth: Annotated[
        Quantity | None,
        number("height", least=0.0),
        Field(description="Of the footplates or fences at the plate's ends, below its underside"),
    ] = None
    head: Annotated[
        Quantity | None,
        number("ratio", positive=True, most=1.2),
        Field(
            description="Total pressure of the air at the lip over the free stream's: 1, less "
            "behind another car"
        ),
    ] = None
    vent_open: Annotated[
        Quantity | None,
        number("share", least=0.0, most=1.0),
        Field(description="Of the vent's area; all of it unless given"),
    ] = None

    @model_validator(mode="after")
    def _holds_together(self) -> "Splitter":
        """Refuse stations that cross and keys that change nothing, all of them at once."""
        faults = _channel_faults(self)
        if self.stays is not None and self.stays.ahead.best > self.projection.best:
            faults.append("stays: 'ahead' lies beyond the lip; it must be at most 'projection'")
        if faults:
            raise ValueError("; ".join(faults))
        return self


def _channel_faults(part: Splitter) -> list[str]:
    own, idle = part.channel, ("footplate_depth", "head", "vent_open")
    if own is None:
        return [
            f"'{key}' changes nothing without [parts.channel]"
            for key in idle
            if getattr(part, key) is not None
        ]
    faults = []
    hinge = part.station.best + part.projection.best
    if not own.handover.best > hinge:
        faults.append(f"channel: 'handover' must lie behind the bodywork's edge at {hinge:g} m")
    if part.vent_open is not None and own.vent is None:
        faults.append("'vent_open' changes nothing without a vent")
    if own.ramps is not None:
        if own.ramps.outer.best > 0.5 * part.width.best + 1e-9:
            faults.append("channel: the ramps reach beyond the plate's ends")
        if not own.ramps.end.best > hinge:
            faults.append(f"channel: the ramps must end behind the bodywork's edge at {hinge:g} m")
        if own.ramps.start.best < part.station.best:
            faults.append("channel: the ramps begin ahead of the lip")
    return faults


class Body(PartTable):
    """The body with its wheels, or any lump known by coefficients."""

    kind: Literal["body", "wheels", "lump"]
    downforce: Annotated[
        Quantity,
        number("ratio"),
        Field(description="Downforce coefficient on ``area``; negative is lift"),
    ]
    drag: Annotated[Quantity, number("ratio"), Field(description="Drag coefficient on ``area``")]
    area: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="Reference area; the car's frontal area unless given"),
    ] = None
    front_share: Annotated[
        Quantity | None,
        number("share"),
        Field(description="Share of the downforce on the front axle; needed where there is any"),
    ] = None


class CoolingFlow(PartTable):
    """Air taken through the car for cooling."""

    kind: Literal["cooling"]
    core_area: Annotated[
        Quantity, number("area", positive=True), Field(description="Face of the core")
    ]
    exit_area: Annotated[
        Quantity, number("area", positive=True), Field(description="Net area of the exit")
    ]
    core_speed: Annotated[
        Quantity,
        number("ratio", positive=True, most=1.0),
        Field(description="Mean speed through the core face over car speed"),
    ]
    exit_station: Annotated[
        Quantity,
        number("length"),
        Field(description="Where the air leaves, behind the front axle line"),
    ]
    exit_angle: Annotated[
        Quantity,
        number("angle", least=-1.6, most=1.6),
        Field(description="Of the leaving air to the horizontal, upward positive"),
    ]
    height: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Of the stream's drag above the ground"),
    ]
    leaves_by: Annotated[
        Literal["bonnet", "bonnet-front", "side", "wheel-well", "base", "underfloor"] | None,
        Field(description="Surface it leaves by, where that pushes or lifts the car"),
    ] = None
    fed_by: Annotated[
        Literal["nose", "elsewhere"],
        Field(description="Where it comes from; what the nose takes in, a splitter misses"),
    ] = "elsewhere"


class AirNetPart(PartTable):
    """Air taken through the car, as the air net of [cooling] solves it; its sizes stand there."""

    kind: Literal["air net"]


Part = Annotated[
    Wing | FrontSection | BeamWing | DivePlane | Floor | Splitter | Body | CoolingFlow | AirNetPart,
    Field(discriminator="kind"),
]
"""Any part; ``kind`` says which table it is."""

PART_KINDS = (
    "wing", "front section", "beam wing", "dive plane", "floor", "splitter", "body", "wheels",
    "lump", "cooling", "air net",
)  # fmt: skip

_FIXED = ("name", "kind", "place", "origin")
_TABLES: dict[str, type[PartTable]] = {
    "wing": Wing,
    "front section": FrontSection,
    "beam wing": BeamWing,
    "dive plane": DivePlane,
    "floor": Floor,
    "splitter": Splitter,
    "body": Body,
    "wheels": Body,
    "lump": Body,
    "cooling": CoolingFlow,
    "air net": AirNetPart,
}


def table_of_kind(kind: str) -> type[PartTable] | None:
    """Return the table that describes parts of a kind, or None where there is no such kind."""
    return _TABLES.get(kind)


def keys_of_kind(kind: str) -> tuple[str, ...]:
    """Return the keys that a state may set on a part of a kind; none for an unknown kind."""
    table = table_of_kind(kind)
    return tuple(k for k in table.model_fields if k not in _FIXED) if table else ()
