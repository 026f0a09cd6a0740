"""What has been said about a car: claims, the evidence at hand and what was measured."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Id = Annotated[str, Field(min_length=1, max_length=24, pattern=r"^[\w.\-]+$")]
Place = Literal["car", "front axle", "rear axle", "part"]


class ClaimTable(Table):
    """What every claim has."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: C1")]
    said: Annotated[str, Field(min_length=1, description="The words as they were said or printed")]
    by: Annotated[str, Field(description="Who said it")] = ""


class ForceClaim(ClaimTable):
    """A downforce or drag at a speed: ``260 kg at 160 km/h``."""

    kind: Literal["force"]
    force: Annotated[Quantity, number("force", positive=True), Field(description="As claimed")]
    speed: Annotated[
        Quantity, number("speed", positive=True), Field(description="At which it is claimed")
    ]
    direction: Annotated[Literal["downforce", "drag"], Field(description="Which force")] = (
        "downforce"
    )
    on: Annotated[Place, Field(description="What carries it")] = "car"
    part: Annotated[str, Field(description="Name of the part, where ``on`` is a part")] = ""
    state: Annotated[str, Field(description="State of the car; the first unless given")] = ""


class CoefficientClaim(ClaimTable):
    """A coefficient, with or without its reference area: ``Cd 0.38``."""

    kind: Literal["coefficient"]
    value: Annotated[Quantity, number("ratio"), Field(description="As claimed; downforce positive")]
    direction: Annotated[Literal["downforce", "drag"], Field(description="Which coefficient")]
    area: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="Reference area, where stated"),
    ] = None
    on: Annotated[Place, Field(description="What it describes")] = "car"
    part: Annotated[str, Field(description="Name of the part, where ``on`` is a part")] = ""


class TopSpeedClaim(ClaimTable):
    """A top speed: ``272 km/h``."""

    kind: Literal["top speed"]
    speed: Annotated[Quantity, number("speed", positive=True), Field(description="As claimed")]
    power: Annotated[
        Quantity | None,
        number("power", positive=True),
        Field(description="The car's power unless stated"),
    ] = None


class BalanceClaim(ClaimTable):
    """A front share of the downforce, at a speed or at all of them."""

    kind: Literal["balance"]
    front: Annotated[
        Quantity, number("share", least=0.0, most=1.0), Field(description="Front share")
    ]
    speed: Annotated[
        Quantity | None,
        number("speed", positive=True),
        Field(description="Where it is said to hold"),
    ] = None
    constant: Annotated[
        bool, Field(strict=True, description="Whether it is said to hold at every speed")
    ] = False


class OpeningClaim(ClaimTable):
    """The area of an opening: ``front cooler exit 0.090 m²``."""

    kind: Literal["opening area"]
    area: Annotated[Quantity, number("area", positive=True), Field(description="As claimed")]
    opening: Annotated[str, Field(min_length=1, description="Name of the opening")]


class GainClaim(ClaimTable):
    """A gain: ``15 % more downforce``, of a part or of a state with a device or a setting."""

    kind: Literal["gain"]
    gain: Annotated[
        Quantity | None,
        number("share", least=-0.99, most=20.0),
        Field(description="Relative change claimed; or give 'force' and 'speed'"),
    ] = None
    force: Annotated[
        Quantity | None,
        number("force"),
        Field(description="Change claimed as a force at 'speed', of a state"),
    ] = None
    speed: Annotated[
        Quantity | None,
        number("speed", positive=True),
        Field(description="At which; the middle of the studied ones unless given"),
    ] = None
    state: Annotated[
        str, Field(description="State it is said of: the study's own difference judges it")
    ] = ""
    against: Annotated[
        str, Field(description="State it is a gain against; the first unless given")
    ] = ""
    direction: Annotated[Literal["downforce", "drag"], Field(description="Of what")] = "downforce"
    part: Annotated[str, Field(description="Part it is said to come from")] = ""

    @model_validator(mode="after")
    def _one_gain(self) -> "GainClaim":
        """Refuse a gain given twice or not at all, and keys that change nothing."""
        if (self.gain is None) == (self.force is None):
            raise ValueError("give either 'gain', in per cent, or 'force' with 'speed'")
        if self.force is not None and (self.speed is None or not self.state):
            raise ValueError("'force' needs 'speed' and the 'state' it is said of")
        if self.state and self.part:
            raise ValueError("give either 'state' or 'part'")
        if not self.state and (self.against or self.speed is not None):
            raise ValueError("'against' and 'speed' change nothing without 'state'")
        if self.state and self.state == self.against:
            raise ValueError("'against' must be another state")
        return self


