"""Small tables of a test: laps, tunnel points, pressures, with words and numbers side by side.

Whatever separator, units in the names; every cell that is not what its column asks for is named
with its line, all at once.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.quantity import DIMENSIONS, tidy_unit, to_si, unit_of
from tuftwork.trial.guess import split_unit

_SEPARATORS = (";", "\t", "|", ",")
_MOST_BYTES = 50_000_000
_MOST_FAULTS = 12
WORD = "word"
"""What a column holds that is no number."""
Row = dict[str, float | str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One column asked for.

    Attributes
    ----------
    holds
        Key of the unit table, ``WORD``, or empty for a plain number.
    unit
        What the numbers are in where the file states no unit.
    must
        Whether the table is useless without it.
    """

    holds: str
    unit: str = ""
    must: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class TestTable:
    """Rows of a table in SI, the lines they stand on, and the columns nobody asked for."""

    __test__ = False

    rows: tuple[Row, ...]
    lines: tuple[int, ...]
    others: tuple[str, ...]


def read_test_table(
    path: Path, wanted: Mapping[str, Wanted], *, more: Wanted | None = None
) -> TestTable:
    """Read a table.

    Parameters
    ----------
    path
        Text with one header line; lines that begin with ``#`` are left out.
    wanted
        Column name in small letters → what it must hold.
    more
        What every other column holds; columns nobody asked for are left out where not given.

    Raises
    ------
    FileFault
        With file and line of everything that is not as asked.
    """
    numbered = _lines(path)
    if not numbered:
        raise FileFault([Fault(what="is empty", file=path.name)])
    first, head = numbered[0]
    separator = max(_SEPARATORS, key=head.count)
    names = [split_unit(cell) for cell in head.split(separator)]
    plain = [name.strip().lower() for name, _ in names]
    faults = _columns_wrong(path, first, plain, wanted)
    asked: list[tuple[int, str, Wanted, str]] = []
    for i, (name, unit) in enumerate(names):
        one = wanted.get(plain[i], more)
        if one is None:
            continue
        key = plain[i] if plain[i] in wanted else name.strip()
        own, wrong = _unit(path, first, name, unit, one)
        faults += wrong
        asked.append((i, key, one, own))
    if faults:
        raise FileFault(faults)
    rows: list[Row] = []
    for line, text in numbered[1:]:
        row, wrong = _row(path, line, text.split(separator), len(names), asked)
        faults += wrong
        rows.append(row)
    if not rows:
        faults.append(Fault(what="holds a header and no row", file=path.name, line=first))
    if faults:
        raise FileFault(faults[:_MOST_FAULTS])
    known = {key for _, key, _, _ in asked}
    return TestTable(
        rows=tuple(rows), lines=tuple(line for line, _ in numbered[1:]),
        others=tuple(n for n, p in zip([n for n, _ in names], plain, strict=True)
                     if p not in known and n.strip() not in known),
    )  # fmt: skip


def _lines(path: Path) -> list[tuple[int, str]]:
    """Return the lines that say something, with their numbers."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise FileFault([Fault(what="is too large for a table of a test", file=path.name)])
        data = path.read_bytes()
    except OSError as error:
        raise FileFault([Fault(what="cannot be read", file=path.name,
                               found=error.strerror or "")]) from error  # fmt: skip
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileFault([Fault(what="is not UTF-8 text", file=path.name, line=line,
                               cure="Save it as UTF-8.")]) from error  # fmt: skip
    return [(i, line) for i, line in enumerate(text.splitlines(), 1)
            if line.strip() and not line.lstrip().startswith("#")]  # fmt: skip


def _columns_wrong(
    path: Path, line: int, names: Sequence[str], wanted: Mapping[str, Wanted]
) -> list[Fault]:
    faults = [
        Fault(what=f"has no column '{key}'", file=path.name, line=line, found=", ".join(names)[:80])
        for key, one in wanted.items() if one.must and key not in names
    ]  # fmt: skip
    twice = sorted({n for n in names if names.count(n) > 1})
    faults += [Fault(what=f"has the column '{n}' twice", file=path.name, line=line) for n in twice]
    return faults


def _unit(path: Path, line: int, name: str, unit: str, one: Wanted) -> tuple[str, list[Fault]]:
    """Return the unit a column is read in, and the fault of a unit of another kind."""
    if one.holds in ("", WORD):
        return "", []
    own = unit or one.unit
    if tidy_unit(own) in DIMENSIONS[one.holds].units:
        return own, []
    return own, [Fault(what=f"the unit of '{name}' is no unit of {one.holds}", file=path.name,
                       line=line, found=own or "none")]  # fmt: skip


def _row(
    path: Path,
    line: int,
    given: Sequence[str],
    width: int,
    asked: Sequence[tuple[int, str, Wanted, str]],
) -> tuple[Row, list[Fault]]:
    if len(given) != width:
        return {}, [Fault(what="has another number of columns than the header", file=path.name,
                          line=line, found=str(len(given)), expected=str(width))]  # fmt: skip
    row: Row = {}
    faults = []
    for place, key, one, unit in asked:
        text = given[place].strip().strip('"').strip()
        if one.holds == WORD:
            row[key] = text
            continue
        try:
            row[key] = _number(text, one, unit)
        except (ValueError, InputError):
            faults.append(Fault(what=f"'{key}' is not a number", file=path.name, line=line,
                                found=text[:40] or "nothing"))  # fmt: skip
    return row, faults


def _number(text: str, one: Wanted, unit: str) -> float:
    """Return a cell in SI; times may be written 1:37.412, and a comma may be the decimal sign."""
    if not text and not one.must:
        return float("nan")
    if one.holds == "time" and ":" in text:
        minutes, _, seconds = text.rpartition(":")
        return 60.0 * float(minutes) + float(seconds.replace(",", "."))
    value = float(text.replace(",", "."))
    if not abs(value) < 1e15:
        raise ValueError(text)
    return value if not one.holds else float(to_si(value, unit_of(unit, one.holds), one.holds))
