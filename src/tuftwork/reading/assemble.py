"""From the project's tables to scenes: one for each set of pictures that share points."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tuftwork.car import Asked, Photo, Pictures, Project
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Z80, Quantity
from tuftwork.reading.measure import Ask, Trace
from tuftwork.reading.scene import (
    WHEELS,
    Affine,
    Dimension,
    Length,
    Parallel,
    Picture,
    Plane,
    Point,
    Rim,
    Scene,
    Sighting,
    outline_plane,
    tied,
    wheel_points,
)

_OVER_TYRES = Quantity(
    best=0.26, low=0.22, high=0.30, unit="m", dimension="length", place="common practice"
)
"""Width over the tyres less the track. Common practice, no source. [m]"""
_SQUAT, _SQUAT_SPREAD = 0.007, 0.003  # [m] radius lost under load. Common practice, no source.
_FLAT = 0.005  # [m] how far marks lie off a plane. Common practice, no source.
_LEAST_SPREAD = 0.0005  # [m] nobody knows a tyre or a plane better than this
TYRE = "tyre "
"""Marks along a tyre begin with this: ``tyre front right``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """What a picture's file says: size [pixel], focal length on 36 mm film where it does."""

    width: int
    height: int
    focal_35mm: float | None = None


EXIF_SPREAD = 0.04
"""Spread of a focal length from a file: whole millimetres, focus. Common practice, no source."""
UNKNOWN_SPREAD = 0.5
"""Spread of the logarithm of a focal length nobody knows. Common practice, no source."""
_USUAL_35MM = 40.0


def picture_of(photo: Photo, lens: Lens) -> Picture:
    """Return what is known of a picture's lens."""
    given = photo.focal_35mm or lens.focal_35mm
    # the film's diagonal is what "equivalent" compares
    across = (lens.width**2 + lens.height**2) ** 0.5 / (36.0**2 + 24.0**2) ** 0.5
    return Picture(
        width=lens.width,
        height=lens.height,
        focal=(given or _USUAL_35MM) * across,
        focal_spread=EXIF_SPREAD if given else UNKNOWN_SPREAD,
        click=photo.click,
    )


def scenes_of(project: Project, lenses: Mapping[str, Lens]) -> Iterator[tuple[str, ...]]:
    """Yield sets of pictures that must be solved together: those that share free points."""
    room = project.reading or Pictures()
    free = {p.name for p in room.points}
    left = [p for p in room.pictures if p.id in lenses]
    while left:
        group = [left.pop(0)]
        points = free & set(group[0].marks)
        again = True
        while again:
            again = False
            for photo in list(left):
                if points & set(photo.marks):
                    left.remove(photo)
                    group.append(photo)
                    points |= free & set(photo.marks)
                    again = True
        yield tuple(p.id for p in group)


def scene_of(project: Project, lenses: Mapping[str, Lens], pictures: tuple[str, ...]) -> Scene:
    """Return the scene of some pictures.

    Raises
    ------
    InputError
        If marks cannot be what they are named, or nothing is known of the tyres.
    """
    room = project.reading or Pictures()
    dimensions = _dimensions(project, room)
    points = wheel_points()
    for own in room.points:
        ties: list[Affine | None] = []
        for axis in ("x", "y", "z"):
            known = getattr(own, axis)
            if known is None:
                ties.append(None)
                continue
            key = f"{own.name} {axis}"
            dimensions[key] = _dimension(known, f"{axis} of {own.name}")
            ties.append(tied((key, 1.0)))
        points[own.name] = Point(
            tie=(ties[0], ties[1], ties[2]), mirror_of=own.mirror_of,
            loose=_FLAT if own.mirror_of else 0.0,
        )  # fmt: skip
    photos = {p.id: p for p in room.pictures if p.id in pictures}
    sightings, rims, parallels = [], [], []
    for photo in photos.values():
        for name, at in photo.marks.items():
            if name.startswith(TYRE) and name.removeprefix(TYRE) in WHEELS:
                wheel = name.removeprefix(TYRE)
                if len(at) < 3:
                    limit, cure = "needs three marks or more", "Mark more of the tyre's outline."
                    raise InputError(f"{photo.id} {name}", len(at), "", limit, cure)
                radius = tied((f"tyre {wheel.split()[0]}", 1.0))
                rims.append(
                    Rim(picture=photo.id, centre=f"hub {wheel}", radius=radius, at=tuple(at))
                )
            elif name in photo.along:
                if len(at) != 2:
                    limit = "an edge along an axis needs two marks"
                    raise InputError(f"{photo.id} {name}", len(at), "", limit)
                way = "xyz".index(photo.along[name])
                parallels.append(Parallel(picture=photo.id, axis=way, at=(at[0], at[1])))
            elif name in points:
                sightings.append(Sighting(picture=photo.id, point=name, at=at[0]))
    marked = {s.point for s in sightings}
    return Scene(
        dimensions=dimensions,
        points=points,
        pictures={n: picture_of(p, lenses[n]) for n, p in photos.items()},
        sightings=tuple(sightings),
        planes=planes_of(project),
        rims=tuple(rims),
        parallels=tuple(parallels),
        lengths=tuple(
            Length(first=k.first, second=k.second, best=k.value.best,
                   spread=max(_spread(k.value), _LEAST_SPREAD),
                   label=f"length {k.first} to {k.second}")
            for k in room.lengths if {k.first, k.second} <= marked
        ),
    )  # fmt: skip


