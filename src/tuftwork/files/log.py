"""Logs of a test day, read once and never changed: text with any separator, Parquet, HDF5, MDF 4.

Polars reads the text; only columns with a role are kept, so a log of many channels costs little
memory. Whatever is wrong with a file is named with its line, all faults at once.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from tuftwork.errors import Fault, FileFault, InputError, UnknownName
from tuftwork.files.logform import LogForm, cells, form_of, is_number
from tuftwork.quantity import Array
from tuftwork.trial.guess import guess_roles, guess_unit, split_unit, to_role_si, unit_fits
from tuftwork.trial.log import ROLES, Channel, Log

_MOST_FAULTS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a file and what it was taken for.

    Attributes
    ----------
    name, unit
        As the file says; ``unit`` is what it was read in.
    role
        What it was taken for; empty where nothing.
    is_guess
        Whether role or unit are guesses the user has not confirmed.
    """

    name: str
    unit: str
    role: str
    is_guess: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLog:
    """A log, its columns, and everything noticed while reading."""

    log: Log
    columns: tuple[Column, ...]
    notices: tuple[str, ...]
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LogWish:
    """What the user has said of a log.

    Attributes
    ----------
    roles
        Column name → role; empty text keeps a column out of use.
    units
        Column name → unit, where the file states none or a wrong one.
    keep_partial
        Whether rows that cannot be read are left out instead of refused.
    rate
        Samples a second of a file without a time column. [Hz]
    """

    roles: Mapping[str, str] | None = None
    units: Mapping[str, str] | None = None
    keep_partial: bool = False
    rate: float | None = None


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
    """Return the names of a log's columns as roles and units call them; text and Parquet only."""
    if path.suffix.lower() == ".parquet":
        return tuple(split_unit(n)[0] for n in pl.read_parquet_schema(path))
    return () if path.suffix.lower() in _READERS else form_of(path).names


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
    columns = _columns(form.names, form.units, wish)
    used = [i for i, c in enumerate(columns) if c.role]
    notices = list(form.notices)
    table, lines = _table(path, form, used, wish, notices)
    return _assembled(path, columns, used, table, lines, wish, notices)


def _columns(names: Sequence[str], units: Sequence[str], wish: LogWish) -> list[Column]:
    """Return what every column is taken for."""
    said_roles, said_units = wish.roles or {}, wish.units or {}
    for name in (*said_roles, *said_units):
        if name not in names:
            raise UnknownName("column", name, names)
    free = [n if n not in said_roles else "" for n in names]
    guessed = {place: role for role, place in guess_roles(free).items()}
    taken = set(said_roles.values())
    found = []
    for i, (name, unit) in enumerate(zip(names, units, strict=True)):
        role = said_roles.get(name, guessed.get(i, ""))
        if name not in said_roles and role in taken:
            role = ""
        own = said_units.get(name, unit)
        found.append(Column(name=name, unit=own, role=role,
                            is_guess=bool(role) and name not in said_roles))  # fmt: skip
    return found


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


def _assembled(
    path: Path,
    columns: list[Column],
    used: list[int],
    table: pl.DataFrame,
    lines: Array,
    wish: LogWish,
    notices: list[str],
) -> ReadLog:
    """Return the log of a table: time in order, units in SI, empty channels named."""
    arrays = {columns[i].role: table[str(i)].to_numpy().astype(float, copy=False) for i in used}
    units = {columns[i].role: i for i in used}
    time, kept = _time(path, arrays.pop("time", None), columns, units, wish, lines, notices)
    channels: dict[str, Channel] = {}
    faults: list[Fault] = []
    for role, values in arrays.items():
        place = units[role]
        own = values if kept is None else values[kept]
        there = np.isfinite(own)
        if not there.any():
            notices.append(f"Column '{columns[place].name}' is empty.")
            continue
        own, clock = (own, time) if there.all() else (own[there], time[there])
        unit, guessed = _unit(columns[place], own, role)
        if unit is None:
            faults.append(_foreign_unit(path, columns[place], role))
            continue
        if guessed:
            notices.append(f"'{columns[place].name}' states no unit; read as {unit}.")
        columns[place] = Column(name=columns[place].name, unit=unit, role=role,
                                is_guess=columns[place].is_guess or guessed)  # fmt: skip
        channels[role] = Channel(name=columns[place].name, time=clock, unit=unit,
                                 values=to_role_si(own, role, unit))  # fmt: skip
        notices += _contradiction(columns[place], channels[role])
    if faults:
        raise FileFault(faults)
    return ReadLog(log=Log(channels=channels), columns=tuple(columns), notices=tuple(notices),
                   rows=table.height)  # fmt: skip


