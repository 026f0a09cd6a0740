"""Air for cooling as the project file says it: openings, cores, ducts, leaks, fans, wells."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Node = Annotated[str, Field(min_length=1, max_length=60)]
InletKind = Literal["leading-edge", "grille", "scoop", "submerged", "hidden"]
ExitPlace = Literal[
    "bonnet", "bonnet-front", "cowl", "roof-front", "side", "wheel-well", "base", "underfloor"
]


def _factor(arm: float) -> Quantity:
    """Return 1 with a range by a factor: how far a correlation may be trusted."""
    return Quantity(best=1.0, low=1.0 / (1.0 + arm), high=1.0 + arm, unit="", dimension="ratio",
                    spread="log")  # fmt: skip


class Inlet(Table):
    """An opening by which cooling air comes in."""

    name: Annotated[_Name, Field(description="What you call it")]
    end: Annotated[_Node, Field(description="Node it feeds")]
    area: Annotated[
        Quantity, number("area", positive=True), Field(description="Of the mouth, net of bars")
    ]
    kind: Annotated[InletKind, Field(description="Gives the recovery where none is known")] = (
        "leading-edge"
    )
    recovery: Annotated[
        Quantity | None,
        number("ratio", least=-1.5, most=1.0),
        Field(description="Share of the free stream's dynamic pressure that reaches the mouth"),
    ] = None
    loss: Annotated[
        Quantity | None,
        number("ratio", least=0.0),
        Field(
            description="K of bend, screen or diffuser behind the mouth, on its own head; where "
            "it opens onto larger cores, 0.3 to 1 of a sudden step's unless given"
        ),
    ] = None
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Of the mouth above ground")
    ] = Quantity(best=0.4, low=0.4, high=0.4, unit="mm", dimension="height", spread="exact")


class CoreRow(Table):
    """One row of a maker's sheet or one test point of a core."""

    speed: Annotated[
        Quantity, number("speed", positive=True), Field(description="Of the air at the face")
    ]
    loss: Annotated[
        Quantity, number("pressure", positive=True), Field(description="Of pressure of the air")
    ]
    heat: Annotated[
        Quantity | None,
        number("power", positive=True),
        Field(description="Shed at the sheet's conditions; all rows or none"),
    ] = None


class CoreTest(Table):
    """Conditions at which the heat of a maker's sheet holds."""

    inlet_difference: Annotated[
        Quantity,
        number("temperature difference", positive=True),
        Field(description="Hot inlet less cold inlet"),
    ]
    liquid_flow: Annotated[
        Quantity, number("mass flow", positive=True), Field(description="Of the hot side")
    ]
    fluid: Annotated[
        Literal["water", "glycol-30", "glycol-50", "engine oil"], Field(description="Hot side")
    ] = "water"


class Fins(Table):
    """Louvred fins between flat tubes."""

    louvre_angle: Annotated[Quantity, number("angle", positive=True), Field(description="θ")]
    louvre_pitch: Annotated[
        Quantity, number("height", positive=True), Field(description="Along the flow")
    ]
    louvre_length: Annotated[
        Quantity, number("height", positive=True), Field(description="Across the fin")
    ]
    fin_pitch: Annotated[Quantity, number("height", positive=True), Field(description="Fin to fin")]
    fin_length: Annotated[
        Quantity, number("height", positive=True), Field(description="Between tubes")
    ]
    fin_thickness: Annotated[
        Quantity, number("height", positive=True), Field(description="Of the sheet")
    ]
    tube_pitch: Annotated[
        Quantity, number("height", positive=True), Field(description="Tube to tube")
    ]
    tube_height: Annotated[
        Quantity, number("height", positive=True), Field(description="Of a tube, across the flow")
    ]


class Tubes(Table):
    """Tubes of a core in parallel, for the liquid side."""

    count: Annotated[int, Field(strict=True, ge=1, description="Of tubes the liquid shares")]
    width: Annotated[
        Quantity, number("height", positive=True), Field(description="Inside, along the air")
    ]
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Inside, across the air")
    ]
    length: Annotated[Quantity, number("length", positive=True), Field(description="Of one tube")]


class Core(Table):
    """A cooler between two nodes of the air."""

    name: Annotated[_Name, Field(description="What you call it")]
    start: Annotated[_Node, Field(description="Node ahead of it")]
    end: Annotated[_Node, Field(description="Node behind it")]
    width: Annotated[Quantity, number("length", positive=True), Field(description="Of one face")]
    height: Annotated[Quantity, number("length", positive=True), Field(description="Of one face")]
    count: Annotated[
        int, Field(strict=True, ge=1, le=12, description="Of like cores side by side")
    ] = 1
    depth: Annotated[
        Quantity, number("height", positive=True), Field(description="Along the air")
    ] = Quantity(best=0.032, low=0.032, high=0.032, unit="mm", dimension="height", spread="exact")
    rows: Annotated[
        tuple[CoreRow, ...],
        Field(description="Test points or a maker's sheet; without heat they give the loss alone"),
    ] = ()
    test: Annotated[CoreTest | None, Field(description="Conditions of the rows' heat")] = None
    fins: Annotated[
        Fins | None, Field(description="Air side; a common louvred fin unless given")
    ] = None
    tubes: Annotated[Tubes | None, Field(description="Liquid side, where it is a resistance")] = (
        None
    )
    layback: Annotated[
        Quantity,
        number("angle", least=0.0, most=1.3),
        Field(description="Between the face's normal and the duct"),
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="°", dimension="angle", spread="exact")
    loss_factor: Annotated[
        Quantity,
        number("ratio", positive=True),
        Field(description="On the loss: how far rows or correlation hold for this core"),
    ] = _factor(0.10)
    heat_factor: Annotated[
        Quantity,
        number("ratio", positive=True),
        Field(description="On the air side's conductance, likewise"),
    ] = _factor(0.15)

    @model_validator(mode="after")
    def _rows_fit(self) -> "Core":
        """Refuse rows that say half of it."""
        heats = [row.heat is not None for row in self.rows]
        if any(heats) and not all(heats):
            raise ValueError("'heat' must stand in every row or in none")
        if any(heats) and self.test is None:
            raise ValueError("rows with 'heat' need [cooling.cores.test]: at which conditions")
        if len(self.rows) == 1:
            raise ValueError("one row fixes nothing: give two or more, or none")
        return self


