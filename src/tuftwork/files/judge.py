"""The tables of a project file held against the schema: every fault at once, each with its line."""

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from tuftwork.car import (
    CLAIM_KINDS,
    PART_KINDS,
    Claim,
    CrossedNames,
    Crossing,
    Limit,
    Part,
    Project,
    Table,
    crossings,
    limit_of,
    read_number,
    table_of_kind,
)
from tuftwork.errors import Fault, InputError
from tuftwork.files.where import Path, Place, line_of
from tuftwork.quantity import DIMENSIONS

_KINDS = {"parts": (Part, PART_KINDS), "claims": (Claim, CLAIM_KINDS)}
_PLAIN_WORDS = {
    "string_type": "text in quotes",
    "int_type": "a whole number, without quotes",
    "int_from_float": "a whole number, without quotes",
    "int_parsing": "a whole number, without quotes",
    "float_type": "a number, without quotes",
    "float_parsing": "a number, without quotes",
    "bool_type": "true or false, without quotes",
    "tuple_type": "a list: [...] for values, [[...]] for tables",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}
_BOUNDS = {
    "less than or equal to": "at most", "greater than or equal to": "at least",
    "less than": "below", "greater than": "above",
}  # fmt: skip
_MOST = 60
"""Faults shown at once; a file with more is another file."""


def judge(
    tables: Mapping[str, Any], found: dict[Path, Place], *, file: str
) -> tuple[Project | None, list[Fault]]:
    """Return the project a file describes, or every fault that keeps it from being one.

    Parameters
    ----------
    tables
        As the TOML parser gave them.
    found
        Where each key stands.
    file
        Name of the file, for the messages.
    """
    faults: list[Fault] = []
    project = None
    try:
        project = Project.model_validate(tables)
    except ValidationError as error:
        faults += [f for e in error.errors() for f in _of_schema(e, tables, found, file)]
    faults += [_of_crossing(c, tables, found, file) for c in crossings(tables)]
    faults += _of_states(tables, found, file)
    tidy = sorted(_once(faults), key=lambda fault: fault.line or 0)
    return (None if tidy else project), _cut(tidy, file)


def _of_schema(
    error: Any, tables: Mapping[str, Any], found: dict[Path, Place], file: str
) -> Iterator[Fault]:
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, CrossedNames):
        return  # found again in the plain tables, with their lines
    path = _plain(error["loc"])
    kind, key = error["type"], ".".join(map(str, _spoken(path, tables)))
    line = line_of(found, path)
    shown = _shown(error.get("input"))
    if kind == "extra_forbidden":
        yield _unknown(path, tables, Fault(what="", file=file, line=line, key=key))
    elif kind == "missing":
        yield _missing(path, tables, Fault(what="", file=file, line=line, key=key))
    elif kind.startswith("union_tag"):
        yield _wrong_kind(path, tables, found, file)
    elif isinstance(cause, InputError):
        limit = _limit_at(path, tables)
        yield Fault(what=cause.limit, file=file, line=line, key=key,
                    found=_shown(_at(path, tables)),
                    expected=_wanted(limit) if limit else "", cure=cause.cure)  # fmt: skip
    else:
        what, expected = _said(kind, str(cause) if cause else str(error["msg"]))
        if kind.startswith("model_"):
            expected = _table_like(str(error.get("ctx", {}).get("class_name", "")))
        yield Fault(what=what, file=file, line=line, key=key, found=shown, expected=expected)


def _said(kind: str, message: str) -> tuple[str, str]:
    """Return what is wrong and what is expected, in our words where we have them."""
    if kind in _PLAIN_WORDS:
        return "wrong type", _PLAIN_WORDS[kind]
    if kind.startswith("date"):
        return "not a day", "a day such as 2026-05-03"
    what, should, expected = message.partition(" should ")
    if not should:
        return what[:1].lower() + what[1:], ""
    for long, short in _BOUNDS.items():
        expected = expected.replace(long, short)
    return "not a possible value", expected.removeprefix("be ")


