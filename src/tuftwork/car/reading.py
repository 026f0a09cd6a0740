"""What was marked on pictures: marks, planes, readings, and the stock of aero features."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Id = Annotated[str, Field(min_length=1, max_length=24, pattern=r"^[\w.\-]+$")]
_Name = Annotated[str, Field(min_length=1, max_length=80)]
Pixel = tuple[float, float]
FEATURE_KINDS = (
    "opening", "duct", "cooler", "element", "plate", "strake", "vent", "brake feed", "active part",
    "ramp", "step",
)  # fmt: skip
FeatureKind = Literal[
    "opening", "duct", "cooler", "element", "plate", "strake", "vent", "brake feed", "active part",
    "ramp", "step",
]  # fmt: skip


def _as_points(given: Any) -> Any:
    """Return a mark's pixels as a list of points: one point may be written as ``[x, y]``."""
    is_point = isinstance(given, list | tuple) and len(given) == 2
    if is_point and all(isinstance(n, int | float) and not isinstance(n, bool) for n in given):
        return [given]
    return given


Marked = Annotated[list[Pixel], BeforeValidator(_as_points)]


class Photo(Table):
    """One picture and the marks on it."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: P1")]
    evidence: Annotated[str, Field(min_length=1, description="Id of the evidence that is the file")]
    title: Annotated[str, Field(description="What it shows")] = ""
    click: Annotated[
        float,
        Field(gt=0.0, le=50.0, description="How far a mark falls from what it means [pixel]"),
    ] = 1.5
    focal_35mm: Annotated[
        float | None,
        Field(gt=4.0, le=3000.0, description="Focal length as on 36 mm film, else the file's own"),
    ] = None
    marks: Annotated[
        dict[str, Marked],
        Field(
            description="Name → pixels: a point [x, y], an edge [[x, y], [x, y]], an outline of "
            "several; x to the right and y down from the picture's upper left"
        ),
    ] = {}
    on: Annotated[dict[str, str], Field(description="Mark → plane it lies on")] = {}
    along: Annotated[
        dict[str, Literal["x", "y", "z"]],
        Field(description="Edge of two pixels → axis of the car it runs along"),
    ] = {}


class PlaneAt(Table):
    """A plane square to an axis of the car, on which marks lie."""

    name: Annotated[_Name, Field(description="What you call it: side, end plate")]
    axis: Annotated[
        Literal["x", "y", "z"], Field(description="x rearward from the front axle, y right, z up")
    ]
    at: Annotated[Quantity, number("length"), Field(description="Where it cuts that axis")]
    flat: Annotated[
        Quantity | None,
        number("height", least=0.0),
        Field(description="How far marks may lie off it; 5 mm unless given"),
    ] = None


class CarPoint(Table):
    """A point marked in more than one picture, or of known place."""

    name: Annotated[_Name, Field(description="As it is marked")]
    x: Annotated[Quantity | None, number("length"), Field(description="Where known")] = None
    y: Annotated[Quantity | None, number("length"), Field(description="Where known")] = None
    z: Annotated[Quantity | None, number("length"), Field(description="Where known")] = None
    mirror_of: Annotated[str, Field(description="Its twin across the centre plane")] = ""


class KnownLength(Table):
    """A distance between two points known from elsewhere."""

    first: Annotated[_Name, Field(description="Point")]
    second: Annotated[_Name, Field(description="Point")]
    value: Annotated[Quantity, number("length", positive=True), Field(description="Between them")]


class Asked(Table):
    """One number to be read from marks."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: R1")]
    name: Annotated[_Name, Field(description="What is measured")]
    kind: Annotated[str, Field(min_length=1, description="distance, height, angle, area …")]
    picture: Annotated[str, Field(description="Id of the picture")]
    marks: Annotated[list[str], Field(min_length=1, description="Marks, in order")]
    less: Annotated[list[str], Field(description="Outlines taken away: bars, louvres")] = []
    blocked: Annotated[
        Quantity | None,
        number("share", least=0.0, most=0.95),
        Field(description="Share taken by mesh"),
    ] = None
    times: Annotated[
        int, Field(ge=1, le=16, description="How often the car has it: 2 for both sides")
    ] = 1
    fills: Annotated[
        str, Field(description="Key of the project it is the source of: rear wing.chord")
    ] = ""
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class Rival(Table):
    """One thing a feature may be for."""

    reading: Annotated[str, Field(min_length=1, description="What it is for, in words")]
    weight: Annotated[float, Field(gt=0.0, le=1.0, description="How likely, against its rivals")]
    decider: Annotated[str, Field(description="The observation that would settle it")] = ""
    values: Annotated[
        dict[str, str],
        Field(alias="set", description="Key → value it would mean: splitter.projection"),
    ] = {}


