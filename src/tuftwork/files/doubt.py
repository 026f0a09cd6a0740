"""Numbers of a project that no car has, and pairs of numbers that no engine answers.

A slip of a power of ten passes every limit of physics: a chord of 2600 mm is a length. Such a
number is doubted, with the one that was likely meant; the project can still be read. A gurney that
is too high for its chord is refused, because the section engine knows nothing of it; so is an
``aspiration`` where no power is given that could follow the air.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from tuftwork.car import read_number
from tuftwork.car.table import Limit
from tuftwork.errors import Fault, InputError
from tuftwork.files.where import Path, Place, line_of
from tuftwork.quantity import Quantity

_MOST_GURNEY = 0.05  # [chord]  what the increments of the section engine reach, storms1994
_ROUND = 1e-9  # [-]  15 mm on 300 mm is 5 %, whatever is left over in the last digit
_WINGS = ("wing", "beam wing", "front section")
USUAL: dict[str, tuple[float, float, str]] = {
    "chord": (0.03, 1.0, "of a wing's whole section"),
    "span": (0.2, 2.5, "of a wing, tip to tip"),
    "ride_height_front": (0.005, 0.3, "of a car at rest"),
    "ride_height_rear": (0.005, 0.3, "of a car at rest"),
    "wheelbase": (1.2, 4.5, "of a car"),
}
"""Key → smallest and largest that a car was seen with [m], and of what. Common practice."""


def doubts(
    tables: Mapping[str, Any], found: dict[Path, Place], *, file: str
) -> tuple[list[Fault], list[Fault]]:
    """Return what is refused, and what is doubted and can still be read.

    Parameters
    ----------
    tables
        As the TOML parser gave them; what has the wrong type is skipped, the schema reports it.
    found
        Where each key stands.
    file
        Name of the file, for the messages.
    """
    refused = [*_idle_aspiration(tables, found, file), *_gurneys(tables, found, file)]
    doubted = [
        fault
        for path, key, given in _lengths(tables)
        if (fault := _doubt(path, key, given, found, tables, file)) is not None
    ]
    return refused, doubted


def _idle_aspiration(
    tables: Mapping[str, Any], found: dict[Path, Place], file: str
) -> Iterator[Fault]:
    """Yield an aspiration that changes nothing, because no power is given anywhere."""
    car, lap = (t if isinstance(t := tables.get(k), Mapping) else {} for k in ("car", "lap"))
    if "aspiration" not in car or "power" in car or lap.get("power") or "gears" in lap:
        return
    path = ("car", "aspiration")
    yield Fault(
        what="'aspiration' changes nothing, as no power is given that could follow the air",
        file=file, line=line_of(found, path), key=_key(path, tables),
        found=str(car["aspiration"]), expected="'power' in [car], or 'power' or 'gears' in [lap]",
        cure='Add power = "… kW" to [car], or leave \'aspiration\' out.',
    )  # fmt: skip


def _gurneys(tables: Mapping[str, Any], found: dict[Path, Place], file: str) -> Iterator[Fault]:
    """Yield gurneys above what the section engine answers, as entered and in every state."""
    for index, part in enumerate(_rows(tables, "parts")):
        chord, own = _length(part.get("chord")), _length(part.get("gurney"))
        name = str(part.get("name"))
        if chord is None:
            continue
        settings: list[tuple[Path, Quantity | None, Quantity]] = [
            (("parts", index, "gurney"), own, chord)
        ]
        for row, state in enumerate(_rows(tables, "states")):
            given = state.get("set")
            values = given if isinstance(given, Mapping) else {}
            keys = [k for k in ("gurney", "chord") if f"{name}.{k}" in values]
            if keys:
                tab, across = (_length(values.get(f"{name}.{k}")) for k in ("gurney", "chord"))
                where: Path = ("states", row, "set", f"{name}.{keys[0]}")
                settings.append((where, tab or own, across or chord))
        for where, tab, across in settings:
            if tab is None or tab.best <= (_MOST_GURNEY + _ROUND) * across.best:
                continue
            share = 100.0 * tab.best / across.best
            most = 1e3 * _MOST_GURNEY * across.best
            yield Fault(
                what="this gurney is higher than the section engine knows",
                file=file, line=line_of(found, where), key=_key(where, tables),
                found=f"{1e3 * tab.best:.0f} mm, {share:.1f} % of the chord of "
                f"{1e3 * across.best:.0f} mm",
                expected=f"at most 5 % of the chord, {most:.1f} mm",
                cure="A higher one gains little more lift for its drag; enter the 5 %, or a "
                "flap as an element of its own.",
            )  # fmt: skip


def _lengths(tables: Mapping[str, Any]) -> Iterator[tuple[Path, str, Any]]:
    """Yield every length that has a usual size: path, key, as written."""
    for name, keys in (
        ("parts", ("chord", "span")),
        ("mass_states", ("ride_height_front", "ride_height_rear")),
        ("states", ("ride_height_front", "ride_height_rear")),
    ):
        for index, row in enumerate(_rows(tables, name)):
            if name == "parts" and row.get("kind") not in _WINGS:
                continue
            yield from (((name, index, key), key, row[key]) for key in keys if key in row)
    for row_number, state in enumerate(_rows(tables, "states")):
        values = state.get("set")
        for path, value in values.items() if isinstance(values, Mapping) else ():
            key = str(path).rpartition(".")[2]
            if key in ("chord", "span"):
                yield ("states", row_number, "set", str(path)), key, value
    car = tables.get("car")
    if isinstance(car, Mapping) and "wheelbase" in car:
        yield ("car", "wheelbase"), "wheelbase", car["wheelbase"]


def _doubt(
    path: Path, key: str, given: Any, found: dict[Path, Place], tables: Mapping[str, Any], file: str
) -> Fault | None:
    value = _length(given)
    low, high, of = USUAL[key]
    if value is None or low <= value.best <= high:
        return None
    meant = next((value.best * f for f in (0.1, 10.0, 0.01, 0.001, 100.0, 1000.0)
                  if low <= value.best * f <= high), None)  # fmt: skip
    shown = given.get("value", given) if isinstance(given, Mapping) else given
    return Fault(
        what="this is doubted: no car is known to have it",
        file=file, line=line_of(found, path), key=_key(path, tables), found=str(shown),
        expected=f"{1e3 * low:.0f} to {1e3 * high:.0f} mm, as usual {of}",
        cure="" if meant is None else f"Is {1e3 * meant:.0f} mm meant? It is taken as it stands.",
    )  # fmt: skip


def _length(given: Any) -> Quantity | None:
    """Return a length as written, None where it is none."""
    if given is None:
        return None
    try:
        return read_number(given, Limit(dimension="length"))
    except InputError:
        return None


def _rows(tables: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    rows = tables.get(key)
    return [r if isinstance(r, Mapping) else {} for r in rows] if isinstance(rows, list) else []


def _key(path: Path, tables: Mapping[str, Any]) -> str:
    """Return a path with list members called by their name."""
    here: Any = tables
    words = []
    for step in path:
        here = here[step]
        name = here.get("name") if isinstance(step, int) and isinstance(here, Mapping) else None
        words.append(str(name or step))
    return ".".join(words)
