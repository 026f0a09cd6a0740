"""Project files of older forms, brought to today's form by one named function per step.

Each step changes the text where it stands, so comments and order survive. A file is converted in
memory when it is read; it is written in the new form when it is next saved.
"""

from collections.abc import Callable, Mapping
from typing import Any

from tuftwork.car import FORM
from tuftwork.files.where import Path, Place, places


def convert_form_0(text: str, tables: Mapping[str, Any]) -> str:
    """Return a text of form 0 in form 1.

    Form 0 wrote the study's speeds as plain numbers, ``speeds_kmh = [140, 180]``, and called the
    day of the study ``date``.

    Parameters
    ----------
    text
        The file.
    tables
        What a TOML parser found in it.
    """
    found = places(text)
    changes: list[tuple[tuple[int, int], str]] = []
    _put(changes, found, ("form",), value="1")
    _put(changes, found, ("about", "date"), key="day")
    _put(changes, found, ("study", "speeds_kmh"), key="speeds")
    speeds = tables.get("study", {})
    speeds = speeds.get("speeds_kmh") if isinstance(speeds, Mapping) else None
    for index, speed in enumerate(speeds if isinstance(speeds, list) else ()):
        _put(changes, found, ("study", "speeds_kmh", index), value=f'"{speed} km/h"')
    return _changed(text, changes)


CONVERTERS: dict[int, Callable[[str, Mapping[str, Any]], str]] = {0: convert_form_0}
"""Form → the function that brings it to the next one."""

KNOWN_FORMS = (*CONVERTERS, FORM)


def _put(
    changes: list[tuple[tuple[int, int], str]],
    found: dict[Path, Place],
    path: Path,
    *,
    key: str | None = None,
    value: str | None = None,
) -> None:
    place = found.get(path)
    if place is None:
        return
    if key is not None:
        changes.append((place.key, key))
    if value is not None:
        changes.append((place.value, value))


def _changed(text: str, changes: list[tuple[tuple[int, int], str]]) -> str:
    for (start, end), new in sorted(changes, reverse=True):
        text = text[:start] + new + text[end:]
    return text
