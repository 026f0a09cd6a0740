"""Surfaces drawn without a graphics card: triangles to pixels in NumPy, nearest one wins.

The projection is parallel, so that lengths along an axis can be compared in the picture.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError

Floats = npt.NDArray[np.float64]
_AT_ONCE = 4_000_000
"""Pixels tried in one go; bounds the memory. [pixels]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From where a car is looked at.

    Attributes
    ----------
    azimuth
        From straight ahead of the car towards its left side; 90° sees the left side. [rad]
    elevation
        Above the road; negative looks up from below. [rad]
    low, high
        Corners of what must be in the picture. Shape (3,). [m]
    width
        Of the picture; its height follows. [pixels]
    """

    azimuth: float
    elevation: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    width: int = 1200

    def axes(self) -> Floats:
        """Return right, up and towards the eye as rows. Shape (3, 3)."""
        ca, sa = np.cos(self.azimuth), np.sin(self.azimuth)
        ce, se = np.cos(self.elevation), np.sin(self.elevation)
        eye = np.array([-ca * ce, -sa * ce, se])
        right = np.array([sa, -ca, 0.0])
        return np.stack([right, np.cross(eye, right), eye])

    def frame(self) -> tuple[Floats, float, int]:
        """Return the left lower corner on the picture plane [m], pixels per metre, height."""
        box = np.stack([self.low, self.high])
        corner = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1)
                           for k in (0, 1)])  # fmt: skip
        flat = (corner @ self.axes().T)[:, :2]
        span = np.ptp(flat, axis=0)
        if not np.all(span > 0):
            raise InputError("view", "flat", "", "the corners must enclose a volume")
        scale = 0.96 * self.width / span[0]
        height = int(np.ceil(scale * span[1] / 0.96))
        start = flat.min(axis=0) - 0.02 * span
        return start, float(scale), height

    def project(self, places: Floats) -> tuple[Floats, Floats, Floats]:
        """Return pixel column, pixel row from the top, and nearness of places ``(n, 3)``."""
        start, scale, height = self.frame()
        seen = places @ self.axes().T
        column = (seen[:, 0] - start[0]) * scale
        row = height - (seen[:, 1] - start[1]) * scale
        return column, row, seen[:, 2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas:
    """What each pixel shows; nothing where ``near`` is minus infinity.

    Attributes
    ----------
    near
        Nearness to the eye. Shape (height, width). [m]
    value
        The surface's value there. Shape (height, width).
    shade
        Light on it, 0 to 1. Shape (height, width). [-]
    """

    near: Floats
    value: Floats
    shade: Floats

    @classmethod
    def empty(cls, view: View) -> "Canvas":
        """Return a picture with nothing on it."""
        shape = (view.frame()[2], view.width)
        return cls(near=np.full(shape, -np.inf), value=np.full(shape, np.nan), shade=np.ones(shape))


def paint_surface(
    canvas: Canvas, view: View, vertices: Floats, faces: npt.NDArray[np.int64], values: Floats
) -> None:
    """Draw triangles with a value at each corner; the nearest surface stays.

    Parameters
    ----------
    canvas
        Changed in place.
    view
        The same as the canvas was made for.
    vertices : (n, 3)
        [m]
    faces : (m, 3)
        Corner numbers.
    values : (n,)
        Interpolated over each triangle.
    """
    if not len(faces):
        return
    column, row, near = view.project(vertices)
    normal = np.cross(
        vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]
    )
    size = np.maximum(np.linalg.norm(normal, axis=1), 1e-30)
    lamp = view.axes().T @ np.array([-0.35, 0.55, 0.76])
    light = 0.5 + 0.5 * np.abs(normal @ lamp) / size
    x, y = column[faces], row[faces]
    height, width = canvas.near.shape
    x0 = np.clip(np.ceil(x.min(axis=1) - 0.5), 0, width).astype(np.int64)
    x1 = np.clip(np.floor(x.max(axis=1) - 0.5), -1, width - 1).astype(np.int64)
    y0 = np.clip(np.ceil(y.min(axis=1) - 0.5), 0, height).astype(np.int64)
    y1 = np.clip(np.floor(y.max(axis=1) - 0.5), -1, height - 1).astype(np.int64)
    count = np.maximum(x1 - x0 + 1, 0) * np.maximum(y1 - y0 + 1, 0)
    ends = np.cumsum(count)
    first = 0
    while first < len(faces):
        base = ends[first - 1] if first else 0
        last = max(first + 1, int(np.searchsorted(ends, base + _AT_ONCE, side="right")))
        some = np.arange(first, last)[count[first:last] > 0]
        if some.size:
            at = (x0[some], y0[some], x1[some] - x0[some] + 1)
            _fill(canvas, at, count[some], (x[some], y[some]),
                  (near[faces[some]], values[faces[some]], light[some]))  # fmt: skip
        first = last


def _fill(
    canvas: Canvas,
    at: tuple[npt.NDArray[np.int64], ...],
    count: npt.NDArray[np.int64],
    corner: tuple[Floats, Floats],
    carried: tuple[Floats, Floats, Floats],
) -> None:
    """Try every pixel of every box around a triangle, farthest first."""
    (x0, y0, across), (x, y) = at, corner
    near, values, light = carried
    tri = np.repeat(np.arange(len(count)), count)
    place = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    column, row = x0[tri] + place % across[tri], y0[tri] + place // across[tri]
    px, py = column + 0.5 - x[tri, 0], row + 0.5 - y[tri, 0]
    bx, by = (x[:, 1] - x[:, 0])[tri], (y[:, 1] - y[:, 0])[tri]
    cx, cy = (x[:, 2] - x[:, 0])[tri], (y[:, 2] - y[:, 0])[tri]
    area = bx * cy - cx * by
    with np.errstate(divide="ignore", invalid="ignore"):
        s, t = (px * cy - cx * py) / area, (bx * py - px * by) / area
        inside = (s >= -1e-9) & (t >= -1e-9) & (s + t <= 1 + 1e-9)
    s, t, tri, column, row = s[inside], t[inside], tri[inside], column[inside], row[inside]

    def mixed(rows: Floats) -> Floats:
        own = rows[tri]
        return np.asarray(own[:, 0] + s * (own[:, 1] - own[:, 0]) + t * (own[:, 2] - own[:, 0]))

    depth = mixed(near)
    front = depth > canvas.near[row, column]
    order = np.flatnonzero(front)[np.argsort(depth[front], kind="stable")]
    where = (row[order], column[order])
    # of several writes to one pixel the last stays: the nearest
    canvas.near[where] = depth[order]
    canvas.value[where] = mixed(values)[order]
    canvas.shade[where] = light[tri][order]


def seen_line(canvas: Canvas, view: View, places: Floats, margin: float) -> tuple[Floats, Floats]:
    """Return pixel columns and rows of a line, not-a-number where a surface hides it.

    Parameters
    ----------
    canvas
        With the surfaces drawn.
    view
        Of the canvas.
    places : (n, 3)
        Points of the line. [m]
    margin
        How far behind a surface a point still counts as on it. [m]
    """
    column, row, near = view.project(places)
    height, width = canvas.near.shape
    i, j = np.floor(row).astype(int), np.floor(column).astype(int)
    inside = (i >= 0) & (i < height) & (j >= 0) & (j < width)
    ground = canvas.near[np.clip(i, 0, height - 1), np.clip(j, 0, width - 1)]
    hidden = ~inside | (near < ground - margin)
    return np.where(hidden, np.nan, column), np.where(hidden, np.nan, row)
