"""Where walls are smooth: away from edges and hollow corners.

What a wall cell makes where air gathers along its wall (``wall_recipe``) rests on a wall that is
flat as far as the cell's links reach, and on speed that varies evenly along it. Beside an edge it
is neither: there the stream let go of slants that it holds on to; in hollow corners air that was
made called for more, and the flow grew without bound.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tuftwork.flow.bend import EDGE, bends
from tuftwork.flow.blunt import as_knives
from tuftwork.flow.edge import points_along, sharp_edges
from tuftwork.flow.lattice import VELOCITY
from tuftwork.flow.setup import SURROUNDINGS, Floats, WallLinks

BESIDE = 2.0
"""A cell whose centre lies this close to an edge or a cell in a hollow corner is beside it: links
reach as far. [cells]"""
OTHER = 0.3
"""A link that meets something this far ahead of the cell's own wall meets another wall; a hollow of
3.3 cells radius still counts as one. [cells]"""
_UPRIGHT = 0.99


def grounds(
    links: WallLinks,
    shape: tuple[int, ...],
    parts: Sequence[Floats],
    stream: Sequence[float] | None = None,
) -> npt.NDArray[np.float32]:
    """Return how the wall beside each wall cell bends, and whether it is smooth there.

    Parameters
    ----------
    links
        The wall links, with true normals.
    shape
        Cells along z, y, x.
    parts
        Triangles of each part. Shapes (n, 3, 3). [cells]
    stream
        Direction of the stream, which tells thin cut tails; None: they are not looked for. (3,)

    Returns
    -------
    ground : (7, n_wall)
        The six of ``bends`` [1/cell], and 1 where the wall is smooth, 0 elsewhere. [-]
    """
    return np.concatenate([bends(links, shape), _is_smooth(links, shape, parts, stream)[None]])


def _is_smooth(
    links: WallLinks,
    shape: tuple[int, ...],
    parts: Sequence[Floats],
    stream: Sequence[float] | None,
) -> npt.NDArray[np.float32]:
    """Return 0 for cells beside outer edges but knife edges, and in hollow corners. Shape (n,)."""
    from scipy.spatial import cKDTree

    out = np.ones(links.cell.size, np.float32)
    ends = [np.zeros((0, 2, 3))]
    for tri in parts:
        faces = np.arange(3 * len(tri)).reshape(-1, 3)
        edges = sharp_edges(tri.reshape(-1, 3), faces, turn=EDGE)
        edges = edges if stream is None else as_knives(edges, stream)
        ends.append(edges.ends[edges.normals.any(axis=(1, 2))])
    at = np.stack(np.unravel_index(links.cell, shape)[::-1], axis=1)
    place = np.concatenate([points_along(np.concatenate(ends))[0], at[_meets_another(links)]])
    if len(place) and out.size:
        out[cKDTree(place).query(at, distance_upper_bound=BESIDE)[0] <= BESIDE] = 0.0
    return out


def _meets_another(links: WallLinks) -> npt.NDArray[np.bool_]:
    """Say which cells have a link that meets something in front of their own wall. Shape (n,)."""
    steep = VELOCITY[1:].astype(np.float32) @ links.geometry[:3]
    is_ahead = (links.cut > 0) & (np.abs(links.geometry[3]) + links.shares() * steep > OTHER)
    # where floor and walls of a tunnel meet, a cell has the way between them as its normal
    is_tilted = np.abs(links.geometry[:3]).max(axis=0) < _UPRIGHT
    return np.asarray(is_ahead.any(axis=0) | (links.main == SURROUNDINGS) & is_tilted)
