"""Numbers from solved pictures: each with its range and what the range comes from."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.reading.camera import directions, on_plane
from tuftwork.reading.kind import KINDS, Kind, outline_area
from tuftwork.reading.scene import Plane
from tuftwork.reading.solve import Solution

N_DRAW = 400
_GRAZING = 0.02  # [-] sine of the angle under which a plane must at least be seen


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Posed:
    """A measurement as a function of the solution's unknowns, its own, and the mesh."""

    kind: Kind
    value: Callable[[np.ndarray], np.ndarray]
    centre: np.ndarray
    spreads: np.ndarray
    labels: list[str]

    def gradient(self, n_theta: int) -> np.ndarray:
        """Return the slope on every unknown at the best values."""
        place = np.arange(len(self.centre))
        step = np.where(place < n_theta, 1e-6 * np.maximum(1.0, np.abs(self.centre)), 1e-4)
        both = self.value(
            np.concatenate([self.centre + np.diag(step), self.centre - np.diag(step)])
        )
        return np.asarray((both[: len(step)] - both[len(step) :]) / (2.0 * step))


def posed(solution: Solution, ask: Ask) -> Posed:
    """Return a measurement as a function, refused where marks are missing or a plane is edge-on."""
    kind = KINDS.get(ask.kind)
    if kind is None:
        raise UnknownName("kind", ask.kind, KINDS)
    _refuse_few(ask, kind)
    for trace in (*ask.traces, *ask.less):
        if not trace.point:
            _refuse_edge_on(solution, trace)
    layout = _Layout(solution, (*ask.traces, *ask.less))

    def value(psi: np.ndarray) -> np.ndarray:
        points = layout.points(psi[..., :-1])
        found = kind.work(points[: len(ask.traces)])
        for outline in points[len(ask.traces) :]:
            found = found - outline_area(outline)
        return ask.times * found * (1.0 - psi[..., -1] if kind.dimension == "area" else 1.0)

    return Posed(
        kind=kind, value=value,
        centre=np.concatenate([solution.theta, np.zeros(len(layout.spreads)), [ask.blocked[0]]]),
        spreads=np.array([*layout.spreads, ask.blocked[1]]), labels=[*layout.labels, "mesh"],
    )  # fmt: skip


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
    problem = posed(solution, ask)
    kind, value, centre, spreads = problem.kind, problem.value, problem.centre, problem.spreads
    n_theta = len(solution.theta)
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
    shares = _shares(solution, problem)
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


def _shares(solution: Solution, problem: Posed) -> tuple[tuple[str, float], ...]:
    n = len(solution.theta)
    gradient = problem.gradient(n)
    found = solution.shares(gradient[:n])
    for label, slope, spread in zip(problem.labels, gradient[n:], problem.spreads, strict=True):
        found[label] = found.get(label, 0.0) + float(slope * spread) ** 2
    total = sum(found.values())
    if not total > 0:
        return ()
    ranked = sorted(((name, part / total) for name, part in found.items()), key=lambda p: -p[1])
    return tuple((name, share) for name, share in ranked if share > 0.005)


def _notices(ask: Ask, solution: Solution) -> tuple[str, ...]:
    pictures = {t.picture for t in ask.traces if t.picture}
    return tuple(n for n in solution.notices if any(p in n for p in pictures) or "click" in n)
