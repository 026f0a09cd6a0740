"""Reading circuits: the open form x, y, width right, width left; laps logged by satellite."""

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tuftwork.errors import Fault, FileFault
from tuftwork.lap import Circuit, circuit_from_laps, circuit_from_line
from tuftwork.quantity import Array

_NAMES = {
    "x_m": "x", "x": "x", "y_m": "y", "y": "y",
    "w_tr_right_m": "width_right", "width_right": "width_right", "width_right_m": "width_right",
    "w_tr_left_m": "width_left", "width_left": "width_left", "width_left_m": "width_left",
    "height": "height", "height_m": "height", "z_m": "height",
    "bank_deg": "bank_deg",
    "latitude": "latitude", "lat": "latitude", "latitude_deg": "latitude", "lat_deg": "latitude",
    "longitude": "longitude", "lon": "longitude", "lon_deg": "longitude", "long": "longitude",
    "longitude_deg": "longitude",
}  # fmt: skip
_PLACES = (("latitude", "longitude"), ("x", "y"))
_ORDER = ("x", "y", "width_right", "width_left")


def read_circuit(path: Path, *, name: str | None = None, smoothing: float = 0.0) -> Circuit:
    """Read a circuit's centre line from a comma-separated file.

    Parameters
    ----------
    path : ()
        File with columns x, y [m] and, if known, width right, width left, height [m], bank [deg].
        A first line of names, with or without ``#``, may give another order.
    name : ()
        Name of the circuit; None for the file's own. [-]
    smoothing : ()
        Smoothing length of the line. [m]

    Returns
    -------
    circuit : ()
        Closed circuit. [-]

    Raises
    ------
    FileFault
        With every faulty line.
    InputError
        If the numbers do not make a circuit.
    """
    columns = _read_columns(Path(path))
    widths = None
    if "width_right" in columns and "width_left" in columns:
        widths = np.stack([columns["width_right"], columns["width_left"]], axis=1)
    bank = columns.get("bank_deg")
    return circuit_from_line(
        name or Path(path).stem,
        np.stack([columns["x"], columns["y"]], axis=1),
        widths=widths,
        height=columns.get("height"),
        bank=None if bank is None else np.radians(bank),
        smoothing=smoothing,
    )


def read_laps(
    paths: Sequence[Path], *, name: str, smoothing: float = 8.0, half_width: float = 5.0
) -> Circuit:
    """Read a circuit from laps logged by satellite: averaged, closed, smoothed.

    Parameters
    ----------
    paths : (n_lap,)
        Files of one lap each, with columns latitude and longitude [deg], or x and y [m]; all of
        one kind.
    name : ()
        Name of the circuit. [-]
    smoothing, half_width : ()
        Smoothing length, and the width assumed to either side. [m]

    Returns
    -------
    circuit : ()
        The mean of the driven lines. [-]

    Raises
    ------
    FileFault
        With every faulty line, or if the files are not of one kind.
    InputError
        If the laps do not make a circuit.
    """
    found = [_read_columns(Path(path), places=_PLACES) for path in paths]
    kinds = ["latitude" in columns for columns in found]
    if len(set(kinds)) > 1:
        odd = paths[kinds.index(not kinds[0])]
        first = "latitude and longitude" if kinds[0] else "x and y"
        raise FileFault([Fault(what="is of another kind", file=str(odd), expected=first)])
    names = ("latitude", "longitude") if kinds[0] else ("x", "y")
    laps = [np.stack([columns[n] for n in names], axis=1) for columns in found]
    for lap, path in zip(laps, paths, strict=True):
        if kinds[0] and not (np.all(np.abs(lap[:, 0]) <= 90.0) and np.all(np.abs(lap) <= 180.0)):
            raise FileFault(
                [Fault(what="latitude or longitude beyond the globe", file=str(path),
                       expected="degrees", found="metres or minutes of arc?")]
            )  # fmt: skip
    return circuit_from_laps(
        name, laps, degrees=kinds[0], smoothing=smoothing, half_width=half_width
    )


def _read_columns(
    path: Path, places: tuple[tuple[str, str], ...] = (("x", "y"),)
) -> dict[str, Array]:
    """Return the file's columns by name; one of the pairs of places must be there."""
    faults: list[Fault] = []
    rows: list[list[float]] = []
    order: list[str] = list(_ORDER)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise FileFault([Fault(what=f"cannot be read: {error}", file=str(path))]) from error
    for number, cells in enumerate(csv.reader(lines), start=1):
        cells = [c.strip().lstrip("#").strip() for c in cells]
        if not any(cells):
            continue
        if not rows and any(c.lower() in _NAMES for c in cells):
            order = [_NAMES.get(c.lower(), c) for c in cells]
            continue
        if not rows and lines[number - 1].lstrip().startswith("#"):
            continue
        try:
            values = [float(c) for c in cells[: len(order)]]
        except ValueError:
            faults.append(
                Fault(what="not numbers", file=str(path), line=number, found=", ".join(cells),
                      expected=", ".join(order))
            )  # fmt: skip
            continue
        if rows and len(values) != len(rows[0]):
            faults.append(
                Fault(what="wrong number of columns", file=str(path), line=number,
                      found=str(len(values)), expected=str(len(rows[0])))
            )  # fmt: skip
            continue
        rows.append(values)
    if not rows or len(rows[0]) < 2:
        faults.append(
            Fault(what="no line of points", file=str(path), expected="columns x, y, widths")
        )
    if faults:
        raise FileFault(faults)
    table = np.array(rows)
    found = dict(zip(order[: table.shape[1]], table.T, strict=True))
    if not any(a in found and b in found for a, b in places):
        wanted = " or ".join(f"{a} and {b}" for a, b in places)
        raise FileFault(
            [Fault(what=f"no columns {wanted}", file=str(path), line=1, found=", ".join(order))]
        )
    return found
