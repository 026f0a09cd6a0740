"""The form of the page "Floor"."""

from typing import Any

from typing_extensions import TypedDict

from tuftwork.app.contract_number import Number


class FloorLoad(TypedDict):
    """One number of a floor with what a person calls it."""

    key: str
    label: str
    number: Number


class FloorPrices(TypedDict):
    """The best plane ramp under the hard points, and what each of these costs."""

    kick_m: float
    angle_deg: float
    area_ratio: float
    gain: Number
    moved_mm: int
    rows: list[dict[str, Any]]


class FloorPage(TypedDict):
    """``/floor.json?floor=…&state=…``; live: ``floor_at``."""

    floors: list[str]
    floor: str
    state: str
    states: list[str]
    speed_kmh: float
    at: str
    engine: str
    answer: str
    handles: dict[str, Any] | None
    loads: list[FloorLoad]
    sweep: dict[str, Any] | None
    field: dict[str, Any] | None
    flows: dict[str, float] | None
    hysteresis: str
    prices: FloorPrices | None
    fronts: list[dict[str, Any]]
    strakes: list[dict[str, Any]]
    levers: list[dict[str, Any]]
    cautions: list[str]
    notices: list[str]
