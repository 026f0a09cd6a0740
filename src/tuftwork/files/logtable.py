"""A log's table as channels: roles, units, time in order; everything odd is said with its line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from tuftwork.errors import Fault, FileFault, UnknownName
from tuftwork.quantity import Array
from tuftwork.trial.guess import guess_roles, guess_unit, to_role_si, unit_fits
from tuftwork.trial.log import ROLES, Channel, Log


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


def columns_of(names: Sequence[str], units: Sequence[str], wish: LogWish) -> list[Column]:
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


def assembled(
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
        unit, guessed = unit_of_column(columns[place], own, role)
        if unit is None:
            faults.append(foreign_unit(path, columns[place], role))
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


def unit_of_column(column: Column, values: Array, role: str) -> tuple[str | None, bool]:
    """Return a column's unit and whether it is a guess; None where it belongs to another role."""
    if not column.unit:
        return guess_unit(values, role), True
    return (column.unit, False) if unit_fits(column.unit, role) else (None, False)


def foreign_unit(path: Path, column: Column, role: str) -> Fault:
    """Return the fault of a unit that does not belong to its role."""
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