def _unit(column: Column, values: Array, role: str) -> tuple[str | None, bool]:
    if not column.unit:
        return guess_unit(values, role), True
    return (column.unit, False) if unit_fits(column.unit, role) else (None, False)


def _foreign_unit(path: Path, column: Column, role: str) -> Fault:
    return Fault(
        what=f"the unit of '{column.name}' does not belong to '{role}'", file=path.name,
        found=column.unit, expected=f"a unit of {ROLES[role].dimension or 'acceleration'}",
        cure="Say its unit or its role in the project.",
    )  # fmt: skip


def _contradiction(column: Column, channel: Channel) -> list[str]:
    """Return a notice where values are impossible for the role in the unit they are said to be."""
    role = ROLES[column.role]
    off = (channel.values < role.least) | (channel.values > role.most)
    share = float(np.mean(off))
    if share < 0.01:
        return []
    likely = guess_unit(channel.values, column.role)
    return [f"'{column.name}' in {column.unit} is impossible for {column.role} in "
            f"{100 * share:.0f} % of its samples: the unit contradicts the values "
            f"(read as they are, they look like {likely})."]  # fmt: skip


def _time(
    path: Path,
    raw: Array | None,
    columns: list[Column],
    units: Mapping[str, int],
    wish: LogWish,
    lines: Array,
    notices: list[str],
) -> tuple[Array, np.ndarray | None]:
    """Return the time of every row and which rows are kept."""
    if raw is None:
        if wish.rate is None:
            what = "has no time column"
            cure = "Give a column the role 'time', or say the rate of the file."
            found = ", ".join(c.name for c in columns[:10])
            raise FileFault([Fault(what=what, file=path.name, found=found, cure=cure)])
        return np.arange(lines.size) / wish.rate, None
    column = columns[units["time"]]
    unit = column.unit if column.unit and unit_fits(column.unit, "time") else ""
    if not unit:
        unit = _time_unit(raw)
        notices.append(f"'{column.name}' states no unit of time; read as {unit}.")
    columns[units["time"]] = Column(name=column.name, unit=unit, role="time",
                                    is_guess=column.is_guess)  # fmt: skip
    time = to_role_si(raw, "time", unit)
    highest = np.maximum.accumulate(np.where(np.isfinite(time), time, -np.inf))
    ahead = np.concatenate([[True], time[1:] > highest[:-1]]) & np.isfinite(time)
    if ahead.all():
        return time, None
    wrong = np.flatnonzero(~ahead)
    repeated = int(np.sum(time[wrong] == highest[wrong - 1]))
    backward = wrong.size - repeated
    if backward and not wish.keep_partial:
        back = wrong[~(time[wrong] == highest[wrong - 1])]
        raise FileFault([
            Fault(what="time runs backwards or is missing", file=path.name, line=int(lines[i]),
                  found=f"{time[i]:.3f} s after {highest[i - 1]:.3f} s",
                  cure="Read with the lines left out (keep partial), or split the file here.")
            for i in back[:5]
        ])  # fmt: skip
    if repeated:
        notices.append(f"Time stands still on {repeated} lines, first on line "
                       f"{int(lines[wrong[0]])}; the first of equal times is used.")  # fmt: skip
    if backward:
        notices.append(f"Time runs backwards on {backward} lines; they were left out.")
    return time[ahead], ahead


def _time_unit(raw: Array) -> str:
    """Return s or ms by the usual step: nobody logs a car slower than once in ten seconds."""
    step = float(np.nanmedian(np.abs(np.diff(raw)))) if raw.size > 1 else 0.0
    return "ms" if step >= 5 else "s"


