"""Surfaces of equal value through a field, every cell cut into six tetrahedra."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_TETRAHEDRA = ((0, 5, 1, 6), (0, 1, 2, 6), (0, 2, 3, 6), (0, 3, 7, 6), (0, 7, 4, 6), (0, 4, 5, 6))
_CORNERS = np.array(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]
)


def equal_surface(values: Floats, level: float) -> tuple[Floats, Ints]:
    """Return the surface on which a field has a value, by cutting every cell into tetrahedra.

    Parameters
    ----------
    values : (lz, ly, lx)
        Field at cell centres; cells with a corner that is not a number are left out.
    level
        The value.

    Returns
    -------
    vertices : (n, 3)
        In cells along x, y, z, from the first cell's centre.
    faces : (m, 3)
        Corner numbers, in no particular sense.
    """
    lz, ly, lx = values.shape
    above = values > level
    count = np.zeros((lz - 1, ly - 1, lx - 1), np.int8)
    for i, j, k in _CORNERS:
        count += above[k : lz - 1 + k, j : ly - 1 + j, i : lx - 1 + i]
    z, y, x = np.nonzero((count > 0) & (count < 8))
    corner = np.stack([x, y, z], axis=1)[:, None, :] + _CORNERS[None]
    held = values[corner[..., 2], corner[..., 1], corner[..., 0]]
    sound = np.isfinite(held).all(axis=1)
    corner, held = corner[sound], held[sound]
    number = (corner[..., 2] * ly + corner[..., 1]) * lx + corner[..., 0]
    triangles: list[Ints] = []
    for four in _TETRAHEDRA:
        triangles += _cut_tetrahedra(number[:, four], held[:, four] > level)
    if not triangles:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    edge = np.sort(np.concatenate(triangles).reshape(-1, 2), axis=1)
    unique, at = np.unique(edge, axis=0, return_inverse=True)
    flat = values.reshape(-1)
    a, b = flat[unique[:, 0]], flat[unique[:, 1]]
    share = ((level - a) / (b - a))[:, None]
    ends = [np.stack([n % lx, (n // lx) % ly, n // (lx * ly)], axis=1) for n in unique.T]
    return ends[0] + share * (ends[1] - ends[0]), at.reshape(-1, 3)


def _cut_tetrahedra(number: Ints, above: npt.NDArray[np.bool_]) -> list[Ints]:
    """Triangles of tetrahedra, each corner named by the edge it lies on. Shapes (n, 3, 2)."""
    out = []
    code = above @ np.array([1, 2, 4, 8])
    for one in range(4):
        rest = [k for k in range(4) if k != one]
        for wanted in (1 << one, 15 - (1 << one)):
            own = number[code == wanted]
            out.append(np.stack([own[:, [one, k]] for k in rest], axis=1))
    for a, b in ((0, 1), (0, 2), (0, 3)):
        c, d = (k for k in range(4) if k not in (a, b))
        for wanted in ((1 << a) + (1 << b), (1 << c) + (1 << d)):
            own = number[code == wanted]
            quad = [own[:, pair] for pair in ([a, c], [a, d], [b, d], [b, c])]
            out.append(np.stack([quad[0], quad[1], quad[2]], axis=1))
            out.append(np.stack([quad[0], quad[2], quad[3]], axis=1))
    return [t for t in out if len(t)]
