"""Reading circuits: the open form x, y, width right, width left; heights and banks if given."""

import csv
from pathlib import Path

import numpy as np

from tuftwork.errors import Fault, FileFault
from tuftwork.lap import Circuit, circuit_from_line
from tuftwork.quantity import Array

_NAMES = {
    "x_m": "x", "x": "x", "y_m": "y", "y": "y",
    "w_tr_right_m": "width_right", "width_right": "width_right", "width_right_m": "width_right",
    "w_tr_left_m": "width_left", "width_left": "width_left", "width_left_m": "width_left",
    "height": "height", "height_m": "height", "z_m": "height",
    "bank_deg": "bank_deg",
}  # fmt: skip
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


def _read_columns(path: Path) -> dict[str, Array]:
    """Return the file's columns by name."""
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
    if "x" not in found or "y" not in found:
        raise FileFault(
            [Fault(what="no x or y column", file=str(path), line=1, found=", ".join(order))]
        )
    return found
