"""A surface with fewer triangles for a record: vertices of one place and one side become one."""

from dataclasses import dataclass

import numpy as np
from jaxtyping import Float, Int, Real


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinned:
    """A surface of fewer triangles.

    Attributes
    ----------
    vertices : (n, 3)
        Places. [m]
    faces : (m, 3)
        Three vertices each.
    of : (n_before,)
        The new vertex of every old one; -1 where no triangle is left that needs it.
    """

    vertices: Float[np.ndarray, "n 3"]
    faces: Int[np.ndarray, "m 3"]
    of: Int[np.ndarray, " n_before"]

    def mean(self, values: Real[np.ndarray, " n_before"]) -> Float[np.ndarray, " n"]:
        """Return the mean of what stood on the vertices that became one."""
        kept = self.of >= 0
        count = np.bincount(self.of[kept], minlength=len(self.vertices))
        total = np.bincount(
            self.of[kept], weights=values[kept].astype(float), minlength=len(self.vertices)
        )
        return total / np.maximum(count, 1)


def whole(vertices: Float[np.ndarray, "n 3"], faces: Int[np.ndarray, "m 3"]) -> Thinned:
    """Return a surface as it is, with nothing thinned."""
    return Thinned(vertices=vertices, faces=faces, of=np.arange(len(vertices)))


def thinned(
    vertices: Float[np.ndarray, "n_before 3"],
    faces: Int[np.ndarray, "m_before 3"],
    part: Int[np.ndarray, " n_before"],
    size: float,
) -> Thinned:
    """Return a surface whose vertices stand about `size` apart.

    Vertices of one part and one cube of that size that look the same way become one, at their mean
    place. The two sides of a plate look opposite ways and stay apart, however thin it is.

    Parameters
    ----------
    vertices
        Places. [m]
    faces
        Three vertices each.
    part
        Number of the part that each vertex belongs to.
    size
        Edge of a cube. [m]

    Raises
    ------
    ValueError
        If the size is not positive.
    """
    if not size > 0:
        raise ValueError(f"size of a cube: {size}; it must be positive")
    corner = vertices[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal = np.zeros_like(vertices, dtype=float)
    for k in range(3):
        np.add.at(normal, faces[:, k], across)
    axis = np.abs(normal).argmax(axis=1)
    side = 2 * axis + (np.take_along_axis(normal, axis[:, None], 1)[:, 0] > 0)
    key = np.column_stack([np.floor(vertices / size).astype(np.int64), side, part])
    _, group = np.unique(key, axis=0, return_inverse=True)
    group = group.reshape(-1)
    new = group[faces]
    flat = (new[:, 0] == new[:, 1]) | (new[:, 1] == new[:, 2]) | (new[:, 2] == new[:, 0])
    new = new[~flat]
    _, first = np.unique(np.sort(new, axis=1), axis=0, return_index=True)
    new = new[np.sort(first)]
    used, new = np.unique(new, return_inverse=True)
    renumber = np.full(group.max(initial=-1) + 1, -1)
    renumber[used] = np.arange(len(used))
    of = renumber[group]
    kept, count = of >= 0, np.bincount(of[of >= 0], minlength=len(used))
    places = np.column_stack(
        [np.bincount(of[kept], weights=vertices[kept, k], minlength=len(used)) for k in range(3)]
    )
    return Thinned(vertices=places / np.maximum(count, 1)[:, None], faces=new.reshape(-1, 3), of=of)
