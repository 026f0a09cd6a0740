"""The page of the project file's keys, written from the schema so that it cannot fall behind."""

import re
from collections.abc import Iterator
from types import NoneType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from tuftwork.car import Limit, Project, limit_of
from tuftwork.quantity import DIMENSIONS, Quantity, format_quantity, from_si

_OPENING = """# Keys of the project file

This page is generated from the schema; the program refuses every key that is not on it.

A project is a folder with a `project.toml` in it, and with `evidence/`, `maps/`, `results/` and `out/` beside it.
A number is written with its unit in quotes, and with its range where you know it.

| form | means |
| --- | --- |
| `"1.70 m"` | a value |
| `"1.70 m ± 5 mm"`, `"1.70 m ± 3 %"` | a value and its 80 % range |
| `"1.70 m +8 -2 mm"` | an uneven range |
| `"0.05..0.07 m^2"` | a range; the best value is its middle |
| `"0.06 m^2 ×/ 1.3"` | a range by a factor |
| `{ value = "1.70 m", origin = "measured", from = "E1, tape" }` | the longer form: how it came to be known, and where |

`origin` is one of measured, published, digitised, claimed, computed, assumed.
Written in a table, `origin` and `from` hold for all numbers of that table that do not say otherwise.
Names must be unique in their list, and a name that refers to another table must be there.
Units in brackets are what may be written; the first is what pages show.
"""  # noqa: E501
_SHARED = ("origin", "place")


def key_page() -> str:
    """Return the page of all keys as Markdown, from the schema of ``Project``."""
    lines = [_OPENING]
    for heading, text, model in _tables(Project, ""):
        lines += [f"## {heading}\n", f"{text}\n", "| key | holds | needed | meaning |"]
        lines += ["| --- | --- | --- | --- |"]
        lines += [_row(name, field) for name, field in model.model_fields.items()
                  if name not in _SHARED and not _is_nested(field)]  # fmt: skip
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _tables(model: type[BaseModel], path: str) -> Iterator[tuple[str, str, type[BaseModel]]]:
    if not path:
        yield "Top of the file", _first_line(model), model
    for name, field in model.model_fields.items():
        many = get_origin(field.annotation) is tuple
        inner = _models(field.annotation)
        key = f"{path}.{field.alias or name}" if path else (field.alias or name)
        heading = f"`[[{key}]]`" if many else f"`[{key}]`"
        seen = inner[:1] if name == "rear" and path == "car" else inner
        for table in seen:
            shown = "`[car.front]` and `[car.rear]`" if key == "car.front" else heading
            if key == "car.rear":
                continue
            kinds = table.model_fields.get("kind")
            if kinds is not None and len(inner) > 1:
                values = get_args(kinds.annotation)
                shown += ", kind " + " or ".join(f"`{v}`" for v in values)
            yield shown, _first_line(table), table
            yield from _tables(table, key)


def _row(name: str, field: FieldInfo) -> str:
    needed = "yes" if field.is_required() else _default(field)
    meaning = (field.description or "").replace("``", "`").replace("|", "\\|")
    return f"| `{field.alias or name}` | {_holds(field)} | {needed} | {meaning} |"


def _default(field: FieldInfo) -> str:
    value = field.default
    if value is PydanticUndefined or value is None or value in ("", (), {}):
        return "no"
    if isinstance(value, Quantity):
        return f"no; {format_quantity(value)}"
    return f"no; `{str(value).lower() if isinstance(value, bool) else value}`"


def _holds(field: FieldInfo) -> str:
    limit = limit_of(field)
    if limit is not None:
        return _number(limit)
    return _kind(field.annotation, field.metadata)


def _kind(annotation: Any, metadata: list[Any] | None = None) -> str:
    marks = [*(metadata or []), *getattr(annotation, "__metadata__", ())]
    limits = [m for m in marks if isinstance(m, Limit)]
    if limits:
        return _number(limits[0])
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return " or ".join(f"`{value}`" for value in inner)
    if origin is tuple:
        return f"list of: {_kind(inner[0])}"
    if origin is dict:
        return "table of key and value"
    plain = [a for a in inner if a is not NoneType]
    if plain:
        return _kind(plain[0], marks)
    names = {"str": "text", "int": "whole number", "bool": "`true` or `false`", "float": "number",
             "date": "day: 2026-05-03"}  # fmt: skip
    word = names.get(getattr(annotation, "__name__", ""), str(annotation))
    ends = [f"{say} {getattr(m, key)}" for m in marks for key, say in
            (("ge", "at least"), ("le", "at most")) if hasattr(m, key)]  # fmt: skip
    return ", ".join([word, *ends])


def _number(limit: Limit) -> str:
    kind = DIMENSIONS[limit.dimension]
    ends = ["above 0"] if limit.positive else []
    for word, end in (("at least", limit.least), ("at most", limit.most)):
        if end is not None:
            shown = float(f"{from_si(end, kind.shown, kind.name):.4g}")
            ends.append(f"{word} {shown:.10g} {kind.shown}".rstrip())
    units = sorted((u for u in kind.units if u), key=lambda u: u != kind.shown)
    written = f" [{', '.join(units)}]" if units else ""
    return ", ".join([f"{kind.name}{written}", *ends])


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


def _is_nested(field: FieldInfo) -> bool:
    return bool(_models(field.annotation))


def _first_line(model: type[BaseModel]) -> str:
    text = (model.__doc__ or "").strip().split("\n\n")[0]
    return re.sub(r"\s+", " ", text).replace("``", "`")
