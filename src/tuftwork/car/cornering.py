"""Steady circles driven at the limit: skid pads and corners that tie the tyres' grip."""

from collections.abc import Iterator
from math import pi
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from tuftwork.car.crossing import Crossing, Path
from tuftwork.car.crossing import get as _get
from tuftwork.car.crossing import missing as _missing
from tuftwork.car.crossing import names as _names
from tuftwork.car.crossing import rows as _rows
from tuftwork.car.drive import exactly
from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

GAVE_UP = Literal["front", "rear", "not said"]
CIRCLE_KINDS = Literal["skid pad", "corner"]
_G = 9.80665  # [m/s²]  by definition
_LEAST, _MOST = 0.2, 6.0  # [-] over gravity: below ice, above any tyre with any wing
MEASURES = ("speed", "round_time", "lateral")


class Circle(Table):
    """One circle driven as fast as it went: its radius, and speed, time or lateral acceleration."""

    id: Annotated[
        str,
        Field(min_length=1, max_length=24, pattern=r"^[\w.\-]+$", description="Short name: G1"),
    ]
    kind: Annotated[
        CIRCLE_KINDS,
        Field(
            description="A skid pad has its own road, which 'track_grip' is against, and is driven "
            "with nothing left; a corner is on the circuit, with the driver's 'margin'"
        ),
    ]
    at: Annotated[
        str,
        Field(
            max_length=80,
            description="Which pad or corner; one place, one error of its radius and bank. Pads of "
            "one radius without a name are one",
        ),
    ] = ""
    radius: Annotated[
        Quantity,
        number("length", positive=True, most=2000.0),
        Field(description="Of the line the car's middle drove"),
    ]
    speed: Annotated[
        Quantity | None,
        number("speed", positive=True, most=120.0),
        Field(description="Steady, at the limit; in a corner the slowest"),
    ] = None
    round_time: Annotated[
        Quantity | None,
        number("time", positive=True, most=300.0),
        Field(description="Of one full circle of a skid pad, in place of 'speed'"),
    ] = None
    lateral: Annotated[
        Quantity | None,
        number("acceleration", positive=True, most=80.0),
        Field(
            description="v²/R, in place of 'speed'; on a banked road a sensor in the car reads less"
        ),
    ] = None
    bank: Annotated[
        Quantity,
        number("angle", least=-0.8, most=0.8),
        Field(description="Of the road, positive where it helps"),
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="°", dimension="angle")
    gave_up: Annotated[
        GAVE_UP, Field(description="Axle that ran out of grip first, as driver or log tell it")
    ] = "not said"
    state: Annotated[str, Field(description="State of the car; the first unless given")] = ""
    mass_state: Annotated[str, Field(description="Mass state; the study's unless given")] = ""
    temperature: Annotated[
        Quantity | None,
        number("temperature", least=200.0, most=340.0),
        Field(description="Of the air there; the study's unless given"),
    ] = None
    pressure: Annotated[
        Quantity | None,
        number("pressure", least=40e3, most=115e3),
        Field(description="Of the air there; the study's unless given"),
    ] = None
    evidence: Annotated[str, Field(description="Id of the evidence it came from")] = ""

    @model_validator(mode="after")
    def _one_measure(self) -> "Circle":
        """Refuse a circle measured twice or not at all, and keys that do not belong together."""
        given = [key for key in MEASURES if getattr(self, key) is not None]
        if len(given) != 1:
            found = " and ".join(f"'{key}'" for key in given) or "none"
            raise ValueError(f"give one of 'speed', 'round_time', 'lateral'; found {found}")
        if self.kind == "corner" and self.round_time is not None:
            raise ValueError("'round_time' is of a skid pad; a corner has 'speed' or 'lateral'")
        lateral = self.lateral_best / _G
        if not _LEAST <= lateral <= _MOST:
            raise ValueError(
                f"needs {lateral:.2f} g to the side, where tyres give {_LEAST:g} to {_MOST:g}: is "
                "the radius a diameter, or a unit another?"
            )
        return self

    @property
    def lateral_best(self) -> float:
        """Lateral acceleration that best values give [m/s²]."""
        if self.lateral is not None:
            return self.lateral.best
        if self.speed is not None:
            return self.speed.best**2 / self.radius.best
        assert self.round_time is not None
        return self.radius.best * (2.0 * pi / self.round_time.best) ** 2

    @property
    def measure(self) -> str:
        """Which of ``MEASURES`` it was measured by."""
        return next(key for key in MEASURES if getattr(self, key) is not None)


class Cornering(Table):
    """Circles that tie the tyres' grip, written here or in tables of the evidence."""

    runs: Annotated[
        tuple[Circle, ...], Field(max_length=60, description="Circles, one a table")
    ] = ()
    tables: Annotated[
        tuple[str, ...],
        Field(
            max_length=12,
            description="Ids of evidence with a table of circles: id, kind, radius, one of speed, "
            "time, lateral, and where known uncertainty, at, bank, gave up, state, mass state, "
            "temperature",
        ),
    ] = ()
    follows: Annotated[
        Quantity,
        number("share", positive=True, most=0.3),
        Field(
            description="Standard deviation of what the steady car of the lap cannot follow on a "
            "real circle, over the lateral acceleration; half of its variance is common to all "
            "circles, most of the rest to one circle driven again"
        ),
    ] = exactly(0.015, "share")

    @model_validator(mode="after")
    def _says_something(self) -> "Cornering":
        """Refuse a table that ties nothing."""
        if not self.runs and not self.tables:
            raise ValueError("give 'runs', circles driven, or 'tables' of the evidence")
        return self


def cornering_crossings(project: Any) -> Iterator[Crossing]:
    """Check the names of circles: ids, states, mass states, evidence."""
    table = _get(_get(project, "lap"), "cornering")
    if table is None:
        return
    states, masses = _names(project, "states"), _names(project, "mass_states")
    evidence = _names(project, "evidence", "id")
    seen: set[str] = set()
    for index, row in enumerate(_rows(table, "runs")):
        path: Path = ("lap", "cornering", "runs", index)
        name = _get(row, "id")
        if isinstance(name, str) and name in seen:
            yield Crossing(path=(*path, "id"), what="this id is used twice in runs", found=name)
        seen.add(str(name))
        yield from _missing(row, "state", path, states, "state")
        yield from _missing(row, "mass_state", path, masses, "mass state")
        yield from _missing(row, "evidence", path, evidence, "evidence")
    for place, item in enumerate(_rows(table, "tables")):
        if isinstance(item, str) and item not in evidence:
            yield Crossing(path=("lap", "cornering", "tables", place), what="no evidence of this "
                           "name", found=item, known=evidence)  # fmt: skip
