"""Physical ends of a number: an efficiency stays below 1, a height above 0, in every draw.

One rule for all of them. Draws are left alone up to half way from the best value to the end, and
as far as the 80 % range reaches. Beyond, what is left of the way is taken exponentially, with the
same slope where it begins, so that draws keep their order and none passes the end. The median is
the best value and the 80 % range is what was written, whatever the end; only a range written to
the end or past it stops short of it, because nothing is known to stand on its end.
"""

import numpy as np

from tuftwork.quantity.types import Array, Numeric

HALF_WAY = 0.5
"""Draws are left alone up to here on the way from the best value to an end: a convention. [-]"""

SHORT = 0.95
"""A range written to an end or past it stops here on the way to it: a convention. [-]"""


def bent(
    value: Numeric, best: float, arms: tuple[float, float], ends: tuple[float, float]
) -> Array:
    """Return values drawn without regard to physical ends, bent so that none passes one.

    With y = (x − best) / (end − best) and f the larger of ½ and the same for the end of the 80 %
    range: y where y ≤ f, beyond f + (1 − f) (1 − exp(−(y − f) / (1 − f))).

    Parameters
    ----------
    value : (...)
        As drawn. [SI]
    best
        Best value. [SI]
    arms
        Ends of the 80 % range, low and high. [SI]
    ends
        Physical ends, low and high; infinite where there is none. [SI]

    Returns
    -------
    bent : (...)
        Between the ends, in the same order. [SI]
    """
    out = np.asarray(value, dtype=float)
    for arm, end in zip(arms, ends, strict=True):
        room = end - best
        if not np.isfinite(end) or room == 0.0:  # an arm of no length needs no end
            continue
        way = (out - best) / room
        free = max(HALF_WAY, (arm - best) / room)
        over = np.maximum(way - free, 0.0) / (1.0 - free)
        held = np.minimum(free + (1.0 - free) * -np.expm1(-over), 1.0)
        out = np.where(way > free, best + held * room, out)
    return out
