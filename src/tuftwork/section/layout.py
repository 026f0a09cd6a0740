"""Stations of the coupled problem and the influence of the mass defect on every edge speed."""

from dataclasses import dataclass

import numpy as np

from tuftwork.quantity import Array
from tuftwork.section import influence
from tuftwork.section.potential import Mesh, PotentialSystem, solve_transposed

_N_WAKE = 30


@dataclass(frozen=True, slots=True)
class Layout:
    """Stations: all surface nodes, then the wake nodes of each element; influence on speeds."""

    system: PotentialSystem
    wake: tuple[slice, ...]
    x: Array
    y: Array
    arc: Array
    gap: Array
    from_mass: Array
    inviscid: Array

    @property
    def n(self) -> int:
        """Number of stations."""
        return int(self.x.size)


def _edge_velocity(
    mesh: Mesh, system: PotentialSystem, px: Array, py: Array
) -> tuple[Array, Array]:
    """Velocity at points by the nodal speeds: panels and closing panels."""
    u = np.zeros((px.size, mesh.x.size))
    v = np.zeros_like(u)
    for e, edge in enumerate(system.edges):
        sl = mesh.element(e)
        du, dv = influence.vortex_velocity(px, py, mesh.x[sl], mesh.y[sl], mesh.is_grounded)
        u[:, sl] += du
        v[:, sl] += dv
        if edge.gap > 0.0:
            a, b = mesh.start[e], mesh.start[e + 1] - 1
            ends = np.array([b, a])
            gu, gv = influence.vortex_velocity(px, py, mesh.x[ends], mesh.y[ends], mesh.is_grounded)
            su, sv = influence.source_velocity(
                px,
                py,
                mesh.x[b : b + 1],
                mesh.y[b : b + 1],
                mesh.x[a : a + 1],
                mesh.y[a : a + 1],
                mesh.is_grounded,
            )
            eu = edge.vortex * gu.sum(axis=1) + edge.source * su[:, 0]
            ev = edge.vortex * gv.sum(axis=1) + edge.source * sv[:, 0]
            u[:, a] -= 0.5 * eu
            u[:, b] += 0.5 * eu
            v[:, a] -= 0.5 * ev
            v[:, b] += 0.5 * ev
    return u, v


def _wake_path(
    system: PotentialSystem, q: Array, alpha: float, e: int, n: int
) -> tuple[Array, Array]:
    """Inviscid streamline from a trailing edge, steps growing to one chord."""
    mesh = system.mesh
    sl = mesh.element(e)
    x, y = mesh.x[sl], mesh.y[sl]
    chord = float(np.hypot(x - x[0], y - y[0]).max())
    first = 0.5 * float(np.hypot(x[1] - x[0], y[1] - y[0]) + np.hypot(x[-1] - x[-2], y[-1] - y[-2]))
    ratio = _growth(chord / first, n - 1)
    steps = first * ratio ** np.arange(n - 1)
    px, py = np.empty(n), np.empty(n)
    px[0], py[0] = 0.5 * (x[0] + x[-1]), 0.5 * (y[0] + y[-1])
    d1 = np.array([x[0] - x[1], y[0] - y[1]])
    d2 = np.array([x[-1] - x[-2], y[-1] - y[-2]])
    t = d1 / np.hypot(*d1) + d2 / np.hypot(*d2)
    t /= np.hypot(*t)

    def direction(ax: float, ay: float) -> Array:
        u, v = _edge_velocity(mesh, system, np.array([ax]), np.array([ay]))
        w = np.array([u[0] @ q + np.cos(alpha), v[0] @ q + np.sin(alpha)])
        return np.asarray(w / max(float(np.hypot(*w)), 1e-9))

    for k in range(n - 1):
        h = steps[k]
        mid = direction(px[k] + 0.5 * h * t[0], py[k] + 0.5 * h * t[1])
        if mid @ t < 0.2:
            mid = t
        px[k + 1], py[k + 1] = px[k] + h * mid[0], py[k] + h * mid[1]
        if mesh.is_grounded and py[k + 1] < 0.25 * py[0]:
            py[k + 1] = 0.25 * py[0]
        t = mid
    return px, py


