"""A name that does not meet what it should, and how names are found in a project or its file."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """One name that does not meet what it should.

    Attributes
    ----------
    path
        Keys and list places that lead to it.
    what
        Short sentence.
    found
        The name.
    known
        Names that could stand there.
    """

    path: Path
    what: str
    found: str
    known: tuple[str, ...] = ()


def get(table: Any, key: str) -> Any:
    """Return what a table or mapping holds under a key, None where nothing."""
    if isinstance(table, Mapping):
        return table.get(key)
    return getattr(table, key, None)


def rows(project: Any, key: str) -> list[Any]:
    """Return the tables of a list."""
    found = get(project, key)
    return list(found) if isinstance(found, list | tuple) else []


def names(project: Any, table: str, key: str = "name") -> tuple[str, ...]:
    """Return the names in the tables of a list."""
    found = (get(row, key) for row in rows(project, table))
    return tuple(name for name in found if isinstance(name, str))


def missing(
    row: Any, key: str, path: Path, known: tuple[str, ...], what: str
) -> Iterator[Crossing]:
    """Yield a name of a row that is not among those known."""
    name = get(row, key)
    if isinstance(name, str) and name and name not in known:
        yield Crossing(path=(*path, key), what=f"no {what} of this name", found=name, known=known)
