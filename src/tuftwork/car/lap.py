"""What a lap needs of one car as the project file says it: circuits, tyres, driver, trim."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.cornering import Cornering
from tuftwork.car.drive import Gears, PowerAt, Tyres, exactly
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=80)]
_Height = Annotated[Quantity, number("height", positive=True, most=1.0)]


class Stretch(Table):
    """A straight (``length``) or a corner (``radius`` and ``turn``) of a circuit, in order."""

    name: Annotated[str, Field(description="Of a corner")] = ""
    length: Annotated[
        Quantity | None, number("length", positive=True), Field(description="Of a straight")
    ] = None
    radius: Annotated[
        Quantity | None, number("length", positive=True), Field(description="Of a corner")
    ] = None
    turn: Annotated[
        Quantity | None,
        number("angle", least=-7.0, most=7.0),
        Field(description="How far a corner turns, to the left positive"),
    ] = None
    transition: Annotated[
        Quantity | None,
        number("length", least=0.0),
        Field(description="Over which curvature grows and falls at each end of a corner"),
    ] = None
    bank: Annotated[
        Quantity | None,
        number("angle", least=-0.8, most=0.8),
        Field(description="Of a corner, positive where it helps"),
    ] = None
    is_fixed: Annotated[
        bool, Field(strict=True, description="Whether closing the loop may not touch it")
    ] = False

    @model_validator(mode="after")
    def _one_kind(self) -> "Stretch":
        """Refuse what is neither a straight nor a corner, or both."""
        corner = self.radius is not None and self.turn is not None
        if (self.length is not None) == corner or (self.radius is None) != (self.turn is None):
            raise ValueError("give either 'length' (a straight) or 'radius' and 'turn' (a corner)")
        return self


class LapCircuit(Table):
    """Where the car is driven: a file, laps logged by satellite, marks on a drawing, or pieces."""

    name: Annotated[_Name, Field(description="What it is called")]
    file: Annotated[
        str,
        Field(description="Below evidence/: x, y, width right, width left in m, comma-separated"),
    ] = ""
    laps: Annotated[
        tuple[str, ...],
        Field(
            max_length=40,
            description="Files below evidence/, one lap each: latitude and longitude in degrees, "
            "or x and y in m; averaged, closed and smoothed",
        ),
    ] = ()
    marks: Annotated[
        tuple[tuple[float, float], ...],
        Field(max_length=2000, description="Column and row of marks on a drawing, driving order"),
    ] = ()
    pixel: Annotated[
        Quantity | None,
        number("length", positive=True, most=50.0),
        Field(description="Length on the road of one pixel of the drawing"),
    ] = None
    half_width: Annotated[
        Quantity | None,
        number("length", positive=True, most=50.0),
        Field(description="Of the road, where laps or a drawing do not show it; 5 m"),
    ] = None
    smoothing: Annotated[
        Quantity | None,
        number("length", least=0.0, most=60.0),
        Field(
            description="Bends shorter than about six times this are noise; laps have 8 m, a "
            "drawing 15 m, a file none unless given"
        ),
    ] = None
    line: Annotated[
        Literal["as given", "least curvature", "least time"],
        Field(
            description="What is driven within the widths; least time is found for the baseline "
            "car and held for every state"
        ),
    ] = "as given"
    length: Annotated[
        Quantity | None,
        number("length", positive=True),
        Field(description="Which straights and corners have to add up to"),
    ] = None
    stretches: Annotated[
        tuple[Stretch, ...], Field(description="Straights and corners in driving order")
    ] = ()

    @model_validator(mode="after")
    def _one_source(self) -> "LapCircuit":
        """Refuse a circuit that is given twice or not at all, and keys that change nothing."""
        given = [k for k in ("file", "laps", "marks", "stretches") if getattr(self, k)]
        if len(given) != 1:
            raise ValueError("give either 'file', 'laps', 'marks' or 'stretches'")
        source = given[0]
        if source != "stretches" and self.length is not None:
            raise ValueError(f"'length' changes nothing beside '{source}'")
        if source == "stretches" and self.smoothing is not None:
            raise ValueError("'smoothing' changes nothing beside 'stretches'")
        if source == "file" and self.half_width is not None:
            raise ValueError("'half_width' changes nothing beside 'file', which has widths")
        if (source == "marks") != (self.pixel is not None):
            raise ValueError("'marks' and 'pixel' go together")
        if source == "marks" and len(self.marks) < 8:
            raise ValueError("'marks' needs at least 8 of them")
        return self

    @property
    def files(self) -> tuple[str, ...]:
        """Files below evidence/ that this circuit is read from."""
        return (self.file,) if self.file else self.laps


class Driver(Table):
    """How well this driver repeats a lap."""

    scatter: Annotated[
        Quantity,
        number("time", least=0.0, most=20.0),
        Field(description="Standard deviation of clean laps"),
    ]
    laps: Annotated[
        int, Field(strict=True, ge=1, le=100, description="Averaged on each side of a comparison")
    ] = 5


class DriverRemark(Table):
    """What the driver said, in three words."""

    said: Annotated[str, Field(description="In the driver's own words")] = ""
    phase: Annotated[Literal["entry", "middle", "exit"], Field(description="Of the corner")]
    feeling: Annotated[Literal["loose", "tight"], Field(description="Of the car")]
    band: Annotated[Literal["low", "medium", "high"], Field(description="Of speed")]


class PossibleChange(Table):
    """Something that could be done, with its price; its gain is that of a state."""

    name: Annotated[_Name, Field(description="What would be done")]
    state: Annotated[str, Field(description="State of the car it leads to")]
    after: Annotated[
        str, Field(description="State it is measured from; the baseline unless given")
    ] = ""
    cost: Annotated[float, Field(gt=0.0, description="In any money, the same for all")]
    needs: Annotated[
        tuple[str, ...], Field(description="Changes that have to come first, by name")
    ] = ()
    confidence: Annotated[
        Literal["measured", "computed, checked", "computed", "guessed"],
        Field(description="How its gain is known"),
    ] = "computed"


class Blanking(Table):
    """What to close or open from an air temperature on."""

    above: Annotated[
        Quantity, number("temperature", least=230.0, most=330.0), Field(description="Of the air")
    ]
    step: Annotated[_Name, Field(description="What to do")]


class TrimExtra(Table):
    """A row outside the dry order: wet, damaged, or with a device stuck."""

    name: Annotated[_Name, Field(description="What it is")]
    kind: Annotated[
        Literal["wet", "damage", "stuck", "active"], Field(description="Which sort of row")
    ]
    values: Annotated[
        dict[str, str | float],
        Field(alias="set", description="Part and key → value, where it differs from the baseline"),
    ] = {}
    grip: Annotated[
        Quantity,
        number("ratio", positive=True, most=1.5),
        Field(description="Against the dry"),
    ] = exactly(1.0, "ratio")
    ride_height_front: Annotated[
        Quantity | None, number("height", positive=True, most=1.0), Field(description="At rest")
    ] = None
    ride_height_rear: Annotated[
        Quantity | None, number("height", positive=True, most=1.0), Field(description="At rest")
    ] = None
    note: Annotated[str, Field(description="What it feels like, and when to park")] = ""


class Trim(Table):
    """What the trim table is for, and what may be turned."""

    vary: Annotated[str, Field(description="Part and key that is turned: ``rear wing.incidence``")]
    values: Annotated[
        tuple[str, ...], Field(min_length=1, max_length=20, description="Its values, rising")
    ]
    ride_height_front: Annotated[
        tuple[_Height, ...], Field(max_length=12, description="At rest; the baseline's if empty")
    ] = ()
    ride_height_rear: Annotated[
        tuple[_Height, ...], Field(max_length=12, description="At rest; the baseline's if empty")
    ] = ()
    circuit: Annotated[str, Field(description="For which; the first unless given")] = ""
    front_share: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Of the downforce in fast corners that is wanted"),
    ]
    band: Annotated[
        Quantity,
        number("share", positive=True, most=0.2),
        Field(description="How far it may be off, either way"),
    ] = exactly(0.01, "share")
    corners: Annotated[
        tuple[str, str], Field(description="Two corners whose speeds the driver looks at")
    ]
    rear_below: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Rear ride height at rest not to be run"),
    ] = None
    front_below: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Front ride height at rest not to be run"),
    ] = None
    reason: Annotated[str, Field(description="Why not")] = ""
    blanking: Annotated[tuple[Blanking, ...], Field(description="By air, coldest first")] = ()
    extra: Annotated[tuple[TrimExtra, ...], Field(description="Wet, damage and stuck rows")] = ()


class Lap(Table):
    """Everything a lap needs that is not said elsewhere."""

    circuits: Annotated[
        tuple[LapCircuit, ...], Field(min_length=1, max_length=12, description="The usual first")
    ]
    front: Annotated[Tyres, Field(description="Front tyres")]
    rear: Annotated[Tyres, Field(description="Rear tyres")]
    track_grip: Annotated[
        Quantity,
        number("ratio", least=0.2, most=2.0),
        Field(description="On all tyres alike: how well the road's grip is known"),
    ] = exactly(1.0, "ratio")
    cornering: Annotated[
        Cornering | None, Field(description="Circles driven at the limit, which tie the grip")
    ] = None
    driven: Annotated[Literal["front", "rear", "all"], Field(description="Driven axle")] = "rear"
    brake_share: Annotated[
        Quantity | None,
        number("share", positive=True, most=1.0),
        Field(description="Of the braking in front; follows grip where not given"),
    ] = None
    roll_share: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Of the side load transfer in front"),
    ] = exactly(0.5, "share")
    roll_angle: Annotated[
        Quantity, number("angle", least=0.0, most=0.2), Field(description="At 1 g sideways")
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="°", dimension="angle")
    roll_loss: Annotated[
        Quantity,
        number("share", least=0.0, most=0.5),
        Field(description="Of the downforce lost at that roll"),
    ] = exactly(0.0, "share")
    rotating_inertia: Annotated[
        Quantity,
        number("ratio", least=0.0, most=0.5),
        Field(description="Of turning parts, over the car's mass"),
    ] = exactly(0.03, "ratio")
    anti_dive: Annotated[
        Quantity, number("share", least=0.0, most=1.0), Field(description="Front, braking")
    ] = exactly(0.0, "share")
    anti_lift: Annotated[
        Quantity, number("share", least=0.0, most=1.0), Field(description="Rear, braking")
    ] = exactly(0.0, "share")
    anti_squat: Annotated[
        Quantity, number("share", least=0.0, most=1.0), Field(description="Rear, driving")
    ] = exactly(0.0, "share")
    width: Annotated[
        Quantity, number("length", positive=True), Field(description="Of the car over all")
    ] = Quantity(best=1.9, low=1.9, high=1.9, unit="m", dimension="length")
    power: Annotated[
        tuple[PowerAt, ...],
        Field(description="Power over road speed; the car's own at every speed if empty"),
    ] = ()
    gears: Annotated[
        Gears | None, Field(description="Engine curve and gears, in place of ``power``")
    ] = None
    driver: Annotated[Driver | None, Field(description="Scatter of the laps")] = None
    remarks: Annotated[tuple[DriverRemark, ...], Field(description="What the driver said")] = ()
    returned: Annotated[
        bool | None,
        Field(strict=True, description="Whether a complaint came and went with the part in A-B-A"),
    ] = None
    is_fine_when_slow: Annotated[
        bool | None,
        Field(strict=True, description="Whether the same phase is fine in slow corners"),
    ] = None
    changes: Annotated[tuple[PossibleChange, ...], Field(description="What could be done")] = ()
    trim: Annotated[Trim | None, Field(description="The trim table asked for")] = None

    @model_validator(mode="after")
    def _one_engine(self) -> "Lap":
        """Refuse power given twice."""
        if self.power and self.gears is not None:
            raise ValueError("give either 'power' over road speed or 'gears' with an engine curve")
        return self
