"""The form of the pages "Lap" and "Trim"."""

from typing import Any, Literal

from typing_extensions import TypedDict

from tuftwork.app.contract_number import Number


class StateLap(TypedDict):
    """The laps of one state; ``change`` against the baseline, with the driver's ``noise``."""

    name: str
    time: Number
    top: Number
    change: Number | None
    verdict: str


class LapTraces(TypedDict):
    """What happens along the lap of one draw, place by place."""

    station: list[float]
    speed_kmh: list[float]
    seconds: list[float]
    front_mm: list[float]
    rear_mm: list[float]
    front_margin: list[float]
    rear_margin: list[float]


class CornerRow(TypedDict):
    """One corner: places in m along the lap, slowest speed, seconds against another state."""

    name: str
    apex: float
    start: float
    end: float
    radius: Number
    speed: Number
    change: Number | None


class UnitRow(TypedDict):
    """Seconds for one unit; ``to_show`` units could be felt by this driver."""

    name: str
    number: Number
    verdict: str
    to_show: float | None


class TiedRow(TypedDict):
    """A number of the tyres as given and as driven; ``moved`` in standard deviations."""

    before: Number
    after: Number
    moved: float
    left_pct: int


class CircleRow(TypedDict):
    """One circle driven: lateral acceleration measured, and what the car could before and after."""

    id: str
    kind: Literal["skid pad", "corner"]
    gave_up: Literal["front", "rear", "not said"]
    radius: Number
    measured: Number
    before: Number
    after: Number
    miss: float


class GripPart(TypedDict):
    """What circles did to the tyres, and what they cannot tell; or why they tie nothing."""

    refused: list[str]
    answer: str
    says: list[str]
    inputs: list[TiedRow]
    friction: list[TiedRow]
    rows: list[CircleRow]
    notices: list[str]
    lap: Number | None


class LapPage(TypedDict):
    """``/lap.json?circuit=…&state=…&against=…``; margins in % of grip left."""

    circuit: str
    circuits: list[str]
    state: str
    against: str
    states: list[str]
    length: Number
    noise: Number
    laps: list[StateLap]
    elsewhere: list[dict[str, Any]]
    plan: dict[str, list[float]]
    traces: dict[str, LapTraces]
    trace_of: str
    corners: list[CornerRow]
    value: list[UnitRow]
    exchange: Number
    occupancy: dict[str, Any]
    plane: dict[str, Any]
    devices: list[dict[str, Any]]
    line: str
    grip: GripPart | None
    margins: list[dict[str, Any]]
    said: dict[str, Any] | None
    next: list[dict[str, Any]]
    caution: str


class TrimRow(TypedDict):
    """One row of the trim table; ride heights in mm, changes against the baseline."""

    kind: Literal["dry", "wet", "damage", "stuck", "active"]
    name: str
    values: dict[str, str]
    front_mm: float
    rear_mm: float
    fast_mm: list[float]
    lap: Number
    top: Number
    first: Number
    second: Number
    downforce: Number
    share: Number
    no_go: bool
    mind: str


class TrimPage(TypedDict):
    """``/trim.json``: the caution belongs to the table."""

    circuit: str
    baseline: str
    wanted: Number
    band: Number
    corners: list[str]
    rows: list[TrimRow]
    special: list[TrimRow]
    left_out: list[dict[str, Any]]
    first_step: str
    no_go: str
    blanking: list[dict[str, Any]]
    live: dict[str, Any]
    csv: str
    caution: str
