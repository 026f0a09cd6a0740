"""Tunnel sessions, pressures, flow made visible and what it bears on, as the project says them."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=80)]
AXES_OF_FILES = Literal["SAE J1594:2010 (x rearward, z up)", "SAE J1594:1994 (x forward, z down)"]
CORRECTIONS = Literal["none", "wake (Maskell)", "catch-all (Pope)", "solid (Young and Squire)"]


class TunnelSession(Table):
    """One session in a wind tunnel; lengths of the tunnel and model at model size."""

    name: Annotated[_Name, Field(description="What you call it")]
    data: Annotated[
        str,
        Field(description="Evidence id of the table: state, hf, hr (full size), speed, drag, lift, "
              "pitch; sweep (up or down) and kind (tare) where there are any"),
    ]  # fmt: skip
    axes: Annotated[AXES_OF_FILES, Field(description="Axes of the table; no guess is made")]
    scale: Annotated[
        Quantity, number("ratio", positive=True, most=1.0),
        Field(description="Model length over car length"),
    ]  # fmt: skip
    section_height: Annotated[
        Quantity, number("length", positive=True), Field(description="Of the working section")
    ]
    section_width: Annotated[
        Quantity, number("length", positive=True), Field(description="Of the working section")
    ]
    jet: Annotated[Literal["closed", "open"], Field(description="Walls or none")] = "closed"
    ground: Annotated[
        Literal["moving belt", "fixed floor"], Field(description="Under the model")
    ] = "moving belt"
    layer: Annotated[
        Quantity | None, number("height", least=0.0),
        Field(description="Displacement thickness of the floor's layer under the model"),
    ] = None  # fmt: skip
    length: Annotated[
        Quantity | None, number("length", positive=True),
        Field(description="Of the car, for Reynolds numbers; 1.7 wheelbases unless given"),
    ] = None  # fmt: skip
    volume: Annotated[
        Quantity | None, number("ratio", positive=True),
        Field(description="Of the model in m³, a plain number; 0.75 of frontal area times length "
              "unless given"),
    ] = None  # fmt: skip
    centre_x: Annotated[
        Quantity | None, number("length"),
        Field(description="Of the balance, rearward of mid wheelbase"),
    ] = None  # fmt: skip
    centre_z: Annotated[
        Quantity | None, number("length"), Field(description="Of the balance, above the ground")
    ] = None
    pressure_gradient: Annotated[
        Quantity | None, number("ratio"),
        Field(description="Of the empty section along the flow in Pa/m, a plain number"),
    ] = None  # fmt: skip
    interference_drag: Annotated[
        Quantity | None, number("area"),
        Field(description="Of the supports on the model, at model size, to be taken off"),
    ] = None  # fmt: skip
    interference_lift: Annotated[
        Quantity | None, number("area"), Field(description="As interference_drag, upward")
    ] = None
    correction: Annotated[CORRECTIONS, Field(description="For the walls")] = "none"
    temperature: Annotated[
        Quantity | None, number("temperature"), Field(description="Of the tunnel's air")
    ] = None
    pressure: Annotated[
        Quantity | None, number("pressure", positive=True), Field(description="Of the tunnel's air")
    ] = None


class TunnelMatrix(Table):
    """Points a tunnel session could measure; the order is worked out."""

    front: Annotated[
        tuple[Annotated[Quantity, number("height", positive=True)], ...],
        Field(min_length=1, max_length=30, description="Ride heights at the front axle line"),
    ]
    rear: Annotated[
        tuple[Annotated[Quantity, number("height", positive=True)], ...],
        Field(min_length=1, max_length=30, description="Ride heights at the rear axle line"),
    ]
    time: Annotated[Quantity, number("time", positive=True), Field(description="Fan on")]
    point_time: Annotated[Quantity, number("time", positive=True), Field(description="One point")]
    change_time: Annotated[
        Quantity, number("time", positive=True), Field(description="From one state to another")
    ]
    noise: Annotated[
        Quantity | None, number("area", positive=True),
        Field(description="Standard deviation of one point; 0.005 m² unless given"),
    ] = None  # fmt: skip
    repeat_every: Annotated[
        int, Field(strict=True, ge=0, le=100, description="First point again after so many")
    ] = 10


class Tap(Table):
    """One hole or tube of a pressure test."""

    name: Annotated[_Name, Field(description="Column of the table")]
    kind: Annotated[
        Literal["surface", "total", "duct total", "duct static"],
        Field(description="What it reads, against the still air's pressure"),
    ]
    at: Annotated[str, Field(description="Where, in words; a part's or opening's name is linked")]
    hypothesis: Annotated[str, Field(description="Hypothesis or claim it bears on")] = ""
    area: Annotated[
        Quantity | None, number("area", positive=True),
        Field(description="Share of the duct's area that a tube of a rake stands for"),
    ] = None  # fmt: skip
    duct: Annotated[str, Field(description="Duct a rake's tubes and its static hole belong to")] = (
        ""
    )


class PressureTest(Table):
    """Pressures on the car: taps on surfaces, tubes in wakes, rakes in ducts."""

    name: Annotated[_Name, Field(description="What you call it")]
    data: Annotated[
        str, Field(description="Evidence id of the table: state, speed, one column a tap in Pa")
    ]
    taps: Annotated[tuple[Tap, ...], Field(min_length=1, description="What the columns are")]
    doubt: Annotated[
        Quantity | None, number("pressure", positive=True),
        Field(description="Standard uncertainty of a reading; 5 Pa unless given"),
    ] = None  # fmt: skip


class Hypothesis(Table):
    """Something that may be so about the flow, to which notes and taps are tied."""

    id: Annotated[_Name, Field(description="Short name")]
    says: Annotated[str, Field(min_length=1, description="In a sentence")]


class FlowNote(Table):
    """What tufts, paint or smoke showed at one place."""

    at: Annotated[_Name, Field(description="Where; a part's or opening's name is linked")]
    by: Annotated[
        Literal["tufts", "paint", "smoke", "soot and oil"], Field(description="What showed it")
    ]
    seen: Annotated[
        Literal["attached", "unsteady", "reversed", "cross-flow", "vortex", "pooled", "still"],
        Field(description="What was seen"),
    ]
    state: Annotated[str, Field(description="State of the car")] = ""
    speed: Annotated[
        Quantity | None, number("speed", positive=True), Field(description="While it was seen")
    ] = None
    picture: Annotated[str, Field(description="Evidence id of the picture")] = ""
    hypothesis: Annotated[str, Field(description="Hypothesis or claim it bears on")] = ""
    bears: Annotated[
        Literal["for", "against", "neither"], Field(description="How it bears on the hypothesis")
    ] = "neither"
    note: Annotated[str, Field(description="Anything else")] = ""