def _read_parquet(path: Path, wish: LogWish) -> ReadLog:
    try:
        names = pl.read_parquet_schema(path)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise FileFault([Fault(what="is no Parquet file", file=path.name,
                               found=str(error)[:80])]) from error  # fmt: skip
    parts = [split_unit(n) for n in names]
    columns = _columns([p[0] for p in parts], [p[1] for p in parts], wish)
    used = [i for i, c in enumerate(columns) if c.role]
    originals = list(names)
    table = pl.read_parquet(path, columns=[originals[i] for i in used])
    table = table.select(
        [pl.col(originals[i]).cast(pl.Float64, strict=False).alias(str(i)) for i in used]
    )
    lines = np.arange(1, table.height + 1, dtype=float)
    return _assembled(path, columns, used, table, lines, wish, [])


def _read_hdf5(path: Path, wish: LogWish) -> ReadLog:
    """Read a file of one-dimensional datasets of one length, units in their ``units`` attribute."""
    import h5py  # type: ignore[import-untyped]

    found: dict[str, tuple[Array, str]] = {}

    def visit(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset) and item.ndim == 1 and item.dtype.kind in "iuf":
            unit = item.attrs.get("units", "")
            text = unit.decode() if isinstance(unit, bytes) else str(unit)
            found[name] = (np.asarray(item[:], dtype=float), text)

    try:
        with h5py.File(path, "r") as file:
            file.visititems(visit)
    except OSError as error:
        raise FileFault([Fault(what="is no HDF5 file", file=path.name,
                               found=str(error)[:80])]) from error  # fmt: skip
    lengths = {values.size for values, _ in found.values()}
    if len(lengths) != 1:
        what = "its datasets have several lengths"
        cure = "Export one time base a file, or write every rate into a file of its own."
        raise FileFault([Fault(what=what, file=path.name, found=str(sorted(lengths)[:6]),
                               cure=cure)])  # fmt: skip
    names = list(found)
    columns = _columns(names, [found[n][1] for n in names], wish)
    used = [i for i, c in enumerate(columns) if c.role]
    table = pl.DataFrame({str(i): found[names[i]][0] for i in used})
    lines = np.arange(1, table.height + 1, dtype=float)
    return _assembled(path, columns, used, table, lines, wish, [])


def _read_mdf(path: Path, wish: LogWish) -> ReadLog:
    """Read an ASAM MDF 4 file; each channel keeps its own time base."""
    try:
        from asammdf import MDF
    except ImportError as error:
        raise InputError("file", path.name, "", "MDF needs an optional library",
                         "Install the extra: pip install 'tuftwork[logs]'.") from error  # fmt: skip
    channels: dict[str, Channel] = {}
    with MDF(path) as file:
        signals = [s for s in file.iter_channels() if s.samples.dtype.kind in "iuf"]
    columns = _columns([s.name for s in signals], [s.unit or "" for s in signals], wish)
    notices: list[str] = []
    for i, signal in enumerate(signals):
        role = columns[i].role
        if not role or role == "time":
            continue
        values = np.asarray(signal.samples, dtype=float)
        unit, guessed = _unit(columns[i], values, role)
        if unit is None:
            raise FileFault([_foreign_unit(path, columns[i], role)])
        if guessed:
            notices.append(f"'{signal.name}' states no unit; read as {unit}.")
        channels[role] = Channel(
            name=signal.name, time=np.asarray(signal.timestamps, dtype=float), unit=unit,
            values=to_role_si(values, role, unit),
        )  # fmt: skip
    rows = max((c.time.size for c in channels.values()), default=0)
    return ReadLog(log=Log(channels=channels), columns=tuple(columns), notices=tuple(notices),
                   rows=rows)  # fmt: skip


_READERS: Mapping[str, Callable[[Path, LogWish], ReadLog]] = {
    ".parquet": _read_parquet,
    ".h5": _read_hdf5,
    ".hdf5": _read_hdf5,
    ".mf4": _read_mdf,
}
