"""The 3-D flow as the project file says it: the shape, and the cases to run on it."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.flow_inside import FlowCore, FlowFan, FlowOpening
from tuftwork.car.flow_time import FlowOverTime
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Distance = Annotated[Quantity | None, number("length", positive=True, most=200.0)]


def _one(value: float, unit: str, dimension: str) -> Quantity:
    return Quantity(best=value, low=value, high=value, unit=unit, dimension=dimension)


class FlowSurface(Table):
    """A file of surfaces, as drawn elsewhere."""

    file: Annotated[str, Field(min_length=1, description="STL, OBJ, PLY or GLB below evidence/")]
    unit: Annotated[
        Literal["m", "mm", "cm", "in", "ft"], Field(description="Of the file's coordinates")
    ]
    nose: Annotated[
        Literal["-x", "+x"], Field(description="Which way the nose points in the file")
    ] = "-x"
    up: Annotated[
        Literal["", "y", "z"],
        Field(description="Which way is up in the file; y in GLB, z in others unless given"),
    ] = ""
    front_axle: Annotated[
        Quantity,
        number("length"),
        Field(description="Station of the front axle line in the file, along x as drawn"),
    ]
    road: Annotated[
        Quantity, number("length"), Field(description="Height of the road in the file")
    ] = _one(0.0, "mm", "length")
    ride_height_front: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At which it was drawn; needed to set it at another"),
    ] = None
    ride_height_rear: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At which it was drawn; needed to set it at another"),
    ] = None
    wheels: Annotated[
        tuple[_Name, ...], Field(description="Parts that roll on the road; * stands for anything")
    ] = ("wheel*",)
    plates: Annotated[
        tuple[_Name, ...], Field(description="Open surfaces that are meant as thin plates")
    ] = ()
    leave_out: Annotated[
        tuple[_Name, ...], Field(description="Parts of the file that are not the car")
    ] = ()


class FlowBelt(Table):
    """A moving belt in the fixed floor of a tunnel; wheels that stand on it roll."""

    start: Annotated[
        Quantity, number("length"), Field(description="Its front edge, from the front axle line")
    ]
    end: Annotated[
        Quantity, number("length"), Field(description="Its rear edge, from the front axle line")
    ]
    width: Annotated[
        Quantity, number("length", positive=True, most=10.0), Field(description="About the middle")
    ]

    @model_validator(mode="after")
    def _forward(self) -> "FlowBelt":
        if not self.end.best > self.start.best:
            raise ValueError("'end' must lie behind 'start': both from the front axle line")
        return self


class FlowRun(Table):
    """One case: speed, ride heights and cell, and how long it runs."""

    name: Annotated[_Name, Field(description="What you call it")]
    speed: Annotated[
        Quantity, number("speed", positive=True, most=150.0), Field(description="Of the car")
    ]
    yaw: Annotated[
        Quantity,
        number("angle", least=-0.6, most=0.6),
        Field(description="Of the air to the car's axis, positive from its left"),
    ] = _one(0.0, "°", "angle")
    ride_height_front: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At the front axle line; as drawn unless given"),
    ] = None
    ride_height_rear: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At the rear axle line; as drawn unless given"),
    ] = None
    cell: Annotated[
        Quantity,
        number("height", positive=True, most=0.5),
        Field(description="Size of a cell at the car"),
    ]
    laid: Annotated[
        Quantity,
        number("ratio", least=0.0, most=0.99),
        Field(description="Share of a cell by which cells are laid further ahead; 0 unless given"),
    ] = _one(0.0, "%", "ratio")
    levels: Annotated[
        int,
        Field(
            ge=0,
            le=6,
            strict=True,
            description="How often the cell doubles from the car outwards, box round box",
        ),
    ] = 0
    leave_out: Annotated[
        tuple[_Name, ...], Field(description="Parts left out; * stands for anything")
    ] = ()
    road: Annotated[
        Literal["moving", "fixed", "none"],
        Field(description="Moving with the air, a fixed tunnel floor, or no road"),
    ] = "moving"
    belt: Annotated[
        FlowBelt | None, Field(description="Moving belt in a fixed tunnel floor; none unless given")
    ] = None
    walls: Annotated[
        Literal["open", "closed"],
        Field(description="Free air beside and above, or still walls of a closed tunnel"),
    ] = "open"
    ahead: Annotated[_Distance, Field(description="Air ahead; three quarters of the length")] = None
    behind: Annotated[_Distance, Field(description="Air behind; one and a half lengths")] = None
    beside: Annotated[_Distance, Field(description="Air beside; three quarters of the length")] = (
        None
    )
    above: Annotated[_Distance, Field(description="Air above; three quarters of the length")] = None
    error: Annotated[
        Quantity,
        number("area", positive=True),
        Field(description="Statistical error of CzS and CxS at which it may stop"),
    ] = _one(0.01, "m²", "area")
    error_share: Annotated[
        Quantity | None,
        number("ratio", positive=True, most=0.5),
        Field(description="The same as a share of each of the two, such as 1 %; instead of error"),
    ] = None
    settle: Annotated[
        float, Field(ge=0, le=100, description="Lengths travelled before anything is averaged")
    ] = 4.0
    longest: Annotated[
        float, Field(gt=1, le=500, description="Lengths travelled after which it stops")
    ] = 20.0
    back_end: Annotated[
        Literal["cpu", "cuda"], Field(description="This machine's cores, or a graphics card")
    ] = "cpu"
    precision: Annotated[
        Literal["", "float64", "float32", "float16"],
        Field(description="Storage; float32 unless given"),
    ] = ""
    cards: Annotated[
        int, Field(ge=1, le=256, strict=True, description="Graphics cards that share the box")
    ] = 1
    lattice_speed: Annotated[
        float, Field(ge=0.005, le=0.2, description="Cells the air crosses in one step")
    ] = 0.1
    over_time: Annotated[
        FlowOverTime | None, Field(description="Fields kept over time; none unless given")
    ] = None
    state: Annotated[str, Field(description="State of the car it stands for; the first")] = ""
    counts: Annotated[
        bool,
        Field(
            strict=True,
            description="Whether its loads, with the stated bias, are held against the models",
        ),
    ] = True
    evidence: Annotated[
        str, Field(description="Id of the finished run; written when a run ends")
    ] = ""

    @model_validator(mode="after")
    def _one_floor(self) -> "FlowRun":
        if self.belt is not None and self.road != "fixed":
            raise ValueError("a 'belt' lies in a fixed floor: say road = \"fixed\"")
        return self


class Flow(Table):
    """The shape that is run, and its cases."""

    generic: Annotated[
        Literal["", "coupe", "prototype", "open-wheeler"],
        Field(description="Generic car, where there is no geometry"),
    ] = ""
    numbers: Annotated[
        dict[str, str | float],
        Field(description="Numbers of the generic car to change: ``wing_chord`` → ``0.3 m``"),
    ] = {}
    surfaces: Annotated[tuple[FlowSurface, ...], Field(description="Files of the car")] = ()
    cores: Annotated[
        tuple[FlowCore, ...], Field(description="Coolers' cores that the air passes")
    ] = ()
    fans: Annotated[tuple[FlowFan, ...], Field(description="Fans in the air")] = ()
    openings: Annotated[
        tuple[FlowOpening, ...],
        Field(description="Faces of closed parts that swallow and blow what the cooling net says"),
    ] = ()
    cases: Annotated[tuple[FlowRun, ...], Field(description="Cases to run")] = ()

    @model_validator(mode="after")
    def _one_shape(self) -> "Flow":
        """Refuse two shapes, or none."""
        if bool(self.generic) == bool(self.surfaces):
            raise ValueError("give either 'generic' or [[flow.surfaces]]: the shape to run")
        if self.numbers and not self.generic:
            raise ValueError("'numbers' changes a generic car; there is none here")
        return self
