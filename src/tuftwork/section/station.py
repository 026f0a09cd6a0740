"""States of all layers while they are being solved, and how the stations hang together."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import NotConverged
from tuftwork.quantity import Array
from tuftwork.section import closure, newton
from tuftwork.section.layout import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerSettings:
    """What the layers need besides the shape.

    Attributes
    ----------
    reynolds
        On the length unit of the mesh. [-]
    par
        Constants of the closures, see ``closure``.
    trips : (n_element, 2)
        x-fraction of the element at which the layer is tripped, upper and lower; above 1 never.
    """

    reynolds: float
    par: Array
    trips: Array


@dataclass(slots=True)
class Layers:
    """State of all layers while it is being solved; one row per station."""

    state: Array
    kind: NDArray[np.int64]
    sign: Array
    stagnation: list[int]
    order: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 4), np.int64))
    chains: list[NDArray[np.int64]] = field(default_factory=list)
    trip: Array = field(default_factory=lambda: np.zeros(0))
    move: Array = field(default_factory=lambda: np.zeros((0, 2)))
    move_at: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 2), np.int64))
    n_iteration: int = 0
    residual: float = np.inf
    is_settled: bool = False

    def copy(self) -> "Layers":
        """Independent copy."""
        return Layers(self.state.copy(), self.kind.copy(), self.sign.copy(), list(self.stagnation))


def find_stagnation(q: Array, arc: Array, near: int | None) -> int:
    """Index i with the upper side up to i and the lower from i + 1."""
    hits = np.flatnonzero((q[:-1] < 0.0) & (q[1:] >= 0.0))
    if hits.size == 0:
        raise NotConverged("no stagnation point on an element")
    if near is None:
        return int(hits[np.argmin(np.abs(hits - 0.5 * q.size))])
    return int(hits[np.argmin(np.abs(hits - near))])


def connect(layout: Layout, settings: LayerSettings, layers: Layers, signed: Array) -> None:
    """Rebuild chains, arc lengths, their motion and trips for the present stagnation points."""
    mesh = layout.system.mesh
    n = layout.n
    layers.sign = np.ones(n)
    layers.move = np.zeros((n, 2))
    layers.move_at = -np.ones((n, 2), np.int64)
    layers.trip = np.full(n, 1e9)
    order, chains = [], []
    for e in range(mesh.n_element):
        a, b = mesh.start[e], mesh.start[e + 1]
        i = a + layers.stagnation[e]
        qa, qb = signed[i], signed[i + 1]
        ds = layout.arc[i + 1] - layout.arc[i]
        f = min(max(-qa / (qb - qa), 1e-6), 1.0 - 1e-6)
        place = layout.arc[i] + f * ds
        upper, lower = np.arange(i, a - 1, -1), np.arange(i + 1, b)
        layers.sign[upper] = -1.0
        # ds_stag/dua, dub for speeds positive along their chains: f = ua / (ua + ub)
        ua, ub = max(-qa, 1e-9), max(qb, 1e-9)
        ga, gb = ds * ub / (ua + ub) ** 2, -ds * ua / (ua + ub) ** 2
        size = np.ptp(mesh.x[a:b])
        low = mesh.x[a:b].min()
        for side, (chain, sg) in enumerate(((upper, 1.0), (lower, -1.0))):
            layers.state[chain, 4] = np.abs(layout.arc[chain] - place)
            layers.move[chain] = sg * ga, sg * gb
            layers.move_at[chain] = i, i + 1
            share = (mesh.x[chain] - low) / size
            at = float(settings.trips[e, side])
            if at <= 1.0:
                nose = int(np.argmin(share))
                s_at = np.interp(at, share[nose:], layers.state[chain[nose:], 4])
                layers.trip[chain] = max(float(s_at), 1e-9)
            lead = 0
            if layers.state[chain[0], 4] < 0.1 * ds:
                lead = 1
            order.append((chain[lead], -1, -1, newton.FIRST))
            if lead:
                order.append((chain[0], chain[1], -1, newton.SLAVE))
            order += [
                (chain[k], chain[k - 1], -1, newton.NEXT) for k in range(lead + 1, chain.size)
            ]
            layers.kind[chain[: lead + 1]] = 0
            chains.append(chain[lead:])
        w = layout.wake[e]
        order.append((w.start, a, b - 1, newton.WAKE_START))
        order += [(k, k - 1, -1, newton.NEXT) for k in range(w.start + 1, w.stop)]
        layers.kind[w] = closure.WAKE
        layers.state[w, 4] = size + layout.arc[w]
    layers.state[:, 5] = layout.gap
    layers.order = np.array(order, np.int64)
    layers.chains = chains
