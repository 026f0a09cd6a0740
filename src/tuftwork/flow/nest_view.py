"""Fields of a run with boxes of finer cells, read from the finest cells that cover a place."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from tuftwork.flow.output import State
    from tuftwork.flow.result import FlowResult

Floats = npt.NDArray[np.float64]
Layer = tuple[Floats, Floats, Floats]
"""Places along two directions, (n,) and (m,), and values (k, m, n); not-a-number in solids."""
_MOST = 4e6
"""Most values on one plane; a finer one is thinned. [-]"""


def join_layers(layers: Sequence[Layer]) -> Layer:
    """Return one plane from those of all boxes, the outermost first, on the finest spacing.

    Parameters
    ----------
    layers
        The same plane through each box that it meets.
    """
    if len(layers) == 1:
        return layers[0]
    wide = layers[0]
    across, up = joined_lines([layer[:2] for layer in layers])
    out = np.full((wide[2].shape[0], up.size, across.size), np.nan)
    for layer in layers:
        x, y, values = layer
        i = np.flatnonzero((across >= x[0] - 1e-9) & (across <= x[-1] + 1e-9))
        j = np.flatnonzero((up >= y[0] - 1e-9) & (up <= y[-1] + 1e-9))
        if not (i.size and j.size):
            continue
        at_x, at_y = (across[i] - x[0]) / (x[1] - x[0]), (up[j] - y[0]) / (y[1] - y[0])
        found = _between(values, at_x, at_y)
        block = np.ix_(np.arange(len(out)), j, i)
        # a finer box says where its own solids are, but nothing in its outermost layers
        own = np.ones(found.shape[1:], bool) if layer is wide else _inside(layer, at_x, at_y)
        out[block] = np.where(own, found, out[block])
    return across, up, out


def joined_lines(axes: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Return the places along both directions of one plane through several boxes.

    Parameters
    ----------
    axes
        Places of the cells of each box that it meets, the outermost first. Shapes (n,), (m,).
    """
    if len(axes) == 1:
        return axes[0]
    wide, fine = axes[0], axes[-1]
    lines = []
    for k in (0, 1):
        step = fine[k][1] - fine[k][0]
        low, high = wide[k][0], wide[k][-1]
        first = fine[k][0] - np.floor((fine[k][0] - low) / step) * step
        lines.append((first, step, int((high - first) / step + 1e-6) + 1))
    every = max(1, int(np.ceil(np.sqrt(lines[0][2] * lines[1][2] / _MOST))))
    across, up = (first + step * np.arange(0, count, every) for first, step, count in lines)
    return across, up


def _inside(layer: Layer, at_x: Floats, at_y: Floats) -> npt.NDArray[np.bool_]:
    """Whether places lie clear of the two outermost layers of a box. Shape (m, n)."""
    x, y, _ = layer
    near = [(p >= 1.5) & (p <= n - 2.5) for p, n in ((at_x, x.size), (at_y, y.size))]
    return np.asarray(near[1][:, None] & near[0][None, :])


def _between(values: Floats, at_x: Floats, at_y: Floats) -> Floats:
    """Bilinear mean of the values that are numbers, where the nearest one is. (k, m, n)."""
    nx, ny = values.shape[2], values.shape[1]
    i = np.clip(np.floor(at_x).astype(int), 0, max(nx - 2, 0))
    j = np.clip(np.floor(at_y).astype(int), 0, max(ny - 2, 0))
    s, t = np.clip(at_x - i, 0, 1), np.clip(at_y - j, 0, 1)
    total = np.zeros((values.shape[0], at_y.size, at_x.size))
    weight = np.zeros_like(total)
    for dj, wy in ((0, 1 - t), (1, t)):
        for di, wx in ((0, 1 - s), (1, s)):
            corner = values[:, np.minimum(j + dj, ny - 1)][:, :, np.minimum(i + di, nx - 1)]
            w = (wy[:, None] * wx[None, :]) * np.isfinite(corner)
            total += w * np.nan_to_num(corner)
            weight += w
    near = values[:, np.rint(j + t).astype(int)][:, :, np.rint(i + s).astype(int)]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.isfinite(near), total / weight, np.nan)


def velocity_reader(result: "FlowResult", state: "State" = "mean") -> Callable[[Floats], Floats]:
    """Return a function from places (n, 3) [m] to velocity over car speed (n, 3).

    Parameters
    ----------
    result
        A finished run.
    state
        Mean or last instant.
    """
    from scipy.ndimage import map_coordinates

    from tuftwork.flow.output import fields

    boxes = [(box.prepared, fields(box, state)["velocity"]) for box in (result, *result.boxes)]

    def read(places: Floats) -> Floats:
        out = np.full(places.shape, np.nan)
        for prepared, velocity in boxes:
            at = (places - np.asarray(prepared.origin)) / prepared.case.cell
            top = np.array(prepared.setup.shape) - 1.0
            edge = 0.0 if prepared is result.prepared else 2.0
            here = np.flatnonzero(np.all((at >= edge) & (at <= top - edge), axis=1))
            if prepared is result.prepared:
                here = np.arange(len(at))
            rows = [map_coordinates(u, at[here, ::-1].T, order=1, mode="nearest") for u in velocity]
            out[here] = np.stack(rows, axis=1)
        return out

    return read
