"""A splitter behind the closed-form estimate."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, EstimatedPart, Reference, loaded
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden, without
from tuftwork.car import Splitter
from tuftwork.floor.splitter import (
    SOURCES,
    SplitterCoefficients,
    SplitterGeometry,
    SplitterLoad,
    estimate_splitter,
)

_KEYS = ("projection", "width", "lip_radius", "station", "drop")


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedSplitter(EstimatedPart):
    """A splitter: it hands the floor air with less head."""

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the splitter's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        wheelbase, station = draws[WHEELBASE], self.key("station", draws)
        found = self.read(platform, draws)[0]
        moment = found.downforce * station + found.moment
        choked = float(np.mean(found.choke < 1))
        notices = (
            (f"{self.name}: chokes in {100 * choked:.0f} % of draws.",) if choked > 0.1 else ()
        )
        return loaded(
            found.downforce,
            moment,
            found.drag,
            wheelbase,
            effects={"floor_head": found.head},
            notices=notices,
        )

    def read(
        self, platform: PlatformState, draws: Mapping[str, Field]
    ) -> tuple[SplitterLoad, SplitterGeometry, SplitterCoefficients]:
        """Return the estimate, and the shape and coefficients it was given."""
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        station = self.key("station", draws)
        clearance = platform.ride_height_front + slope * station - self.key("drop", draws)
        geometry = SplitterGeometry(
            projection=self.key("projection", draws),
            width=self.key("width", draws),
            lip_radius=self.key("lip_radius", draws),
            # a plate on the road chokes; one millimetre keeps the formulas finite there
            clearance=np.maximum(clearance, 1e-3),
        )
        own = SplitterCoefficients(**({"wake": np.zeros(1)} | self.coefficients(draws)))
        return estimate_splitter(geometry, own), geometry, own


def splitter_model(
    part: Splitter, reference: Reference, heard: Collection[str]
) -> EstimatedSplitter:
    """Return the model of a splitter of the project; its wake matters where a floor hears it."""
    own = overridden(coefficients_of("floor", "splitter"), part.model, part.name)
    idle = () if "floor_head" in heard else ("wake",)
    own = without(own, idle, part.model, part.name)
    inputs = {f"{part.name}.{k}": getattr(part, k) for k in _KEYS}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    return EstimatedSplitter(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=SOURCES,
        reference=reference,
    )
