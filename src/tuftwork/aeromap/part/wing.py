"""A wing of the project behind the closed-form estimate."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import (
    WHEELBASE,
    EstimatedPart,
    Reference,
    loaded,
    pitched_height,
)
from tuftwork.aeromap.part.coefficient import (
    coefficient_sources,
    coefficients_of,
    overridden,
    without,
)
from tuftwork.aeromap.part.edge import edge_head, edge_inputs
from tuftwork.aeromap.part.wing_role import (
    HEARS,
    Role,
    effects_ahead,
    effects_of_beam,
    onset_of,
    role_coefficients,
    role_idle,
    role_of,
    role_quantities,
    vented_by,
)
from tuftwork.car import Wing, WingPart
from tuftwork.errors import InputError
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
    """A wing in closed form; ``role`` says where it stands, see ``wing_role``."""

    elements: int = 1
    role: Role = "rear wing"

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
        own = self.coefficients(draws)
        tilt, head = onset_of(self.role, around, own, self.name)
        onset = WingOnset(reynolds=reynolds, pressure=1 + head, angle=tilt)
        # a car that rises at the rear carries its wing nose-down with it
        incidence = self.key("incidence", draws) + (rear - front) / wheelbase
        geometry = self._geometry(draws, incidence, height)
        # what changes nothing on this wing is no input of it; the engine takes zero
        wanted = {field.name: own.get(field.name, deaf) for field in fields(WingCoefficients)}
        found = estimate_wing(geometry, onset, WingCoefficients(**wanted))
        if self.role == "front section":
            found = self._vented(found, geometry, draws)
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

    def _vented(
        self, found: WingLoad, geometry: WingGeometry, draws: Mapping[str, Field]
    ) -> WingLoad:
        """Return the load with the exit's pressure behind the suction side."""
        key = {k: self.key(k, draws) for k in ("exit_pressure", "vented")}
        gain, drag = vented_by(key, self.coefficients(draws), found.coefficient)
        area = geometry.span * geometry.chord
        return replace(
            found,
            downforce=found.downforce + area * gain,
            drag=found.drag + area * drag,
            coefficient=found.coefficient + gain,
        )

    def _effects(
        self, found: WingLoad, geometry: WingGeometry, draws: Mapping[str, Field]
    ) -> dict[str, Field]:
        own = self.coefficients(draws)
        if self.role == "beam wing":
            below = np.maximum(self.key("clearance", draws), 0.25 * geometry.chord)
            suction = bound_vortex_suction(found.coefficient, geometry.chord, geometry.span, below)
            return effects_of_beam(own, found.coefficient, suction)
        if "lower_pressure" in own:
            below = np.maximum(geometry.height - _EXIT_HEIGHT, geometry.chord)
            suction = bound_vortex_suction(found.coefficient, geometry.chord, geometry.span, below)
            return {"exit_pressure": own["lower_pressure"] * suction}
        return effects_ahead(own, found.coefficient, edge_head(self, found.downforce, own, draws))

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


def wing_model(part: WingPart, reference: Reference, heard: Collection[str]) -> EstimatedWing:
    """Return the model of a wing of the project; ``heard`` are the channels some part hears."""
    role = role_of(part, reference)
    more = role_coefficients(role)
    own = overridden({**coefficients_of("wing", "estimate"), **more}, part.model, part.name)
    edge = edge_inputs(role, part.station.best, reference)
    heard = {*heard, "floor_edge"} if edge else heard
    own = without(own, _idle(part, role, heard), part.model, part.name)
    if isinstance(part, Wing) and part.onset:
        raise InputError(
            f"{part.name}.onset", "given", "", "changes nothing on a wing without a section",
            "Name its section: the lattice then takes the air along the span.",
        )  # fmt: skip
    given: dict[str, Quantity] = {key: getattr(part, key) for key in _KEYS} | role_quantities(part)
    for key in _OPTIONAL:
        value = getattr(part, key)
        if value is not None:
            given[key] = value
    if part.elements > 1:
        # an exact input: a study notices when the number changes
        given["elements"] = exact(float(part.elements), "ratio", unit="")
    inputs = {f"{part.name}.{k}": q for k, q in given.items()}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()} | edge
    return EstimatedWing(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=(*SOURCES, *coefficient_sources(more)),
        reference=reference,
        hears=HEARS[role],
        elements=part.elements,
        role=role,
    )


def _idle(part: WingPart, role: Role, heard: Collection[str]) -> set[str]:
    """Return the coefficients that change nothing on this wing."""
    idle = role_idle(role, heard)
    if part.gurney is None or not part.gurney.high > 0:
        idle |= {"gurney", "gurney_drag", "stall_gurney"}
    if part.end_plate_height is None or not part.end_plate_height.high > 0:
        idle.add("end_plate")
    if part.elements == 1:
        idle |= {"element_gain", "element_stall"}
    return idle | {key for key in ("camber", "thickness") if getattr(part, key) is not None}
