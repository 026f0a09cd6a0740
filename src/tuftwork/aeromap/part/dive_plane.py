"""Plates on the front corners behind the closed-form estimate of sharp swept plates."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import (
    WHEELBASE,
    EstimatedPart,
    Reference,
    around_of,
    loaded,
    pitched_height,
)
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden
from tuftwork.aeromap.part.front_channel import angle_at
from tuftwork.car import DivePlane
from tuftwork.errors import InputError
from tuftwork.quantity import exact
from tuftwork.wing.dive_plane import LARGEST, SOURCES, sharp_plate

_KEYS = ("reach", "chord", "incidence", "station", "height", "sweep")


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedDivePlane(EstimatedPart):
    """All plates of one description; the body side mirrors each of them."""

    count: int = 2

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the plates' load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        wheelbase = draws[WHEELBASE]
        reach, chord, incidence, station, height, sweep = (self.key(k, draws) for k in _KEYS)
        own = self.coefficients(draws)
        front = platform.ride_height_front - self.reference.ride_height_front
        rear = platform.ride_height_rear - self.reference.ride_height_rear
        sweep = np.clip(sweep, 0.0, np.deg2rad(79.0))
        tip = np.maximum(chord - reach * np.tan(sweep), 0.0)
        area = 0.5 * reach * (chord + tip)
        onset = own["angle"] + around_of(around, angle_at(self.name))
        angle = incidence + (rear - front) / wheelbase + onset
        reynolds = platform.density * platform.speed * chord / platform.viscosity
        found = sharp_plate(
            2.0 * reach**2 / area, angle, sweep,
            attached=np.clip(own["attached"], 0.0, 1.2), reynolds=reynolds,
        )  # fmt: skip
        scale = self.count * area * np.maximum(1.0 + own["head"], 0.05)
        # the load stands square to the air the plate meets
        turn = onset
        down = scale * (found.lift * np.cos(turn) + found.drag * np.sin(turn))
        drag = scale * (found.drag * np.cos(turn) - found.lift * np.sin(turn))
        high = np.maximum(pitched_height(height, station, front, rear, wheelbase), 1e-3)
        return loaded(
            down, down * station + drag * high, drag, wheelbase, notices=self._notices(angle)
        )

    def _notices(self, angle: Field) -> tuple[str, ...]:
        steep = float(np.mean(np.abs(angle) > LARGEST))
        if steep > 0.1:
            return (
                f"{self.name}: steeper than {np.rad2deg(LARGEST):.0f}° in {100 * steep:.0f} % of "
                "draws, "
                "where the edge vortex bursts; its load is held there.",
            )
        return ()


def dive_plane_model(part: DivePlane, reference: Reference) -> EstimatedDivePlane:
    """Return the model of plates of the project.

    Raises
    ------
    InputError
        If the sweep leaves no plate at the tip.
    """
    tip = part.chord.best - part.reach.best * float(np.tan(part.sweep.best))
    if not tip >= -1e-9:
        most = float(np.rad2deg(np.arctan2(part.chord.best, part.reach.best)))
        raise InputError(
            f"{part.name}.sweep", float(np.rad2deg(part.sweep.best)), "°",
            f"must be below {most:.0f} for this chord and reach", "The plate ends before its tip.",
        )  # fmt: skip
    own = overridden(coefficients_of("aeromap.part", "dive_plane"), part.model, part.name)
    inputs = {f"{part.name}.{k}": getattr(part, k) for k in _KEYS}
    if part.count != 2:
        # an exact input: a study notices when the number changes
        inputs[f"{part.name}.count"] = exact(float(part.count), "ratio", unit="")
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    return EstimatedDivePlane(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=SOURCES,
        reference=reference,
        count=part.count,
    )
