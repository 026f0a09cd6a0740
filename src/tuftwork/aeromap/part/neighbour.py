"""What parts do to each other by standing where they stand, each as a term with a range of its own.

Engines of parts hand on what their own load does (a wing's circulation, a splitter's wake). What
is left are terms of place: tyres that throw their wake under the floor, a ramp that turns the air
at the wing above it, cooling air that leaves by a surface or is taken from the nose. Each is a
model of kind ``interaction``: it carries no load of its own, only a change for one neighbour.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, Reference, at_axles, full
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden
from tuftwork.aeromap.part.cooling import exit_speed_ratio
from tuftwork.aeromap.part.front_neighbour import front_effects
from tuftwork.car import Body, CoolingFlow, Floor, Part, Splitter, Wing
from tuftwork.cooling.opening import surface_gain_band
from tuftwork.quantity import Quantity, Source

KIND = "interaction"
_TABLE = ("aeromap.part", "neighbour")
_Law = Callable[[PlatformState, Mapping[str, Field]], PartLoad]


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """One change that one part makes for another.

    Attributes
    ----------
    source, target
        Names of the parts.
    inputs
        Every uncertain number it uses, by name.
    law
        Platform and draws → what changes: load of its own on the target's account, or effects.
    about
        What happens, in a few words.
    """

    source: str
    target: str
    inputs: Mapping[str, Quantity]
    law: _Law
    about: str
    sources: tuple[Source, ...] = ()

    @property
    def name(self) -> str:
        """``wheels → floor``."""
        return f"{self.source} → {self.target}"

    @property
    def kind(self) -> str:
        """Always ``interaction``."""
        return KIND

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the change; see :class:`tuftwork.aeromap.interface.PartModel`."""
        return self.law(platform, draws)


def neighbours_of(
    parts: Sequence[Part], models: Sequence[PartModel], reference: Reference, own: Mapping[str, str]
) -> tuple[Neighbour, ...]:
    """Return the terms of place between the parts of a car.

    Parameters
    ----------
    parts, models
        Of one state. A model that names a kind in ``knows`` has that neighbour in its own engine;
        the term is then left out.
    reference
        The car around them.
    own
        The project's values for the coefficients, by name.

    Raises
    ------
    UnknownName
        If the project names a coefficient that there is not.
    """
    values = overridden(coefficients_of(*_TABLE), own, KIND)
    known = {m.name: getattr(m, "knows", ()) for m in models}
    found: list[Neighbour] = []
    for floor in (p for p in parts if isinstance(p, Floor)):
        found += _wheels_to_floor(parts, floor, values, known.get(floor.name, ()))
        found += _floor_to_wing(parts, floor, values, reference)
    solved = {n for n, k in known.items() if "front" in k}
    for splitter in (p for p in parts if isinstance(p, Splitter) and p.name in solved):
        for row in front_effects(parts, splitter, values, reference, KIND):
            found.append(_front_term(splitter, row))
    for cooling in (p for p in parts if isinstance(p, CoolingFlow)):
        found += _exit_to_surface(parts, cooling, values, reference)
        found += _nose_to_splitter(parts, cooling, values, reference, solved)
    for net in (p for p in parts if p.kind == "air net"):
        found += _mouth_to_splitter(parts, net, values, reference, solved)
    return tuple(found)


_Values = Mapping[str, Quantity]


def _named(values: _Values, *names: str) -> dict[str, Quantity]:
    return {f"{KIND}.{name}": values[name] for name in names}


def _wheels_to_floor(
    parts: Sequence[Part], floor: Floor, values: _Values, known: Collection[str]
) -> list[Neighbour]:
    wheels = next((p for p in parts if isinstance(p, Body) and p.kind == "wheels"), None)
    if wheels is None or "wheels" in known:
        return []

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> PartLoad:
        return _only({"floor_head": -draws[f"{KIND}.wheel_wake"]})

    return [
        Neighbour(
            source=wheels.name, target=floor.name, inputs=_named(values, "wheel_wake"), law=law,
            about="wakes of the front tyres under the floor",
        )
    ]  # fmt: skip


def _floor_to_wing(
    parts: Sequence[Part], floor: Floor, values: _Values, reference: Reference
) -> list[Neighbour]:
    middle = reference.wheelbase.best / 2
    wing = next((p for p in parts if isinstance(p, Wing) and p.station.best > middle), None)
    if wing is None:
        return []
    keys = {
        f"{floor.name}.{k}": getattr(floor, k)
        for k in ("diffuser_angle", "kick_station", "exit_station")
    }
    keys |= {f"{wing.name}.height": wing.height, WHEELBASE: reference.wheelbase}

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> PartLoad:
        angle, kick, end = (
            draws[f"{floor.name}.{k}"] for k in ("diffuser_angle", "kick_station", "exit_station")
        )
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        ramp = np.maximum(angle + slope, 0.0)
        exit_height = platform.ride_height_rear + np.maximum(end - kick, 0.0) * np.tan(ramp)
        reach = np.clip(exit_height / draws[f"{wing.name}.height"], 0.0, 1.0)
        # air that comes up takes incidence off a wing; the channel counts air coming down
        return _only({"rear_wing_angle": -draws[f"{KIND}.diffuser_upwash"] * ramp * reach})

    return [
        Neighbour(
            source=floor.name, target=wing.name, law=law,
            inputs=_named(values, "diffuser_upwash") | keys,
            about="the ramp turns the air at the wing",
        )
    ]  # fmt: skip


