"""From a splitter of the project to what its engine takes: channels, inputs, who stands behind."""

from collections.abc import Collection
from dataclasses import dataclass

from tuftwork.aeromap.part.base import FRONTAL_AREA, WHEELBASE, Reference
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden, without
from tuftwork.car import CoolingFlow, DivePlane, Floor, FrontSection, Splitter, Wing
from tuftwork.cooling import Band
from tuftwork.cooling.opening import discharge_band, pressure_band, surface_gain_band
from tuftwork.errors import InputError
from tuftwork.floor.front_spec import FOOTED, OPEN, WALLED, FrontSpec, FrontStrip
from tuftwork.quantity import Quantity

_SPEED, _KINEMATIC = 55.0, 1.5e-5  # [m/s], [m²/s] the tables are made at
_KEYS = ("projection", "width", "lip_radius", "station", "drop")
_FLAT = ("stiffness", "footplate_depth", "head", "vent_open")
_LEFT_OPEN = {"mixing": "edge_loss", "discharge": "discharge", "lip_angle": "lip_angle"}
"""Coefficient of the engine → key of the channel table that holds it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A part whose onset the plate changes.

    Attributes
    ----------
    part, kind
        As in the project; ``rear wing`` for a wing behind mid wheelbase.
    station, height
        Of its leading edge or centre of load; None: on the underside. [m]
    has_nose
        Whether its leading edge is rolled, with a radius known (``<part>.edge_radius``).
    """

    part: str
    kind: str
    station: float
    height: float | None = None
    has_nose: bool = False


def places_behind(part: Splitter, reference: Reference) -> tuple[Place, ...]:
    """Return every part that stands in the air the plate has turned."""
    if reference.project is None:
        return ()
    middle, lip = reference.wheelbase.best / 2, part.station.best
    found = []
    for other in reference.project.parts:
        if isinstance(other, Floor):
            found.append(Place(
                part=other.name, kind="floor", station=other.front_station.best,
                has_nose=other.edge_radius is not None,
            ))  # fmt: skip
        elif isinstance(other, Wing | FrontSection | DivePlane) and other.station.best > lip:
            behind = isinstance(other, Wing) and other.station.best > middle
            found.append(Place(
                part=other.name, kind="rear wing" if behind else other.kind,
                station=other.station.best, height=other.height.best,
            ))  # fmt: skip
    return tuple(found)


def front_spec(part: Splitter, reference: Reference) -> FrontSpec:
    """Return a splitter's best values as the engine takes them.

    Raises
    ------
    InputError
        If the ramps leave no middle, or the plate hangs at or below the road.
    """
    own = part.channel
    assert own is not None
    sides = FOOTED if part.footplate_depth is not None else OPEN
    ramps, width = own.ramps, part.width.best
    across = 2 * (ramps.outer.best - ramps.inner.best) if ramps is not None else 0.0
    if width - across < 0.05:
        raise InputError(f"{part.name}.channel.ramps", across, "m",
                         "leave no middle to the plate", "Narrow them.")  # fmt: skip
    strips = [FrontStrip(
        name="middle", width=round(width - across, 4), end=own.handover.best,
        sides=WALLED if ramps is not None else sides, is_throttled=own.vent is not None,
    )]  # fmt: skip
    if ramps is not None:
        strips.append(FrontStrip(
            name="ramps", width=round(across, 4), end=ramps.end.best, ramp=ramps.start.best,
            rise=ramps.rise.best, sides=sides,
        ))  # fmt: skip
    hinge = part.station.best + part.projection.best
    slope = (reference.ride_height_rear - reference.ride_height_front) / reference.wheelbase.best
    rest = reference.ride_height_front + slope * hinge - part.drop.best
    if not rest > 0:
        raise InputError(f"{part.name}.drop", part.drop.best, "m",
                         f"puts the plate on the road at rest, station {hinge:.2f} m",
                         "Raise the car or shorten what hangs down.")  # fmt: skip
    gap = (round(0.3 * rest, 4), round(1.5 * rest + 0.01, 4))
    return FrontSpec(
        lip=part.station.best, projection=part.projection.best, strips=tuple(strips),
        bends=part.stiffness is not None,
        gap=gap, reynolds=_SPEED / _KINEMATIC, passage=_passage(part, gap[1]),
    )  # fmt: skip


