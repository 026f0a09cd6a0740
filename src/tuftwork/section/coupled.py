"""Viscous flow about any number of elements: panels, layers and wakes in one Newton iteration."""

from collections.abc import Sequence

import numpy as np

from tuftwork.errors import NotConverged
from tuftwork.quantity import Array
from tuftwork.section import closure, newton
from tuftwork.section.begin import march_chain
from tuftwork.section.layout import Layout
from tuftwork.section.station import Layers, LayerSettings, connect, find_stagnation

_MOST = 60
_CHANGE = 2e-5  # rms relative change of the states at which a point counts as converged
_MISMATCH = 1e-5


def _remarch_nose(layers: Layers, settings: LayerSettings) -> None:
    """March the attached laminar part again so that it fits the present edge speeds."""
    for chain in layers.chains:
        shape = layers.state[chain, 2] / layers.state[chain, 3] / layers.state[chain, 1]
        stop = int(np.argmax((layers.kind[chain] != 0) | (shape > 2.9)))
        if stop > 2:
            before = layers.state[chain[:stop]].copy()
            march_chain(layers, chain, layers.state[chain, 3], settings, stop)
            if not np.isfinite(layers.state[chain[:stop]]).all():
                layers.state[chain[:stop]] = before


def solve_layers(
    layout: Layout, settings: LayerSettings, layers: Layers, *, most: int = _MOST
) -> Layers:
    """Iterate panels, layers and wakes to convergence.

    Raises
    ------
    NotConverged
        If ``most`` iterations do not bring the change below its bound and the last ones do not
        settle within the bounds of a small limit cycle.
    """
    mesh = layout.system.mesh
    n_surface = mesh.x.size
    settings.par[0] = settings.reynolds
    layers.is_settled = False
    history: list[tuple[float, float, float]] = []
    signed = layers.sign * layers.state[:, 3]
    connect(layout, settings, layers, signed)
    switch: list[list[int]] = [[] for _ in layers.chains]
    frozen = is_held = False
    for it in range(most):
        s = layers.sign
        mass = s * layers.state[:, 2]
        mismatch = s * (layout.inviscid + layout.from_mass @ mass) - layers.state[:, 3]
        influence_m = (s[:, None] * layout.from_mass) * s[None, :]
        full, row_c, row_t, worst = newton.eliminate(
            layers.order, layers.kind, layers.trip, layers.state, layers.move, layers.move_at,
            influence_m, mismatch, settings.par,
        )  # fmt: skip
        if not np.isfinite(full).all():
            raise NotConverged("the layer equations broke down")
        try:
            dm = np.linalg.solve(full[:, :-1], -full[:, -1])
        except np.linalg.LinAlgError as why:
            raise NotConverged("the coupled equations are singular") from why
        dc = row_c[:, :-1] @ dm + row_c[:, -1]
        dt = row_t[:, :-1] @ dm + row_t[:, -1]
        du = influence_m @ dm + mismatch
        change, relax = _update(layers, dc, dt, dm, du)
        layers.residual = max(worst, float(np.abs(mismatch).max()))
        moved = _follow_stagnation(layout, settings, layers, n_surface)
        is_held = is_held or _goes_round(history)
        if is_held:
            frozen = True
            _hold_transition(layers)
        shifted = 0
        if not frozen:
            for k, chain in enumerate(layers.chains):
                jump = newton.place_transition(
                    chain, layers.kind, layers.state, layers.trip, settings.par, 2
                )
                shifted += abs(jump)
                switch[k].append(int(np.argmax(layers.kind[chain] != 0)))
        if moved or layers.residual > 0.02:
            _remarch_nose(layers, settings)
        layers.n_iteration = it + 1
        wake = sum(float(layers.state[w.stop - 1, 1]) for w in layout.wake)
        lift = float(np.sum(layers.state[:n_surface, 3] * s[:n_surface]))
        history.append((lift, wake, layers.residual))
        is_close = layers.residual < 1e-3 or change < 0.1 * _CHANGE
        if change < _CHANGE and relax == 1.0 and not moved and shifted == 0 and is_close:
            return layers
        if it >= 14 and it % 14 == 0 and not frozen:
            frozen = _freeze(layers, switch)
        if not np.isfinite(change):
            break
    if _is_settled(history):
        layers.is_settled = True
        return layers
    raise NotConverged(f"not converged after {most} iterations, residual {layers.residual:.1e}")


def _goes_round(history: Sequence[tuple[float, float, float]]) -> bool:
    """Whether the iteration has gone round in a ring of a few states for a while."""
    if len(history) < 24:
        return False
    residual = [row[2] for row in history[-12:]]
    return min(residual[6:]) > max(0.05, 0.8 * min(residual[:6]))


def _hold_transition(layers: Layers) -> None:
    """Hold transition in the middle of its interval, an error of half a panel at most.

    A trip below zero says so to the closures.
    """
    for chain in layers.chains:
        at = int(np.argmax(layers.kind[chain] == closure.TRANSITION))
        if at > 0:
            a, b = layers.state[chain[at - 1], 4], layers.state[chain[at], 4]
            layers.trip[chain[at]] = -0.5 * (a + b)


def _is_settled(history: Sequence[tuple[float, float, float]]) -> bool:
    """Limit cycle so small that lift and drag are known: 0.2 %, 1 %, residual below 0.2."""
    if len(history) < 30:
        return False
    last = np.array(history[-12:])
    spread = np.ptp(last, axis=0) / np.maximum(np.abs(last.mean(axis=0)), 1e-12)
    return bool(spread[0] < 2e-3 and spread[1] < 1e-2 and last[:, 2].max() < 0.2)


