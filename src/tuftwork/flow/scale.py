"""A colour scale that ends on a round number chosen from what is shown."""

import numpy as np
import numpy.typing as npt

SHOWN = 99.0
"""Share of the values that a scale must hold: a peak at one corner would make the rest pale. [%]"""
_NOTHING = 0.1
"""End of the scale where nothing differs from zero."""


def round_end(values: npt.NDArray[np.generic]) -> float:
    """Return the end of a scale from 0: the first of 1, 2, 5 times a power of ten that holds 99 %.

    Parameters
    ----------
    values : (...)
        From 0 up; what is not a number counts for nothing.

    Examples
    --------
    >>> round_end(np.linspace(0.0, 0.34, 500))
    0.5
    """
    found = np.asarray(values, dtype=float)
    found = found[np.isfinite(found)]
    most = float(np.percentile(found, SHOWN)) if found.size else 0.0
    if not most > 0:
        return _NOTHING
    power = int(np.floor(np.log10(most)))
    step = next(n for n in (1, 2, 5, 10) if n * 10.0**power >= most * (1 - 1e-9))
    return float(f"{step}e{power}")
