"""Changes to a project file that keep the user's comments and order.

A change says which key gets which value. List members are called by their name or id::

    save_changes(opened, {"car.power": "360 kW", "parts.rear wing.incidence": "9 °"})
    save_changes(opened, {("claims", NEW): {"id": "C6", "kind": "balance", …}})
    save_changes(opened, {("claims", "C2"): REMOVE})
"""

import hashlib
import os
from collections.abc import Callable, Iterator, Mapping, MutableMapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from difflib import get_close_matches
from enum import Enum
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic
from tuftwork.files.project import PROJECT_FILE, OpenProject, parse_project, read_project
from tuftwork.files.text import MOST_BYTES, read_bytes


class Mark(Enum):
    """What a change can say besides a value."""

    NEW = "a new member of a list"
    REMOVE = "take the key or member away"


NEW = Mark.NEW
REMOVE = Mark.REMOVE

Step = str | int | Mark
Edits = Mapping[str | tuple[Step, ...], Any]


def save_changes(opened: OpenProject, edits: Edits) -> OpenProject:
    """Change values in the project file and return the project as it now stands.

    A number written in the longer form keeps its origin and place where the new value is plain
    text. The version before is kept as ``project.toml.previous``.

    Parameters
    ----------
    opened
        As it was read.
    edits
        Key → new value; a key is a path with dots, or a tuple of steps. ``REMOVE`` takes a key or
        list member away; ``NEW`` as the last step of a tuple adds a member at a list's end.

    Raises
    ------
    FileFault
        If the changed project would not be a project, a path leads nowhere, the file was changed
        on the disk by another program since, or the disk is full. Nothing is written then.
    """
    refuse_if_moved_on(opened)
    return save_text(opened, changed_text(opened, edits))


def save_text(opened: OpenProject, text: str) -> OpenProject:
    """Put a text in the project file's place and return the project as it now stands.

    Raises
    ------
    FileFault
        As ``save_changes``.
    """
    refuse_if_moved_on(opened)
    data = text.encode()
    changed = parse_project(data, opened.folder)
    with _alone(opened.folder):
        refuse_if_moved_on(opened)  # reading it took a while, and a run registers itself meanwhile
        write_atomic(opened.path, data, keep_previous=True)
    return changed


def edit_project(
    folder: Path, edits: Callable[[OpenProject], Sequence[Edits]], *, tries: int = 20
) -> OpenProject:
    """Change the project file as it stands at this moment, all in one step.

    Two pages, or a page and a run that registers itself, may want to write at once: whoever finds
    that the file has moved on since it was read reads it again.

    Parameters
    ----------
    folder
        Of the project.
    edits
        Given the project as it is, returns the changes, one after the other; none leave the file
        alone.
    tries
        How often at most.

    Raises
    ------
    FileFault
        As ``save_changes``.
    """
    for left in range(tries - 1, -1, -1):
        opened = read_project(folder)
        wanted = [*edits(opened)]
        if not wanted:
            return opened
        for one in wanted[:-1]:
            opened = replace(opened, text=changed_text(opened, one))
        try:
            return save_changes(opened, wanted[-1])
        except MovedOn:
            if not left:
                raise
    raise AssertionError(tries)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep out whoever else writes this project, thread or program, from the last look on.

    Where the system knows no such lock the last look is still the last thing before the writing.
    """
    handle = None
    with suppress(OSError, ImportError):
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


class MovedOn(FileFault):
    """The file was changed by another program since it was read."""


def changed_text(opened: OpenProject, edits: Edits) -> str:
    """Return the project file with changes put in; nothing is checked or written."""
    document = opened.document
    for path, value in edits.items():
        try:
            _put(document, path, value)
        except (TypeError, ValueError) as error:
            shown = path if isinstance(path, str) else ".".join(map(str, path))
            fault = Fault(what="this value cannot be written down", file=PROJECT_FILE, key=shown,
                          found=f"{value!r}"[:60], expected="text, a number or a list")  # fmt: skip
            raise FileFault([fault]) from error
    return tomlkit.dumps(document)


def refuse_if_moved_on(opened: OpenProject) -> None:
    """Refuse to write over what another program has saved since ``opened`` was read."""
    now = f"sha256:{hashlib.sha256(read_bytes(opened.path, most=MOST_BYTES)).hexdigest()}"
    if now != opened.digest:
        what = "was changed on the disk since it was read; nothing was saved"
        raise MovedOn([Fault(what=what, file=PROJECT_FILE, cure="Read it again.")])


def _put(document: tomlkit.TOMLDocument, path: str | tuple[Step, ...], value: Any) -> None:
    shown = path if isinstance(path, str) else ".".join(str(step) for step in path)
    steps = _steps(document, path) if isinstance(path, str) else path
    if not steps:
        raise _nowhere(shown, "", ())
    here: Any = document
    for depth, step in enumerate(steps[:-1]):
        inner = _inner(here, step)
        if inner is None:
            if not (isinstance(step, str) and isinstance(here, MutableMapping)):
                raise _nowhere(shown, str(step), _known(here))
            here[step] = tomlkit.aot() if steps[depth + 1] is NEW else tomlkit.table()
            inner = here[step]
        here = inner
    last = steps[-1]
    if last is NEW:
        _add(here, value, shown)
    elif value is REMOVE:
        _remove(here, last, shown)
    else:
        _set(here, last, value, shown)


def _steps(document: Any, path: str) -> tuple[Step, ...]:
    """Return the steps of a dotted path; names with dots in them are found by what is there."""
    steps: list[Step] = []
    here, rest = document, path.split(".")
    while rest:
        for size in range(len(rest), 0, -1):
            step = ".".join(rest[:size])
            inner = _inner(here, step)
            if inner is not None:
                break
        else:
            # not there yet: what is left is one new key, or a table and a key in it
            return (*steps, ".".join(rest)) if _holds_paths(steps) else (*steps, *rest)
        steps.append(step)
        here, rest = inner, rest[size:]
    return tuple(steps)


def _holds_paths(steps: list[Step]) -> bool:
    """Whether the table at these steps has keys with dots in them: a state's values."""
    return steps[-1:] in (["set"], ["values"])


