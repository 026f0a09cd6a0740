"""Names of parts in a project file that may match none, and numbers of the generic car."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fnmatch import fnmatch

from tuftwork.errors import Fault, FileFault, InputError, UnknownName
from tuftwork.quantity import parse_quantity
from tuftwork.shape import GenericCar, impossible_numbers

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


def raise_all(faults: Sequence[InputError | FileFault]) -> None:
    """Raise every fault at once; a single one as it is, none where there is none.

    Raises
    ------
    InputError, FileFault
        With all of them.
    """
    if len(faults) == 1:
        raise faults[0]
    if faults:
        found: list[Fault] = []
        for fault in faults:
            if isinstance(fault, FileFault):
                found += fault.faults
            else:
                found.append(Fault(what=str(fault).rstrip(".")))
        raise FileFault(list(dict.fromkeys(found)))


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


def numbers_of(
    kind: str, numbers: Mapping[str, str | float], known: Mapping[str, float]
) -> dict[str, float]:
    """Return the numbers of the generic car in SI.

    Parameters
    ----------
    kind
        Of generic car.
    numbers
        As the project has them.
    known
        What the car itself says, in SI.

    Raises
    ------
    InputError, FileFault
        With everything wrong with them: a name, a unit, a size.
    """
    there = GenericCar.__dataclass_fields__
    found: dict[str, float] = {}
    faults: list[InputError] = []
    for name, value in numbers.items():
        if name not in there:
            faults.append(UnknownName("number", name, there))
            continue
        try:
            found[name] = number_of(name, value)
        except InputError as fault:
            faults.append(fault)
    faults += impossible_numbers(kind, **{**known, **found})
    if len(faults) > 1:
        raise FileFault([Fault(what=str(f).rstrip("."), key="flow.numbers") for f in faults])
    if faults:
        raise faults[0]
    return found
