"""A first guess of all layers: marched along eased inviscid speeds."""

import numpy as np
from numpy.typing import NDArray

from tuftwork.quantity import Array
from tuftwork.section.layout import Layout
from tuftwork.section.march import march
from tuftwork.section.station import Layers, LayerSettings, connect, find_stagnation


def start_layers(layout: Layout, settings: LayerSettings) -> Layers:
    """Return layers marched along the inviscid speeds, which they may bend where they separate."""
    mesh = layout.system.mesh
    n = layout.n
    q = layout.inviscid
    layers = Layers(
        np.zeros((n, 6)),
        np.zeros(n, np.int64),
        np.ones(n),
        [
            find_stagnation(q[mesh.element(e)], layout.arc[mesh.element(e)], None)
            for e in range(mesh.n_element)
        ],
    )
    connect(layout, settings, layers, q)
    for e in range(mesh.n_element):
        tails = []
        for side in range(2):
            chain = layers.chains[2 * e + side]
            speed = _eased(layers.state[chain, 4], layers.sign[chain] * q[chain])
            march_chain(layers, chain, speed, settings, None)
            tails.append(layers.state[chain[-1]])
        w = layout.wake[e]
        one, two = tails
        theta = one[1] + two[1]
        delta = one[2] / one[3] + two[2] / two[3]
        shear = [
            t[0] if layers.kind[layers.chains[2 * e + s][-1]] != 0 else 0.03
            for s, t in enumerate(tails)
        ]
        c = (shear[0] * one[1] + shear[1] * two[1]) / theta
        tail = 0.5 * (one[3] + two[3])
        begin = np.array([layers.state[w.start, 4], c, theta, delta, tail, layout.gap[w.start]])
        idx = np.arange(w.start + 1, w.stop)
        # the inviscid dip at the edge is filled by the layers: recover smoothly from the tail
        fade = np.exp(-layout.arc[idx] / (0.3 * layout.arc[w][-1] + 1e-12))
        target = np.maximum(q[idx], 0.9) * (1.0 - fade) + tail * fade
        states, _, _ = march(
            layers.state[idx, 4], target, layout.gap[idx], 1e9, begin, True, True, True,
            settings.par,
        )  # fmt: skip
        rows = np.vstack([begin, states])
        _store(layers, np.arange(w.start, w.stop), rows)
    for e in range(mesh.n_element):
        for side in range(2):
            chain = layers.chains[2 * e + side]
            head = mesh.start[e] + layers.stagnation[e] + side
            if chain[0] != head:
                layers.state[head, :2] = layers.state[chain[0], :2]
                layers.state[head, 3] = max(layers.sign[head] * q[head], 1e-6)
                layers.state[head, 2] = (
                    layers.state[head, 3] * layers.state[chain[0], 2] / layers.state[chain[0], 3]
                )
    return layers


def _eased(x: Array, speed: Array) -> Array:
    """Inviscid speed without its fall to rest at the trailing edge, which layers never see.

    Started from that fall, the iteration can end in a false root with both layers swollen at the
    edge and sucked away in the first wake panel.
    """
    k = int(np.searchsorted(x, 0.90 * x[-1]))
    if k < 2 or k > x.size - 3:
        return speed
    slope = min((speed[k] - speed[k - 2]) / (x[k] - x[k - 2]), 0.0)
    line = speed[k] + slope * (x - x[k])
    tail = np.maximum(line, 0.75 * speed[k])
    return np.where(np.arange(x.size) > k, np.maximum(speed, tail), speed)


def _store(layers: Layers, where: NDArray[np.int64], rows: Array) -> None:
    """Rows (x, c, t, d, u, w) of a march into the state (c, t, m, u, x, w)."""
    layers.state[where, 0] = rows[:, 1]
    layers.state[where, 1] = rows[:, 2]
    layers.state[where, 2] = rows[:, 4] * (rows[:, 3] + rows[:, 5])
    layers.state[where, 3] = rows[:, 4]


def march_chain(
    layers: Layers,
    chain: NDArray[np.int64],
    speed: Array,
    settings: LayerSettings,
    stop: int | None,
) -> None:
    """March a chain along given speeds into its states; with ``stop`` without separation."""
    end = chain.size if stop is None else stop
    part = chain[:end]
    rows, kinds, _ = march(
        layers.state[part, 4],
        np.maximum(speed[:end], 1e-4),
        np.zeros(end),
        abs(float(layers.trip[chain[0]])),
        np.zeros(6),
        False,
        False,
        stop is None,
        settings.par,
    )
    _store(layers, part, rows)
    if stop is None:
        layers.kind[part] = kinds
