"""Logs in open binary forms: Parquet, HDF5, and ASAM MDF 4 through an optional library.

HDF5 and MDF keep channels of several rates in one file, each rate with a time of its own.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.files.logtable import Column, LogWish, ReadLog, assembled, columns_of
from tuftwork.quantity import Array
from tuftwork.trial.guess import guess_roles, split_unit
from tuftwork.trial.log import Channel, Log


def read_parquet(path: Path, wish: LogWish) -> ReadLog:
    """Read a Parquet file; units stand in the columns' names."""
    try:
        names = pl.read_parquet_schema(path)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise FileFault([Fault(what="is no Parquet file", file=path.name,
                               found=str(error)[:80])]) from error  # fmt: skip
    parts = [split_unit(n) for n in names]
    columns = columns_of([p[0] for p in parts], [p[1] for p in parts], wish)
    used = [i for i, c in enumerate(columns) if c.role]
    originals = list(names)
    table = pl.read_parquet(path, columns=[originals[i] for i in used])
    table = table.select(
        [pl.col(originals[i]).cast(pl.Float64, strict=False).alias(str(i)) for i in used]
    )
    lines = np.arange(1, table.height + 1, dtype=float)
    return assembled(path, columns, used, table, lines, wish, [])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stored:
    """One channel of a binary file: ``base`` tells which time base it stands on."""

    name: str
    unit: str
    base: str
    is_time: bool
    load: Callable[[], Array]


def read_hdf5(path: Path, wish: LogWish) -> ReadLog:
    """Read one-dimensional datasets, units in their ``units`` attribute.

    Datasets of one group share a time base; each group has a time dataset of its own, or the file
    has one length and one time for all.
    """
    import h5py

    try:
        with h5py.File(path, "r") as file:
            return _read_stored(path, _hdf5_channels(file), wish)
    except OSError as error:
        raise FileFault([Fault(what="is no HDF5 file", file=path.name,
                               found=str(error)[:80])]) from error  # fmt: skip


def _hdf5_channels(file: Any) -> list[_Stored]:
    import h5py

    found: dict[str, Any] = {}

    def visit(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset) and item.ndim == 1 and item.dtype.kind in "iuf":
            found[name] = item

    file.visititems(visit)
    alike = len({item.size for item in found.values()}) <= 1
    times = guess_roles([name.rpartition("/")[2] for name in found]).get("time")
    stored = []
    for i, (name, item) in enumerate(found.items()):
        group, _, last = name.rpartition("/")
        unit = item.attrs.get("units", "")
        is_time = i == times or guess_roles([last]).get("time") == 0
        stored.append(
            _Stored(
                name=name, unit=unit.decode() if isinstance(unit, bytes) else str(unit),
                base="" if alike else f"{group} of {item.size} samples", is_time=is_time,
                load=lambda item=item: np.asarray(item[:], dtype=float),  # type: ignore[misc]
            )
        )  # fmt: skip
    return stored


def read_mdf(path: Path, wish: LogWish) -> ReadLog:
    """Read an ASAM MDF 4 file; each channel keeps its own time base."""
    mdf = _mdf_library(path)
    try:
        with path.open("rb") as file:
            # the library leaves a half-made object behind where the file does not begin like one
            begin = file.read(8)
            if begin[:3] not in (b"MDF", b"UnF"):
                raise FileFault([Fault(what="is no MDF file", file=path.name,
                                       found=repr(begin)[1:])])  # fmt: skip
            file.seek(0)
            with mdf.MDF(file) as opened:
                return _read_stored(path, _mdf_channels(opened), wish)
    except OSError as error:
        raise FileFault([Fault(what="cannot be read", file=path.name,
                               found=error.strerror or "")]) from error  # fmt: skip
    except FileFault:
        raise
    except Exception as error:  # a cut-off file fails anywhere within the library
        cure = "The file is cut off or damaged; copy it again from the recorder."
        raise FileFault([Fault(what="cannot be read to its end", file=path.name,
                               found=str(error)[:80], cure=cure)]) from error  # fmt: skip


