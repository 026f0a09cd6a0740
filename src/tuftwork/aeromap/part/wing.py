"""A wing of the project behind the closed-form estimate."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, Reference, loaded
from tuftwork.aeromap.part.coefficient import coefficient_sources, coefficients_of
from tuftwork.aeromap.part.wing_place import PlacedWing, placed
from tuftwork.aeromap.part.wing_role import role_coefficients, role_of, vented_by
from tuftwork.car import Wing, WingPart
from tuftwork.errors import InputError
from tuftwork.quantity import exact
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
_OPTIONAL = ("gurney", "end_plate_height", "camber", "thickness")


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedWing(PlacedWing):
    """A wing in closed form."""

    elements: int = 1

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the wing's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        own, here = self.coefficients(draws), self.standing(platform, draws, around)
        station, height = self.key("station", draws), np.maximum(here.height, 1e-3)
        deaf = np.zeros(1)
        onset = WingOnset(reynolds=here.reynolds, pressure=1 + here.head, angle=here.tilt)
        geometry = self._geometry(draws, here.incidence, height)
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
            draws[WHEELBASE],
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
        def below() -> Field:
            clear = np.maximum(geometry.height - _EXIT_HEIGHT, geometry.chord)
            return bound_vortex_suction(found.coefficient, geometry.chord, geometry.span, clear)

        return self.done_to_others(found.coefficient, found.downforce, draws, below)

    def _notices(self, found: WingLoad, geometry: WingGeometry) -> tuple[str, ...]:
        notices = self.stall_notices(found.margin)
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
    if isinstance(part, Wing) and part.onset:
        raise InputError(
            f"{part.name}.onset", "given", "", "changes nothing on a wing without a section",
            "Name its section: the lattice then takes the air along the span.",
        )  # fmt: skip
    more = role_coefficients(role_of(part, reference))
    optional = {key: getattr(part, key) for key in _OPTIONAL}
    if part.elements > 1:
        # an exact input: a study notices when the number changes
        optional["elements"] = exact(float(part.elements), "ratio", unit="")
    common = placed(
        part, reference, heard, coefficients={**coefficients_of("wing", "estimate"), **more},
        idle=_idle(part), optional=optional,
    )  # fmt: skip
    return EstimatedWing(
        **common, sources=(*SOURCES, *coefficient_sources(more)), elements=part.elements
    )


def _idle(part: WingPart) -> set[str]:
    """Return the coefficients that change nothing on this wing."""
    idle: set[str] = set()
    if part.gurney is None or not part.gurney.high > 0:
        idle |= {"gurney", "gurney_drag", "stall_gurney"}
    if part.end_plate_height is None or not part.end_plate_height.high > 0:
        idle.add("end_plate")
    if part.elements == 1:
        idle |= {"element_gain", "element_stall"}
    return idle | {key for key in ("camber", "thickness") if getattr(part, key) is not None}
