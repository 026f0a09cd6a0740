"""Logs of a test day, read once and never changed: text with any separator, and open binary forms.

Polars reads the text; only columns with a role are kept, so a log of many channels costs little
memory. Whatever is wrong with a file is named with its line, all faults at once.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import polars as pl

from tuftwork.errors import Fault, FileFault, UnknownName
from tuftwork.files.logbinary import read_hdf5, read_mdf, read_parquet, stored_names
from tuftwork.files.logform import LogForm, cells, form_of, is_number
from tuftwork.files.logtable import Column, LogWish, ReadLog, assembled, columns_of
from tuftwork.quantity import Array
from tuftwork.trial.guess import split_unit
from tuftwork.trial.log import ROLES, Channel, Log

__all__ = ["Column", "LogWish", "ReadLog", "column_names", "merged", "read_log"]

_MOST_FAULTS = 12


def read_log(path: Path | str, wish: LogWish | None = None) -> ReadLog:
    """Read a log.

    Parameters
    ----------
    path
        ``.parquet``, ``.h5``, ``.hdf5``, ``.mf4``; anything else is read as text.
    wish
        Roles, units and choices of the user.

    Raises
    ------
    FileFault
        With file and line of everything that cannot be read.
    UnknownName
        If a wish names a role that does not exist.
    """
    place = Path(path)
    wanted = wish or LogWish()
    for role in (wanted.roles or {}).values():
        if role and role not in ROLES:
            raise UnknownName("role", role, ROLES)
    reader = _READERS.get(place.suffix.lower(), _read_text)
    return reader(place, wanted)


def column_names(path: Path) -> tuple[str, ...]:
    """Return the names of a log's columns as roles and units call them."""
    if path.suffix.lower() == ".parquet":
        return tuple(split_unit(n)[0] for n in pl.read_parquet_schema(path))
    return stored_names(path) if path.suffix.lower() in _READERS else form_of(path).names


def merged(logs: Sequence[ReadLog]) -> ReadLog:
    """Return several loggers' files as one log; the first to have a role keeps it."""
    channels: dict[str, Channel] = {}
    notices = [n for one in logs for n in one.notices]
    for one in logs:
        for role, channel in one.log.channels.items():
            if role in channels:
                notices.append(f"'{role}' is in two files; the first is used.")
            else:
                channels[role] = channel
    return ReadLog(
        log=Log(channels=channels), columns=tuple(c for one in logs for c in one.columns),
        notices=tuple(notices), rows=sum(one.rows for one in logs),
    )  # fmt: skip


def _read_text(path: Path, wish: LogWish) -> ReadLog:
    form = form_of(path)
    columns = columns_of(form.names, form.units, wish)
    used = [i for i, c in enumerate(columns) if c.role]
    notices = list(form.notices)
    table, lines = _table(path, form, used, wish, notices)
    return assembled(path, columns, used, table, lines, wish, notices)


def _table(
    path: Path, form: LogForm, used: list[int], wish: LogWish, notices: list[str]
) -> tuple[pl.DataFrame, Array]:
    """Return the used columns as numbers and the line of every row."""
    if not used:
        known = ", ".join(form.names[:12])
        what = "no column could be given a role"
        cure = "Say which is which under roles of the day."
        raise FileFault([Fault(what=what, file=path.name, found=known, cure=cure)])
    if form.separator != " " and form.encoding in ("utf-8", "utf-8-sig"):
        try:
            lazy = pl.scan_csv(
                path, separator=form.separator, has_header=False, skip_rows=form.first_line - 1,
                schema={str(i): pl.Float64 for i in range(len(form.names))},
                decimal_comma=form.decimal_comma, quote_char='"', low_memory=False,
            )  # fmt: skip
            table = lazy.select([str(i) for i in used]).collect()
        except (pl.exceptions.PolarsError, ValueError):
            return _slow_table(path, form, used, wish, notices)
        if _is_even(path, form, table.height):
            return table, form.first_line + np.arange(table.height, dtype=float)
    return _slow_table(path, form, used, wish, notices)


def _is_even(path: Path, form: LogForm, rows: int) -> bool:
    """Return whether every line has as many separators as it should: a short one is filled up.

    Counting bytes costs a few per cent of reading.
    """
    mark, count, ended = form.separator.encode(), 0, True
    with path.open("rb") as file:
        for _ in range(form.first_line - 1):
            file.readline()
        while block := file.read(1 << 24):
            count += block.count(mark)
            ended = block.endswith(b"\n")
    width = len(form.names)
    return count == rows * (width - 1) or (count == rows * width and ended)


def _slow_table(
    path: Path, form: LogForm, used: list[int], wish: LogWish, notices: list[str]
) -> tuple[pl.DataFrame, Array]:
    """Return the table line by line, naming every line that is not like the others."""
    faults: list[Fault] = []
    bad = 0
    rows: list[list[float]] = []
    lines: list[float] = []
    width = len(form.names)
    with path.open(encoding=form.encoding, errors="replace") as file:
        for number, line in enumerate(file, 1):
            if number < form.first_line or not line.strip():
                continue
            row = cells(line, form.separator)
            row = row[:-1] if len(row) == width + 1 and not row[-1] else row
            wrong = _wrong(row, form, used)
            if wrong is None:
                rows.append([_value(row[i], form.decimal_comma) for i in used])
                lines.append(float(number))
                continue
            bad += 1
            if len(faults) < _MOST_FAULTS:
                faults.append(Fault(what=wrong[0], file=path.name, line=number, found=wrong[1],
                                    expected=wrong[2]))  # fmt: skip
    if faults and not wish.keep_partial:
        cure = "Mend these lines, or read the file with the lines left out (keep partial)."
        last = faults[-1]
        faults[-1] = Fault(what=last.what, file=last.file, line=last.line, found=last.found,
                           expected=last.expected, cure=cure)  # fmt: skip
        raise FileFault(faults)
    if faults:
        first = ", ".join(str(f.line) for f in faults[:5])
        notices.append(f"{bad} lines could not be read and were left out: {first}…")
    table = pl.DataFrame(
        {str(i): [row[k] for row in rows] for k, i in enumerate(used)},
        schema={str(i): pl.Float64 for i in used},
    )
    return table, np.array(lines)


def _wrong(row: list[str], form: LogForm, used: list[int]) -> tuple[str, str, str] | None:
    if len(row) != len(form.names):
        what = "has another number of columns; the file may be cut off here"
        return what, f"{len(row)} columns", f"{len(form.names)}"
    for i in used:
        if not is_number(row[i], comma=form.decimal_comma):
            return f"'{form.names[i]}' is not a number", row[i][:40], "a number or nothing"
    return None


def _value(text: str, comma: bool) -> float:
    return float(text.replace(",", ".") if comma else text) if text else float("nan")


_READERS: Mapping[str, Callable[[Path, LogWish], ReadLog]] = {
    ".parquet": read_parquet,
    ".h5": read_hdf5,
    ".hdf5": read_hdf5,
    ".mf4": read_mdf,
}
