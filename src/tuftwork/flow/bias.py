"""How far this solver was from measured values at like resolution: the range its loads are given.

A run's statistical error says how well its own mean is known; this says how far such means have
been from the truth. The tables are ``bias.csv`` (drag) and ``bias_downforce.csv``; every row of
them is a run of this package.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError

LIKE = 1.3
"""Resolutions within this factor are alike. [-]"""
FEWEST = 4
"""Fewer comparisons than this at like resolution, and the nearest ones are taken. [-]"""
WING_MISS = 0.5
"""Half-range of downforce over itself: before thin parts were cut from both sides, the wing over
the road measured up to 1.42 times the computed. Since then 0.89 to 1.21 times, with the walls as
they stand 1.06 to 1.19, at 89 cells over the chord: one wing is too little to narrow by. [-]"""
LIFT_MISS = 1.6
"""Half-range of lift over drag: 80 % of a normal spread with the root mean square, 1.2, of what
the lift of the slanted tail at 25° missed by with 6, 5, 4 and 3 mm when edges were sharp from 24°
and the stream let go of the slant. With 32° it misses by 0.007, 0.042 and 0.013 with
4, 3 and 2.5 mm; the turn was chosen on that very slant, so this narrows nothing. [-]"""
_SHARE = 0.8
"""Share of truths that a stated range is to hold. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One measured body that this solver was run on.

    ``cells_per_length`` is the body's length over the cell; ``computed`` and ``measured`` are
    coefficients of drag, or of downforce. [-]
    """

    body: str
    cells_per_length: float
    precision: str
    computed: float
    measured: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bias:
    """Range of truth over computed drag, at like resolution.

    Attributes
    ----------
    low, high
        Ends of the 80 % range of measured over computed drag, 1 always inside. [-]
    rows
        The comparisons it rests on.
    widened
        How many times wider than their spread, because nothing as coarse was compared. [-]
    """

    low: float
    high: float
    rows: tuple[Comparison, ...]
    widened: float = 1.0

    def drag(self, area: float) -> tuple[float, float]:
        """Return the range of a computed drag area. [m²]."""
        return self.low * area, self.high * area

    def downforce_half_range(self, downforce: float, drag: float) -> float:
        """Return the half-range given to a computed downforce area. [m²].

        Downforce has been compared with measurements on one wing over the road, where measured over
        computed was 0.89 to 1.21, and up to 1.42 before thin parts were cut; that of a floor with
        none. So it is given the spread of the drag relative to itself, but no less than
        ``WING_MISS``, and never less than ``LIFT_MISS`` of the drag area, by which a body's lift
        missed where the stream let go of a slant that it holds on to in the measurement.
        """
        spread = max(self.high - 1.0, 1.0 - self.low, WING_MISS)
        return max(spread * abs(downforce), LIFT_MISS * abs(drag))

    @property
    def text(self) -> str:
        """The statement in words."""
        cells = [row.cells_per_length for row in self.rows]
        ratio = [row.measured / row.computed for row in self.rows]
        span = f"{min(cells):.0f}"
        if max(cells) > min(cells):
            span += f" to {max(cells):.0f}"
        wider = ""
        if self.widened > 1.0:
            wider = f", widened {self.widened:.1f} times because nothing as coarse was compared,"
        return (
            f"On {len(self.rows)} runs of measured bodies with {span} "
            f"cells over their length the measured drag was {min(ratio):.2f} to "
            f"{max(ratio):.2f} times what this solver gave; {self.low:.2f} to {self.high:.2f} "
            f"times{wider} holds four times out of five. Lift was compared on the 25° slant only, "
            "of the body on which the turn of a sharp edge was chosen: with 261, 348, 418 cells it "
            "missed by 0.018 or less, 0.042 and 0.013; where the stream let go of the slant, with "
            "earlier walls, by 0.3 to 0.5. With 174 cells drag moved by up to a quarter with where "
            "the body's end lay in its cell, with 261 by 5 to 10 %, and one place let go of the "
            "slant of 30°; "
            f"{_wing_text()} Downforce of floors has not been compared with any measurement. "
            "Downforce is given half of itself or 1.6 times the drag either way, whichever is more."
        )


def _wing_text() -> str:
    """Return what the wing over the road says."""
    every = downforce_comparisons()
    ratio = sorted(row.measured / row.computed for row in every)
    return (
        f"downforce was compared in {len(every)} runs of one wing over the road, "
        f"{every[0].cells_per_length:.0f} cells over its chord, four of them with the walls as "
        f"they stand: measured {ratio[0]:.2f} to {ratio[-1]:.2f} times the computed."
    )


def comparisons() -> tuple[Comparison, ...]:
    """Return every comparison of drag with a measured body."""
    return _read("bias.csv")


def downforce_comparisons() -> tuple[Comparison, ...]:
    """Return every comparison of downforce with a measured body."""
    return _read("bias_downforce.csv")


@cache
def _read(name: str) -> tuple[Comparison, ...]:
    text = files("tuftwork.flow").joinpath(name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(
        Comparison(
            body=row["body"],
            cells_per_length=float(row["cells_per_length"]),
            precision=row["precision"],
            computed=float(row["computed"]),
            measured=float(row["measured"]),
        )
        for row in csv.DictReader(lines)
    )


def stated_bias(cells_per_length: float) -> Bias:
    """Return the range in which the truth lay at like resolution.

    The 80 % prediction range of the logarithm of measured over computed drag (Student's t), widened
    to hold 1: a computed value is never moved, only given its range.
    With cells coarser than any that were compared the range grows in proportion to the cell.

    Parameters
    ----------
    cells_per_length
        Length of the parts over the cell.

    Returns
    -------
    bias
        With the comparisons it rests on.
    """
    from scipy.stats import t as student

    if not cells_per_length > 0:
        raise InputError("cells_per_length", cells_per_length, "", "must be above 0")
    every = comparisons()
    far = np.abs(np.log([row.cells_per_length / cells_per_length for row in every]))
    like = [row for row, d in zip(every, far, strict=True) if d <= np.log(LIKE)]
    if len(like) < FEWEST:
        last = np.sort(far)[FEWEST - 1]
        like = [row for row, d in zip(every, far, strict=True) if d <= last + 1e-9]
    ratio: npt.NDArray[np.float64] = np.log([row.measured / row.computed for row in like])
    count = len(ratio)
    reach = student.ppf(0.5 + _SHARE / 2, count - 1) * ratio.std(ddof=1) * np.sqrt(1 + 1 / count)
    # where nothing as coarse was run, the spread grows as an error of first order would
    widened = max(1.0, min(row.cells_per_length for row in every) / cells_per_length)
    reach *= widened
    middle = float(ratio.mean())
    low, high = float(np.exp(middle - reach)), float(np.exp(middle + reach))
    return Bias(low=min(low, 1.0), high=max(high, 1.0), rows=tuple(like), widened=widened)