def _inner(here: Any, step: Step) -> Any:
    if isinstance(here, AoT | list):
        if isinstance(step, int):
            return here[step] if -len(here) <= step < len(here) else None
        for member in here:
            if isinstance(member, Mapping) and step in (member.get("name"), member.get("id")):
                return member
        if isinstance(step, str) and step.isdigit() and int(step) < len(here):
            return here[int(step)]
        return None
    return here.get(step) if isinstance(here, Mapping) and isinstance(step, str) else None


def _set(here: Any, last: Step, value: Any, shown: str) -> None:
    present = _inner(here, last)
    if isinstance(here, AoT | list):
        if present is None:
            raise _nowhere(shown, str(last), _known(here))
        if isinstance(present, MutableMapping) and isinstance(value, Mapping):
            for key, inner in value.items():
                present[key] = _written(inner)
            return
        here[list(here).index(present)] = value
        return
    if not isinstance(here, MutableMapping) or not isinstance(last, str):
        raise _nowhere(shown, str(last), _known(here))
    if (
        isinstance(present, MutableMapping)
        and "value" in present
        and not isinstance(value, Mapping)
    ):
        present["value"] = value
        return
    here[last] = _written(value)


def _add(here: Any, value: Any, shown: str) -> None:
    if not isinstance(here, AoT | list):
        raise _nowhere(shown, "NEW", _known(here))
    if not isinstance(value, Mapping):
        here.append(value)
        return
    table = tomlkit.table()
    for key, inner in value.items():
        table[key] = _written(inner)
    if isinstance(here, AoT):
        table.add(tomlkit.nl())
        here.append(table)
    else:
        here.append(_written(value))


def _remove(here: Any, last: Step, shown: str) -> None:
    present = _inner(here, last)
    if present is None:
        raise _nowhere(shown, str(last), _known(here))
    if isinstance(here, AoT | list):
        del here[next(i for i, member in enumerate(here) if member is present)]
    else:
        del here[last]


def _written(value: Any) -> Any:
    """Return mappings as inline tables: a number in the longer form, a state's values."""
    if isinstance(value, Mapping) and not isinstance(value, Table):
        table = tomlkit.inline_table()
        table.update({key: _written(inner) for key, inner in value.items()})
        return table
    if isinstance(value, list) and any(isinstance(inner, Mapping) for inner in value):
        return [_written(inner) for inner in value]
    return value


def _known(here: Any) -> tuple[str, ...]:
    if isinstance(here, Mapping):
        return tuple(map(str, here))
    if isinstance(here, AoT | list):
        rows = (m for m in here if isinstance(m, Mapping))
        return tuple(str(m.get("name") or m.get("id")) for m in rows)
    return ()


def _nowhere(shown: str, step: str, known: tuple[str, ...]) -> FileFault:
    near = get_close_matches(step, known, n=1, cutoff=0.5)
    fault = Fault(
        what="this change leads to nothing in the project", file=PROJECT_FILE, key=shown,
        found=step, expected=f"one of {', '.join(known)}" if known else "a key of the project",
        cure=f"Did you mean '{near[0]}'?" if near else "",
    )  # fmt: skip
    return FileFault([fault])
