"""How a text log is written: encoding, separator, decimal sign, header, units row, first data line.

Only the head of the file is looked at; the rest is the reader's.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tuftwork.errors import Fault, FileFault
from tuftwork.trial.guess import split_unit

_HEAD = 262_144  # [byte]
_MOST_HEADER_LINES = 200
_SEPARATORS = ("\t", ";", ",", "|")
_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")
_ENCODINGS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LogForm:
    """What the head of a text log says.

    Attributes
    ----------
    encoding, separator, decimal_comma
        How to read it; a separator of one space stands for any run of blanks.
    names, units
        Of the columns; units are empty where the file states none.
    first_line
        Line of the first data row, counted from 1.
    preamble
        Lines before the header, kept for the notices.
    notices
        What was noticed on the way.
    """

    encoding: str
    separator: str
    decimal_comma: bool
    names: tuple[str, ...]
    units: tuple[str, ...]
    first_line: int
    preamble: tuple[str, ...]
    notices: tuple[str, ...]


def form_of(path: Path) -> LogForm:
    """Return how a text log is written.

    Raises
    ------
    FileFault
        If no table of numbers is found, with the line that comes nearest.
    """
    data = _head_of(path)
    encoding, notices = _encoding_of(data, path)
    text = data.decode(encoding, errors="replace").lstrip("\ufeff")
    lines = text.splitlines()
    if len(data) == _HEAD and len(lines) > 1:
        lines = lines[:-1]  # the last line of a head is cut
    found = _table_start(lines)
    if found is None:
        what = "holds no table of numbers in its first lines"
        raise FileFault([Fault(what=what, file=path.name, line=1, found=lines[0][:60] if lines
                               else "an empty file", expected="columns of numbers")])  # fmt: skip
    start, separator, comma, width = found
    names, units, above = _header(lines[:start], separator, width)
    if not names:
        names = tuple(f"column {i + 1}" for i in range(width))
        notices.append("No header: columns are numbered.")
    if width > 2000:
        notices.append(f"{width} columns: only those with a role are read.")
    return LogForm(
        encoding=encoding, separator=separator, decimal_comma=comma, names=_unlike(names, notices),
        units=units, first_line=start + 1, preamble=tuple(above), notices=tuple(notices),
    )  # fmt: skip


def cells(line: str, separator: str) -> list[str]:
    """Return the cells of a line."""
    if separator == " ":
        return line.split()
    return [cell.strip().strip('"').strip() for cell in line.rstrip("\r\n").split(separator)]


def is_number(text: str, *, comma: bool) -> bool:
    """Return whether a cell is a number, or empty."""
    if not text:
        return True
    return bool(_NUMBER.match(text)) and (comma or "," not in text)


def _head_of(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(_HEAD)
    except OSError as error:
        what = "cannot be read"
        raise FileFault([Fault(what=what, file=path.name, found=error.strerror or "")]) from error
    if not data:
        raise FileFault([Fault(what="is empty", file=path.name)])
    return data


def _encoding_of(data: bytes, path: Path) -> tuple[str, list[str]]:
    for mark, name in _ENCODINGS:
        if data.startswith(mark):
            return name, [f"Starts with a byte-order mark ({name})."]
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        what = "is not text: it holds zero bytes"
        cure = "If it is a recorder's own format, export it as text."
        raise FileFault([Fault(what=what, file=path.name, line=line, cure=cure)])
    for cut in range(4):  # the head may end inside a character
        try:
            data[: len(data) - cut].decode("utf-8")
        except UnicodeDecodeError as error:
            if error.start < len(data) - 4:
                line = data[: error.start].count(b"\n") + 1
                said = f"Line {line} is not UTF-8; read as Latin-1, check names with accents."
                return "latin-1", [said]
        else:
            return "utf-8", []
    return "utf-8", []


def _table_start(lines: Sequence[str]) -> tuple[int, str, bool, int] | None:
    """Return line, separator, decimal comma and width of the first rows that are all numbers."""
    best = None
    for separator in (*_SEPARATORS, " "):
        for comma in (False, True):
            if comma and separator == ",":
                continue
            start = _first_run(lines, separator, comma)
            if start is None:
                continue
            width = len(cells(lines[start], separator))
            if width < 2:
                continue
            commas = sum("," in c for c in cells(lines[start], separator))
            key = (width, -int(comma) if not commas else int(comma), -start)
            if best is None or key > best[0]:
                best = (key, (start, separator, comma, width))
    return best[1] if best else None


def _first_run(lines: Sequence[str], separator: str, comma: bool) -> int | None:
    """Return the first line from which three lines (or all there are) hold numbers, alike wide."""
    limit = min(len(lines), _MOST_HEADER_LINES)
    for start in range(limit):
        ahead = [cells(line, separator) for line in lines[start : start + 3]]
        if not ahead or len(ahead[0]) < 2 or not any(ahead[0]):
            continue
        alike = all(len(row) == len(ahead[0]) for row in ahead[:-1] or ahead)
        first = ahead[0]
        filled = sum(bool(c) for c in first)
        if (
            alike
            and filled
            and all(is_number(c, comma=comma) for row in (ahead[:-1] or ahead) for c in row)
        ):
            return start
    return None


def _header(
    above: Sequence[str], separator: str, width: int
) -> tuple[tuple[str, ...], tuple[str, ...], list[str]]:
    """Return names, units and what stands above them."""
    rows = [(i, cells(line, separator)) for i, line in enumerate(above)]
    wide = [(i, row) for i, row in rows if len(row) in (width, width + 1) and any(row)]
    if not wide:
        return (), ("",) * width, [line for line in above if line.strip()]
    place, last = wide[-1]
    row = last[:width]
    if len(wide) > 1 and wide[-2][0] == place - 1 and _is_units(row):
        names = wide[-2][1][:width]
        kept = above[: place - 1]
        parts = [split_unit(n) for n in names]
        units = [u.strip("[]()<> ") or parts[i][1] for i, u in enumerate(row)]
        return tuple(p[0] for p in parts), tuple(units), [x for x in kept if x.strip()]
    parts = [split_unit(n) for n in row]
    kept = above[:place]
    return (tuple(p[0] or f"column {i + 1}" for i, p in enumerate(parts)),
            tuple(p[1] for p in parts), [x for x in kept if x.strip()])  # fmt: skip


_UNITS = {"mm", "m", "km/h", "kph", "m/s", "mph", "s", "ms", "g", "m/s²", "m/s2", "m/s^2", "deg",
          "°", "degc", "°c", "k", "hpa", "pa", "kpa", "mbar", "bar", "v", "%", "n", "in", "rad",
          "rpm", "-", "1/min", "c", "°f", "f"}  # fmt: skip


def _is_units(row: Sequence[str]) -> bool:
    words = [cell.strip("[]()<> ").lower() for cell in row]
    there = [w for w in words if w]
    return bool(there) and sum(w in _UNITS for w in there) >= 0.6 * len(there)


def _unlike(names: Sequence[str], notices: list[str]) -> tuple[str, ...]:
    """Return names without repeats; a repeat gets a number."""
    seen: dict[str, int] = {}
    found, twice = [], []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1:
            twice.append(name)
        found.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    if twice:
        notices.append(f"Column names used twice: {', '.join(sorted(set(twice))[:5])}.")
    return tuple(found)
