"""Logs in open binary forms: Parquet, HDF5, and ASAM MDF 4 through an optional library."""

from pathlib import Path

import numpy as np
import polars as pl

from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.files.logtable import (
    LogWish,
    ReadLog,
    assembled,
    columns_of,
    foreign_unit,
    unit_of_column,
)
from tuftwork.quantity import Array
from tuftwork.trial.guess import split_unit, to_role_si
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


def read_hdf5(path: Path, wish: LogWish) -> ReadLog:
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
    columns = columns_of(names, [found[n][1] for n in names], wish)
    used = [i for i, c in enumerate(columns) if c.role]
    table = pl.DataFrame({str(i): found[names[i]][0] for i in used})
    lines = np.arange(1, table.height + 1, dtype=float)
    return assembled(path, columns, used, table, lines, wish, [])


def read_mdf(path: Path, wish: LogWish) -> ReadLog:
    """Read an ASAM MDF 4 file; each channel keeps its own time base."""
    try:
        from asammdf import MDF
    except ImportError as error:
        raise InputError("file", path.name, "", "MDF needs an optional library",
                         "Install the extra: pip install 'tuftwork[logs]'.") from error  # fmt: skip
    channels: dict[str, Channel] = {}
    with MDF(path) as file:
        signals = [s for s in file.iter_channels() if s.samples.dtype.kind in "iuf"]
    columns = columns_of([s.name for s in signals], [s.unit or "" for s in signals], wish)
    notices: list[str] = []
    for i, signal in enumerate(signals):
        role = columns[i].role
        if not role or role == "time":
            continue
        values = np.asarray(signal.samples, dtype=float)
        unit, guessed = unit_of_column(columns[i], values, role)
        if unit is None:
            raise FileFault([foreign_unit(path, columns[i], role)])
        if guessed:
            notices.append(f"'{signal.name}' states no unit; read as {unit}.")
        channels[role] = Channel(
            name=signal.name, time=np.asarray(signal.timestamps, dtype=float), unit=unit,
            values=to_role_si(values, role, unit),
        )  # fmt: skip
    rows = max((c.time.size for c in channels.values()), default=0)
    return ReadLog(log=Log(channels=channels), columns=tuple(columns), notices=tuple(notices),
                   rows=rows)  # fmt: skip
