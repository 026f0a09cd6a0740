"""Air taken through the car: its momentum is drag, and the way it leaves pushes."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part.base import (
    FRONTAL_AREA,
    WHEELBASE,
    EstimatedPart,
    Reference,
    loaded,
)
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden, without
from tuftwork.car import CoolingFlow
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (Source(key="hucho1998", place="cooling drag from momentum", status="memory"),)
_KEYS = ("core_area", "exit_area", "core_speed", "exit_station", "exit_angle", "height")


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimatedCooling(EstimatedPart):
    """A cooling stream; it leaves slow air to the rear wing (upward) or to the floor (downward)."""

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the stream's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        core_area, exit_area, core_speed, station, angle, height = (
            self.key(key, draws) for key in _KEYS
        )
        own = self.coefficients(draws)
        exit_speed = exit_speed_ratio(core_area, exit_area, core_speed, own["expansion"])
        drag, downforce = stream_forces(core_area * core_speed, exit_speed, angle)
        effects: dict[str, Field] = {}
        if "mixing" in own:
            effects = self._effects(own["mixing"], drag, angle, draws)
        fast = float(np.mean(exit_speed > 1))
        notices = (
            (f"{self.name}: the exit is too small for this flow ({100 * fast:.0f} % of draws).",)
            if fast > 0.1
            else ()
        )
        moment = downforce * station + drag * height
        found = loaded(downforce, moment, drag, draws[WHEELBASE], effects=effects, notices=notices)
        through = platform.density * platform.speed * core_area * core_speed
        return replace(found, mass_flow=np.asarray(through))

    def _effects(
        self, mixing: Field, drag: Field, angle: Field, draws: Mapping[str, Field]
    ) -> dict[str, Field]:
        """Return what slow air behind the exit costs, as a share of the car's momentum."""
        share = mixing * drag / (2 * draws[FRONTAL_AREA])
        up = 0.5 * (1 + np.sin(angle))
        return {"rear_wing_pressure": -share * up, "floor_head": -share * (1 - up)}


def exit_speed_ratio(
    core_area: Numeric, exit_area: Numeric, core_speed: Numeric, expansion: Numeric
) -> Array:
    """Return the leaving air's speed over that of the car, by continuity [-]."""
    return np.asarray(core_area * np.asarray(core_speed) * expansion / exit_area)


def stream_forces(flow_area: Numeric, exit_speed: Numeric, angle: Numeric) -> tuple[Array, Array]:
    """Return drag and downforce area of a stream through the car [m²].

    CxS = 2 A_c r (1 − (v_e/V) cos φ), CzS = 2 A_c r (v_e/V) sin φ, with A_c r the core's area times
    its speed over the car's: the change of momentum between far ahead and the exit.

    Parameters
    ----------
    flow_area
        Core area times its speed over that of the car. [m²]
    exit_speed
        Over that of the car. [-]
    angle
        Of the leaving air to the horizontal, upward positive. [rad]
    """
    drag = np.asarray(2 * np.asarray(flow_area) * (1 - exit_speed * np.cos(angle)))
    return drag, np.asarray(2 * np.asarray(flow_area) * exit_speed * np.sin(angle))


def cooling_model(
    part: CoolingFlow, reference: Reference, heard: Collection[str]
) -> EstimatedCooling:
    """Return the model of a cooling stream; its slow air matters where a part hears it.

    Raises
    ------
    InputError
        If the exit is so small that the stream would leave at over twice the car's speed.
    """
    own = overridden(coefficients_of("aeromap.part", "cooling"), part.model, part.name)
    is_heard = "rear_wing_pressure" in heard or "floor_head" in heard
    own = without(own, () if is_heard else ("mixing",), part.model, part.name)
    inputs = {f"{part.name}.{k}": getattr(part, k) for k in _KEYS}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    inputs[WHEELBASE] = reference.wheelbase
    if is_heard:
        inputs[FRONTAL_AREA] = reference.frontal_area
    ratio = float(
        exit_speed_ratio(
            part.core_area.best, part.exit_area.best, part.core_speed.best, own["expansion"].best
        )
    )
    if not ratio <= 2:
        cure = "Less flow through the core, or more exit area."
        limit = f"the air would leave at {ratio:.1f} times the car's speed"
        raise InputError(f"{part.name}.exit_area", part.exit_area.best, "m²", limit, cure)
    return EstimatedCooling(
        name=part.name,
        kind=part.kind,
        inputs=inputs,
        sources=SOURCES,
        reference=reference,
    )
