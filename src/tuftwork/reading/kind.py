"""Kinds of measurement: how a number follows from marked points, for many draws at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.reading.outline import TracedShape, traced_shape

Traces = Sequence[np.ndarray]
"""Points of each trace asked for, ``(..., n_point, 3)``. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of measurement: what it needs and how it follows from points."""

    dimension: str
    least: tuple[int, ...]
    work: Callable[[Traces], np.ndarray]
    words: str


def outline_area(points: np.ndarray) -> np.ndarray:
    """Return the area of flat outlines ``(..., n, 3)`` → ``(...)``. [m²]"""
    nxt = np.roll(points, -1, axis=-2)
    middle = points.mean(axis=-2, keepdims=True)
    total = np.sum(np.cross(points - middle, nxt - middle), axis=-2)
    return np.asarray(0.5 * np.linalg.norm(total, axis=-1))


def _joined(traces: Traces) -> np.ndarray:
    return np.concatenate(list(traces), axis=-2)


def _distance(traces: Traces) -> np.ndarray:
    points = _joined(traces)
    return np.asarray(np.linalg.norm(points[..., 1, :] - points[..., 0, :], axis=-1))


def _along(axis: int, *, between: bool = False) -> Callable[[Traces], np.ndarray]:
    def work(traces: Traces) -> np.ndarray:
        points = _joined(traces)
        if between:
            return np.asarray(np.abs(points[..., 1, axis] - points[..., 0, axis]))
        return np.asarray(points[..., axis].mean(axis=-1))

    return work


def _width(traces: Traces) -> np.ndarray:
    return np.asarray(2.0 * np.abs(_joined(traces)[..., 1].mean(axis=-1)))


def _incline(first: int, second: int) -> Callable[[Traces], np.ndarray]:
    """Angle of a segment in one view; positive where it rises along ``first``."""

    def work(traces: Traces) -> np.ndarray:
        points = _joined(traces)
        ahead = np.sign(points[..., -1, first] - points[..., 0, first])
        step = (points[..., -1, :] - points[..., 0, :]) * ahead[..., None]
        return np.asarray(np.arctan2(step[..., second], step[..., first]))

    return work


def _between(traces: Traces) -> np.ndarray:
    points = _joined(traces)
    one, two = points[..., 1, :] - points[..., 0, :], points[..., 3, :] - points[..., 2, :]
    cosine = np.sum(one * two, axis=-1) / (
        np.linalg.norm(one, axis=-1) * np.linalg.norm(two, axis=-1)
    )
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def _radius(traces: Traces) -> np.ndarray:
    """Radius of the circle through marks: least squares on x² + y² + d x + e y + f = 0."""
    points = _joined(traces)
    middle = points.mean(axis=-2, keepdims=True)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    flat = np.einsum("...pj,...ij->...pi", points - middle, axes[..., :2, :])
    rows = np.concatenate([flat, np.ones_like(flat[..., :1])], axis=-1)
    square = -np.sum(flat**2, axis=-1)
    solved = np.einsum("...ip,...p->...i", np.linalg.pinv(rows), square)
    inside = (solved[..., 0] ** 2 + solved[..., 1] ** 2) / 4 - solved[..., 2]
    return np.asarray(np.sqrt(np.maximum(inside, 0.0)))


def _gap(traces: Traces) -> np.ndarray:
    """Smallest distance between two edges, corners against corners and sides."""
    one, two = traces[0], traces[1]
    return np.asarray(np.minimum(_corner_to_side(one, two), _corner_to_side(two, one)))


def _corner_to_side(corners: np.ndarray, edge: np.ndarray) -> np.ndarray:
    if edge.shape[-2] == 1:
        return np.asarray(np.min(np.linalg.norm(corners - edge, axis=-1), axis=-1))
    start, way = edge[..., :-1, :], np.diff(edge, axis=-2)
    off = corners[..., :, None, :] - start[..., None, :, :]
    length = np.maximum(np.sum(way**2, axis=-1), 1e-18)[..., None, :]
    place = np.clip(np.sum(off * way[..., None, :, :], axis=-1) / length, 0.0, 1.0)
    gap = np.linalg.norm(off - place[..., None] * way[..., None, :, :], axis=-1)
    return np.asarray(np.min(gap, axis=(-1, -2)))


def _overlap(traces: Traces) -> np.ndarray:
    """How far the rear edge of the first lies behind the front edge of the second."""
    return np.asarray(traces[0][..., 0].max(axis=-1) - traces[1][..., 0].min(axis=-1))


def _area(traces: Traces) -> np.ndarray:
    total: Any = 0.0
    for trace in traces:
        total = total + outline_area(trace)
    return np.asarray(total)


def _traced(pick: Callable[[TracedShape], float]) -> Callable[[Traces], np.ndarray]:
    """Return a number of a section traced end-on, outline by outline."""

    def work(traces: Traces) -> np.ndarray:
        outlines = traces[0]
        flat = outlines.reshape(-1, *outlines.shape[-2:])
        found = [pick(traced_shape(one)) if np.isfinite(one).all() else np.nan for one in flat]
        return np.array(found).reshape(outlines.shape[:-2])

    return work


_END_ON = "Mark the outline of a section seen end-on, eight corners or more, in order."

KINDS: Mapping[str, Kind] = {
    "distance": Kind(dimension="length", least=(2,), work=_distance, words="Mark both ends."),
    "height": Kind(dimension="height", least=(1,), work=_along(2), words="Mark the point."),
    "station": Kind(dimension="length", least=(1,), work=_along(0), words="Mark the point."),
    "run": Kind(
        dimension="length", least=(2,), work=_along(0, between=True), words="Mark both ends."
    ),
    "rise": Kind(
        dimension="height", least=(2,), work=_along(2, between=True), words="Mark both ends."
    ),
    "width": Kind(dimension="length", least=(1,), work=_width, words="Mark one side's edge."),
    "angle": Kind(
        dimension="angle",
        least=(2,),
        work=_incline(0, 2),
        words="Mark both ends, seen from a side.",
    ),
    "plan angle": Kind(
        dimension="angle",
        least=(2,),
        work=_incline(0, 1),
        words="Mark both ends, on a level plane.",
    ),
    "angle between": Kind(
        dimension="angle", least=(4,), work=_between, words="Mark both ends of both edges."
    ),
    "radius": Kind(
        dimension="height", least=(3,), work=_radius, words="Mark three points or more."
    ),
    "area": Kind(dimension="area", least=(3,), work=_area, words="Mark the outline."),
    "gap": Kind(dimension="height", least=(1, 1), work=_gap, words="Mark both edges."),
    "overlap": Kind(dimension="height", least=(1, 1), work=_overlap, words="Mark both edges."),
    "section chord": Kind(
        dimension="height", least=(8,), work=_traced(lambda s: s.chord), words=_END_ON
    ),
    "section thickness": Kind(
        dimension="share", least=(8,), work=_traced(lambda s: s.thickness), words=_END_ON
    ),
    "section camber": Kind(
        dimension="share", least=(8,), work=_traced(lambda s: s.camber), words=_END_ON
    ),
}
"""Every kind of measurement by name. Silhouettes are an ``area`` on a plane across the car."""
