"""Openings over boxes of cells of several sizes: one flux through all that stands for a face.

Speeds in cells per step are alike in all boxes, and so is the mass that a face lets through per
area. So an opening that two boxes share passes what it is told to if the flux is that over the area
of the cells which answer for it; the cells that only lead over to another box have it too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.case import FlowCase
from tuftwork.flow.lattice import VELOCITY
from tuftwork.flow.setup import Setup, WallLinks
from tuftwork.flow.through import FASTEST, Face, Opening, face_row

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Read = Callable[[int, Ints], Floats]
"""From a box and wall cells of it to a value each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """What one box of cells has of an opening.

    Attributes
    ----------
    box
        Number of the box, 0 the outermost.
    surface
        Its number in the surface table of that box.
    scale
        Cells of the box along the edge of one outermost cell.
    cells, shown
        The cells whose pressure is that of the opening: those that the box answers for and whose
        links, and whose neighbours' links, all lie in it, as long as there are such. Their numbers
        in the wall list of the box as it runs, and as it is shown. Shapes (n,).
    """

    box: int
    surface: int
    scale: int
    cells: Ints
    shown: Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """An opening as all boxes of cells have it.

    Attributes
    ----------
    opening
        What was asked.
    area
        That air passes through. [outermost cells²]
    pieces
        By box; those that only lead over to another box have no cells.
    """

    opening: Opening
    area: float
    pieces: tuple[Piece, ...]

    def mean(self, read: Read, *, shown: bool = False) -> float:
        """Return the mean of a value over its cells, each by its area.

        Parameters
        ----------
        read
            Gives the value.
        shown
            Whether it numbers wall cells as they are shown.
        """
        total, weight = 0.0, 0.0
        for p in self.pieces:
            cells = p.shown if shown else p.cells
            if cells.size:
                total += float(read(p.box, cells).sum()) / p.scale**2
                weight += cells.size / p.scale**2
        return total / weight


def join_faces(
    faces: Sequence[Sequence[Face]],
    setups: Sequence[Setup],
    counted: Sequence[npt.NDArray[np.bool_]],
    scales: Sequence[int],
) -> tuple[Passage, ...]:
    """Return every opening over all boxes.

    Parameters
    ----------
    faces
        By box and opening.
    setups
        The boxes as they run.
    counted
        Wall cells of each box that it answers for.
    scales
        Cells of each box along the edge of one outermost cell.

    Raises
    ------
    InputError
        If no cell that answers for itself lies on an opening.
    """
    out = []
    for own in zip(*faces, strict=True):
        area = 0.0
        every: list[Piece] = []
        inner: list[Piece] = []
        for box, (face, setup, kept, scale) in enumerate(
            zip(own, setups, counted, scales, strict=True)
        ):
            number = _numbers(setup.walls, face.cell)
            mine = np.flatnonzero(number >= 0)
            mine = mine[kept[number[mine]]]
            area += float(face.area[mine].sum()) / scale**2
            whole = number[mine[face.is_whole[mine]]]
            every_whole = number[(number >= 0) & face.is_whole]
            off_rim = whole[~_beside_other(setup, whole, every_whole)]
            shown = np.cumsum(kept) - 1
            for pieces, cells in ((every, whole), (inner, off_rim)):
                pieces.append(Piece(box=box, surface=face.surface, scale=scale, cells=cells,
                                    shown=shown[cells]))  # fmt: skip
        # where what is let through changes, pressure is off by up to a third of the head
        best = inner if any(p.cells.size for p in inner) else every
        passage = Passage(opening=own[0].opening, area=area, pieces=tuple(best))
        _check(passage)
        out.append(passage)
    return tuple(out)


def _beside_other(setup: Setup, cells: Ints, whole: Ints) -> npt.NDArray[np.bool_]:
    """Say which wall cells have a neighbour beside a wall that is not among those wholly open."""
    walls, (lx, ly, _) = setup.walls, setup.shape
    is_whole = np.zeros(walls.cell.size, bool)
    is_whole[whole] = True
    out = np.zeros(cells.size, bool)
    for dx, dy, dz in VELOCITY[1:].tolist():
        number = _numbers(walls, walls.cell[cells] + dx + lx * (dy + ly * dz))
        out |= (number >= 0) & ~is_whole[number]
    return out


def _numbers(walls: WallLinks, cell: Ints) -> Ints:
    """Return the numbers of cells in a wall list, -1 where they are not in it."""
    if not walls.cell.size:
        return np.full(cell.size, -1, np.int64)
    order = np.argsort(walls.cell, kind="stable")
    at = np.minimum(np.searchsorted(walls.cell[order], cell), walls.cell.size - 1)
    return np.where(walls.cell[order[at]] == cell, order[at], -1)


def _check(passage: Passage) -> None:
    """Refuse an opening that no cells stand for, in cells of the finest box that has it."""
    o = passage.opening
    scale = max((p.scale for p in passage.pieces if p.cells.size), default=1)
    area = passage.area * scale**2
    if not area > 1.0:
        limit = f"no open face of '{o.part}' found between {o.low} and {o.high} m "
        limit += f"facing {o.facing}"
        raise InputError(f"opening '{o.name}'", round(area, 2), "cells²", limit)
    if not any(p.cells.size for p in passage.pieces):
        limit = "must be at least 3 cells across"
        raise InputError(f"opening '{o.name}'", round(area, 2), "cells²", limit)


def check_speed(case: FlowCase, passages: Sequence[Passage], flux: Floats) -> None:
    """Refuse faces through which air would pass faster than it can.

    Raises
    ------
    InputError
        With the area that is open.
    """
    for passage, value in zip(passages, flux, strict=True):
        speed = value / case.lattice_speed
        if not speed < FASTEST:
            limit = f"its air must not pass faster than {FASTEST:g} times the car: "
            limit += f"{passage.area * case.cell**2:.4f} m² is open"
            name = f"opening '{passage.opening.name}'"
            raise InputError(name, round(float(speed), 2), "times the car's speed", limit)


def with_flux(table: Floats, passages: Sequence[Passage], box: int, flux: Floats) -> Floats:
    """Return the surface table of a box in which faces let this much through.

    Parameters
    ----------
    table : (n_surface, 13)
        Of the box.
    passages
        The openings.
    box
        Its number.
    flux : (n_passage,)
        Mass per area. [density·cells/step]
    """
    out = table.copy()
    for passage, value in zip(passages, flux, strict=True):
        for piece in passage.pieces:
            if piece.box == box:
                out[piece.surface, 1:4] = face_row(passage.opening, float(value))
    return out


def opened(setup: Setup, passages: Sequence[Passage], box: int, flux: Floats) -> Setup:
    """Return a box whose faces let this much through from the start."""
    table = with_flux(setup.walls.table(), passages, box, flux)
    surfaces = tuple(
        replace(s, velocity=(float(row[1]), float(row[2]), float(row[3]))) if s.is_opening else s
        for s, row in zip(setup.walls.surfaces, table, strict=True)
    )
    return replace(setup, walls=replace(setup.walls, surfaces=surfaces))
