"""From the project's tables to the road that is driven: its source, and the line on it."""

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

import numpy as np

from tuftwork.car import LapCircuit, Project
from tuftwork.errors import NotCovered
from tuftwork.lap import (
    Circuit,
    Piece,
    circuit_from_drawing,
    circuit_from_radii,
    least_curvature_line,
)
from tuftwork.lap.path import circuit_on, room_on
from tuftwork.study.job import Job
from tuftwork.study.store import Tree

SPACING = 6.0
"""Distance between the points of a quickest line. [m]"""

_OF_LAPS, _OF_DRAWING = 8.0, 15.0  # [m] smoothing where none is given
_HALF_WIDTH = 5.0  # [m]


def line_name(circuit: str) -> str:
    """Return the name of the step that finds a circuit's quickest line."""
    return f"lap line of {circuit}"


def line_needs(table: LapCircuit) -> tuple[str, ...]:
    """Return the steps a circuit's road needs."""
    return (line_name(table.name),) if table.line == "least time" else ()


def circuit_inputs(job: Job, table: LapCircuit) -> Tree:
    """Return everything a circuit depends on, its files' contents among it."""
    found = {}
    for name in table.files:
        path = (job.folder or Path()) / "evidence" / name
        found[name] = sha256(path.read_bytes()).hexdigest() if path.is_file() else "missing"
    return {"table": table.model_dump_json(), "files": found}


def circuit_made(table: LapCircuit, folder: Path | None) -> Circuit:
    """Return the circuit a table describes, on the line its source gives.

    Raises
    ------
    FileFault, InputError
        If a file cannot be read or the line cannot be driven.
    """
    evidence = (folder or Path()) / "evidence"
    stamps = []
    for name in table.files:
        path = evidence / name
        status = path.stat() if path.is_file() else None
        stamps.append((status.st_size, status.st_mtime_ns) if status is not None else (0, 0))
    return _made(table, evidence, tuple(stamps))


@lru_cache(maxsize=12)
def _made(table: LapCircuit, evidence: Path, stamps: tuple[tuple[int, int], ...]) -> Circuit:
    """Return a circuit, the same one while its files stand as ``stamps`` say: many laps ask."""
    smoothing = table.smoothing.best if table.smoothing is not None else None
    half = table.half_width.best if table.half_width is not None else _HALF_WIDTH
    if table.file:
        from tuftwork.files.circuit import read_circuit

        return read_circuit(evidence / table.file, name=table.name, smoothing=smoothing or 0.0)
    if table.laps:
        from tuftwork.files.circuit import read_laps

        return read_laps(
            [evidence / name for name in table.laps], name=table.name, half_width=half,
            smoothing=_OF_LAPS if smoothing is None else smoothing,
        )  # fmt: skip
    if table.marks:
        assert table.pixel is not None
        return circuit_from_drawing(
            table.name, np.array(table.marks), table.pixel.best, half_width=half,
            smoothing=_OF_DRAWING if smoothing is None else smoothing,
        )  # fmt: skip
    return _of_pieces(table, half)


def _of_pieces(table: LapCircuit, half: float) -> Circuit:
    pieces = []
    for stretch in table.stretches:
        if stretch.length is not None:
            pieces.append(Piece(length=stretch.length.best, fixed=stretch.is_fixed))
            continue
        assert stretch.radius is not None
        assert stretch.turn is not None
        pieces.append(
            Piece(
                radius=stretch.radius.best, angle=stretch.turn.best, name=stretch.name,
                transition=stretch.transition.best if stretch.transition else 0.0,
                bank=stretch.bank.best if stretch.bank else 0.0, fixed=stretch.is_fixed,
            )
        )  # fmt: skip
    length = table.length.best if table.length is not None else None
    made = circuit_from_radii(table.name, pieces, length=length)
    if half == _HALF_WIDTH:
        return made
    from dataclasses import replace

    wide = np.full_like(made.width_left, half)
    return replace(made, width_left=wide, width_right=wide)


def circuit_driven(
    project: Project, table: LapCircuit, folder: Path | None, results: Mapping[str, Tree]
) -> Circuit:
    """Return the circuit on the line that is driven.

    Parameters
    ----------
    project, table, folder
        The project, the circuit in it, and where its files lie.
    results
        Of the steps so far; a quickest line is among them.

    Raises
    ------
    FileFault, InputError, NotConverged, NotCovered
        As :func:`circuit_made`; if the line cannot be found.
    """
    made = circuit_made(table, folder)
    assert project.lap is not None
    width = project.lap.width.best
    if table.line == "least curvature":
        return least_curvature_line(made, car_width=width)
    if table.line == "least time":
        found = results[line_name(table.name)]
        if "refused" in found:
            raise NotCovered(f"no quickest line: {found['refused']}")
        gained = float(found["times"][0]) - float(np.min(found["times"]))
        note = (
            "quickest line for the baseline car, held for every state: "
            f"{float(found['given']) - float(np.min(found['times'])):.1f} s quicker than the line "
            f"given, {gained:.1f} s than the line of least curvature; a driver keeps some of it"
        )
        return circuit_on(room_on(made, width, SPACING), np.asarray(found["offset"]), note)
    return made
