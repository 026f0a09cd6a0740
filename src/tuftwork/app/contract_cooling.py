"""The form of the pages "Cooling" and "Brakes" (see ``contract``)."""

from typing import Any, Literal

from typing_extensions import TypedDict

from tuftwork.app.contract import Grid, Number


class CircuitRow(TypedDict):
    """One circuit against its limit; ``over`` is its chance of crossing it."""

    name: str
    kind: Literal["liquid", "gas"]
    what: str
    coolers: list[str]
    hottest: Number
    worst: Number
    heat: Number
    limit: Number | None
    over: Number | None
    verdict: str


class NetPart(TypedDict):
    """A part of the air net, placed in its drawing; ``share`` is of the pressure spent."""

    name: str
    kind: str
    start: str
    end: str
    column: float
    row: float
    place: str
    reversed: bool
    share: float
    flow: Number
    loss: Number
    outlet: Number
    heat: Number | None


class NetNode(TypedDict):
    """A node of the air net, placed in its drawing."""

    name: str
    column: float
    row: float
    temperature: Number
    pressure: Number


class Net(TypedDict):
    """The drawing of the air net."""

    parts: list[NetPart]
    nodes: list[NetNode]


class ExitRow(TypedDict):
    """One place for an exit; ``needed`` keeps the accepted chance, ``just`` meets the limit."""

    exit: str
    place: str
    circuit: str
    is_now: bool
    hottest: Number
    over: Number
    needed: Number | None
    just: Number
    drag: Number
    front: Number
    rear: Number
    legality: str


class ForecastRow(TypedDict):
    """A circuit's temperature by air temperature at one place."""

    circuit: str
    place: str
    ambient_c: list[float]
    limit_c: float
    numbers: list[Number]
    over: list[float]


class BlankingRow(TypedDict):
    """A circuit's median temperature by air and tape; ``advice`` is the most tape that fits."""

    circuit: str
    ambient_c: list[float]
    blanking: list[float]
    temperature_c: Grid
    over: Grid
    advice: list[float | None]


class CoolingPage(TypedDict):
    """``/cooling.json``."""

    at: str
    answer: str
    circuits: list[CircuitRow]
    net: Net
    gains: list[dict[str, Any]]
    exits: list[ExitRow]
    forecast: list[ForecastRow]
    blanking: list[BlankingRow]
    loads: list[dict[str, Any]]
    controls: dict[str, Any]
    duty: str
    stint: dict[str, Any] | None
    notices: list[str]


class BrakeWindow(TypedDict):
    """Disc, pad or fluid against its window; ``over`` and ``under`` are chances."""

    part: str
    low_c: float | None
    high_c: float
    peak_c: float
    working: Number
    hottest: Number
    over: Number
    under: Number
    verdict: str


class BrakeOption(TypedDict):
    """An axle with or without its duct; ``trace`` holds the surface's curves over time."""

    name: str
    flow: Number
    drag: Number
    peak_surface: Number
    peak_mean: Number
    lap_mean: Number
    peak_fluid: Number
    trace: dict[str, list[float]]
    windows: list[BrakeWindow]


class BrakeAxle(TypedDict):
    """One axle's discs and the duct they need."""

    axle: Literal["front", "rear"]
    options: list[BrakeOption]
    need: dict[str, Any]


class BrakesPage(TypedDict):
    """``/brakes.json``."""

    at: str
    answer: str
    source: str
    energy: Number
    power: Number
    stops: list[dict[str, Any]]
    axles: list[BrakeAxle]
    kits: list[dict[str, Any]]
    notices: list[str]


COOLING_FORMS: dict[str, Any] = {"cooling": CoolingPage, "brakes": BrakesPage}
"""Page → form."""
