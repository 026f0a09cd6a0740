"""The base of every table in a project file, and the kinds of number its keys hold."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import core_schema

from tuftwork.errors import InputError
from tuftwork.quantity import (
    DIMENSIONS,
    ORIGINS,
    Origin,
    Quantity,
    from_si,
    parse_quantity,
)

_OwnTable = TypeVar("_OwnTable", bound="Table")
LONG_FORM = ("value", "origin", "from")


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a key's number must satisfy, in SI, both ends allowed. Read by the key page too."""

    dimension: str
    positive: bool = False
    least: float | None = None
    most: float | None = None

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """Where draws of the number end: what would be refused as a value is never drawn."""
        return (0.0 if self.positive and self.least is None else self.least), self.most

    def shown(self, end: float) -> str:
        """Return an end of the range as a person writes it, in the unit shown for such numbers."""
        kind = DIMENSIONS[self.dimension]
        value = from_si(end, kind.shown, kind.name)
        return f"{float(f'{value:.4g}'):.10g} {kind.shown}".rstrip()

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Let pydantic read the number as a person writes it."""
        may_be_missing = type(None) in get_args(source)

        def read(given: Any) -> Quantity | None:
            return None if given is None and may_be_missing else read_number(given, self)

        return core_schema.no_info_plain_validator_function(read)


def number(
    dimension: str,
    *,
    positive: bool = False,
    least: float | None = None,
    most: float | None = None,
) -> Limit:
    """Return the mark of a key that holds a Quantity of ``dimension`` within limits in SI."""
    return Limit(dimension=dimension, positive=positive, least=least, most=most)


def read_number(given: Any, limit: Limit) -> Quantity:
    """Return what a person wrote for a key with these limits, which are ends of its draws too.

    Raises
    ------
    InputError
        If it is no number of that dimension, or beyond the limits.
    """
    if isinstance(given, Quantity):
        return given.within(*limit.ends)
    origin: Origin = "assumed"
    place = ""
    if isinstance(given, Mapping):
        origin, place, given = _long_form(given)
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise InputError("value", repr(given), "", "must be a number with its unit, in quotes")
    if isinstance(given, float) and not isfinite(given):
        raise InputError("value", f"{given}", "", "must be a finite number with its unit")
    quantity = parse_quantity(
        str(given), limit.dimension, origin=origin, place=place, positive=limit.positive
    )
    shown = f"'{given}'"
    if limit.least is not None and not quantity.best >= limit.least:
        raise InputError("value", shown, "", f"must be at least {limit.shown(limit.least)}")
    if limit.most is not None and not quantity.best <= limit.most:
        raise InputError("value", shown, "", f"must be at most {limit.shown(limit.most)}")
    return quantity.within(*limit.ends)


def _long_form(given: Mapping[str, Any]) -> tuple[Origin, str, Any]:
    """Return origin, place and text of ``{ value = "…", origin = "…", from = "…" }``."""
    strange = sorted(set(given) - set(LONG_FORM))
    if strange:
        known = ", ".join(LONG_FORM)
        raise InputError("key", f"'{strange[0]}'", "", "not known here", f"Known: {known}.")
    if "value" not in given:
        raise InputError("value", "missing", "", "a number in the longer form needs 'value'")
    origin = given.get("origin", "assumed")
    if origin not in ORIGINS:
        raise InputError("origin", f"'{origin}'", "", "not known", f"One of: {', '.join(ORIGINS)}.")
    return origin, str(given.get("from", "")), given["value"]


def limit_of(field: FieldInfo) -> Limit | None:
    """Return the limits of a key that holds a number, or None where it holds something else."""
    return next((found for found in field.metadata if isinstance(found, Limit)), None)


class Table(BaseModel):
    """One table of a project file: unknown keys refused, values never changed after reading.

    ``origin`` and ``from`` written in a table hold for all of its numbers that have none of
    their own.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        populate_by_name=True,
        arbitrary_types_allowed=True,
        validate_default=True,  # a default's draws stop at the key's ends too
    )

    origin: Annotated[
        Origin | None, Field(description="Origin of this table's numbers unless they say otherwise")
    ] = None
    place: Annotated[
        str, Field(alias="from", description="Where this table's numbers were found")
    ] = ""

    @model_validator(mode="before")
    @classmethod
    def _hand_down(cls, data: Any) -> Any:
        """Give the table's origin and place to its numbers."""
        if not isinstance(data, Mapping):
            return data
        origin, place = data.get("origin"), data.get("from", "")
        if origin not in ORIGINS:
            return data
        handed = dict(data)
        for key, value in data.items():
            field = cls.model_fields.get(key)
            if field is None or limit_of(field) is None:
                continue
            if isinstance(value, Mapping):
                handed[key] = {"origin": origin, "from": place, **value}
            elif isinstance(value, str | int | float) and not isinstance(value, bool):
                handed[key] = {"value": value, "origin": origin, "from": place}
        return handed

    def with_values(self: _OwnTable, changes: Mapping[str, Any]) -> _OwnTable:
        """Return this table with some keys given new values, checked like any other input."""
        kept = {k: getattr(self, k) for k in type(self).model_fields if k in self.model_fields_set}
        return type(self).model_validate({**kept, **changes})


def quantities_in(table: BaseModel, prefix: str = "") -> Iterator[tuple[str, Quantity]]:
    """Yield every number of a table and of the tables in it as ``(path, quantity)``.

    Paths join keys with dots; a list member is called by its ``name`` or ``id`` where it has one.
    """
    for key in type(table).model_fields:
        yield from _walk(getattr(table, key), f"{prefix}{key}")


def _walk(value: Any, path: str) -> Iterator[tuple[str, Quantity]]:
    if isinstance(value, Quantity):
        yield path, value
    elif isinstance(value, BaseModel):
        yield from quantities_in(value, f"{path}.")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _walk(inner, f"{path}.{key}")
    elif isinstance(value, tuple | list):
        for index, inner in enumerate(value):
            called = getattr(inner, "name", None) or getattr(inner, "id", None) or index
            yield from _walk(inner, f"{path}.{called}" if path else str(called))
