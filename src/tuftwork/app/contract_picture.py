"""The form of the page of pictures."""

from typing import Any

from typing_extensions import TypedDict

from tuftwork.app.contract_number import Number


class PictureLine(TypedDict):
    """One picture of the list; ``fault`` says why it has no camera."""

    id: str
    title: str
    marks: int
    fault: str
    strength: float | None
    weak: bool


class Share(TypedDict):
    """What a range comes from: share of its variance."""

    name: str
    share: float


class ReadingRow(TypedDict):
    """One reading; ``fault`` says why there is no number."""

    id: str
    name: str
    kind: str
    picture: str
    marks: list[str]
    less: list[str]
    fills: str
    number: Number | None
    shares: list[Share]
    differs: str
    fault: str


class Pictures(TypedDict):
    """``/pictures.json?picture=…``; marks are pixels of the picture turned upright."""

    pictures: list[PictureLine]
    picture: dict[str, Any]
    readings: list[ReadingRow]
    kinds: dict[str, str]
    points: list[str]
    planes: list[str]
    sections: list[dict[str, Any]]
    wings: list[str]
    features: dict[str, Any]
