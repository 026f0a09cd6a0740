"""A page held against its form, every fault listed.

The app's tests use it on whatever stands in for the study; the study's own tests can use it on
the real thing.
"""

from collections.abc import Iterator
from typing import Any

from pydantic import TypeAdapter, ValidationError

from tuftwork.app.contract import FORMS
from tuftwork.app.contract_cooling import COOLING_FORMS


def check_page(name: str, tree: dict[str, Any]) -> list[str]:
    """Return every fault of a page against its form; an empty list means it fits.

    Pages without a form of their own are checked for their numbers alone.
    """
    faults: list[str] = []
    form = (FORMS | COOLING_FORMS).get(name)
    if form is not None:
        try:
            TypeAdapter(form).validate_python(tree)
        except ValidationError as fault:
            faults += [
                f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}"
                for one in fault.errors()
            ]
    for place, number in numbers_in(tree):
        faults += [f"{place}: {what}" for what in _faults_of(number)]
    return faults


def numbers_in(tree: Any, place: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every number of a tree with the place it stands at."""
    if isinstance(tree, dict):
        if "text" in tree and "unit" in tree:
            yield place, tree
        for key, value in tree.items():
            yield from numbers_in(value, f"{place}.{key}" if place else str(key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            yield from numbers_in(value, f"{place}[{index}]")


def _faults_of(number: dict[str, Any]) -> Iterator[str]:
    best, low, high = (number.get(key) for key in ("best", "low", "high"))
    if best is None or low is None or high is None:
        return
    if not low <= best <= high:
        yield f"best {best} outside {low} to {high}"
    bottom, top = number.get("low_half", low), number.get("high_half", high)
    if bottom is not None and top is not None and not low <= bottom <= top <= high:
        yield f"50 % range {bottom} to {top} outside the 80 % range {low} to {high}"
    if number["unit"] and number["unit"] not in number["text"]:
        yield f"text '{number['text']}' lacks the unit {number['unit']}"
    if high > low and " to " not in number["text"]:
        yield f"text '{number['text']}' lacks the range"
