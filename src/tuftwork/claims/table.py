"""The tables of bounds, bands, slips and tolerances; each line names its source."""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from tuftwork.errors import UnknownName


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """What a kind of thing can do at all, and what it usually does.

    Attributes
    ----------
    least, most
        Beyond these it is impossible.
    usual, factor
        The usual value and the factor of its 80 % range.
    status, source
        Where the line comes from.
    """

    name: str
    least: float
    usual: float
    factor: float
    most: float
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """CzS and CxS usual in a class of cars. [m²]"""

    name: str
    downforce: tuple[float, float]
    drag: tuple[float, float]
    source: str


@cache
def bounds() -> dict[str, Bound]:
    """Return every bound by name."""
    return {
        row["name"]: Bound(
            name=row["name"], least=float(row["least"]), usual=float(row["usual"]),
            factor=float(row["factor"]), most=float(row["most"]), status=row["status"],
            source=row["source"],
        )
        for row in _rows("bounds.csv")
    }  # fmt: skip


def bound(name: str) -> Bound:
    """Return one bound; an unknown name lists the known ones."""
    if name not in bounds():
        raise UnknownName("bound", name, bounds())
    return bounds()[name]


@cache
def bands() -> tuple[Band, ...]:
    """Return the bands of the classes."""
    return tuple(
        Band(
            name=row["class"], source=row["source"],
            downforce=(float(row["downforce_low"]), float(row["downforce_high"])),
            drag=(float(row["drag_low"]), float(row["drag_high"])),
        )
        for row in _rows("bands.csv")
    )  # fmt: skip


def slip_weight(name: str) -> float:
    """Return how often a figure is off in this way, against 1 for "as said" [-]."""
    return _numbers("slips.csv", "weight")[name]


def tolerance(name: str) -> float:
    """Return half the 80 % range of a figure given without one [relative]."""
    return _numbers("tolerances.csv", "arm")[name]


@cache
def _numbers(file: str, column: str) -> dict[str, float]:
    return {row["name"]: float(row[column]) for row in _rows(file)}


def _rows(file: str) -> list[dict[str, str]]:
    text = files("tuftwork.claims").joinpath("data", file).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))
