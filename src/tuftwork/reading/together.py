"""How measurements from one solution move together."""

from collections.abc import Sequence

import numpy as np

from tuftwork.reading.measure import Ask, posed
from tuftwork.reading.solve import Solution


def correlations(solution: Solution, asks: Sequence[Ask]) -> np.ndarray:
    """Return how measurements from one solution move together: shared camera, points and marks.

    Errors of the camera, of solved points and of marks or planes that two measurements share are
    common to both; each measurement's other clicks are its own. First order.

    Returns
    -------
    correlation : (n_ask, n_ask)
        Ones on its diagonal. [-]
    """
    n = len(solution.theta)
    slopes: list[np.ndarray] = []
    owns: list[dict[tuple[str, str, int], float]] = []
    for ask in asks:
        problem = posed(solution, ask)
        gradient = problem.gradient(n)
        slopes.append(gradient[:n])
        picture = next((t.picture for t in (*ask.traces, *ask.less) if t.picture), "")
        own: dict[tuple[str, str, int], float] = {}
        for label, slope, spread in zip(problem.labels, gradient[n:], problem.spreads, strict=True):
            # the k-th click of a mark is the same click wherever that mark is used
            count = sum(name == label for name, _, _ in own)
            place = (label, picture, count) if label != "mesh" else (f"mesh {len(owns)}", "", 0)
            own[place] = float(slope * spread)
        owns.append(own)
    root = np.stack(slopes)
    covariance = root @ solution.covariance @ root.T
    for i, one in enumerate(owns):
        for j, other in enumerate(owns):
            covariance[i, j] += sum(one[k] * other[k] for k in one.keys() & other.keys())
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    return np.asarray(covariance / np.outer(spread, spread))
