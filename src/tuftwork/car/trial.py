"""Test days and plans of one, as the project file says them. Data only."""

from typing import Annotated, Literal

from pydantic import Field

from tuftwork.car.session import TunnelMatrix
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=80)]
CURE_KINDS = Literal["gain", "unit", "zero", "invert", "swap", "shift", "drift", "drop"]


class DayRun(Table):
    """Part of a day driven in one state, by the log's clock."""

    state: Annotated[str, Field(description="State of the car; the first unless given")] = ""
    start: Annotated[Quantity, number("time", least=0.0), Field(description="Of the run")]
    end: Annotated[Quantity, number("time", positive=True), Field(description="Of the run")]


class DayCure(Table):
    """One cure somebody accepted; take the table away and the cure is gone."""

    kind: Annotated[CURE_KINDS, Field(description="What is done")]
    role: Annotated[_Name, Field(description="Channel it is done to")]
    size: Annotated[
        float,
        Field(description="Factor of gain and unit; metres of zero; seconds of shift; metres a "
              "second of drift"),
    ] = 1.0  # fmt: skip
    doubt: Annotated[float, Field(ge=0, description="Standard uncertainty of ``size``")] = 0.0
    other: Annotated[str, Field(description="Second channel of a swap")] = ""
    known_load: Annotated[
        bool, Field(strict=True, description="Whether a zero stands for a load that was weighed")
    ] = False
    because: Annotated[str, Field(description="Why, in a sentence")] = ""


class TrialDay(Table):
    """One day of measuring on a track."""

    name: Annotated[_Name, Field(description="What you call it")]
    logs: Annotated[
        tuple[str, ...], Field(min_length=1, description="Evidence ids of the log files")
    ]
    coast_downs: Annotated[
        tuple[str, ...], Field(description="Evidence ids of logs of coast-downs")
    ] = ()
    laps: Annotated[
        str, Field(description="Evidence id of a table of laps: state, stint, time, use (1 or 0)")
    ] = ""
    roles: Annotated[
        dict[str, str], Field(description="Column of a log → what it is; guessed where not said")
    ] = {}
    units: Annotated[
        dict[str, str], Field(description="Column of a log → unit, where the file states none")
    ] = {}
    keep_partial: Annotated[
        bool, Field(strict=True, description="Leave out lines that cannot be read")
    ] = False
    mass_state: Annotated[
        str, Field(description="Mass state it was driven in; the study's unless given")
    ] = ""
    pot_ratio_front: Annotated[
        Quantity,
        number("ratio", positive=True, most=3.0),
        Field(description="Travel of the pot over travel of the wheel"),
    ]
    pot_ratio_rear: Annotated[
        Quantity,
        number("ratio", positive=True, most=3.0),
        Field(description="Travel of the pot over travel of the wheel"),
    ]
    rotating: Annotated[
        Quantity | None,
        number("share", least=0.0, most=0.2),
        Field(description="Of the mass, for the wheels when coasting; 3 % unless given"),
    ] = None
    runs: Annotated[
        tuple[DayRun, ...], Field(description="Which state was driven when; all one unless given")
    ] = ()
    cures: Annotated[tuple[DayCure, ...], Field(description="Cures accepted, in their order")] = ()


class TrialPlan(Table):
    """What a test day is to find out, and what there is to do it with."""

    question: Annotated[_Name, Field(description="In a sentence, before anything else")]
    rule: Annotated[str, Field(description="What will be done on which result")] = ""
    compare: Annotated[
        tuple[str, ...], Field(description="States to compare; the first is the baseline")
    ] = ()
    see: Annotated[
        Quantity,
        number("area", positive=True, most=1.0),
        Field(description="Smallest difference of CzS that matters"),
    ]
    noise: Annotated[
        Quantity,
        number("area", positive=True, most=1.0),
        Field(description="Standard deviation of CzS from one pair of passes"),
    ]
    speeds: Annotated[
        tuple[Annotated[Quantity, number("speed", positive=True)], ...],
        Field(min_length=1, max_length=20, description="Of the passes, the most telling first"),
    ]
    track_time: Annotated[
        Quantity, number("time", positive=True), Field(description="What the circuit gives")
    ]
    pair_time: Annotated[
        Quantity, number("time", positive=True), Field(description="One pass each way, turning")
    ]
    change_time: Annotated[
        Quantity, number("time", positive=True), Field(description="From one state to the other")
    ]
    wind_limit: Annotated[
        Quantity | None, number("speed", positive=True), Field(description="Stop above it")
    ] = None
    seed: Annotated[int, Field(strict=True, ge=0, description="Of the random orders")] = 1
    matrix: Annotated[
        TunnelMatrix | None, Field(description="Points of a tunnel session to be put in order")
    ] = None