def _exit_to_surface(
    parts: Sequence[Part], cooling: CoolingFlow, values: _Values, reference: Reference
) -> list[Neighbour]:
    place = cooling.leaves_by
    if place is None:
        return []
    in_well = place == "wheel-well"
    kinds = ("wheels", "body", "lump") if in_well else ("body", "lump", "wheels")
    bodies = {p.kind: p for p in parts if isinstance(p, Body)}
    target = next((bodies[k] for k in kinds if k in bodies), None)
    if target is None:
        return []
    keys = ("core_area", "exit_area", "core_speed", "exit_station")
    inputs = {f"{cooling.name}.{k}": getattr(cooling, k) for k in keys}
    inputs[WHEELBASE] = reference.wheelbase
    gain = f"{KIND}.gain of {place}"
    if in_well:
        inputs |= _named(values, "well_lift")
    else:
        band = surface_gain_band(place)
        inputs[gain] = Quantity(
            best=band.best, low=band.low, high=band.high, unit="", dimension="ratio",
            origin="assumed", place=band.note,
        )  # fmt: skip

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> PartLoad:
        core, area, speed, station = (draws[f"{cooling.name}.{k}"] for k in keys)
        if in_well:
            down = -draws[f"{KIND}.well_lift"] * core * speed
        else:
            down = draws[gain] * area * exit_speed_ratio(core, area, speed, 1.0)
        return _placed(down, station, draws[WHEELBASE])

    about = "air in the wheel wells lifts" if in_well else f"a jet on the {place}"
    return [Neighbour(source=cooling.name, target=target.name, inputs=inputs, law=law, about=about)]


def _front_term(splitter: Splitter, row: Mapping[str, Any]) -> Neighbour:
    effects = row["effects"]
    return Neighbour(
        source=row["source"], target=splitter.name, inputs=row["inputs"], about=row["about"],
        law=lambda platform, draws: _only(effects(platform, draws)),
    )  # fmt: skip


def _nose_to_splitter(
    parts: Sequence[Part], cooling: CoolingFlow, values: _Values, reference: Reference,
    solved: Collection[str],
) -> list[Neighbour]:  # fmt: skip
    splitter = next((p for p in parts if isinstance(p, Splitter)), None)
    if splitter is None or cooling.fed_by != "nose":
        return []
    inputs = {f"{cooling.name}.{k}": getattr(cooling, k) for k in ("core_area", "core_speed")}
    if splitter.name in solved:
        return [
            Neighbour(
                source=cooling.name, target=splitter.name, inputs=inputs,
                law=lambda platform, draws: _only({
                    "nose_flow": draws[f"{cooling.name}.core_area"]
                    * draws[f"{cooling.name}.core_speed"]
                }),
                about="air taken in above the splitter",
            )
        ]  # fmt: skip
    inputs |= {f"{splitter.name}.station": splitter.station, WHEELBASE: reference.wheelbase}

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> PartLoad:
        flow = draws[f"{cooling.name}.core_area"] * draws[f"{cooling.name}.core_speed"]
        station = draws[f"{splitter.name}.station"]
        return _placed(-draws[f"{KIND}.nose_relief"] * flow, station, draws[WHEELBASE])

    return [
        Neighbour(
            source=cooling.name, target=splitter.name, law=law,
            inputs=_named(values, "nose_relief") | inputs,
            about="air taken in above the splitter",
        )
    ]  # fmt: skip


def _mouth_to_splitter(
    parts: Sequence[Part], net: Part, values: _Values, reference: Reference,
    solved: Collection[str],
) -> list[Neighbour]:  # fmt: skip
    """Return the same for the mouths of an air net that stand in the nose.

    To a splitter whose channels are solved the net itself tells what its mouths take in.
    """
    splitter = next((p for p in parts if isinstance(p, Splitter)), None)
    cooling = reference.project.cooling if reference.project is not None else None
    if splitter is None or cooling is None or splitter.name in solved:
        return []
    mouths = {
        f"cooling.inlets.{i.name}.area": i.area for i in cooling.inlets if i.kind == "leading-edge"
    }
    if not mouths:
        return []
    inputs = {f"{splitter.name}.station": splitter.station, WHEELBASE: reference.wheelbase}

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> PartLoad:
        flow = sum((draws[name] for name in mouths), np.zeros(1)) * draws[f"{KIND}.nose_ratio"]
        station = draws[f"{splitter.name}.station"]
        return _placed(-draws[f"{KIND}.nose_relief"] * flow, station, draws[WHEELBASE])

    return [
        Neighbour(
            source=net.name, target=splitter.name, law=law,
            inputs=_named(values, "nose_relief", "nose_ratio") | mouths | inputs,
            about="air taken in above the splitter",
        )
    ]  # fmt: skip


def _only(effects: Mapping[str, Field]) -> PartLoad:
    """Return a change that only neighbours feel."""
    none = np.zeros(1)
    return PartLoad(downforce_front=none, downforce_rear=none, drag=none, effects=effects)


def _placed(down: Field, station: Field, wheelbase: Field) -> PartLoad:
    front, rear = at_axles(down, down * station, wheelbase)
    front, rear = full(front, rear)
    return PartLoad(downforce_front=front, downforce_rear=rear, drag=np.zeros_like(front))
