"""Errors and warnings raised on purpose.

TuftworkError
├── InputError            an input is impossible; nothing was computed
│   └── UnknownName       a name is not on the list; the list is given, nearest first
├── FileFault             a user's file cannot be used; holds every fault found in it
├── NotConverged          a solver stopped short; there is no answer
├── NotCovered            an answer was asked for where there is nothing to answer from
└── Cancelled             the user stopped the work; everything finished so far is kept
OutsideCheckedRange       a warning: computed, but beyond what has been checked
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any


class TuftworkError(Exception):
    """Base class of every error this package raises on purpose."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel between processes with message and attributes, whatever ``__init__`` asks for."""
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[TuftworkError], args: tuple[Any, ...], held: dict[str, Any]) -> TuftworkError:
    error = kind.__new__(kind, *args)
    Exception.__init__(error, *args)
    error.__dict__.update(held)
    return error


class InputError(TuftworkError, ValueError):
    """An input is impossible.

    The message names the argument, the value, the unit, the limit and the cure:
    *name = value unit: limit. Cure.*
    """

    def __init__(
        self, name: str, value: float | str, unit: str, limit: str, cure: str = ""
    ) -> None:
        shown = f"{value:g}" if isinstance(value, int | float) else f"{value}"
        text = f"{name} = {shown}{f' {unit}' if unit else ''}: {limit}."
        super().__init__(f"{text} {cure}".rstrip())
        self.name, self.value, self.unit, self.limit, self.cure = name, value, unit, limit, cure


class UnknownName(InputError):
    """A name is not on the list. The message gives the list, nearest first."""

    def __init__(self, name: str, value: str, known: Iterable[str]) -> None:
        listed = list(known)
        near = get_close_matches(value, listed, n=3, cutoff=0.4)
        rest = [k for k in listed if k not in near]
        super().__init__(name, f"'{value}'", "", "not known", f"Known: {', '.join(near + rest)}.")
        self.nearest = near[0] if near else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with a user's file, precise enough to be mended.

    Attributes
    ----------
    what
        Short sentence saying what is wrong.
    file, line, key
        Where it is; ``line`` counts from 1 and is None where a file has no lines.
    found, expected
        What stands there, and what could stand there instead.
    cure
        What to do about it.
    """

    what: str
    file: str = ""
    line: int | None = None
    key: str = ""
    found: str = ""
    expected: str = ""
    cure: str = ""

    def __str__(self) -> str:
        where = self.file + (f":{self.line}" if self.line is not None else "")
        head = ": ".join(part for part in (where, self.key) if part)
        text = f"{head}: {self.what}." if head else f"{self.what}."
        if self.found:
            text += f" Found: {self.found}."
        if self.expected:
            text += f" Expected: {self.expected}."
        return f"{text} {self.cure}".rstrip()


class FileFault(TuftworkError):
    """A user's file cannot be used. Every fault found in it is in ``faults``."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        count = f"{len(faults)} fault{'s' if len(faults) != 1 else ''}"
        super().__init__("\n".join([count, *(str(fault) for fault in faults)]))
        self.faults = tuple(faults)


class NotConverged(TuftworkError):
    """A solver stopped short of its bound; there is no answer to show."""


class NotCovered(TuftworkError):
    """An answer was asked for where the data do not reach."""


class Cancelled(TuftworkError):
    """The user stopped the work. Everything finished so far is kept."""


class OutsideCheckedRange(UserWarning):
    """An answer lies beyond the range in which the model was compared with data."""
