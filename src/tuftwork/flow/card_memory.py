"""Memory on a graphics card beside that of the cells: walls, edges of boxes, looks, samples."""

from collections.abc import Sequence

import numpy as np

from tuftwork.flow.case import FlowCase
from tuftwork.flow.cuda import BYTES_PER_WALL_CELL
from tuftwork.flow.doubt import RIPPLE_REACH
from tuftwork.flow.layer import layer_depths
from tuftwork.flow.nest_prepare import Lay
from tuftwork.flow.window import PIECE

LOOKING = 40
"""Taken for a moment, per cell of the piece that is looked at: moments, and what is worked out of
them. Seen with arrays of the same kinds on the host. [B]"""
EDGE = 75
"""Lists and moments per cell on the faces of a finer box, seen on a generic car. [B]"""
_ROAD, _PART = 2.0, 1.0
"""Wall cells over the cells of one layer of a box that stands on the road, and over the parts' area
in cells of the finest box: seen 1.8 to 2.0, and 0.8 to 0.9 on a generic car. A part with a mixing
layer has as many times that as the layer is deep. [-]"""


def memory_beside(case: FlowCase, boxes: Sequence[Lay]) -> float:
    """Return what a card holds at most beside the cells' own, before any grid is cut. [B].

    Parameters
    ----------
    case
        What is run.
    boxes
        Its boxes of cells, the outermost first.
    """
    walls = BYTES_PER_WALL_CELL * _about_walls(case, boxes)
    edges = EDGE * sum(_faces(box) for box in boxes if box.level)
    return float(walls + edges + LOOKING * max(map(_looked_at, boxes)))


def _about_walls(case: FlowCase, boxes: Sequence[Lay]) -> float:
    """Estimate the cells beside walls: the road's in every box on it, the parts' in the finest."""
    count = 0.0
    finest = case.on_level(max((z.level for z in case.zones), default=0))
    for part, depth in zip(case.parts, layer_depths(finest)[1:], strict=False):
        corner = part.triangles()
        across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        area = 0.5 * float(np.linalg.norm(across, axis=1).sum())
        count += _PART * max(1, int(depth)) * area / case.finest**2
    if case.road != "none":
        stands = (box for box in boxes if box.origin[2] < 0.0)
        count += _ROAD * sum(box.shape[0] * box.shape[1] for box in stands)
    return count


def _faces(box: Lay) -> int:
    x, y, z = box.shape
    return 2 * (x * y + y * z + z * x)


def _looked_at(box: Lay) -> int:
    """Cells of the largest piece, with the layers above it that ripple needs."""
    x, y, z = box.shape
    return x * y * min(max(1, PIECE // (x * y)) + RIPPLE_REACH, z)