def planes_of(project: Project) -> dict[str, Plane]:
    """Return the project's planes and those every car has."""
    found = {
        "ground": Plane(axis=2, at=tied(), flat=0.003),
        "centre": Plane(axis=1, at=tied(), flat=0.002),
        "outline from ahead": outline_plane("ahead", project.car.wheelbase.best),
        "outline from behind": outline_plane("behind", project.car.wheelbase.best),
    }
    room = project.reading or Pictures()
    for plane in room.planes:
        flat = _FLAT if plane.flat is None else plane.flat.best
        axis = "xyz".index(plane.axis)
        found[plane.name] = Plane(axis=axis, at=tied((f"plane {plane.name}", 1.0)), flat=flat)
    return found


def ask_of(project: Project, asked: Asked) -> Ask:
    """Return a reading as the measuring functions want it.

    Raises
    ------
    UnknownName
        If a mark, a plane or a picture is not there.
    InputError
        If a mark lies on no plane and is no solved point.
    """
    room = project.reading or Pictures()
    photo = next((p for p in room.pictures if p.id == asked.picture), None)
    if photo is None:
        raise UnknownName("picture", asked.picture, [p.id for p in room.pictures])
    solved = {p.name for p in room.points} | set(wheel_points())
    planes = planes_of(project)
    blocked = asked.blocked
    return Ask(
        kind=asked.kind,
        traces=tuple(_trace(photo, name, solved, planes) for name in asked.marks),
        less=tuple(_trace(photo, name, solved, planes) for name in asked.less),
        blocked=(blocked.best, _spread(blocked)) if blocked else (0.0, 0.0),
        times=asked.times,
    )


def _trace(photo: Photo, name: str, solved: set[str], planes: Mapping[str, Plane]) -> Trace:
    if name in solved:
        return Trace(name=name, point=name)
    if name not in photo.marks:
        raise UnknownName(f"mark on {photo.id}", name, [*photo.marks, *sorted(solved)])
    plane = photo.on.get(name)
    if plane is None:
        cure = f"Say in 'on' which plane it lies on: {', '.join(planes)}."
        raise InputError(f"mark on {photo.id}", f"'{name}'", "", "lies on no plane", cure)
    if plane not in planes:
        raise UnknownName("plane", plane, planes)
    return Trace(name=name, picture=photo.id, at=tuple(photo.marks[name]), plane=planes[plane])


def _dimensions(project: Project, room: Pictures) -> dict[str, Dimension]:
    car = project.car
    found = {"wheelbase": _dimension(car.wheelbase, "wheelbase")}
    for axle, own in (("front", car.front), ("rear", car.rear)):
        diameter = getattr(room, f"tyre_{axle}") or (own.tyre_diameter if own else None)
        width = getattr(room, f"width_{axle}")
        if diameter is None or (width is None and own is None):
            cure = f"Give [car.{axle}], or tyre_{axle} and width_{axle} in [reading]."
            raise InputError("tyres", axle, "", "nothing is known of them", cure)
        radius = _dimension(diameter, f"{axle} tyre diameter")
        spread = max(radius.spread / 2, _LEAST_SPREAD)
        found[f"tyre {axle}"] = Dimension(
            best=radius.best / 2, spread=spread, label=f"{axle} tyre diameter"
        )
        found[f"hub {axle}"] = Dimension(
            best=radius.best / 2 - _SQUAT, spread=_SQUAT_SPREAD, label=f"{axle} tyre under load"
        )
        label = f"width over {axle} tyres"
        if width is not None:
            known = _dimension(width, label)
            half, off = known.best / 2, known.spread / 2
        else:
            assert own is not None
            half = (own.track.best + _OVER_TYRES.best) / 2
            off = (_spread(own.track) ** 2 + _spread(_OVER_TYRES) ** 2) ** 0.5 / 2
        found[f"face {axle}"] = Dimension(best=half, spread=max(off, _LEAST_SPREAD), label=label)
    for plane in room.planes:
        found[f"plane {plane.name}"] = Dimension(
            best=plane.at.best, spread=max(_spread(plane.at), _LEAST_SPREAD),
            label=f"plane {plane.name}",
        )  # fmt: skip
    return found


def _dimension(quantity: Quantity, label: str) -> Dimension:
    return Dimension(best=quantity.best, spread=_spread(quantity), label=label)


def _spread(quantity: Quantity) -> float:
    return (quantity.high - quantity.low) / (2.0 * Z80)
