"""What lies between cells that were run: a Gaussian process, its error, and where to run next.

One process per state, shared by all draws and fields: Matérn 5/2 over the two axes of the map,
measured in nodes so that an axis drawn closer near the cliff stretches it; a plane as mean. Its
lengths are those of greatest likelihood of the strongest patterns among draws. Near a cliff the
process is surer than it may be: its own leave-one-out misses, taken nearby, scale its deviation.
"""

from dataclasses import dataclass

import numpy as np
from jaxtyping import Bool, Float

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Source

SOURCES = (
    Source(key="rasmussen2006", place="Matérn kernels, leave-one-out", status="memory"),
    Source(key="sacks1989", place="computer experiments", status="memory"),
)
_LENGTHS = np.geomspace(0.06, 2.5, 9)  # [-] of the axis
_JITTER = 1e-8  # [-] of the variance: runs repeat themselves exactly
_PATTERNS = 6  # among draws and fields, that decide the lengths
_MOST_FIT = 160  # runs that decide the lengths
_NEARBY = 0.12  # [-] of the axis, over which misses are averaged

Places = Float[np.ndarray, "n 2"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surrogate:
    """A fitted process.

    Attributes
    ----------
    places : (n, 2)
        Of the runs, each axis from 0 to 1. [-]
    lengths : (2,)
        Of the kernel. [-]
    weights : (n, n_out)
        K⁻¹ (Y − plane).
    plane : (3, n_out)
        Mean: constant and two slopes.
    inverse : (n, n)
        K⁻¹.
    spread : (n_out,)
        Standard deviation of each output about its plane. [as given]
    misses : (n,)
        Leave-one-out misses over the deviation the process gives itself, rms of outputs. [-]
    """

    places: Places
    lengths: Float[np.ndarray, "2"]
    weights: Float[np.ndarray, "n n_out"]
    plane: Float[np.ndarray, "3 n_out"]
    inverse: Float[np.ndarray, "n n"]
    spread: Float[np.ndarray, " n_out"]
    misses: Float[np.ndarray, " n"]

    def mean(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m n_out"]:
        """Return the expected outputs at other places."""
        rest = _kernel(places, self.places, self.lengths) @ self.weights
        return np.asarray(_basis(places) @ self.plane + rest)

    def deviation(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m"]:
        """Return the standard deviation at other places, over the outputs' own spread [-]."""
        cross = _kernel(places, self.places, self.lengths)
        left = np.maximum(1.0 - np.einsum("ij,jk,ik->i", cross, self.inverse, cross), 0.0)
        near = np.exp(-0.5 * _squares(places, self.places) / _NEARBY**2) + 1e-12
        local = np.sqrt(near @ np.square(self.misses) / np.sum(near, axis=1))
        return np.asarray(np.sqrt(left) * np.maximum(local, 0.5))


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOut:
    """How far a surrogate is off at runs it never saw.

    Attributes
    ----------
    count
        Of runs held out. [-]
    rms, largest
        Of the misses of all outputs there. [as the outputs]
    covered
        Share of the misses within the 80 % range the surrogate gives itself. [-]
    """

    count: int
    rms: float
    largest: float
    covered: float


def fit_surrogate(places: Places, outputs: Float[np.ndarray, "n n_out"]) -> Surrogate:
    """Return the process through runs.

    Parameters
    ----------
    places : (n, 2)
        Each axis from 0 to 1; 6 at least. [-]
    outputs : (n, n_out)
        Of every run: fields and draws, in one row.

    Raises
    ------
    InputError
        If there are fewer than 6 runs, one of them holds no number, or two stand at one place.
    """
    if places.shape[0] < 6:
        raise InputError("runs", places.shape[0], "", "a surrogate needs 6 at least")
    if not np.all(np.isfinite(outputs)):
        raise InputError("outputs", int(np.sum(~np.isfinite(outputs))), "of them", "are no numbers")
    if len(np.unique(places, axis=0)) < len(places):
        raise InputError("places", len(places), "", "two runs stand at one place of the map")
    basis = _basis(places)
    plane = np.linalg.lstsq(basis, outputs, rcond=None)[0]
    rest = outputs - basis @ plane
    lengths = _likeliest(places, rest)
    kernel = _kernel(places, places, lengths) + _JITTER * np.eye(len(places))
    inverse = np.linalg.inv(kernel)
    weights = inverse @ rest
    spread = np.sqrt(np.maximum(np.mean(rest * weights, axis=0), 1e-30))
    alone = weights / np.diag(inverse)[:, None]
    own = spread / np.sqrt(np.diag(inverse))[:, None]
    misses = np.sqrt(np.mean(np.square(alone / own), axis=1))
    return Surrogate(
        places=places, lengths=lengths, weights=weights, plane=plane, inverse=inverse,
        spread=spread, misses=misses,
    )  # fmt: skip


def held_out_error(
    places: Places, outputs: Float[np.ndarray, "n n_out"], held: Bool[np.ndarray, " n"]
) -> HeldOut:
    """Return how far a surrogate of some runs is off at the others.

    Parameters
    ----------
    places, outputs
        All runs.
    held : (n,)
        Which of them the surrogate never sees.
    """
    made = fit_surrogate(places[~held], outputs[~held])
    miss = made.mean(places[held]) - outputs[held]
    allowed = 1.2815515655446004 * made.deviation(places[held])[:, None] * made.spread
    return HeldOut(
        count=int(np.sum(held)), rms=float(np.sqrt(np.mean(miss**2))),
        largest=float(np.max(np.abs(miss))), covered=float(np.mean(np.abs(miss) <= allowed)),
    )  # fmt: skip


def _likeliest(places: Places, rest: Array) -> Float[np.ndarray, "2"]:
    """Return the lengths of greatest likelihood of the strongest patterns."""
    step = max(1, len(places) // _MOST_FIT)
    x, y = places[::step], rest[::step]
    left, size, _ = np.linalg.svd(y, full_matrices=False)
    count = min(_PATTERNS, int(np.sum(size > 1e-9 * max(size[0], 1e-300))))
    if count == 0:
        return np.array([1.0, 1.0])  # nothing but the plane
    patterns = left[:, :count] * np.sqrt(len(x))
    shares = size[:count] ** 2 / np.sum(size[:count] ** 2)

    def likelihood(one: float, two: float) -> float:
        kernel = _kernel(x, x, np.array([one, two])) + 1e-6 * np.eye(len(x))
        factor = np.linalg.cholesky(kernel)
        white = np.linalg.solve(factor, patterns)
        scale = np.maximum(np.mean(white**2, axis=0), 1e-300)
        return -float(np.sum(np.log(np.diag(factor)))) - 0.5 * len(x) * float(
            np.sum(np.log(scale) * shares)
        )

    found = [float(_LENGTHS[4]), float(_LENGTHS[4])]
    for turn in range(4):  # one length after the other, twice: the two hardly trade
        axis = turn % 2
        tried = [likelihood(*([*found[:axis], float(v), *found[axis + 1 :]])) for v in _LENGTHS]
        found[axis] = float(_LENGTHS[int(np.argmax(tried))])
    return np.array(found)


def _basis(places: Places) -> Float[np.ndarray, "n 3"]:
    return np.column_stack([np.ones(len(places)), places])


def _squares(one: Places, two: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "n m"]:
    return np.asarray(np.sum((one[:, None] - two[None]) ** 2, axis=2))


def _kernel(one: Places, two: Float[np.ndarray, "m 2"], lengths: Array) -> Float[np.ndarray, "n m"]:
    far = np.sqrt(5.0 * _squares(one / lengths, two / lengths))
    return np.asarray((1.0 + far + far**2 / 3.0) * np.exp(-far))
