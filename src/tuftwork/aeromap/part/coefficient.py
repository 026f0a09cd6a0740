"""An engine's coefficients: a small data file beside the engine, and what the project overrides."""

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Quantity, Source, parse_quantity

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficient:
    """One number an engine leaves open.

    Attributes
    ----------
    name
        Key in the data file and in a part's ``model`` table.
    quantity
        Value, range and origin.
    meaning
        What it is, in a sentence.
    source
        Key of the bibliography, or ``"common practice, no source"``.
    label
        What it is called where there is little room; nothing where the sentence is short enough.
    """

    name: str
    quantity: Quantity
    meaning: str
    source: str
    label: str = ""

    @property
    def called(self) -> str:
        """Its label, or its meaning where it has none."""
        return self.label or self.meaning


@cache
def coefficients_of(room: str, table: str) -> Mapping[str, Coefficient]:
    """Return an engine's coefficients by name, from ``tuftwork/<room>/<table>.toml``."""
    place = files("tuftwork").joinpath(*room.split("."), f"{table}.toml")
    rows = tomllib.loads(place.read_text(encoding="utf-8"))
    return {name: _read(name, row) for name, row in rows.items()}


def coefficient_sources(coefficients: Mapping[str, Coefficient]) -> tuple[Source, ...]:
    """Return the published works behind an engine's coefficients."""
    found = {c.source: c for c in coefficients.values() if c.source != PRACTICE}
    return tuple(
        Source(key=key, place=c.quantity.place.split(": ", 1)[-1]) for key, c in found.items()
    )


def overridden(
    coefficients: Mapping[str, Coefficient], own: Mapping[str, str], part: str
) -> dict[str, Quantity]:
    """Return the coefficients as Quantities with a part's own values put in.

    Raises
    ------
    UnknownName
        If the part names a coefficient the engine does not have.
    InputError
        If a value cannot be read.
    """
    values = {name: c.quantity for name, c in coefficients.items()}
    for name, text in own.items():
        if name not in values:
            raise UnknownName(f"{part}: model coefficient", name, values)
        try:
            own_value = parse_quantity(
                text, values[name].dimension, place=f"{part}, model table of the project"
            )
            values[name] = own_value.within(values[name].least, values[name].most)
        except InputError as fault:
            cure = fault.cure or f"Write it like '{values[name].best:g} ± 10 %'."
            raise InputError(f"{part}.model.{name}", f"'{text}'", "", fault.limit, cure) from None
    return values


def without(
    own: Mapping[str, Quantity], idle: Collection[str], given: Mapping[str, str], part: str
) -> dict[str, Quantity]:
    """Return the coefficients less those that change nothing on this part.

    Raises
    ------
    InputError
        If the project gives one of them a value: an input that changes nothing is refused.
    """
    for name in idle:
        if name in given:
            limit = "changes nothing on this part as it is described"
            raise InputError(f"{part}.model.{name}", f"'{given[name]}'", "", limit, "Remove it.")
    return {name: quantity for name, quantity in own.items() if name not in idle}


def _read(name: str, row: Mapping[str, Any]) -> Coefficient:
    source = row["source"]
    practice = source == PRACTICE
    place = row.get("place", "")
    quantity = parse_quantity(
        row["value"],
        row["dimension"],
        origin="assumed" if practice else "published",
        place=f"{source}: {place}" if place else source,
    ).within(row.get("least"), row.get("most"))
    return Coefficient(
        name=name, quantity=quantity, meaning=row["meaning"], source=source,
        label=row.get("label", ""),
    )  # fmt: skip
