"""Numbers from solved pictures: each with its range and what the range comes from."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.reading.camera import directions, on_plane
from tuftwork.reading.scene import Plane
from tuftwork.reading.solve import Solution

N_DRAW = 400
_GRAZING = 0.02  # [-] sine of the angle under which a plane must at least be seen
Traces = Sequence[np.ndarray]
"""Points of each trace asked for, ``(..., n_point, 3)``. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Marks that stand for a point, an edge or an outline.

    Attributes
    ----------
    name
        What it is called.
    point
        Name of a solved point; then nothing else is needed.
    picture, at, plane
        Or pixels ``(n, 2)`` in a picture, on a plane.
    """

    name: str
    point: str = ""
    picture: str = ""
    at: tuple[tuple[float, float], ...] = ()
    plane: Plane | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What is to be measured.

    Attributes
    ----------
    kind
        One of ``KINDS``.
    traces
        Its marks, in order.
    less
        Outlines to take away from an area: bars, louvres.
    blocked
        Further share taken by mesh: best and standard deviation. [-]
    times
        How often the car has it. [-]
    """

    kind: str
    traces: tuple[Trace, ...]
    less: tuple[Trace, ...] = ()
    blocked: tuple[float, float] = (0.0, 0.0)
    times: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A measured number.

    Attributes
    ----------
    kind, dimension
        What it is.
    best, low, high
        Value and 80 % range. [SI]
    draws : (n_draw,)
        All draws. [SI]
    shares
        What the range comes from, the largest first: name and share of the variance. [-]
    notices
        What a reader must be told.
    """

    kind: str
    dimension: str
    best: float
    low: float
    high: float
    draws: np.ndarray
    shares: tuple[tuple[str, float], ...]
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of measurement: what it needs and how it follows from points."""

    dimension: str
    least: tuple[int, ...]
    work: Callable[[Traces], np.ndarray]
    words: str


@dataclass(slots=True)
class _Layout:
    """Where the unknowns of a measurement lie: the solution's, then clicks, flatness, mesh."""

    solution: Solution
    traces: tuple[Trace, ...]
    spreads: list[float] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    clicks: dict[int, slice] = field(default_factory=dict)
    flats: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        start = len(self.solution.theta)
        for k, trace in enumerate(self.traces):
            if trace.point:
                continue
            click = self.solution.scene.pictures[trace.picture].click
            count = 2 * len(trace.at)
            self.clicks[k] = slice(start, start + count)
            self.spreads += [click] * count
            self.labels += [f"clicks on {trace.name}"] * count
            assert trace.plane is not None
            self.flats[k] = start + count
            self.spreads.append(trace.plane.flat)
            self.labels.append(f"plane of {trace.name}")
            start += count + 1

    def points(self, psi: np.ndarray) -> list[np.ndarray]:
        """Return every trace's points for many sets of unknowns."""
        model = self.solution.model
        theta = psi[..., : len(model.names)]
        solved = model.points(theta)
        found = []
        for k, trace in enumerate(self.traces):
            if trace.point:
                place = model.order.get(trace.point)
                if place is None:
                    raise UnknownName("point", trace.point, model.order)
                found.append(solved[..., [place], :])
                continue
            plane = trace.plane
            assert plane is not None
            row, constant = model.affine_row(plane.at)
            offset = theta @ row + constant + psi[..., self.flats[k]]
            pixels = np.array(trace.at) + psi[..., self.clicks[k]].reshape(*psi.shape[:-1], -1, 2)
            normal = np.broadcast_to(np.eye(3)[plane.axis], (*psi.shape[:-1], 3))
            camera = model.camera(theta, trace.picture)
            found.append(on_plane(camera, pixels, offset[..., None] * normal, normal))
        return found


def measure(solution: Solution, ask: Ask, *, n_draw: int = N_DRAW, seed: int = 1) -> Reading:
    """Return a measurement with its 80 % range and what that comes from.

    The range is that of draws through the camera, the planes and the clicks together; the shares
    are of the linearised variance and add up to one.

    Raises
    ------
    UnknownName
        If the kind or a point is not known.
    InputError
        If it needs more marks, or a plane is seen edge-on.
    """
    kind = KINDS.get(ask.kind)
    if kind is None:
        raise UnknownName("kind", ask.kind, KINDS)
    _refuse_few(ask, kind)
    for trace in (*ask.traces, *ask.less):
        if not trace.point:
            _refuse_edge_on(solution, trace)
    layout = _Layout(solution, (*ask.traces, *ask.less))
    n_theta, n_own = len(solution.theta), len(layout.spreads)

    def value(psi: np.ndarray) -> np.ndarray:
        points = layout.points(psi[..., :-1])
        found = kind.work(points[: len(ask.traces)])
        for outline in points[len(ask.traces) :]:
            found = found - outline_area(outline)
        return ask.times * found * (1.0 - psi[..., -1] if kind.dimension == "area" else 1.0)

    centre = np.concatenate([solution.theta, np.zeros(n_own), [ask.blocked[0]]])
    spreads = np.array([*layout.spreads, ask.blocked[1]])
    draws = np.empty((n_draw, len(centre)))
    draws[:, :n_theta] = solution.draws(n_draw, seed)
    noise = np.random.default_rng(seed + 1).standard_normal((n_draw, len(spreads)))
    draws[:, n_theta:] = centre[n_theta:] + noise * spreads
    best = float(value(centre[None])[0])
    drawn = value(draws)
    if not np.isfinite(best) or np.mean(np.isfinite(drawn)) < 0.98:
        cure = "Take a picture that looks at that plane more squarely, or use another plane."
        raise InputError(ask.kind, "none", "", "its plane is seen edge-on", cure)
    drawn = np.where(np.isfinite(drawn), drawn, best)
    low, high = np.quantile(drawn, [0.1, 0.9])
    shares = _shares(solution, value, centre, [*layout.labels, "mesh"], spreads)
    return Reading(
        kind=ask.kind, dimension=kind.dimension, best=best, low=float(min(low, best)),
        high=float(max(high, best)), draws=drawn, shares=shares, notices=_notices(ask, solution),
    )  # fmt: skip