class LapGainClaim(ClaimTable):
    """A lap-time gain: ``half a second a lap``."""

    kind: Literal["lap time gain"]
    gain: Annotated[Quantity, number("time", positive=True), Field(description="Seconds a lap")]
    lap_time: Annotated[
        Quantity, number("time", positive=True), Field(description="Of the lap it is from")
    ]
    circuit: Annotated[
        str, Field(description="Circuit of [lap] it is from; the first unless given")
    ] = ""
    state: Annotated[
        str, Field(description="State it is said of: the study's own laps judge it")
    ] = ""
    downforce: Annotated[
        Quantity | None,
        number("area", positive=True),
        Field(description="CzS it is said to come from: the worth of a point judges it"),
    ] = None

    @model_validator(mode="after")
    def _one_cause(self) -> "LapGainClaim":
        """Refuse two causes of one gain."""
        if self.state and self.downforce is not None:
            raise ValueError("give either 'state' or 'downforce'")
        return self


Claim = Annotated[
    ForceClaim
    | CoefficientClaim
    | TopSpeedClaim
    | BalanceClaim
    | OpeningClaim
    | GainClaim
    | LapGainClaim,
    Field(discriminator="kind"),
]
CLAIM_KINDS = (
    "force", "coefficient", "top speed", "balance", "opening area", "gain", "lap time gain",
)  # fmt: skip


class Opening(Table):
    """An opening of the body, in or out."""

    name: Annotated[str, Field(min_length=1, description="What you call it")]
    role: Annotated[Literal["in", "out"], Field(description="Which way the air goes")]
    area: Annotated[
        Quantity, number("area", positive=True), Field(description="Net of bars and mesh")
    ]
    gross_area: Annotated[
        Quantity | None, number("area", positive=True), Field(description="Outline, bars included")
    ] = None


class Evidence(Table):
    """One file or statement the study rests on."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: E1")]
    title: Annotated[str, Field(min_length=1, description="What it is")]
    kind: Annotated[
        Literal["photo", "drawing", "sheet", "log", "scan", "statement", "paper", "table", "run"],
        Field(description="What sort of thing it is"),
    ]
    file: Annotated[str, Field(description="Path below ``evidence/``; never changed")] = ""
    digest: Annotated[
        str, Field(pattern=r"^(sha256:[0-9a-f]{64})?$", description="Of the file, when registered")
    ] = ""
    source: Annotated[str, Field(description="Where it came from: who made or sent it")] = ""
    day: Annotated[date | None, Field(description="When it was made")] = None
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class Measured(Table):
    """Loads of the whole car, measured at one speed and at the ride heights it then had."""

    id: Annotated[_Id, Field(description="Short name, unique in the project: M1")]
    speed: Annotated[Quantity, number("speed", positive=True), Field(description="Air speed")]
    ride_height_front: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="At the front axle line, at that speed"),
    ]
    ride_height_rear: Annotated[
        Quantity,
        number("height", positive=True),
        Field(description="At the rear axle line, at that speed"),
    ]
    downforce_front: Annotated[Quantity, number("area"), Field(description="CzS of the front axle")]
    downforce_rear: Annotated[Quantity, number("area"), Field(description="CzS of the rear axle")]
    drag: Annotated[Quantity | None, number("area", positive=True), Field(description="CxS")] = None
    state: Annotated[str, Field(description="State of the car; the first unless given")] = ""
    evidence: Annotated[str, Field(description="Id of the evidence it came from")] = ""