def _table_like(name: str) -> str:
    """Return what a table looks like, by the name of its form; its needed keys first."""
    form = next((own for own in _forms(Table) if own.__name__ == name), None)
    if form is None:
        return "a table"
    own = {key: field for key, field in form.model_fields.items() if key not in Table.model_fields}
    needed = [key for key, field in own.items() if field.is_required()]
    keys = ", ".join(f"{key} = …" for key in (needed or own))
    return f"a table, such as {{ {keys} }}"


def _forms(base: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for own in base.__subclasses__():
        yield own
        yield from _forms(own)


def _of_crossing(
    crossing: Crossing, tables: Mapping[str, Any], found: dict[Path, Place], file: str
) -> Fault:
    near = get_close_matches(crossing.found, crossing.known, n=1, cutoff=0.5)
    known = ", ".join(crossing.known)
    return Fault(
        what=crossing.what,
        file=file,
        line=line_of(found, crossing.path),
        key=".".join(map(str, _spoken(crossing.path, tables))),
        found=crossing.found,
        expected=f"one of {known}" if known else "",
        cure=f"Did you mean '{near[0]}'?" if near else "",
    )


def _of_states(tables: Mapping[str, Any], found: dict[Path, Place], file: str) -> Iterator[Fault]:
    """Refuse values of states that their part could not take."""
    parts = _rows(tables, "parts")
    kinds = {str(p.get("name")): str(p.get("kind")) for p in parts}
    for index, state in enumerate(_rows(tables, "states")):
        values = state.get("set")
        for path, value in values.items() if isinstance(values, Mapping) else ():
            name, _, key = str(path).rpartition(".")
            table = table_of_kind(kinds.get(name, ""))
            field = table.model_fields.get(key) if table else None
            limit = limit_of(field) if field else None
            if limit is None:
                continue
            try:
                read_number(value, limit)
            except InputError as error:
                where: Path = ("states", index, "set", path)
                yield Fault(what=error.limit, file=file, line=line_of(found, where),
                            key=".".join(map(str, _spoken(where, tables))), found=_shown(value),
                            expected=_wanted(limit), cure=error.cure)  # fmt: skip


def _unknown(path: Path, tables: Mapping[str, Any], blank: Fault) -> Fault:
    known = _keys_at(path[:-1], tables)
    near = get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
    return Fault(
        what="not a key of this table", file=blank.file, line=blank.line, key=blank.key,
        found=str(path[-1]), expected=f"one of {', '.join(known)}",
        cure=f"Did you mean '{near[0]}'?" if near else "",
    )  # fmt: skip


def _missing(path: Path, tables: Mapping[str, Any], blank: Fault) -> Fault:
    limit = _limit_at(path, tables)
    table = _at(path[:-1], tables)
    there = [k for k in table if isinstance(k, str)] if isinstance(table, Mapping) else []
    strange = [k for k in there if k not in _keys_at(path[:-1], tables)]
    near = get_close_matches(str(path[-1]), strange, n=1, cutoff=0.5)
    cure = f"Is '{near[0]}' meant to be it?" if near else ""
    field = _field_at(path, tables)
    say = f"'{path[-1]}': {field.description}" if field and field.description else f"'{path[-1]}'"
    return Fault(
        what="this key is missing", file=blank.file, line=blank.line, key=blank.key,
        found="nothing", expected=say + (f" ({_wanted(limit)})" if limit else ""), cure=cure,
    )  # fmt: skip


def _wrong_kind(
    path: Path, tables: Mapping[str, Any], found: dict[Path, Place], file: str
) -> Fault:
    table = _at(path, tables)
    given = table.get("kind") if isinstance(table, Mapping) else table
    kinds = _KINDS[str(path[0])][1]
    near = get_close_matches(str(given), kinds, n=1, cutoff=0.5)
    return Fault(
        what="'kind' is missing" if given is None else "no such kind",
        file=file, line=line_of(found, (*path, "kind")),
        key=".".join(map(str, (*_spoken(path, tables), "kind"))),
        found="nothing" if given is None else _shown(given), expected=f"one of {', '.join(kinds)}",
        cure=f"Did you mean '{near[0]}'?" if near else "",
    )  # fmt: skip


def _plain(loc: tuple[str | int, ...]) -> Path:
    """Return the path in the file: without the kind that pydantic puts after a list's place."""
    path = loc
    if len(loc) > 2 and loc[0] in _KINDS:
        path = (*loc[:2], *loc[3:])
    if len(path) == 5 and path[:1] == ("states",) and path[-1] in ("str", "float"):
        path = path[:-1]
    return path


def _spoken(path: Path, tables: Mapping[str, Any]) -> Iterator[str | int]:
    """Yield the path with list members called by their name or id where they have one."""
    for depth, key in enumerate(path):
        here = _at(path[: depth + 1], tables)
        called = None
        if isinstance(key, int) and isinstance(here, Mapping):
            called = here.get("name") or here.get("id")
        yield called if isinstance(called, str) else key


def _at(path: Path, tables: Any) -> Any:
    here = tables
    for key in path:
        try:
            here = here[key]
        except (KeyError, IndexError, TypeError):
            return None
    return here


def _rows(tables: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    rows = tables.get(key)
    return [r if isinstance(r, Mapping) else {} for r in rows] if isinstance(rows, list) else []


def _model_at(path: Path, tables: Mapping[str, Any]) -> type[BaseModel] | None:
    model: type[BaseModel] | None = Project
    for depth, key in enumerate(path):
        if isinstance(key, int) or model is None:
            continue
        field = _named(model, key)
        options = _models_in(field.annotation) if field else []
        if len(options) > 1:
            given = _at((*path[: depth + 2], "kind"), tables)
            options = [m for m in options if given in get_args(m.model_fields["kind"].annotation)]
        model = options[0] if options else None
    return model


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models_in(inner)]


def _named(model: type[BaseModel], key: str | int) -> Any:
    for name, field in model.model_fields.items():
        if key in (name, field.alias):
            return field
    return None


def _field_at(path: Path, tables: Mapping[str, Any]) -> Any:
    model = _model_at(path[:-1], tables)
    return _named(model, path[-1]) if model else None


def _limit_at(path: Path, tables: Mapping[str, Any]) -> Limit | None:
    if isinstance(path[-1], int):  # a member of a list of numbers
        field = _field_at(path[:-1], tables)
        inner = get_args(field.annotation) if field else ()
        marks = [m for a in inner for m in getattr(a, "__metadata__", ()) if isinstance(m, Limit)]
        return marks[0] if marks else None
    field = _field_at(path, tables)
    return limit_of(field) if field else None


def _keys_at(path: Path, tables: Mapping[str, Any]) -> list[str]:
    model = _model_at(path, tables)
    return [f.alias or name for name, f in model.model_fields.items()] if model else []


def _wanted(limit: Limit) -> str:
    kind = DIMENSIONS[limit.dimension]
    ends = ["above zero"] if limit.positive else []
    for word, end in (("at least", limit.least), ("at most", limit.most)):
        if end is not None:
            ends.append(f"{word} {limit.shown(end)}")
    units = ", ".join(u for u in kind.units if u)
    with_unit = f" with its unit ({units})" if units and "" not in kind.units else ""
    article = "an" if kind.name[0] in "aeiou" else "a"
    return ", ".join([f"{article} {kind.name}{with_unit}", *ends])


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"a table of {', '.join(list(map(str, value))[:4])}" if value else "an empty table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _once(faults: list[Fault]) -> list[Fault]:
    return list({(f.line, f.key, f.what): f for f in reversed(faults)}.values())


def _cut(faults: list[Fault], file: str) -> list[Fault]:
    if len(faults) <= _MOST:
        return faults
    rest = Fault(what=f"{len(faults) - _MOST} more faults are not shown", file=file)
    return [*faults[:_MOST], rest]
