"""Triangles filled into a picture where they are nearest: the one loop of the picture maker."""

from typing import no_type_check

import numpy as np
from numba import njit


@njit(cache=True)
@no_type_check
def fill_triangles(
    flat: np.ndarray, far: np.ndarray, light: np.ndarray, image: np.ndarray, depth: np.ndarray
) -> None:
    """Fill triangles, their colour going over from corner to corner.

    Parameters
    ----------
    flat : (n, 3, 2)
        Corners. [pixel]
    far : (n, 3)
        Their distance along the view. [m]
    light : (n, 3, 3)
        Their colour.
    image : (height, width, 3)
        Painted on.
    depth : (height, width)
        Nearest distance so far. [m]
    """
    height, width = depth.shape
    for k in range(flat.shape[0]):
        ax, ay = flat[k, 0]
        bx, by = flat[k, 1]
        cx, cy = flat[k, 2]
        whole = (by - cy) * (ax - cx) + (cx - bx) * (ay - cy)
        if abs(whole) < 1e-9:
            continue
        x0 = max(0, int(np.floor(min(ax, bx, cx))))
        x1 = min(width - 1, int(np.ceil(max(ax, bx, cx))))
        y0 = max(0, int(np.floor(min(ay, by, cy))))
        y1 = min(height - 1, int(np.ceil(max(ay, by, cy))))
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                first = ((by - cy) * (x - cx) + (cx - bx) * (y - cy)) / whole
                second = ((cy - ay) * (x - cx) + (ax - cx) * (y - cy)) / whole
                third = 1.0 - first - second
                if first < 0.0 or second < 0.0 or third < 0.0:
                    continue
                near = first / far[k, 0] + second / far[k, 1] + third / far[k, 2]
                if depth[y, x] * near <= 1.0:
                    continue
                depth[y, x] = 1.0 / near
                for c in range(3):
                    image[y, x, c] = (
                        first * light[k, 0, c] + second * light[k, 1, c] + third * light[k, 2, c]
                    )
