"""The piece of its part's surface that each wall cell stands for, and the loads that follow.

With the wall law the load of a wall cell is the pressure at the wall on the piece of surface that
the cell stands for, and the friction of the law. The momentum that its cut links exchange is what
the air loses to the last digit, but not what pushes the part: between the faces of the last cells
and a wall that lies d cells from their centres there is a gap of d − ½ cells that is not computed.
A nose takes up ρ u times that gap, and it is given back further down without its momentum.
Both are recorded (rows 0 to 2 and 10 to 12 of the wall rows), and told.
What passes an opening hands over its momentum beside the pressure there.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tuftwork.flow.nest import GHOST, Nest
from tuftwork.flow.setup import SOLID, Setup

if TYPE_CHECKING:
    from tuftwork.flow.case import FlowCase
    from tuftwork.flow.prepare import Prepared
    from tuftwork.flow.result import FlowResult

Floats = npt.NDArray[np.float64]
_AT_ONCE = 300_000
"""Triangles that are shared among cells at once, for the memory that takes. [-]"""
_WET = 3.0
"""A place whose cells lie further off is not wetted: it lies inside another part. [cells]"""


def facings(case: "FlowCase", boxes: Sequence["Prepared"]) -> list[npt.NDArray[np.float32]]:
    """Return the piece of surface of each wall cell, by box; outward, in cells² of the box.

    Over a closed part that no other hides they add up to nothing.

    Parameters
    ----------
    case
        What was asked.
    boxes
        Every box of cells as it is shown, the outermost first.

    Returns
    -------
    facing
        For each box. Shape (3, n_wall).
    """
    from tuftwork.flow.output import split_surface
    from tuftwork.flow.surface_map import places_of, weights_of

    counts = [box.setup.walls.cell.size for box in boxes]
    places, total = np.concatenate([places_of(box) for box in boxes]), np.zeros((sum(counts), 3))
    for n, part in enumerate(case.parts):
        if part.porous is not None:
            continue
        vertices, faces = split_surface(case, n)
        sides = (1.0,) if part.is_closed else (1.0, -1.0)
        for turn, start in product(sides, range(0, len(faces), _AT_ONCE)):
            a, b, c = (vertices[faces[start : start + _AT_ONCE, k]] for k in range(3))
            area = 0.5 * turn * np.cross(b - a, c - a)
            middle = (a + b + c) / 3
            look = area / np.maximum(np.linalg.norm(area, axis=1), 1e-30)[:, None]
            weights = weights_of(boxes, n, middle, look)
            far = np.linalg.norm(weights @ places - middle, axis=1)
            wet = (np.diff(weights.indptr) > 0) & (far < _WET * case.finest)
            wet &= ~_is_hidden(boxes, middle, look)
            total += weights.T @ np.where(wet[:, None], area, 0.0)
    ends = np.cumsum([0, *counts])
    return [
        np.ascontiguousarray(total[start:end].T / box.case.cell**2, dtype=np.float32)
        for box, start, end in zip(boxes, ends[:-1], ends[1:], strict=True)
    ]


def _is_hidden(boxes: Sequence["Prepared"], middle: Floats, look: Floats) -> npt.NDArray[np.bool_]:
    """Say which places have no air a cell ahead of them: another part or the road lies there."""
    out = np.zeros(len(middle), bool)
    todo = np.ones(len(middle), bool)
    for number, box in reversed(list(enumerate(boxes))):
        at = np.rint((middle - np.array(box.origin)) / box.case.cell + look).astype(int)
        edge = GHOST if number else 0
        high = np.array(box.setup.shape) - edge
        inside = todo & np.all((at >= edge) & (at < high), axis=1)
        x, y, z = at[inside].T
        out[inside] = box.setup.mark[z, y, x] == SOLID
        todo &= ~inside
    return out


def with_facing(
    nests: Sequence[Nest], shown: Sequence[Setup], facing: Sequence[npt.NDArray[np.float32]]
) -> tuple[tuple[Nest, ...], list[Setup]]:
    """Return the boxes as they run and as they are shown with the facing of their wall cells.

    Parameters
    ----------
    nests, shown
        Every box, the outermost first.
    facing
        Of the wall cells as they are shown. Shapes (3, n_wall).
    """
    run, seen = [], []
    for nest, setup, own in zip(nests, shown, facing, strict=True):
        walls = nest.setup.walls
        every = np.zeros((3, walls.cell.size), np.float32)
        every[:, np.isin(walls.cell, setup.walls.cell)] = own
        run.append(replace(nest, setup=replace(nest.setup, walls=replace(walls, facing=every))))
        seen.append(replace(setup, walls=replace(setup.walls, facing=own)))
    return tuple(run), seen


def exchanged(result: "FlowResult") -> Floats:
    """Return the mean load of all parts by the momentum of the air, x, y, z. Shape (3,). [m²]."""
    out = np.zeros(3)
    for box in (result, *result.boxes):
        walls = box.prepared.setup.walls
        counted = walls.counted()
        own = (counted > 0) & (counted <= len(box.prepared.case.parts))
        out += box.wall_rows[10:13, own].sum(axis=1) * box.prepared.area_per_force
    return out


def said_of_books(result: "FlowResult") -> list[str]:
    """Return what the loads are by the momentum of the air; nothing where that is the load."""
    walls = result.prepared.setup.walls
    if walls.facing is None or any(p.porous is not None for p in result.prepared.case.parts):
        return []
    drag, _, lift = exchanged(result)
    return [
        f"By the momentum of the air CxS and CzS are {drag:.3g} and {-lift:.3g} m², by pressure on "
        f"the surfaces and friction {result.drag_area.mean:.3g} and "
        f"{result.downforce_area.mean:.3g} m², which are the loads told. They part by where walls "
        "lie in their cells."
    ]
