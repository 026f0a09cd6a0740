"""From the cells beside a wall to places on a surface: a weight for each, the same at any time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from tuftwork.flow.engine import lever

if TYPE_CHECKING:
    from tuftwork.flow.prepare import Prepared

Floats = npt.NDArray[np.float64]
NEAREST, _SOUGHT = 4, 16
"""Wall cells that a place is read from, and among how many its own side's are sought. [-]"""


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


def boxes_of(prepared: "Prepared") -> "tuple[Prepared, ...]":
    """Return every box of cells of a case as it is shown, the outermost first."""
    return (prepared, *prepared.boxes)


def places_of(prepared: "Prepared") -> Floats:
    """Return where each wall cell of a box has its foot. Shape (n_wall, 3). [m]."""
    at = prepared.case.cell * lever(prepared.setup)
    return np.asarray(at.T + np.array(prepared.origin))


def outward(vertices: Floats, faces: npt.NDArray[np.int64]) -> Floats:
    """Return the directions in which a closed surface looks at its vertices. Shape (n, 3). [-]."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    out = np.zeros((len(vertices), 3))
    for corner in faces.T:
        np.add.at(out, corner, face)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-30))


def weights_of(
    boxes: "Sequence[Prepared]", part: int, places: Floats, normals: Floats | None = None
) -> Any:
    """Return the weights of the nearest wall cells beside a part at some places.

    Parameters
    ----------
    boxes
        Every box of cells, the outermost first.
    part
        Number of the part, from 0.
    places : (n, 3)
        [m]
    normals : (n, 3)
        Which way the surface looks there: of cells on both sides of a thin part those on the own
        side count. None: the side is not asked for.

    Returns
    -------
    weights : (n, n_wall)
        Sparse rows that add up to 1; empty ones where nothing lies beside the part.
    """
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    feet, number, looks, start = [], [], [], 0
    for box in boxes:
        walls = box.setup.walls
        own = np.flatnonzero((walls.counted() == part + 1) & (walls.geometry[3] >= 0))
        feet.append(places_of(box)[own])
        number.append(start + own)
        looks.append(walls.geometry[:3, own].T.astype(float))
        start += walls.cell.size
    foot, cell = np.concatenate(feet), np.concatenate(number)
    if not len(foot):  # swallowed by another part: nothing blows on it
        return csr_array((len(places), start))
    count = min(NEAREST, len(foot))
    wide = count if normals is None else min(_SOUGHT, len(foot))
    share, near = (np.asarray(found).reshape(len(places), -1)
                   for found in cKDTree(foot).query(places, k=wide))  # fmt: skip
    if normals is not None:
        own = np.einsum("nkd,nd->nk", np.concatenate(looks)[near], normals) > 0
        first = np.argsort(np.where(own, share, share + 1e6), axis=1, kind="stable")[:, :count]
        share, near, own = (np.take_along_axis(found, first, 1) for found in (share, near, own))
    weight = 1.0 / (share + 0.1 * boxes[0].case.finest)
    if normals is not None:  # where none lies on the own side, the nearest must do
        weight = np.where(own | ~own.any(axis=1, keepdims=True), weight, 0.0)
    weight /= weight.sum(axis=1, keepdims=True)
    rows = np.arange(0, weight.size + 1, count)
    return csr_array((weight.ravel(), cell[near].ravel(), rows), shape=(len(places), start))
