"""How far a load depends on the cells: the same case with two sizes of cell."""

from dataclasses import dataclass
from math import hypot

from tuftwork.errors import InputError

LEAST_RATIO = 1.2
"""Cells nearer to each other than this say nothing: noise is divided by what the ratio is above 1.
[-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridChange:
    """What larger cells change in a load, and what smaller ones may still change.

    Attributes
    ----------
    change
        Load with the larger cells less that with the smaller ones.
    noise
        Standard error of the change.
    first, second
        What the load with the smaller cells is too high by if the error goes with the size of the
        cells, and with its square.
    """

    change: float
    noise: float
    first: float
    second: float

    @property
    def is_noise(self) -> bool:
        """Whether the change is no more than two of its standard errors."""
        return abs(self.change) <= 2.0 * self.noise


def grid_change(fine: tuple[float, float], coarse: tuple[float, float], ratio: float) -> GridChange:
    """Return how a load depends on the cells, from two runs of the same case.

    With f = F + b hᵖ and cells r times as large, f_fine − F = (f_coarse − f_fine) / (rᵖ − 1). The
    order p of so coarse a flow is not known, so it is told for 1 and 2.

    Parameters
    ----------
    fine, coarse
        Mean and standard error with the smaller and the larger cells.
    ratio
        Larger over smaller cell. [-]

    Raises
    ------
    InputError
        If the cells are too near to each other to tell.

    Notes
    -----
    Not for cells that change what the flow does, such as letting go of a slant: the formula knows
    of no such jump.

    References
    ----------
    [roache1994] section 2.

    Examples
    --------
    >>> found = grid_change((1.1, 0.01), (1.2, 0.01), 2.0)
    >>> round(found.first, 3), round(found.second, 3)
    (0.1, 0.033)
    """
    if not ratio >= LEAST_RATIO:
        limit = f"must be {LEAST_RATIO:g} or more"
        raise InputError("ratio of the cells", ratio, "", limit, "Take larger cells.")
    change = coarse[0] - fine[0]
    return GridChange(
        change=change, noise=hypot(fine[1], coarse[1]),
        first=change / (ratio - 1.0), second=change / (ratio**2 - 1.0),
    )  # fmt: skip
