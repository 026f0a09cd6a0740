"""A response surface: what a slow model gives, as a polynomial in the inputs that tell."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field
from tuftwork.quantity import Array

_TELLS = 0.004  # [-] of the variance of any field at any speed: less is left out
_MOST = 16  # inputs


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Second-order polynomials in standardised inputs, node by node of speed.

    Attributes
    ----------
    names
        Inputs it uses.
    centre, width
        By which they are standardised, ``(n_input,)``.
    speed : (n_speed,)
        Nodes. [m/s]
    coefficients : (n_speed, n_field, n_term)
        Of the terms 1, x_i, x_i x_j (i ≤ j).
    miss : (n_field,)
        Root mean square of what it misses in the draws it was fitted to.
    """

    names: tuple[str, ...]
    centre: Array
    width: Array
    speed: Array
    coefficients: Array
    miss: Array

    def at(self, inputs: Array, speed: Field) -> Array:
        """Return the fields at draws of its inputs and speeds ``(n_field, ..., n_draw)``.

        Parameters
        ----------
        inputs : (n_input, n_draw)
            [SI]
        speed : (...) broadcastable against ``(..., n_draw)``
            Held at the outer nodes beyond them. [m/s]
        """
        terms = terms_of((inputs - self.centre[:, None]) / self.width[:, None])
        nodes = self.coefficients @ terms
        v = np.clip(np.asarray(speed, dtype=float), self.speed[0], self.speed[-1])
        weights = [
            np.interp(v, self.speed, row) for row in np.eye(len(self.speed))
        ]  # hat functions: straight between the nodes
        shape = (nodes.shape[1], *(1,) * (v.ndim - 1), nodes.shape[2])
        return np.asarray(sum(w * n.reshape(shape) for w, n in zip(weights, nodes, strict=True)))


def terms_of(x: Array) -> Array:
    """Return 1, x_i and x_i x_j (i ≤ j) of inputs ``(n_input, n_draw)``."""
    i, j = np.triu_indices(len(x))
    return np.concatenate([np.ones((1, x.shape[1])), x, x[i] * x[j]])


def response_of(draws: Mapping[str, Array], speed: Array, values: Array) -> Response:
    """Return the polynomials that fit draws best, in the inputs that tell.

    Parameters
    ----------
    draws
        Input → its draws ``(n_draw,)``.
    speed : (n_speed,)
        [m/s]
    values : (n_speed, n_field, n_draw)
        What the slow model gave.
    """
    names = tuple(draws)
    inputs = np.stack([draws[n] for n in names])
    centre, width = inputs.mean(axis=1), inputs.std(axis=1)
    x = (inputs - centre[:, None]) / width[:, None]
    # a field that does not vary is told by nobody
    whole = values.var(axis=2)
    whole = np.where(whole > 1e-18 * np.mean(values**2, axis=2), whole, np.inf)
    # ordered by what each input tells by itself, straight and squared
    told = np.zeros(len(names))
    for k, row in enumerate(x):
        terms = np.stack([np.ones_like(row), row, row**2])
        rest = values - values @ np.linalg.pinv(terms) @ terms
        told[k] = float(np.max(np.where(np.isfinite(whole), 1.0 - rest.var(axis=2) / whole, 0.0)))
    order = np.argsort(-told)[:_MOST]
    chosen = sorted(int(k) for k in order if told[k] > _TELLS) or [int(order[0])]
    terms = terms_of(x[chosen])
    coefficients = values @ np.linalg.pinv(terms)
    miss = np.sqrt(np.mean((values - coefficients @ terms) ** 2, axis=(0, 2)))
    return Response(
        names=tuple(names[k] for k in chosen), centre=centre[chosen], width=width[chosen],
        speed=speed, coefficients=coefficients, miss=miss,
    )  # fmt: skip