class CoolingDuct(Table):
    """A duct or a hollow member between two nodes; length 0 makes it a plain restriction."""

    name: Annotated[_Name, Field(description="What you call it")]
    start: Annotated[_Node, Field(description="Node it takes air from")]
    end: Annotated[_Node, Field(description="Node it gives air to")]
    area: Annotated[Quantity, number("area", positive=True), Field(description="Inside")]
    length: Annotated[
        Quantity | None, number("length", least=0.0), Field(description="Along it")
    ] = None
    hydraulic_diameter: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Four times area over perimeter; of a round duct unless given"),
    ] = None
    bends: Annotated[
        tuple[Annotated[Quantity, number("angle", positive=True, most=3.2)], ...],
        Field(description="Angles of its bends, one by one"),
    ] = ()
    bend_radius: Annotated[
        Quantity | None,
        number("ratio", least=0.0),
        Field(description="Radius over diameter of the bends; sharp corners unless given"),
    ] = None
    loss: Annotated[
        Quantity | None,
        number("ratio", least=0.0),
        Field(description="Any other K on its own head: entry, step, screen"),
    ] = None


class CoolingExit(Table):
    """An opening by which cooling air leaves."""

    name: Annotated[_Name, Field(description="What you call it")]
    start: Annotated[_Node, Field(description="Node it empties")]
    end: Annotated[
        _Node, Field(description="``outside``, or the node of a wheel well it blows into")
    ] = "outside"
    area: Annotated[
        Quantity,
        number("area", positive=True),
        Field(description="Net: throats between blades, not the cut-out"),
    ]
    at: Annotated[ExitPlace, Field(description="Where on the body")]
    pressure: Annotated[
        Quantity | None,
        number("ratio", least=-5.0, most=1.0),
        Field(description="Pressure coefficient of the surface; the place's unless given"),
    ] = None
    discharge: Annotated[
        Quantity | None,
        number("ratio", positive=True, most=1.0),
        Field(description="On the net area; the place's unless given"),
    ] = None
    recovery: Annotated[
        Quantity | None,
        number("share", least=0.0, most=1.0),
        Field(
            description="Of the jet's head that stays speed along the stream; all unless it "
            "blows into a wheel well that is no node, then 0 to 30 %"
        ),
    ] = None
    angle: Annotated[
        Quantity,
        number("angle", least=-1.6, most=1.6),
        Field(description="Of the leaving air above the rearward direction"),
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="°", dimension="angle", spread="exact")
    station: Annotated[
        Quantity, number("length"), Field(description="Behind the front axle line")
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="m", dimension="length", spread="exact")
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Above ground")
    ] = Quantity(best=0.7, low=0.7, high=0.7, unit="mm", dimension="height", spread="exact")
    also: Annotated[
        tuple[ExitPlace, ...], Field(description="Other places to compare it with")
    ] = ()


class CoolingLeak(Table):
    """A gap: around a core, between duct and body, out of a wheel well."""

    name: Annotated[_Name, Field(description="What you call it")]
    start: Annotated[_Node, Field(description="Node it leaves")]
    end: Annotated[_Node, Field(description="Node it enters, or ``outside``")] = "outside"
    area: Annotated[Quantity, number("area", positive=True), Field(description="Of the gap")]
    pressure: Annotated[
        Quantity,
        number("ratio", least=-5.0, most=1.0),
        Field(description="Pressure coefficient where it meets the outside"),
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="", dimension="ratio", spread="exact")


class FanPoint(Table):
    """One point of a fan's curve."""

    flow: Annotated[Quantity, number("volume flow", least=0.0), Field(description="Of air")]
    rise: Annotated[Quantity, number("pressure"), Field(description="Falls as the flow rises")]


class CoolingFan(Table):
    """A fan between two nodes."""

    name: Annotated[_Name, Field(description="What you call it")]
    start: Annotated[_Node, Field(description="Node it draws from")]
    end: Annotated[_Node, Field(description="Node it blows into")]
    curve: Annotated[
        tuple[FanPoint, ...], Field(min_length=2, description="Rising flow, falling rise")
    ]
    running: Annotated[
        Quantity,
        number("share", least=0.0, most=1.0),
        Field(description="Share of full speed at the study's speed"),
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="%", dimension="share", spread="exact")


class Well(Table):
    """A wheel well that is a node of the air: its pressure lifts the car."""

    name: Annotated[_Node, Field(description="Its node")]
    plan_area: Annotated[
        Quantity,
        number("area", positive=True),
        Field(description="Of both wells at this axle, tyres taken off"),
    ]
    station: Annotated[Quantity, number("length"), Field(description="Behind the front axle line")]


class Surface(Table):
    """What is known of a place on this body, over the defaults."""

    name: Annotated[ExitPlace, Field(description="The place")]
    pressure: Annotated[
        Quantity | None,
        number("ratio", least=-5.0, most=1.0),
        Field(description="Pressure coefficient there"),
    ] = None
    most_area: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="Largest net area the class allows there"),
    ] = None
    rule: Annotated[str, Field(description="Clause that says so")] = ""