def _refuse_few(ask: Ask, kind: Kind) -> None:
    counts = [1 if t.point else len(t.at) for t in ask.traces]
    if len(kind.least) == 1:
        if sum(counts) < kind.least[0]:
            cure = f"{kind.words}"
            limit = f"needs {kind.least[0]} marks, has {sum(counts)}"
            raise InputError("measurement", ask.kind, "", limit, cure)
        return
    if len(counts) < len(kind.least):
        limit = f"needs {len(kind.least)} traces, has {len(counts)}"
        raise InputError("measurement", ask.kind, "", limit, kind.words)


def _refuse_edge_on(solution: Solution, trace: Trace) -> None:
    """Refuse a plane at which the picture looks along rather than at."""
    if trace.picture not in solution.scene.pictures:
        raise UnknownName("picture", trace.picture, solution.scene.pictures)
    assert trace.plane is not None
    ray = directions(solution.camera(trace.picture), np.array(trace.at))
    sine = np.abs(ray[:, trace.plane.axis]) / np.linalg.norm(ray, axis=1)
    if not sine.min() > _GRAZING:
        cure = "Take a picture that looks at that plane more squarely, or use another plane."
        raise InputError("plane of", f"'{trace.name}'", "", "is seen edge-on", cure)


def _shares(
    solution: Solution, value: Callable[[np.ndarray], np.ndarray], centre: np.ndarray,
    labels: list[str], spreads: np.ndarray,
) -> tuple[tuple[str, float], ...]:  # fmt: skip
    n = len(solution.theta)
    step = np.where(np.arange(len(centre)) < n, 1e-6 * np.maximum(1.0, np.abs(centre)), 1e-4)
    both = value(np.concatenate([centre + np.diag(step), centre - np.diag(step)]))
    gradient = (both[: len(centre)] - both[len(centre) :]) / (2.0 * step)
    found = solution.shares(gradient[:n])
    for label, slope, spread in zip(labels, gradient[n:], spreads, strict=True):
        found[label] = found.get(label, 0.0) + float(slope * spread) ** 2
    total = sum(found.values())
    if not total > 0:
        return ()
    ranked = sorted(((name, part / total) for name, part in found.items()), key=lambda p: -p[1])
    return tuple((name, share) for name, share in ranked if share > 0.005)


def _notices(ask: Ask, solution: Solution) -> tuple[str, ...]:
    pictures = {t.picture for t in ask.traces if t.picture}
    return tuple(n for n in solution.notices if any(p in n for p in pictures) or "click" in n)


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
}
"""Every kind of measurement by name. Silhouettes are an ``area`` on a plane across the car."""


def section_coordinates(points: np.ndarray) -> np.ndarray:
    """Return a traced section as x/c, y/c from trailing edge over the upper side and back.

    Parameters
    ----------
    points : (n_point, 3)
        Outline in order, in the car's axes; the section lies in a plane across y. [m]

    Returns
    -------
    coordinates : (n_point, 2)
        Chord along x from 0 to 1. [-]

    Raises
    ------
    InputError
        If there are fewer than eight points.
    """
    if len(points) < 8:
        raise InputError("outline", len(points), "points", "a section needs eight", "Mark more.")
    flat = points[:, [0, 2]]
    tail = flat[np.argmax(flat[:, 0])]
    nose = flat[np.argmax(np.linalg.norm(flat - tail, axis=1))]
    chord = tail - nose
    length = float(np.linalg.norm(chord))
    ahead = chord / length
    x = (flat - nose) @ ahead / length
    y = (flat - nose) @ np.array([-ahead[1], ahead[0]]) / length
    start = int(np.argmax(x))
    found = np.roll(np.stack([x, y], axis=1), -start, axis=0)
    half = found[1 : len(found) // 2]
    if half[:, 1].mean() < found[len(found) // 2 :, 1].mean():
        found = np.roll(found[::-1], 1, axis=0)
    return np.asarray(found)
