"""Scan for the narrowest gap between two surfaces along grid lines."""

# mypy: disable-error-code="no-untyped-def,untyped-decorator,misc,no-untyped-call"
from typing import no_type_check

import numpy as np
from numba import njit


@njit(cache=True)
@no_type_check
def narrowest_gap(mark, cell, cut, sid, touching, longest):
    """Return the fewest cells between different surfaces, where, and which.

    Links 1 and 2, 3 and 4, 5 and 6 point along +x and −x, +y and −y, +z and −z.
    ``touching`` (n_surface, n_surface) marks pairs that meet, whose wedge has no width to count.
    """
    ly, lx = mark.shape[1:]
    index = np.full(mark.size, -1, np.int32)
    for m in range(cell.size):
        index[cell[m]] = m
    best, place = longest + 1, -1
    pair = np.zeros(2, np.int64)
    stride = (1, lx, lx * ly)
    flat = mark.reshape(-1)
    for m in range(cell.size):
        for axis in range(3):
            back = 2 * axis + 1
            if cut[back, m] == 0.0:
                continue
            first = sid[back, m]
            n = cell[m]
            for count in range(1, best):
                w = index[n]
                if w >= 0 and cut[2 * axis, w] > 0.0:
                    other = sid[2 * axis, w]
                    if other != first and not touching[first, other]:
                        best, place = count, cell[m]
                        pair[0], pair[1] = first, other
                    break
                n += stride[axis]
                if n >= flat.size or flat[n] == 1:
                    break
    if place < 0:
        return -1, -1, pair
    return best, place, pair
