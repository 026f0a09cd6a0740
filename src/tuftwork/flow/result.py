"""What a finished run of the 3-D flow gave."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tuftwork.flow.core_flow import CoreFlow
from tuftwork.flow.doubt import Doubt
from tuftwork.flow.moments import Moments
from tuftwork.flow.part_load import PartLoad
from tuftwork.flow.prepare import Prepared
from tuftwork.flow.statistics import SeriesMean
from tuftwork.flow.through import OpeningFlow

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowResult:
    """A finished run.

    Attributes
    ----------
    prepared
        What was run.
    downforce_area, drag_area, side_area
        Means of all parts with their statistical error. The error of the model is larger: see
        ``notices``. [m²]
    parts
        Loads by part.
    series
        Loads by sample, surface and component, in coefficient areas. Shape (n, n_surface, 6).
    mean, last
        Mean moments and the last ones, in lattice units.
    wall_rows, last_rows
        Force (3), density departure, friction (3) by wall cell, in lattice units: means, and those
        of the last two steps.
    travel
        [body lengths]
    reached
        Whether the asked error was reached.
    notices
        Warnings for the reader.
    made_with
        Version, back end, precision, cards, cells, steps; seconds of all processes together, where
        a run went on from a checkpoint.
    cores, openings
        What passed each core and fan, and each opening.
    doubts
        Signs that the flow is finite but wrong; they stand among the notices too.
    boxes
        The same for each box of finer cells, coarser ones first; their moments and wall rows
        are in the units of their own cells, all else is that of the whole run.
    sources
        Keys of the published methods used.
    """

    prepared: Prepared
    downforce_area: SeriesMean
    drag_area: SeriesMean
    side_area: SeriesMean
    parts: tuple[PartLoad, ...]
    series: Floats
    mean: Moments
    last: Moments
    wall_rows: Floats
    last_rows: Floats
    travel: float
    reached: bool
    notices: tuple[str, ...]
    made_with: dict[str, str | int | float]
    cores: tuple[CoreFlow, ...] = ()
    openings: tuple[OpeningFlow, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    boxes: tuple["FlowResult", ...] = ()
    sources: tuple[str, ...] = field(
        default=("geier2015", "bouzidi2001", "bailey2009", "reichardt1951", "sokal1997")
    )
