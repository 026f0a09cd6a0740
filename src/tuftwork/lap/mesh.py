"""Points of a lap: fine where curvature works, coarse on straights, exact at jumps and apexes."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tuftwork.errors import InputError
from tuftwork.lap.circuit import Circuit
from tuftwork.quantity import Array

_REACH = 15.0  # [m]  the first metres out of an apex hold the steepest change of acceleration


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Cells of one lap, counted from ``start``.

    Attributes
    ----------
    station : (n + 1,)
        Node distances from the circuit's own start, rising past its length. [m]
    length : (n,)
        Cell lengths. [m]
    cell_road, node_road : (n, 6), (n + 1, 6)
        Curvature, sin and cos of bank and grade, crest; nodes take the tighter side of a jump.
    """

    station: Array
    length: Array
    cell_road: Array
    node_road: Array
    closed: bool


def mesh_of(circuit: Circuit, n_point: int = 2000, *, start: float | None = None) -> Mesh:
    """Return the points of a lap, dense by curvature, starting at the tightest place.

    Parameters
    ----------
    circuit : ()
        The circuit. [-]
    n_point : ()
        Number of cells aimed at. [-]
    start : ()
        Where a closed lap is begun; None for the tightest place. [m]

    Returns
    -------
    mesh : ()
        Cells and their road. [-]

    Raises
    ------
    InputError
        If fewer than 50 points are asked for.
    """
    if n_point < 50:
        raise InputError("n_point", n_point, "", "must be at least 50")
    s0, length = float(circuit.station[0]), circuit.length
    marks = _marks(circuit)
    fine = np.linspace(0.0, length, int(length / 0.5) + 2)
    k = np.abs(np.interp(fine + s0, circuit.station, circuit.curvature))
    distance = _to_nearest(fine, marks)
    weight = 1.0 + 2.5 * np.exp(-distance / _REACH) + np.minimum(40.0 * k, 1.5)
    cum = np.r_[0.0, np.cumsum(0.5 * (weight[1:] + weight[:-1]) * np.diff(fine))]
    edges = np.unique(np.r_[0.0, marks, length])
    keep = np.r_[True, np.diff(edges) > 0.02]
    edges = edges[keep]
    edges[-1] = length
    at = np.interp(edges, fine, cum)
    nodes = [0.0]
    for a, b in pairwise(at):
        n = max(1, round(n_point * (b - a) / cum[-1]))
        nodes.extend(np.interp(np.linspace(a, b, n + 1)[1:], cum, fine))
    station = np.array(nodes)
    station[-1] = length
    if circuit.closed:
        station = _rotate(station, length, _begin(circuit, start) if marks.size else 0.0)
    mid = 0.5 * (station[1:] + station[:-1])
    cells = _road(circuit, mid, length)
    left = _road(circuit, station - 1e-7, length)
    right = _road(circuit, station + 1e-7, length)
    nodes_road = np.where((left[:, 0] > right[:, 0])[:, None], left, right)
    return Mesh(
        station=station + s0, length=np.diff(station), cell_road=cells, node_road=nodes_road,
        closed=circuit.closed,
    )  # fmt: skip


def _to_nearest(place: Array, marks: Array) -> Array:
    """Return distance to the nearest mark."""
    if not marks.size:
        return np.full_like(place, 1e9)
    i = np.searchsorted(marks, place)
    below, above = marks[np.maximum(i - 1, 0)], marks[np.minimum(i, marks.size - 1)]
    return np.asarray(np.minimum(np.abs(place - below), np.abs(above - place)))


def _begin(circuit: Circuit, start: float | None) -> float:
    """Return where the lap begins: the tightest place unless told."""
    if start is not None:
        return (start - float(circuit.station[0])) % circuit.length
    k = np.abs(circuit.curvature)
    tight = np.flatnonzero(k >= k.max() * (1 - 1e-9))
    return float(circuit.station[tight[0]] - circuit.station[0])


def _rotate(station: Array, length: float, begin: float) -> Array:
    """Return nodes of one lap from the node nearest to a place."""
    i = int(np.argmin(np.abs(station - begin)))
    return np.asarray(np.r_[station[i:], station[1 : i + 1] + length])


def _marks(circuit: Circuit) -> Array:
    """Return places where nodes must lie: local peaks of curvature, and jumps or kinks."""
    s, k = circuit.station - circuit.station[0], np.abs(circuit.curvature)
    jump = s[1:][np.diff(s) == 0.0]
    if s.size < 0.1 * circuit.length:  # pieces: every station is a kink
        jump = np.unique(s)
    peak = (k[1:-1] >= k[:-2]) & (k[1:-1] >= k[2:]) & (k[1:-1] > 1e-3)
    return np.unique(np.r_[jump, s[1:-1][peak]])


def _road(circuit: Circuit, station: Array, length: float) -> Array:
    """Return road rows at stations (wrapping on a closed circuit)."""
    s = station % length if circuit.closed else np.clip(station, 0.0, length)
    s = s + circuit.station[0]

    def at(values: Array) -> Array:
        return np.asarray(np.interp(s, circuit.station, values))

    k = at(circuit.curvature)
    bank = at(circuit.bank) * np.where(k >= 0, 1.0, -1.0)
    grade = at(circuit.grade)
    return np.ascontiguousarray(
        np.stack(
            [
                np.abs(k),
                np.sin(bank),
                np.cos(bank),
                np.sin(grade),
                np.cos(grade),
                at(circuit.crest),
            ],
            axis=-1,
        )
    )