def _growth(total: float, n: int) -> float:
    """Ratio of a geometric row of ``n`` steps, the first 1, with this sum."""
    low, high = 1.0001, 3.0
    for _ in range(60):
        mid = 0.5 * (low + high)
        if (mid**n - 1.0) / (mid - 1.0) < total:
            low = mid
        else:
            high = mid
    return 0.5 * (low + high)


def lay_out(system: PotentialSystem, alpha: float, *, n_wake: int = _N_WAKE) -> Layout:
    """Return stations and the influence of the mass defect on every edge speed."""
    mesh = system.mesh
    n = mesh.x.size
    ca, sa = np.cos(alpha), np.sin(alpha)
    q0 = system.basis @ np.array([ca, sa])
    wakes, px, py, arc, gap = [], [mesh.x], [mesh.y], [np.zeros(n)], [np.zeros(n)]
    at = n
    for e in range(mesh.n_element):
        wx, wy = _wake_path(system, q0, alpha, e, n_wake)
        wakes.append(slice(at, at + n_wake))
        at += n_wake
        px.append(wx)
        py.append(wy)
        s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(wx), np.diff(wy)))])
        arc.append(s)
        reach = max(2.5 * system.edges[e].gap, 1e-12)
        gap.append(system.edges[e].gap * np.clip(1.0 - s / reach, 0.0, 1.0) ** 2)
        sl = mesh.element(e)
        arc[0][sl] = np.concatenate(
            [[0.0], np.cumsum(np.hypot(np.diff(mesh.x[sl]), np.diff(mesh.y[sl])))]
        )
    x, y = np.concatenate(px), np.concatenate(py)
    total = x.size
    first = np.concatenate([mesh.panel_first, *[np.arange(w.start, w.stop - 1) for w in wakes]])
    ax, ay, bx, by = x[first], y[first], x[first + 1], y[first + 1]
    length = np.hypot(bx - ax, by - ay)
    spread = np.zeros((first.size, total))
    rows = np.arange(first.size)
    spread[rows, first + 1] += 1.0 / length
    spread[rows, first] -= 1.0 / length
    flux = np.zeros((n, first.size))
    flux[mesh.panel_first] = np.concatenate(
        [
            influence.source_fluxes(
                mesh.x[mesh.element(k)], mesh.y[mesh.element(k)], ax, ay, bx, by, mesh.is_grounded
            )
            for k in range(mesh.n_element)
        ]
    )
    flux[~system.rows_flux] = 0.0
    on_surface = solve_transposed(system.factor, -flux)
    speed = np.zeros((total, first.size))
    speed[:n] = on_surface
    inviscid = np.zeros(total)
    inviscid[:n] = q0
    for e, w in enumerate(wakes):
        a, b = mesh.start[e], mesh.start[e + 1] - 1
        speed[w.start] = 0.5 * (on_surface[b] - on_surface[a])
        inviscid[w.start] = 0.5 * (q0[b] - q0[a])
        inner = slice(w.start + 1, w.stop)
        wx, wy = x[w], y[w]
        mx = np.append(0.5 * (wx[1:] + wx[:-1]), wx[-1])
        my = np.append(0.5 * (wy[1:] + wy[:-1]), wy[-1])
        tx, ty = np.diff(mx), np.diff(my)
        ds = np.hypot(tx, ty)
        tx, ty = tx / ds, ty / ds
        vu, vv = _edge_velocity(mesh, system, wx[1:], wy[1:])
        tangent = tx[:, None] * vu + ty[:, None] * vv
        phi = influence.source_potential(mx, my, ax, ay, bx, by, mesh.is_grounded)
        speed[inner] = tangent @ on_surface + np.diff(phi, axis=0) / ds[:, None]
        inviscid[inner] = tangent @ q0 + tx * ca + ty * sa
    return Layout(
        system,
        tuple(wakes),
        x,
        y,
        np.concatenate(arc),
        np.concatenate(gap),
        speed @ spread,
        inviscid,
    )
