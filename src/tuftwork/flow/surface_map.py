"""From the cells beside a wall to places on a surface: a weight for each, the same at any time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.flow.engine import lever
from tuftwork.flow.prepare import Prepared

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceMap:
    """A surface and how its values follow from those of the wall cells of all boxes.

    Attributes
    ----------
    vertices, faces
        Triangles. Shapes (n, 3) [m] and (m, 3).
    part
        Number of the part of each vertex. Shape (n,).
    weights
        Sparse; no row is empty but where no cell lies beside the part. Shape (n, n_wall).
    """

    vertices: Floats
    faces: npt.NDArray[np.int64]
    part: npt.NDArray[np.int64]
    weights: Any

    def of(self, values: Floats) -> Floats:
        """Return values on the vertices from those of the wall cells; not-a-number where none is.

        Parameters
        ----------
        values : (n_wall,)
            Box after box, the outermost first.
        """
        known = np.diff(self.weights.indptr) > 0
        return np.where(known, self.weights @ values, np.nan)


def boxes_of(prepared: Prepared) -> tuple[Prepared, ...]:
    """Return every box of cells of a case as it is shown, the outermost first."""
    return (prepared, *prepared.boxes)


def weights_of(boxes: Sequence[Prepared], part: int, places: Floats) -> Any:
    """Return the weights of the nearest wall cells beside a part at some places.

    Parameters
    ----------
    boxes
        Every box of cells, the outermost first.
    part
        Number of the part, from 0.
    places : (n, 3)
        [m]

    Returns
    -------
    weights : (n, n_wall)
        Sparse rows that add up to 1; empty ones where nothing lies beside the part.
    """
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    feet, number, start = [], [], 0
    for box in boxes:
        walls = box.setup.walls
        own = np.flatnonzero((walls.counted() == part + 1) & (walls.geometry[3] >= 0))
        at = box.case.cell * lever(box.setup)[:, own]
        feet.append((at + np.array(box.origin)[:, None]).T)
        number.append(start + own)
        start += walls.cell.size
    foot, cell = np.concatenate(feet), np.concatenate(number)
    if not len(foot):  # swallowed by another part: nothing blows on it
        return csr_array((len(places), start))
    count = min(4, len(foot))
    share, near = cKDTree(foot).query(places, k=count)
    weight = 1.0 / (np.asarray(share).reshape(len(places), -1) + 0.1 * boxes[0].case.finest)
    weight /= weight.sum(axis=1, keepdims=True)
    columns = cell[np.asarray(near).reshape(len(places), -1)]
    rows = np.arange(0, weight.size + 1, count)
    return csr_array((weight.ravel(), columns.ravel(), rows), shape=(len(places), start))
