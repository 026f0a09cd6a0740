"""Cells where two walls meet at a hollow angle: slip along one would be flow through the other.

A wall with the wall law sends populations back at the cell's velocity along the wall. In a hollow
corner or a wedge that velocity points into the other wall, which then acts as if it moved: it
swallows or blows air, and between a splitter, a body and the road it pumps until the run breaks.
Such a cell has a cut link that does not point into its own wall; there all walls hold the air.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.lattice import VELOCITY
from tuftwork.flow.setup import WallLinks

_INTO = -0.02
"""A link whose cosine with the wall's normal is above this does not meet that wall: beside a flat
or bulging one it cannot be cut. [-]"""
_MOST_SURFACES = 255


def hollow_cells(links: WallLinks) -> npt.NDArray[np.bool_]:
    """Return the wall cells that have a cut link which does not point into their own wall.

    Parameters
    ----------
    links
        The wall links.

    Returns
    -------
    is_hollow : (n_wall,)
        Corners, wedges and gaps of one cell; never cells beside one flat or bulging wall.
    """
    velocity = VELOCITY[1:].astype(np.float32)
    unit = velocity / np.linalg.norm(velocity, axis=1, keepdims=True)
    found = np.zeros(links.cell.size, bool)
    for link, cut in zip(unit, links.cut, strict=True):
        found |= (cut > 0) & (link @ links.geometry[:3] > _INTO)
    return found


def hold_corners(links: WallLinks) -> tuple[WallLinks, int]:
    """Return wall links whose hollow cells have no slip, and how many there are.

    Loads of those cells count to the same surfaces as before.

    Parameters
    ----------
    links
        The wall links.

    Raises
    ------
    InputError
        If there are too many surfaces to tell apart.
    """
    return hold_cells(links, hollow_cells(links), "corners")


def hold_cells(links: WallLinks, which: npt.NDArray[np.bool_], word: str) -> tuple[WallLinks, int]:
    """Return wall links in which some cells have no slip, and how many of them had it.

    Parameters
    ----------
    links
        The wall links.
    which : (n_wall,)
        Cells to hold; those without the wall law stay as they are.
    word
        What they are, for the names of their surfaces.

    Raises
    ------
    InputError
        If there are too many surfaces to tell apart.
    """
    surfaces = list(links.surfaces)
    main = links.main.copy()
    held = 0
    for n, surface in enumerate(links.surfaces):
        own = which & (links.main == n)
        if not surface.has_wall_law or not own.any():
            continue
        to = n if surface.counts_to is None else surface.counts_to
        main[own] = len(surfaces)
        held += int(own.sum())
        surfaces.append(
            replace(surface, name=f"{surface.name}, {word}", has_wall_law=False, counts_to=to)
        )
    if len(surfaces) > _MOST_SURFACES:
        limit = f"with corners, edges and openings must be at most {_MOST_SURFACES}"
        raise InputError("parts", len(surfaces), "", limit, "Join parts.")
    return replace(links, main=main, surfaces=tuple(surfaces)), held
