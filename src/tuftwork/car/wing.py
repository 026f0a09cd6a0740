"""Wings of a car: in the air above it, under its nose, over its diffuser, on its corners."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.section import WingSection
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity, exact

_Text = Annotated[str, Field(min_length=1, max_length=80)]


class PartTable(Table):
    """What every part has."""

    name: Annotated[_Text, Field(description="What you call it; unique in the project")]
    note: Annotated[str, Field(description="Anything worth remembering")] = ""
    model: Annotated[
        dict[str, str],
        Field(description="Your own values for the engine's coefficients, by name"),
    ] = {}


class EdgeBehind(Table):
    """A leading edge behind a wing (tray, splitter, floor) and what it stands."""

    station: Annotated[
        Quantity, number("length"), Field(description="Of the edge behind the front axle line")
    ]
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Of the edge above the ground")
    ]
    width: Annotated[Quantity, number("length", positive=True), Field(description="Across the car")]
    tolerance: Annotated[
        Quantity,
        number("angle", positive=True, most=0.6),
        Field(description="Flow angle the edge takes without separating, up or down"),
    ]


class OnsetShare(Table):
    """How much of what the roof does to the air is left at a place across the car."""

    y: Annotated[
        Quantity,
        number("length", least=0.0),
        Field(description="From the middle of the car; both sides alike"),
    ]
    share: Annotated[
        Quantity,
        number("share", least=-1.0, most=3.0),
        Field(description="Of the downwash and of the loss behind the roof"),
    ]


class WingPart(PartTable):
    """What every wing has."""

    kind: str
    span: Annotated[Quantity, number("length", positive=True), Field(description="Tip to tip")]
    chord: Annotated[
        Quantity, number("height", positive=True), Field(description="Of the whole section")
    ]
    incidence: Annotated[
        Quantity,
        number("angle", least=-0.7, most=1.2),
        Field(
            description="Nose-down angle of the chord line to the ground; positive makes downforce"
        ),
    ]
    station: Annotated[
        Quantity, number("length"), Field(description="Centre of load behind the front axle line")
    ]
    height: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Trailing edge above the ground"),
    ]
    gurney: Annotated[
        Quantity | None, number("height", least=0.0), Field(description="Height of the gurney")
    ] = None
    end_plate_height: Annotated[
        Quantity | None, number("height", least=0.0), Field(description="Height of the end plates")
    ] = None
    camber: Annotated[
        Quantity | None, number("share", least=0.0, most=0.3), Field(description="Of the chord")
    ] = None
    thickness: Annotated[
        Quantity | None, number("share", least=0.01, most=0.4), Field(description="Of the chord")
    ] = None
    elements: Annotated[int, Field(strict=True, ge=1, le=4, description="Number of elements")] = 1
    section: Annotated[
        WingSection | None,
        Field(description="Its section; with it the lattice answers instead of the estimate"),
    ] = None
    edge_behind: Annotated[
        EdgeBehind | None,
        Field(description="A leading edge in its wake: the page says what angle it sees"),
    ] = None


class Wing(WingPart):
    """A wing in the air above the car."""

    kind: Literal["wing"]
    onset: Annotated[
        tuple[OnsetShare, ...],
        Field(max_length=12, description="Roof's effect along the span; even unless given"),
    ] = ()


class FrontSection(WingPart):
    """A section under the nose whose suction side vents upward, into an exit of its own."""

    kind: Literal["front section"]
    exit_pressure: Annotated[
        Quantity,
        number("ratio", least=-3.0, most=1.0),
        Field(description="Pressure coefficient where it vents: wheel arch, bonnet, behind a flap"),
    ]
    vented: Annotated[
        Quantity,
        number("share", least=0.0, most=1.0),
        Field(description="Of its span that vents into that exit; all of it unless given"),
    ] = exact(1.0, "share", unit="%", origin="assumed")


class BeamWing(WingPart):
    """A low wing over the diffuser's exit."""

    kind: Literal["beam wing"]
    clearance: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="Of its lowest edge over the diffuser's trailing edge"),
    ]


class DivePlane(PartTable):
    """Small swept plates on the front corners."""

    kind: Literal["dive plane"]
    reach: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="From the body side outward, one plate"),
    ]
    chord: Annotated[
        Quantity, number("height", positive=True), Field(description="Along the body side")
    ]
    incidence: Annotated[
        Quantity,
        number("angle", least=0.0, most=0.8),
        Field(description="Nose-down angle to the ground; positive makes downforce"),
    ]
    station: Annotated[
        Quantity, number("length"), Field(description="Middle behind the front axle line")
    ]
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Middle above the ground")
    ]
    sweep: Annotated[
        Quantity,
        number("angle", least=0.0, most=1.4),
        Field(description="Of the leading edge, rearward"),
    ]
    count: Annotated[int, Field(strict=True, ge=1, le=8, description="Plates, both sides")] = 2
