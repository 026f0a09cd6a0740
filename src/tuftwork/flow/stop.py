"""When a run may end, and what is known while it goes on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.doubt import Doubt
from tuftwork.flow.statistics import FEWEST, SeriesMean, start_up

_LATE = 0.25
"""Share of the averaged samples that the start-up must reach into before it is told. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class StopRule:
    """When a run may end.

    Attributes
    ----------
    error
        Standard error of downforce area and drag area at which to stop. [m²]
    share
        The same as a share of each of the two, instead of ``error``; None: ``error`` holds. [-]
    settle
        Travel before anything is averaged. [body lengths]
    longest
        Travel after which to stop in any case. [body lengths]
    """

    error: float = 0.005
    share: float | None = None
    settle: float = 4.0
    longest: float = 20.0

    def __post_init__(self) -> None:
        if not self.error > 0:
            raise InputError("error", self.error, "m²", "must be above 0")
        if self.share is not None and not 0 < self.share < 1:
            raise InputError("share", self.share, "", "must be above 0 and below 1")
        if not 0 <= self.settle < self.longest:
            limit = f"must be from 0 to below longest = {self.longest:g}"
            raise InputError("settle", self.settle, "body lengths", limit)
        # 1.4 less 0.4 is short of 1 by a rounding
        if not round(self.longest - self.settle, 9) >= 1.0:
            limit = "must be at least 1 body length beyond settle"
            raise InputError("longest", self.longest, "body lengths", limit)

    def is_met(self, loads: Sequence[SeriesMean]) -> bool:
        """Return whether every load is known as well as was asked."""
        return all(
            load.error <= (self.error if self.share is None else self.share * abs(load.mean))
            for load in loads
        )

    @property
    def asked(self) -> str:
        """What was asked, in words."""
        if self.share is None:
            return f"{self.error:g} m²"
        return f"{100 * self.share:g} % of CzS and of CxS"


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What is known while a run goes on.

    Attributes
    ----------
    step, travel
        Steps done and travel. [-], [body lengths]
    downforce_area, drag_area
        Present means with error; None while the flow settles. [m²]
    seconds
        Time since the start. [s]
    rate
        Cell updates per second. [1/s]
    doubts
        Signs so far that the flow is finite but wrong.
    """

    step: int
    travel: float
    downforce_area: SeriesMean | None
    drag_area: SeriesMean | None
    seconds: float
    rate: float
    doubts: tuple[Doubt, ...] = ()


def start_up_notices(
    rule: StopRule, rows: npt.NDArray[np.float64], travel: float
) -> tuple[str, ...]:
    """Return a notice where the start-up reaches far beyond the travel that was left out.

    Parameters
    ----------
    rule
        Whose ``settle`` was left out.
    rows : (n, 6)
        Loads of all parts by sample after it.
    travel
        At the end. [body lengths]
    """
    if len(rows) < 2 * FEWEST:
        return ()
    late = max(((start_up(rows[:, k]) / len(rows), name)
                for k, name in ((2, "downforce"), (0, "drag"))))  # fmt: skip
    if late[0] < _LATE:
        return ()
    until = rule.settle + late[0] * (travel - rule.settle)
    return (
        f"The start-up shows until {until:.1f} lengths in the {late[1]} area, beyond settling at "
        f"{rule.settle:g}: the means hold it, and what it moves them by counts to their error. A "
        "larger 'settle' leaves it out.",
    )