def _mdf_library(path: Path) -> Any:
    try:
        import asammdf
    except ImportError as error:
        raise InputError("file", path.name, "", "MDF needs an optional library",
                         "Install the extra: pip install 'tuftwork[logs]'.") from error  # fmt: skip
    return asammdf


def _mdf_channels(file: Any) -> list[_Stored]:
    stored: list[_Stored] = []
    seen: dict[str, int] = {}
    for i, group in enumerate(file.groups):
        master = file.masters_db.get(i)
        for j, channel in enumerate(group.channels):

            def load(i: int = i, j: int = j) -> Array:
                return np.asarray(file.get(group=i, index=j, raw=False).samples)

            name = str(channel.name)
            if j != master:
                seen[name] = seen.get(name, 0) + 1
            again = "" if seen.get(name, 0) < 2 else f" ({seen[name]})"
            stored.append(_Stored(name=name + again, unit=str(channel.unit or ""), base=str(i),
                                  is_time=j == master, load=load))  # fmt: skip
    return stored


def _read_stored(path: Path, stored: Sequence[_Stored], wish: LogWish) -> ReadLog:
    """Return the log of channels that stand on time bases of their own."""
    clocks = {one.base: one for one in stored if one.is_time}
    named = [one for one in stored if not one.is_time]
    columns = columns_of([s.name for s in named], [s.unit for s in named], wish)
    if not any(c.role for c in columns):
        known = ", ".join(s.name for s in named[:12])
        raise FileFault([Fault(what="no column could be given a role", file=path.name, found=known,
                               cure="Say which is which under roles of the day.")])  # fmt: skip
    channels: dict[str, Channel] = {}
    notices: list[str] = []
    rows = 0
    for base in dict.fromkeys(s.base for s in named):
        places = [i for i, s in enumerate(named) if s.base == base and columns[i].role]
        if places:
            part = _of_one_base(path, [named[i] for i in places], clocks.get(base),
                                [columns[i] for i in places], wish)  # fmt: skip
            channels |= part.log.channels
            notices += part.notices
            rows = max(rows, part.rows)
            for i, column in zip(places, part.columns, strict=False):
                columns[i] = column
    return ReadLog(log=Log(channels=channels), columns=tuple(columns),
                   notices=tuple(dict.fromkeys(notices)), rows=rows)  # fmt: skip


def _of_one_base(
    path: Path,
    stored: Sequence[_Stored],
    clock: _Stored | None,
    columns: Sequence[Column],
    wish: LogWish,
) -> ReadLog:
    """Return the channels of one time base."""
    own = list(columns)
    arrays = {}
    for i, one in enumerate(stored):
        values = one.load()
        if values.dtype.kind not in "iufb" or values.ndim != 1:
            raise FileFault([Fault(what=f"'{one.name}' holds no single numbers", file=path.name,
                                   found=str(values.dtype), cure="Give its role to another "
                                   "channel.")])  # fmt: skip
        arrays[str(i)] = values.astype(float)
    if clock is not None:
        own.append(Column(name=clock.name, unit=clock.unit, role="time", is_guess=False))
        arrays[str(len(stored))] = np.asarray(clock.load(), dtype=float)
    sizes = {values.size for values in arrays.values()}
    if len(sizes) > 1:
        raise FileFault([Fault(what="channels of one time base have several lengths",
                               file=path.name, found=str(sorted(sizes)[:6]))])  # fmt: skip
    table = pl.DataFrame(arrays)
    lines = np.arange(1, table.height + 1, dtype=float)
    return assembled(path, own, list(range(len(own))), table, lines, wish, [])


def stored_names(path: Path) -> tuple[str, ...]:
    """Return the names of the channels of an HDF5 or MDF file, as roles and units call them."""
    if path.suffix.lower() == ".mf4":
        with _mdf_library(path).MDF(path) as file:
            return tuple(s.name for s in _mdf_channels(file) if not s.is_time)
    import h5py

    with h5py.File(path, "r") as file:
        return tuple(s.name for s in _hdf5_channels(file) if not s.is_time)
