"""What lies between cells that were run: a Gaussian process, its error, and where to run next.

One process per state, shared by all draws and fields: Matérn 5/2 over the two axes of the map,
measured in nodes so that an axis drawn closer near the cliff stretches it; a plane as mean. Its
lengths are those of greatest likelihood of the strongest patterns among draws. Near a cliff the
process is surer than it may be, far from it too wary: its own leave-one-out misses, taken nearby,
scale its deviation, and one factor more puts four of five misses at runs held out in its range.
"""

from dataclasses import dataclass, replace

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
_NEARBY = 0.05  # [-] of the axis, over which misses are averaged at least; else to the next run
_WITHIN = 1.2815515655446004  # [-] deviations on either side that hold four of five
_TRIED = 128  # places that are compared as the next run

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
    factor
        On every deviation, from runs held out (:func:`widened`). [-]
    """

    places: Places
    lengths: Float[np.ndarray, "2"]
    weights: Float[np.ndarray, "n n_out"]
    plane: Float[np.ndarray, "3 n_out"]
    inverse: Float[np.ndarray, "n n"]
    spread: Float[np.ndarray, " n_out"]
    misses: Float[np.ndarray, " n"]
    factor: float = 1.0

    def mean(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m n_out"]:
        """Return the expected outputs at other places."""
        rest = _kernel(places, self.places, self.lengths) @ self.weights
        return np.asarray(_basis(places) @ self.plane + rest)

    def deviation(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m"]:
        """Return the standard deviation at other places, over the outputs' own spread [-]."""
        return np.asarray(self.factor * np.sqrt(self.left(places)) * self.local(places))

    def left(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m"]:
        """Return the share of the process's own variance that the runs leave [-]."""
        cross = _kernel(places, self.places, self.lengths)
        told = np.sum((cross @ self.inverse) * cross, axis=1)
        return np.asarray(np.maximum(1.0 - told, 0.0))

    def shared(
        self, one: Float[np.ndarray, "m 2"], two: Float[np.ndarray, "k 2"]
    ) -> Float[np.ndarray, "m k"]:
        """Return the covariance of two sets of places that the runs leave [-]."""
        first, second = (_kernel(at, self.places, self.lengths) for at in (one, two))
        return np.asarray(_kernel(one, two, self.lengths) - first @ self.inverse @ second.T)

    def local(self, places: Float[np.ndarray, "m 2"]) -> Float[np.ndarray, "m"]:
        """Return the misses near places, over the deviation the process gives itself [-]."""
        reach = max(_NEARBY, 1.0 / np.sqrt(len(self.places)))
        near = np.exp(-0.5 * _squares(places, self.places) / reach**2) + 1e-12
        return np.asarray(np.sqrt(near @ np.square(self.misses) / np.sum(near, axis=1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOut:
    """How far a surrogate is off at runs it never saw.

    Attributes
    ----------
    count
        Of runs held out. [-]
    rms, largest
        Of the misses of all outputs there. [as the outputs]
    ratios : (n_held, n_out)
        Misses over the deviation the surrogate gives itself, sign dropped. [-]
    """

    count: int
    rms: float
    largest: float
    ratios: Float[np.ndarray, "n_held n_out"]

    def covered(self, factor: float = 1.0) -> float:
        """Return the share of the misses within the 80 % range, widened by a factor [-]."""
        return float(np.mean(self.ratios <= factor * _WITHIN))


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRun:
    """Where one run more would help most.

    Attributes
    ----------
    index
        Of the place. [-]
    there
        Deviation at the place itself, over the outputs' own spread. [-]
    before, after
        Root of the mean variance over all places given, without that run and with it. [-]
    """

    index: int
    there: float
    before: float
    after: float


def fit_surrogate(
    places: Places, outputs: Float[np.ndarray, "n n_out"],
    lengths: Float[np.ndarray, "2"] | None = None,
) -> Surrogate:  # fmt: skip
    """Return the process through runs.

    Parameters
    ----------
    places : (n, 2)
        Each axis from 0 to 1; 6 at least. [-]
    outputs : (n, n_out)
        Of every run: fields and draws, in one row.
    lengths
        Of the kernel; the likeliest where not given. [-]

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
    lengths = _likeliest(places, rest) if lengths is None else lengths
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
    places: Places, outputs: Float[np.ndarray, "n n_out"], held: Bool[np.ndarray, " n"],
    judged: slice = slice(None), folds: int = 1,
) -> HeldOut:  # fmt: skip
    """Return how far a surrogate of some runs is off at the others.

    Parameters
    ----------
    places, outputs
        All runs.
    held : (n,)
        Which of them the surrogate never sees. For a fair answer they were drawn by lot from the
        places at which it will be read.
    judged
        Which of the outputs are looked at.
    folds
        In how many turns; in each the others that are held help, as they will in the end. [-]
    """
    lengths = fit_surrogate(places, outputs).lengths
    misses, ratios = [], []
    at = np.flatnonzero(held)
    for turn in (at[k::folds] for k in range(min(folds, at.size))):
        seen = np.ones(len(places), dtype=bool)
        seen[turn] = False
        made = fit_surrogate(places[seen], outputs[seen], lengths)
        miss = np.abs(made.mean(places[turn]) - outputs[turn])[:, judged]
        own = made.deviation(places[turn])[:, None] * made.spread[judged]
        misses.append(miss)
        ratios.append(miss / np.maximum(own, 1e-300))
    miss = np.concatenate(misses)
    return HeldOut(
        count=int(at.size), rms=float(np.sqrt(np.mean(miss**2))), largest=float(np.max(miss)),
        ratios=np.concatenate(ratios),
    )  # fmt: skip


def widened(ratios: Float[np.ndarray, "n_held n_out"]) -> float:
    """Return the factor on a deviation with which four of five of these misses are in range [-]."""
    return max(float(np.quantile(ratios, 0.8)) / _WITHIN, 1e-3)


def with_factor(made: Surrogate, factor: float) -> Surrogate:
    """Return the same process with every deviation times a factor."""
    return replace(made, factor=factor)


def next_run(made: Surrogate, places: Float[np.ndarray, "m 2"]) -> NextRun:
    """Return the place at which one run more lowers the mean variance over all places most.

    The variance that a run at c takes off at x is the square of their covariance over the
    variance at c, with the deviation's local scale at x.

    Parameters
    ----------
    made
        Through the runs so far.
    places : (m, 2)
        That were not run.
    """
    own = made.deviation(places)
    tried = np.argsort(own)[::-1][:_TRIED]
    scale = made.factor * made.local(places)
    shared = scale[:, None] * made.shared(places, places[tried])
    taken = np.sum(np.square(shared), axis=0) / np.maximum(made.left(places[tried]), _JITTER)
    best = int(np.argmax(taken))
    before = float(np.sum(own**2))
    after = max(before - float(taken[best]), 0.0)
    return NextRun(
        index=int(tried[best]), there=float(own[tried[best]]),
        before=float(np.sqrt(before / len(places))), after=float(np.sqrt(after / len(places))),
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
