"""When a run may end, and what is known while it goes on."""

from dataclasses import dataclass

from tuftwork.errors import InputError
from tuftwork.flow.doubt import Doubt
from tuftwork.flow.statistics import SeriesMean


@dataclass(frozen=True, slots=True, kw_only=True)
class StopRule:
    """When a run may end.

    Attributes
    ----------
    error
        Standard error of downforce area and drag area at which to stop. [m²]
    settle
        Travel before anything is averaged. [body lengths]
    longest
        Travel after which to stop in any case. [body lengths]
    """

    error: float = 0.005
    settle: float = 4.0
    longest: float = 20.0

    def __post_init__(self) -> None:
        if not self.error > 0:
            raise InputError("error", self.error, "m²", "must be above 0")
        if not 0 <= self.settle < self.longest:
            limit = f"must be from 0 to below longest = {self.longest:g}"
            raise InputError("settle", self.settle, "body lengths", limit)
        if not self.longest - self.settle >= 1.0:
            limit = "must be at least 1 body length beyond settle"
            raise InputError("longest", self.longest, "body lengths", limit)


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
