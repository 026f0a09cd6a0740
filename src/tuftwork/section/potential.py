"""Potential flow about any number of elements, in free air or above a moving ground.

Linear vorticity on straight panels; the inner flow is at rest, written as no flux through
each panel's inner side. The ground is the mirror image of everything. The load is the
integral of the surface pressure: near a ground it is not the circulation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section import influence
from tuftwork.section.shape import Contour, panel_nodes

_SHARP = 1e-5  # edges thinner than this share of the chord are closed


@dataclass(frozen=True, slots=True)
class Mesh:
    """Panel nodes of all elements one after another; first node of element e is ``start[e]``."""

    x: Array
    y: Array
    start: tuple[int, ...]
    is_grounded: bool

    @property
    def n_element(self) -> int:
        """Number of elements."""
        return len(self.start) - 1

    def element(self, e: int) -> slice:
        """Nodes of element ``e``."""
        return slice(self.start[e], self.start[e + 1])

    @property
    def panel_first(self) -> NDArray[np.int64]:
        """First node of every surface panel."""
        return np.concatenate(
            [np.arange(a, b - 1) for a, b in zip(self.start[:-1], self.start[1:], strict=True)]
        )


@dataclass(frozen=True, slots=True)
class Edge:
    """Closing panel of a blunt trailing edge: unit jump of vorticity and source strength."""

    gap: float
    vortex: float
    source: float


@dataclass(frozen=True, slots=True)
class PotentialSystem:
    """Panel equations of one mesh; ``factor`` is that of their transpose."""

    mesh: Mesh
    factor: tuple[Array, NDArray[np.int32]]
    edges: tuple[Edge, ...]
    rows_flux: NDArray[np.bool_]
    basis: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PotentialFlow:
    """Inviscid answer; coefficients on the reference chord, lift up, moment nose-up.

    Attributes
    ----------
    speed : (n_node,)
        Tangential speed along the outline's order, upper side negative. [-]
    pressure : (n_node,)
        Pressure coefficient at the nodes. [-]
    lift, drag, moment
        Sums over the elements; moment about ``moment_at``. [-]
    element_lift, element_drag, element_moment : (n_element,)
        Shares of the elements. [-]
    circulation : (n_element,)
        Clockwise, over speed and chord. [-]
    """

    mesh: Mesh
    speed: Array
    pressure: Array
    lift: float
    drag: float
    moment: float
    element_lift: Array
    element_drag: Array
    element_moment: Array
    circulation: Array
    chord: float
    moment_at: tuple[float, float]


def build_mesh(
    elements: Sequence[Contour], *, n_panel: int | Sequence[int] = 160, is_grounded: bool = False
) -> Mesh:
    """Return the panel nodes of all elements.

    Raises
    ------
    InputError
        If an element touches or crosses the ground (y = 0) while ``is_grounded``.
    """
    counts = [n_panel] * len(elements) if isinstance(n_panel, int) else list(n_panel)
    xs, ys, start = [], [], [0]
    for contour, count in zip(elements, counts, strict=True):
        x, y = panel_nodes(contour, count)
        low = float(y.min())
        if is_grounded and not low > 0.0:
            raise InputError(
                contour.name,
                f"lowest point at height {low:.4g}",
                "",
                "must be above the ground at y = 0",
                "Raise the section.",
            )
        xs.append(x)
        ys.append(y)
        start.append(start[-1] + x.size)
    return Mesh(np.concatenate(xs), np.concatenate(ys), tuple(start), is_grounded)


def mesh_from_points(elements: Sequence[Contour], *, is_grounded: bool = False) -> Mesh:
    """Return a mesh whose nodes are the given points themselves, without a new spacing."""
    start = np.concatenate([[0], np.cumsum([c.x.size for c in elements])])
    return Mesh(
        np.concatenate([c.x for c in elements]),
        np.concatenate([c.y for c in elements]),
        tuple(int(v) for v in start),
        is_grounded,
    )


def _edge(x: Array, y: Array) -> Edge:
    """Strengths of the closing panel from the directions at the trailing edge."""
    gx, gy = x[0] - x[-1], y[0] - y[-1]
    gap = float(np.hypot(gx, gy))
    size = float(np.hypot(x - x[0], y - y[0]).max())
    if gap < _SHARP * size:
        return Edge(0.0, 0.0, 0.0)
    u1 = np.array([x[0] - x[1], y[0] - y[1]])
    u2 = np.array([x[-1] - x[-2], y[-1] - y[-2]])
    t = u1 / np.hypot(*u1) + u2 / np.hypot(*u2)
    t /= np.hypot(*t)
    s = np.array([gx, gy]) / gap
    return Edge(gap, float(s @ t), abs(float(s[0] * t[1] - s[1] * t[0])))


def build_system(mesh: Mesh) -> PotentialSystem:
    """Return the factored equations: flux through panels, Kutta condition, edge closure."""
    n = mesh.x.size
    psi = influence.all_psi(mesh.x, mesh.y, np.array(mesh.start), mesh.is_grounded)
    edges = [_edge(mesh.x[sl], mesh.y[sl]) for sl in map(mesh.element, range(mesh.n_element))]
    first = mesh.panel_first
    matrix = np.zeros((n, n))
    for a, b in pairwise(mesh.start):
        np.subtract(psi[a + 1 : b], psi[a : b - 1], out=matrix[a : b - 1])
    for e, edge in enumerate(edges):
        if edge.gap > 0.0:
            matrix[first] += _edge_flux(mesh, e, edge)
    free = np.zeros((n, 2))
    free[first, 0] = -(mesh.y[first + 1] - mesh.y[first])
    free[first, 1] = mesh.x[first + 1] - mesh.x[first]
    rows_flux = np.zeros(n, bool)
    rows_flux[first] = True
    for e, edge in enumerate(edges):
        a, b = mesh.start[e], mesh.start[e + 1] - 1
        matrix[b, a] = matrix[b, b] = 1.0
        if edge.gap == 0.0:
            row = b - 1
            matrix[row] = 0.0
            matrix[row, [a, a + 1, a + 2]] = 1.0, -2.0, 1.0
            matrix[row, [b, b - 1, b - 2]] -= np.array([1.0, -2.0, 1.0])
            free[row] = 0.0
            rows_flux[row] = False
    # the transpose lies as the factorisation wants it, so that nothing is copied on the way
    factor = lu_factor(matrix.T, overwrite_a=True, check_finite=False)
    basis = solve_transposed(factor, free)
    return PotentialSystem(mesh, factor, tuple(edges), rows_flux, basis)


def solve_transposed(factor: tuple[Array, NDArray[np.int32]], right: Array) -> Array:
    """Return the solution of the panel equations, whose transpose was factored."""
    return np.asarray(lu_solve(factor, right, trans=1, check_finite=False))


def _edge_flux(mesh: Mesh, e: int, edge: Edge) -> Array:
    """Influence of the closing panel of element ``e`` on all fluxes, by its edge speeds."""
    a, b = mesh.start[e], mesh.start[e + 1] - 1
    first = mesh.panel_first
    nodes = np.array([b, a])
    psi = influence.vortex_psi(mesh.x, mesh.y, mesh.x[nodes], mesh.y[nodes], mesh.is_grounded).sum(
        axis=1
    )
    source = np.concatenate(
        [
            influence.source_fluxes(
                mesh.x[mesh.element(k)],
                mesh.y[mesh.element(k)],
                mesh.x[b : b + 1],
                mesh.y[b : b + 1],
                mesh.x[a : a + 1],
                mesh.y[a : a + 1],
                mesh.is_grounded,
            )
            for k in range(mesh.n_element)
        ]
    )[:, 0]
    unit = edge.vortex * (psi[first + 1] - psi[first]) + edge.source * source
    out = np.zeros((first.size, mesh.x.size))
    out[:, a] = -0.5 * unit
    out[:, b] = 0.5 * unit
    return out


def solve_potential(
    system: PotentialSystem,
    alpha: float,
    *,
    chord: float | None = None,
    moment_at: tuple[float, float] | None = None,
) -> PotentialFlow:
    """Return the inviscid flow at one incidence.

    Parameters
    ----------
    system
        Factored equations of a mesh.
    alpha
        Incidence of the stream, nose-up positive; with ground it must be 0. [rad]
    chord
        Reference length; by default the x-extent of the first element. [length]
    moment_at
        Point of the moment; by default the quarter of the reference chord.
    """
    mesh = system.mesh
    if mesh.is_grounded and alpha != 0.0:
        raise InputError(
            "alpha", np.rad2deg(alpha), "deg", "must be 0 above a ground", "Turn the section."
        )
    q = system.basis @ np.array([np.cos(alpha), np.sin(alpha)])
    ref, at = reference(mesh, chord, moment_at)
    edge_speed = [
        0.5 * (-q[mesh.start[e]] + q[mesh.start[e + 1] - 1]) for e in range(mesh.n_element)
    ]
    cl, cd, cm = loads(mesh, q, alpha, ref, at)
    circulation = np.array(
        [-_line(mesh, q, e, system.edges[e], edge_speed[e]) / ref for e in range(mesh.n_element)]
    )
    return PotentialFlow(
        mesh=mesh,
        speed=q,
        pressure=1.0 - q**2,
        lift=float(cl.sum()),
        drag=float(cd.sum()),
        moment=float(cm.sum()),
        element_lift=cl,
        element_drag=cd,
        element_moment=cm,
        circulation=circulation,
        chord=ref,
        moment_at=at,
    )


def reference(
    mesh: Mesh, chord: float | None, moment_at: tuple[float, float] | None
) -> tuple[float, tuple[float, float]]:
    """Return reference chord and moment point, by default of the first element."""
    first = mesh.element(0)
    x, y = mesh.x[first], mesh.y[first]
    nose = int(np.argmin(x))
    ref = float(np.ptp(x)) if chord is None else chord
    return ref, (float(x[nose]) + 0.25 * ref, float(y[nose])) if moment_at is None else moment_at


def _line(mesh: Mesh, q: Array, e: int, edge: Edge, edge_speed: float) -> float:
    sl = mesh.element(e)
    ds = np.hypot(np.diff(mesh.x[sl]), np.diff(mesh.y[sl]))
    return float((0.5 * (q[sl][1:] + q[sl][:-1]) * ds).sum() + edge.gap * edge.vortex * edge_speed)


def loads(
    mesh: Mesh, q: Array, alpha: float, chord: float, at: tuple[float, float]
) -> tuple[Array, Array, Array]:
    """Lift, pressure drag and moment of each element from the surface speed.

    The square of a linear speed is integrated exactly over each panel. The flat base of a
    blunt edge carries the pressure of the edge itself.
    """
    cl, cd, cm = (np.empty(mesh.n_element) for _ in range(3))
    for e in range(mesh.n_element):
        sl = mesh.element(e)
        x, y, v = (np.append(a[sl], a[sl][0]) for a in (mesh.x, mesh.y, q))
        square = (v[1:] ** 2 + v[1:] * v[:-1] + v[:-1] ** 2) / 3.0
        square[-1] = 0.5 * (v[0] ** 2 + v[-2] ** 2)
        cp = 1.0 - square
        dx, dy = np.diff(x), np.diff(y)
        fx, fy = -cp * dy, cp * dx
        # the first moment of cp on the panel, for the moment about the point
        shift = np.where(np.arange(cp.size) < cp.size - 1, -(v[1:] ** 2 - v[:-1] ** 2) / 12.0, 0.0)
        mx, my = 0.5 * (x[1:] + x[:-1]) - at[0], 0.5 * (y[1:] + y[:-1]) - at[1]
        moment = -(mx * fy - my * fx).sum() - (shift * (dx**2 + dy**2)).sum()
        cl[e] = (fy.sum() * np.cos(alpha) - fx.sum() * np.sin(alpha)) / chord
        cd[e] = (fx.sum() * np.cos(alpha) + fy.sum() * np.sin(alpha)) / chord
        cm[e] = moment / chord**2
    return cl, cd, cm
