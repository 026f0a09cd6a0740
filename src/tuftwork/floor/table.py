"""A floor as a table: thousands of states in one call.

At nodes of front and rear ride height the logarithm of downforce and the place of its centre are
quadratic in exit pressure, discharge, mixing and head, and cubic between nodes. Lengths and angles
move the answer by their slopes. ``table_make`` works it out and measures its error.
"""

from dataclasses import dataclass, fields, replace
from typing import Any, no_type_check

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tuftwork.floor.line import FloorClosure
from tuftwork.quantity import Array

CLOSURES = ("exit_pressure", "discharge", "mixing", "head")
# exit pressure, log of discharge, mixing, head: middle and half width of the design
_MIDDLE = np.array([-0.36, np.log(0.52), 0.7, 0.93])
_HALF = np.array([0.34, 0.5, 0.35, 0.17])
_OVER = 1.2  # [-] of the half width, where a draw is held
N_OUT = 4  # log of downforce, centre, drag over downforce, log of the greatest shape factor


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorTable:
    """What a floor makes over ride heights and closures.

    Attributes
    ----------
    front, rear : (n_front,), (n_rear,)
        Even grids of ride height. [m]
    terms : (n_front, n_rear, n_out, 15)
        Coefficients of the quadratics.
    slopes : (n_length, 2)
        Change of log downforce [1/m, 1/rad] and of the centre [-, m/rad] with each of ``lengths``.
    lengths
        Names of the numbers that have a slope.
    scale
        Fine grid over table: their mean ratio, already in the answers. [-]
    error
        Half of the 80 % range of what is left, measured. [-]
    peak : (n_front,)
        Height of the last kink at which load is greatest for each front height, NaN where it
        still rises at the lowest. [m]
    wheelbase
        [m]
    notices
        States left out.
    """

    front: Array
    rear: Array
    terms: Array
    slopes: Array
    lengths: tuple[str, ...]
    scale: float
    error: float
    peak: Array
    wheelbase: float
    notices: tuple[str, ...]

    def tree(self) -> dict[str, Any]:
        """Return it as plain arrays, for a store."""
        return {f.name: getattr(self, f.name) for f in fields(self)} | {
            "lengths": list(self.lengths), "notices": list(self.notices),
        }  # fmt: skip

    @classmethod
    def of(cls, tree: dict[str, Any]) -> "FloorTable":
        """Return the table of a stored tree."""
        arrays: dict[str, Any] = {
            k: np.asarray(tree[k]) for k in ("front", "rear", "terms", "slopes", "peak")
        }
        numbers: dict[str, Any] = {k: float(tree[k]) for k in ("scale", "error", "wheelbase")}
        texts: dict[str, Any] = {k: tuple(tree[k]) for k in ("lengths", "notices")}
        return cls(**arrays, **numbers, **texts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLoads:
    """What a table gives; fields share one shape.

    Attributes
    ----------
    downforce, centre, drag
        CzS, station of its centre, CxS of the inclined underside. [m²], [m], [m²]
    shape_factor
        Greatest H of the layer; above 3 it has separated. [-]
    is_outside
        Beyond the table, whose edge is held.
    off_heights
        Beyond it in a ride height.
    """

    downforce: Array
    centre: Array
    drag: Array
    shape_factor: Array
    is_outside: NDArray[np.bool_]
    off_heights: NDArray[np.bool_]


def closure_at(point: Array, base: FloorClosure) -> FloorClosure:
    """Return the closure at a place of the design, -1 to 1 each."""
    value = _MIDDLE + _HALF * point
    return replace(
        base, exit_pressure=float(value[0]), discharge=float(np.exp(value[1])),
        mixing=float(max(value[2], 0.0)), head=float(value[3]),
    )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
@no_type_check
def _read(front, rear, point, f0, df, r0, dr, terms, out):
    """Cubic between nodes (Catmull and Rom), quadratic in the closures.

    ``terms`` ``(n_front + 2, n_rear + 2, n_out * 15)``, padded by one node.
    """
    nf, nr, n_all = terms.shape[0] - 2, terms.shape[1] - 2, terms.shape[2]
    n_out, n_term = out.shape[1], n_all // out.shape[1]
    wf, wr, phi, here = np.empty(4), np.empty(4), np.empty(15), np.empty(n_all)
    for k in range(front.size):
        a = min(max((front[k] - f0) / df, 0.0), nf - 1.0)
        b = min(max((rear[k] - r0) / dr, 0.0), nr - 1.0)
        i, j = min(int(a), nf - 2), min(int(b), nr - 2)
        for w, t in ((wf, a - i), (wr, b - j)):
            w[0] = 0.5 * (-t + 2 * t * t - t * t * t)
            w[1] = 0.5 * (2 - 5 * t * t + 3 * t * t * t)
            w[2] = 0.5 * (t + 4 * t * t - 3 * t * t * t)
            w[3] = 0.5 * (-t * t + t * t * t)
        phi[0] = 1.0
        c = 5
        for m in range(4):
            phi[1 + m] = point[k, m]
            for n in range(m, 4):
                phi[c] = point[k, m] * point[k, n]
                c += 1
        # the quadratics of this place first: one straight run over memory for every node
        here[:] = 0.0
        for s in range(4):
            for t in range(4):
                w2 = wf[s] * wr[t]
                near = terms[i + s, j + t]
                for m in range(n_all):
                    here[m] += w2 * near[m]
        for e in range(n_out):
            total = 0.0
            for c in range(n_term):
                total += phi[c] * here[e * n_term + c]
            out[k, e] = total


def _padded(terms: Array) -> Array:
    """Return the terms with a node more on every side, going on straight."""
    for axis in (0, 1):
        t = np.moveaxis(terms, axis, 0)
        t = np.concatenate([[2 * t[0] - t[1]], t, [2 * t[-1] - t[-2]]])
        terms = np.moveaxis(t, 0, axis)
    return np.ascontiguousarray(terms.reshape(*terms.shape[:2], -1))


def read_terms(table: FloorTable, front: Array, rear: Array, point: Array) -> Array:
    """Return the outputs ``(n, n_out)`` at ride heights ``(n,)`` and closures ``(n, 4)``."""
    out = np.empty((front.size, N_OUT))
    _read(
        np.ascontiguousarray(front, float), np.ascontiguousarray(rear, float),
        np.ascontiguousarray(point, float), table.front[0], table.front[1] - table.front[0],
        table.rear[0], table.rear[1] - table.rear[0], _padded(table.terms), out,
    )  # fmt: skip
    return out


def evaluate(
    table: FloorTable,
    *,
    front: Array,
    rear: Array,
    exit_pressure: Array,
    discharge: Array,
    mixing: Array,
    head: Array,
    lengths: dict[str, Array] | None = None,
) -> TableLoads:
    """Return loads for arrays of states at once; everything broadcasts.

    Parameters
    ----------
    front, rear : (...)
        Ride heights. [m]
    exit_pressure, discharge, mixing, head : (...)
        See :class:`tuftwork.floor.line.FloorClosure`. [-]
    lengths
        Changes from the drawn floor, of names the table has a slope for. [m], [rad]
    """
    given = (exit_pressure, np.log(np.maximum(discharge, 1e-3)), mixing, head)
    full = np.broadcast_arrays(front, rear, *given, *(lengths or {}).values())
    point = np.stack([(v - m) / h for v, m, h in zip(full[2:6], _MIDDLE, _HALF, strict=True)], -1)
    flat = np.clip(point.reshape(-1, 4), -_OVER, _OVER)
    out = read_terms(table, full[0].ravel(), full[1].ravel(), flat).reshape(*full[0].shape, N_OUT)
    load, centre = out[..., 0], out[..., 1]
    for name, change in zip(lengths or {}, full[6:], strict=True):
        slope = table.slopes[table.lengths.index(name)]
        load, centre = load + slope[0] * change, centre + slope[1] * change
    downforce = table.scale * np.exp(load)
    off = np.zeros(full[0].shape, dtype=bool)
    for value, axis in ((full[0], table.front), (full[1], table.rear)):
        off |= (value < axis[0] - 1e-9) | (value > axis[-1] + 1e-9)
    beyond = off | np.any(np.abs(point) > _OVER, axis=-1)
    return TableLoads(
        downforce=downforce, centre=centre, drag=out[..., 2] * downforce,
        shape_factor=np.exp(out[..., 3]), is_outside=beyond, off_heights=off,
    )  # fmt: skip
