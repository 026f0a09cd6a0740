"""A wing of the project behind the closed-form estimate."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields

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
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden, without
from tuftwork.car import Wing
from tuftwork.quantity import Quantity, exact
from tuftwork.wing.estimate import (
    CHECKED_ASPECT_RATIO,
    CHECKED_HEIGHT_RATIO,
    SOURCES,
    WingCoefficients,
    WingGeometry,
    WingLoad,
    WingOnset,
    bound_vortex_suction,
    estimate_wing,
)

_EXIT_HEIGHT = 0.25  # [m] of a diffuser's exit over the ground; the wing hangs several times higher
_KEYS = ("span", "chord", "incidence", "station", "height")
_OPTIONAL = ("gurney", "end_plate_height", "camber", "thickness")


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedWing(EstimatedPart):
    """A wing: at the rear it hears roof and front wing and lowers the diffuser's exit pressure."""

    elements: int = 1
    is_rear: bool = True

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the wing's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        wheelbase, station = draws[WHEELBASE], self.key("station", draws)
        front = platform.ride_height_front - self.reference.ride_height_front
        rear = platform.ride_height_rear - self.reference.ride_height_rear
        height = np.maximum(
            pitched_height(self.key("height", draws), station, front, rear, wheelbase), 1e-3
        )
        reynolds = platform.density * platform.speed * self.key("chord", draws) / platform.viscosity
        deaf = np.zeros(1)
        onset = WingOnset(
            reynolds=reynolds,
            pressure=1 + (around_of(around, "rear_wing_pressure") if self.is_rear else deaf),
            angle=around_of(around, "rear_wing_angle") if self.is_rear else deaf,
        )
        # a car that rises at the rear carries its wing nose-down with it
        incidence = self.key("incidence", draws) + (rear - front) / wheelbase
        geometry = self._geometry(draws, incidence, height)
        own = self.coefficients(draws)
        # what changes nothing on this wing is no input of it; the engine takes zero
        wanted = {field.name: own.get(field.name, deaf) for field in fields(WingCoefficients)}
        found = estimate_wing(geometry, onset, WingCoefficients(**wanted))
        moment = found.downforce * station + found.drag * height
        return loaded(
            found.downforce,
            moment,
            found.drag,
            wheelbase,
            effects=self._effects(found, geometry, draws),
            notices=self._notices(found, geometry),
        )

    def _geometry(
        self, draws: Mapping[str, Field], incidence: Field, height: Field
    ) -> WingGeometry:
        return WingGeometry(
            span=self.key("span", draws),
            chord=self.key("chord", draws),
            incidence=incidence,
            height=height,
            camber=self._or_model("camber", draws),
            thickness=self._or_model("thickness", draws),
            gurney=draws.get(f"{self.name}.gurney", np.zeros(1)),
            end_plate_height=draws.get(f"{self.name}.end_plate_height", np.zeros(1)),
            elements=self.elements,
        )

    def _or_model(self, key: str, draws: Mapping[str, Field]) -> Field:
        """Return the project's number, or the engine's where the project gives none."""
        path = f"{self.name}.{key}"
        return draws[path if path in self.inputs else f"{self.name}.model.{key}"]

    def _effects(
        self, found: WingLoad, geometry: WingGeometry, draws: Mapping[str, Field]
    ) -> dict[str, Field]:
        own = self.coefficients(draws)
        if "lower_pressure" in own:
            below = np.maximum(geometry.height - _EXIT_HEIGHT, geometry.chord)
            suction = bound_vortex_suction(found.coefficient, geometry.chord, geometry.span, below)
            return {"exit_pressure": own["lower_pressure"] * suction}
        if "wake" not in own:
            return {}
        return {
            "rear_wing_pressure": -own["wake"] * np.maximum(found.coefficient, 0.0),
            # air that a front wing turns up takes incidence off the wing behind it
            "rear_wing_angle": -own["upwash"] * found.coefficient,
        }

    def _notices(self, found: WingLoad, geometry: WingGeometry) -> tuple[str, ...]:
        notices = []
        stalled = float(np.mean(found.margin < 0))
        if stalled > 0.5:
            notices.append(f"{self.name}: past the stall in most draws.")
        elif stalled > 0.1:
            notices.append(f"{self.name}: may be past the stall ({stalled:.0%} of draws).")
        low, high = CHECKED_ASPECT_RATIO
        aspect = float(np.median(geometry.span / geometry.chord))
        if not low <= aspect <= high:
            notices.append(
                f"{self.name}: aspect ratio {aspect:.1f} is outside {low:g} to {high:g}, "
                "where the slope was checked."
            )
        if float(np.median(geometry.height / geometry.chord)) < CHECKED_HEIGHT_RATIO:
            notices.append(f"{self.name}: closer to the ground than any measurement behind it.")
        return tuple(notices)


def wing_model(part: Wing, reference: Reference, heard: Collection[str]) -> EstimatedWing:
    """Return the model of a wing of the project; ``heard`` are the channels some part hears."""
    is_rear = part.station.best > reference.wheelbase.best / 2
    own = overridden(coefficients_of("wing", "estimate"), part.model, part.name)
    own = without(own, _idle(part, is_rear, heard), part.model, part.name)
    given: dict[str, Quantity] = {key: getattr(part, key) for key in _KEYS}
    for key in _OPTIONAL:
        value = getattr(part, key)
        if value is not None:
            given[key] = value
    if part.elements > 1:
        # an exact input: a study notices when the number changes
        given["elements"] = exact(float(part.elements), "ratio", unit="")
    inputs = {f"{part.name}.{k}": q for k, q in given.items()}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    return EstimatedWing(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=SOURCES,
        reference=reference,
        hears=("rear_wing_angle", "rear_wing_pressure") if is_rear else (),
        elements=part.elements,
        is_rear=is_rear,
    )


def _idle(part: Wing, is_rear: bool, heard: Collection[str]) -> set[str]:
    """Return the coefficients that change nothing on this wing."""
    idle = {"wake", "upwash"} if is_rear else {"lower_pressure"}
    if "exit_pressure" not in heard:
        idle.add("lower_pressure")
    if "rear_wing_angle" not in heard:
        idle |= {"wake", "upwash"}
    if part.gurney is None or not part.gurney.high > 0:
        idle |= {"gurney", "gurney_drag", "stall_gurney"}
    if part.end_plate_height is None or not part.end_plate_height.high > 0:
        idle.add("end_plate")
    if part.elements == 1:
        idle |= {"element_gain", "element_stall"}
    return idle | {key for key in ("camber", "thickness") if getattr(part, key) is not None}