def _passage(part: Splitter, highest: float) -> tuple[float, float] | None:
    """Return least and greatest open share under the ramps' inner edges; None: shut for good."""
    assert part.channel is not None
    ramps = part.channel.ramps
    if ramps is None or (ramps.fence_depth is not None and ramps.fence_depth.best >= highest):
        return None
    return (1.0, 1.0) if ramps.fence_depth is None else (0.0, 1.0)


def front_inputs(
    part: Splitter, reference: Reference, places: Collection[Place], heard: Collection[str]
) -> dict[str, Quantity]:
    """Return every uncertain number the engine uses, by name.

    Raises
    ------
    InputError
        If the part's ``model`` table says again what its channel table says, or moves what
        changes nothing.
    """
    assert part.channel is not None
    own = overridden(coefficients_of("floor", "front"), part.model, part.name)
    kinds = {p.kind for p in places}
    idle = set()
    if not kinds:
        idle.add("upwash")
    if "floor" not in kinds or "floor_head" not in heard:
        idle.add("wake")
    if "rear wing" not in kinds:
        idle.add("slow_air")
    own = without(own, idle, part.model, part.name)
    for name, key in _LEFT_OPEN.items():
        value: Quantity | None = getattr(part.channel, key)
        if value is None:
            continue
        if name in part.model:
            raise InputError(f"{part.name}.model.{name}", f"'{part.model[name]}'", "",
                             f"stands in the channel table too, as {key}",
                             "Remove one of them.")  # fmt: skip
        own[name] = value
    found: dict[str, Quantity] = {f"{part.name}.{k}": getattr(part, k) for k in _KEYS}
    found |= {f"{part.name}.{k}": q for k in _FLAT if (q := getattr(part, k)) is not None}
    found |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    is_open = front_spec(part, reference).passage is not None
    found |= {
        f"{part.name}.channel.{k}": q for k, q in _channel_inputs(part, is_open=is_open).items()
    }
    found[WHEELBASE] = reference.wheelbase
    found |= _around_inputs(part, reference, places)
    if "rear wing" in kinds:
        found[FRONTAL_AREA] = reference.frontal_area
    return found


def _around_inputs(
    part: Splitter, reference: Reference, places: Collection[Place]
) -> dict[str, Quantity]:
    """Return numbers of neighbours: rolled edges behind, what mouths in the nose take."""
    project = reference.project
    if project is None:
        return {}
    found: dict[str, Quantity] = {}
    for place in places:
        other = project.part(place.part)
        if place.has_nose and isinstance(other, Floor) and other.edge_radius is not None:
            found[f"{place.part}.edge_radius"] = other.edge_radius
    fed = any(isinstance(p, CoolingFlow) and p.fed_by == "nose" for p in project.parts)
    if fed or (project.cooling is not None and any(p.kind == "air net" for p in project.parts)):
        values = overridden(
            coefficients_of("aeromap.part", "neighbour"), project.interactions, "interaction"
        )
        found["interaction.nose_relief"] = values["nose_relief"]
    return found


def _channel_inputs(part: Splitter, *, is_open: bool) -> dict[str, Quantity]:
    """Return the numbers of a channel table that move the answer draw by draw."""
    own = part.channel
    assert own is not None
    found: dict[str, Quantity] = {}
    if own.pressure is not None:
        found["pressure"] = own.pressure
    if own.ramps is not None:
        keys: tuple[str, ...] = ("inner", "outer", "rise", "pressure", "into_share")
        # a fence that shuts the edge at any clearance moves nothing
        keys += ("fence_depth",) if is_open else ()
        found |= {f"ramps.{k}": q for k in keys if (q := getattr(own.ramps, k)) is not None}
    if own.vent is not None:
        vent = own.vent
        found["vent.area"] = vent.area
        found["vent.discharge"] = vent.discharge or _band(discharge_band(vent.leaves_by))
        if not vent.into:
            found["vent.pressure"] = vent.pressure or _band(pressure_band(vent.leaves_by))
            if vent.station is not None:
                found["vent.station"] = vent.station
                found["vent.gain"] = _band(surface_gain_band(vent.leaves_by))
        for key in ("cooler_area", "cooler_loss"):
            value = getattr(vent, key)
            if value is not None:
                found[f"vent.{key}"] = value
    return found


def _band(band: Band) -> Quantity:
    return Quantity(
        best=band.best, low=band.low, high=band.high, unit="", dimension="ratio",
        origin=band.origin, place=band.note,
    )  # fmt: skip