def _freeze(layers: Layers, switch: list[list[int]]) -> bool:
    """Hold transition where it cycled: the mean of the last places becomes a trip."""
    found = False
    for chain, places in zip(layers.chains, switch, strict=True):
        last = np.array(places[-8:])
        if last.size and np.ptp(last) > 0:
            at = round(float(last.mean()))
            if 1 <= at < chain.size:
                a, b = layers.state[chain[at - 1], 4], layers.state[chain[at], 4]
                layers.trip[chain] = 0.5 * (a + b)
                found = True
                for k in range(1, chain.size):
                    g = chain[k]
                    if k < at and layers.kind[g] != 0:
                        layers.state[g, 0] = layers.state[chain[k - 1], 0]
                        layers.kind[g] = 0
                    elif k == at:
                        if layers.kind[g] == 0:
                            layers.state[g, 0] = 0.05
                        layers.kind[g] = 3
                    elif k > at:
                        if layers.kind[g] == 0:
                            layers.state[g, 0] = 0.05
                        layers.kind[g] = 1
    return found


def _update(layers: Layers, dc: Array, dt: Array, dm: Array, du: Array) -> tuple[float, float]:
    """Apply a relaxed step; return the rms relative change and the relaxation."""
    st = layers.state
    d_old = st[:, 2] / st[:, 3]
    dd = (dm - d_old * du) / st[:, 3]
    turbulent = layers.kind != 0
    rel_t, rel_d = dt / st[:, 1], dd / np.maximum(d_old, 1e-12)
    rel_c = np.where(turbulent, dc / np.maximum(np.abs(st[:, 0]), 1e-3), dc / 10.0)
    head = np.zeros(st.shape[0], bool)
    for chain in layers.chains:
        head[chain[0]] = True
    slaves = layers.order[layers.order[:, 3] == newton.SLAVE, 0]
    head[slaves] = True
    rel_d = np.where(head, 0.0, rel_d)
    rel_u = np.where(head, 0.0, du / np.maximum(np.abs(st[:, 3]), 0.25))
    relax = 1.0
    for rel, low, high in (
        (rel_t, -0.5, 1.5),
        (rel_d, -0.5, 1.5),
        (np.where(turbulent, rel_c, 0.0), -0.6, 2.0),
        (rel_u, -0.5, 0.5),
    ):
        relax = min(relax, high / max(float(rel.max()), high), low / min(float(rel.min()), low))
    st[:, 0] += relax * dc
    st[turbulent, 0] = np.clip(st[turbulent, 0], 1e-4, 0.6)
    st[:, 1] += relax * dt
    st[:, 3] += relax * du
    u = st[:, 3]
    slow = (u < 1e-3) & ~head
    u[slow] = 1e-3
    st[:, 2] = np.where(head, st[:, 2] + relax * dm, u * (d_old + relax * dd))
    tight = (st[:, 2] / u - st[:, 5] < 1.01 * st[:, 1]) & ~head
    st[tight, 2] = u[tight] * (1.01 * st[tight, 1] + st[tight, 5])
    change = np.sqrt(np.mean(np.concatenate([rel_t**2, rel_d**2, rel_u**2])))
    return float(change), relax


def _follow_stagnation(
    layout: Layout, settings: LayerSettings, layers: Layers, n_surface: int
) -> bool:
    """Move stagnation points after a step; True if one changed its panel."""
    mesh = layout.system.mesh
    signed = layers.sign * layers.state[:, 3]
    moved = False
    for e in range(mesh.n_element):
        a, b = mesh.start[e], mesh.start[e + 1]
        q = signed[a:b]
        i = layers.stagnation[e]
        # a stagnation point within a hair of a node would hop from panel to panel for ever
        hair = 0.02 * abs(q[i + 1] - q[i])
        stays = q[i] < hair and q[i + 1] > -hair
        if stays:
            layers.state[a + i : a + i + 2, 3] = np.maximum(
                layers.state[a + i : a + i + 2, 3], 1e-7
            )
            for st in layers.state[a + i : a + i + 2]:
                if not 1.3 < st[2] / (st[3] * st[1]) < 4.0:
                    st[2] = 2.2 * st[3] * st[1]
            signed[a + i] = -layers.state[a + i, 3]
            signed[a + i + 1] = layers.state[a + i + 1, 3]
        new = i if stays else find_stagnation(q, layout.arc[a:b], i)
        if new != i:
            moved = True
            layers.stagnation[e] = new
            for g in range(a + min(i, new), a + max(i, new) + 2):
                ref = a + (min(i, new) - 1 if g <= a + new else max(i, new) + 2)
                ref = min(max(ref, a), b - 1)
                layers.state[g, 3] = abs(layers.state[g, 3]) + 1e-7
                layers.state[g, 0] = 0.0
                layers.kind[g] = 0
                layers.state[g, 1] = layers.state[ref, 1]
                layers.state[g, 2] = (
                    layers.state[g, 3] * layers.state[ref, 2] / layers.state[ref, 3]
                )
            signed[a:b] = np.where(
                np.arange(a, b) <= a + new, -layers.state[a:b, 3], layers.state[a:b, 3]
            )
    heads = np.array([c[0] for c in layers.chains])
    before = [tuple(r) for r in layers.order[layers.order[:, 3] != newton.NEXT]]
    connect(layout, settings, layers, signed)
    after = [tuple(r) for r in layers.order[layers.order[:, 3] != newton.NEXT]]
    for h in np.unique(np.concatenate([heads, [c[0] for c in layers.chains]])):
        k = int(h)
        st = layers.state[k]
        if st[2] / st[3] < 1.3 * st[1] or st[2] / st[3] > 4.0 * st[1]:
            st[2] = 2.2 * st[3] * st[1]
    return moved or before != after