class Feature(Table):
    """One aero feature of the car, and its rival readings."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: F1")]
    name: Annotated[_Name, Field(description="What you call it")]
    kind: Annotated[FeatureKind, Field(description="What sort of thing it is")]
    known: Annotated[
        Literal["seen", "inferred", "guessed"], Field(description="How it came to be known")
    ]
    role: Annotated[
        Literal["in", "out", "sink", "aero", "relief", "styling", "unknown"],
        Field(description="What the air does there; sink: a part that is cooled"),
    ] = "unknown"
    place: Annotated[str, Field(alias="zone", description="Zone of the body: nose, sill, …")] = ""
    confidence: Annotated[
        Quantity | None,
        number("share", least=0.0, most=1.0),
        Field(description="That it is there at all"),
    ] = None
    picture: Annotated[str, Field(description="Where it is seen")] = ""
    mark: Annotated[str, Field(description="Its mark there")] = ""
    readings: Annotated[list[str], Field(description="Ids of readings that measure it")] = []
    bore: Annotated[
        Quantity | None,
        number("height", least=0.003, most=0.2),
        Field(description="Inner diameter of a cooler's pipe: which circuit it may serve"),
    ] = None
    warm: Annotated[
        Quantity | None,
        number("temperature", least=230.0, most=700.0),
        Field(description="Of that pipe's surface when the car is warm"),
    ] = None
    area: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="Net, where no reading of an area measures it"),
    ] = None
    core_loss: Annotated[
        Quantity | None,
        number("ratio", positive=True),
        Field(description="Of a core over its own dynamic pressure; 25 unless given"),
    ] = None
    feeds: Annotated[list[str], Field(description="Ids of features its air goes to")] = []
    rivals: Annotated[list[Rival], Field(description="What it may be for")] = []
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class Seam(Table):
    """Steps, gaps or fixings of one sort in the skin."""

    name: Annotated[_Name, Field(description="What and where: door gaps")]
    kind: Annotated[
        Literal["step forward", "step backward", "gap", "raised head", "recessed fixing"],
        Field(description="What sort of fault"),
    ]
    zone: Annotated[str, Field(min_length=1, description="Zone of the body: roof, sill, …")]
    height: Annotated[
        Quantity, number("height", positive=True), Field(description="Step, or width of a gap")
    ]
    length: Annotated[
        Quantity, number("length", positive=True), Field(description="Across the flow, each")
    ]
    run: Annotated[Quantity, number("length", positive=True), Field(description="Skin ahead of it")]
    count: Annotated[int, Field(ge=1, le=500, description="How many of them")] = 1
    picture: Annotated[str, Field(description="Where they are seen")] = ""


class Pictures(Table):
    """Everything read from pictures."""

    pictures: Annotated[tuple[Photo, ...], Field(description="Pictures and their marks")] = ()
    planes: Annotated[tuple[PlaneAt, ...], Field(description="Planes marks lie on")] = ()
    points: Annotated[tuple[CarPoint, ...], Field(description="Shared and known points")] = ()
    lengths: Annotated[tuple[KnownLength, ...], Field(description="Known distances")] = ()
    readings: Annotated[tuple[Asked, ...], Field(description="What is measured")] = ()
    features: Annotated[tuple[Feature, ...], Field(description="Stock of features")] = ()
    seams: Annotated[
        tuple[Seam, ...], Field(description="Steps, gaps and fixings of the skin")
    ] = ()
    width_front: Annotated[
        Quantity | None,
        number("length", positive=True),
        Field(description="Over the front tyres; track and 0.26 m unless given"),
    ] = None
    width_rear: Annotated[
        Quantity | None,
        number("length", positive=True),
        Field(description="Over the rear tyres; track and 0.26 m unless given"),
    ] = None
    tyre_front: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Front tyre diameter, where the car has no axle table"),
    ] = None
    tyre_rear: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Rear tyre diameter, where the car has no axle table"),
    ] = None
