"""Names of parts in a project file that may match none, and numbers of the generic car."""

from collections.abc import Iterable, Iterator
from fnmatch import fnmatch

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import parse_quantity

_COUNTS = ("section_power", "wing_thickness", "dive_planes", "diffuser_fences")


def matches(name: str, patterns: Iterable[str]) -> bool:
    """Return whether a part's name is among names in which * stands for anything."""
    return any(fnmatch(name.lower(), pattern.lower()) for pattern in patterns)


def unmatched(key: str, patterns: Iterable[str], names: Iterable[str]) -> Iterator[InputError]:
    """Yield a fault for each name that no part has: a slip there would leave the part as it was.

    Parameters
    ----------
    key
        Under which the names stand in the project file.
    patterns
        Names, * for anything.
    names
        Of the parts there are.
    """
    there = list(names)
    for pattern in patterns:
        if not any(matches(name, (pattern,)) for name in there):
            yield UnknownName(f"part in {key}", pattern, there)


def number_of(name: str, value: str | float) -> float:
    """Return a number of the generic car in SI: an angle, a count or a length.

    Raises
    ------
    InputError
        If it has no unit or one of another kind; the number is named.
    """
    kind = "angle" if name.endswith("_angle") else "ratio" if name in _COUNTS else "length"
    text = f"{value:g}" if isinstance(value, float) else value
    try:
        return parse_quantity(text, kind).best
    except InputError as error:
        raise InputError(
            f"number {name} of [flow]", f"'{text}'", "", error.limit, error.cure
        ) from error
