"""The form of the page of the car, as types a machine can check."""

from typing import Any, NotRequired

from typing_extensions import TypedDict

from tuftwork.app.contract_number import Number


class TogetherRow(TypedDict):
    """A sum, or what one part does to another."""

    name: str
    front: Number
    rear: Number
    total: Number
    drag: Number
    note: NotRequired[str]


class Together(TypedDict):
    """Isolated parts beside the system."""

    isolated: TogetherRow
    between: TogetherRow
    system: TogetherRow
    pairs: list[TogetherRow]


class LoadRow(TypedDict):
    """A state at one speed."""

    speed_kmh: float
    total: Number
    share: Number
    drag: Number


class CarState(TypedDict):
    """A state with all its rows."""

    name: str
    role: str
    note: str
    rows: list[LoadRow]


class StuckRow(TypedDict):
    """What it does to be in one state instead of another."""

    state: str
    wanted: str
    kind: str
    total: Number
    share: Number
    drag: Number
    feels: str


class DevicePage(TypedDict):
    """One device; a schedule's rows hold the position by way of driving."""

    name: str
    positions: list[str]
    failures: list[str]
    travel_s: float
    note: str
    schedules: list[dict[str, Any]]
    stuck: list[StuckRow]


class LeverRow(TypedDict):
    """What one step of one thing is worth; ``rank`` is low, best, high."""

    name: str
    step: str
    total: Number
    held: Number | None
    drag: Number
    share: Number
    rank: list[int]


class CarPage(TypedDict):
    """``/car.json``."""

    state: str
    states: list[str]
    speed: Number
    speeds: list[float]
    at: str
    kg_per_m2: float
    static: dict[str, float]
    together: Together | None
    rows: list[CarState]
    devices: list[DevicePage]
    platform: dict[str, Any] | None
    levers: list[LeverRow]
    surveys: list[dict[str, Any]]
    partial: list[str]
    notices: list[str]
