"""Cut tails thinner than two cells: two edges with a narrow strip between them.

To the cells such a tail is a knife edge: their links miss the strip or meet it by chance, a cell
beside a corner has the way from the corner as its normal and leads air round it, and cells held
behind the strip are a lip in the stream. LS(1)-0413, its tail half a cell thick, without friction,
lifted 0.93 to 1.26 as its tail lay in its cell, where 0.957 is the potential value; taken as a
knife edge that lies as far behind the strip as that is wide, 0.93 to 0.96.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tuftwork.flow.edge import KNIFE, TAIL, Edges, points_along
from tuftwork.flow.setup import Floats

THICK = 2.0
"""Width of the strip below which its two edges are taken as one tail. [cells]"""
_ALIKE = 0.97
"""Cosine of two directions or normals, 14°, that count as one. [-]"""
_LEAN = 0.3
"""Cosine with the strip's normal below which the way from edge to edge lies in the strip. [-]"""
_SPACING, _MOST = 0.5, 12
_SHARE = 0.5
"""Share of an edge's points that must have the other edge beside them. [-]"""


def as_knives(edges: Edges, stream: Sequence[float]) -> Edges:
    """Return edges in which those of thin cut tails are knife edges.

    Parameters
    ----------
    edges
        Sharp edges with the normals of their faces. [cells]
    stream
        Direction of the stream. Shape (3,).
    """
    is_tail, _, inwards = _found(edges, stream)
    normals, into = edges.normals.copy(), np.zeros((len(edges), 3))
    if edges.into is not None:
        into[:] = edges.into
    normals[is_tail], into[is_tail] = 0.0, inwards
    return Edges(edges.ends, normals, into)


def blunt_tails(edges: Edges, stream: Sequence[float]) -> tuple[Floats, Floats, Floats]:
    """Return the middle lines of the strips of thin cut tails.

    Parameters
    ----------
    edges
        Sharp edges with the normals of their faces. [cells]
    stream
        Direction of the stream. Shape (3,).

    Returns
    -------
    ends : (n, 2, 3)
        Of the middle line, once beside each of the two edges.
    into : (n, 3)
        Unit vector into the part, against the strip's normal.
    width : (n,)
        Of the strip. [cells]
    """
    is_tail, shift, into = _found(edges, stream)
    ends = edges.ends[is_tail] + shift[:, None]
    return ends, into, np.asarray(2.0 * np.linalg.norm(shift, axis=1))


def _found(edges: Edges, stream: Sequence[float]) -> tuple[npt.NDArray[np.bool_], Floats, Floats]:
    """Say which edges lie along a cut tail, the way to its middle line, and that into the part."""
    from scipy.spatial import cKDTree

    is_tail = np.asarray(edges.normals.any(axis=(1, 2)))
    ends, normals = edges.ends[is_tail], edges.normals[is_tail]
    if len(ends) < 2:
        return np.zeros(len(edges), bool), np.zeros((0, 3)), np.zeros((0, 3))
    place, number = points_along(ends)
    count = np.bincount(number, minlength=len(ends))
    along = ends[:, 1] - ends[:, 0]
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-30)
    near = cKDTree(place).query(
        place, k=min(_MOST, len(place)), distance_upper_bound=THICK + _SPACING
    )[1]
    found = near < len(place)
    near = np.where(found, near, 0)
    other = number[near]
    found &= other != number[:, None]
    found &= np.abs(np.einsum("na,nka->nk", along[number], along[other])) > _ALIKE
    way = place[near] - place[:, None]
    way -= np.einsum("nka,na->nk", way, along[number])[..., None] * along[number][:, None]
    wide = np.linalg.norm(way, axis=2)
    strip, alike, apart = _faces(normals[number], normals[other])
    lean = np.abs(np.einsum("nka,nka->nk", way, strip)) / np.maximum(wide, 1e-30)
    found &= (wide > 0) & (wide < THICK) & (lean < _LEAN)
    found &= (alike > _ALIKE) & (apart < np.cos(KNIFE))
    found &= -(strip @ np.asarray(stream, float)) / np.linalg.norm(stream) < TAIL
    row, best = np.arange(len(place)), np.where(found, wide, np.inf).argmin(axis=1)
    has = found[row, best]
    seen = np.bincount(number[has], minlength=len(ends))
    kept = seen > _SHARE * count

    def mean(values: Floats) -> Floats:
        sums = [np.bincount(number[has], weights=v, minlength=len(ends)) for v in values[has].T]
        return np.asarray((np.stack(sums, axis=1) / np.maximum(seen, 1)[:, None])[kept])

    shift, into = mean(0.5 * way[row, best]), mean(-strip[row, best])
    is_tail[is_tail] = kept
    return is_tail, shift, into / np.maximum(np.linalg.norm(into, axis=1, keepdims=True), 1e-30)


def _faces(own: Floats, other: Floats) -> tuple[Floats, Floats, Floats]:
    """Of two edges' faces return the normal of the likest, how alike, and how alike the rest are.

    ``own`` (n, 2, 3) and ``other`` (n, k, 2, 3) are normals; shapes (n, k, 3), (n, k) and (n, k).
    """
    every = np.einsum("nfa,nkga->nkfg", own, other).reshape(*other.shape[:2], 4)
    best = every.argmax(axis=2)
    # the likest are face f of one and g of the other; what is left is 1 − f and 1 − g
    alike = np.take_along_axis(every, best[..., None], axis=2)[..., 0]
    apart = np.take_along_axis(every, 3 - best[..., None], axis=2)[..., 0]
    return own[np.arange(len(own))[:, None], best // 2], alike, apart
