"""Numbers of a generic car that no car can have: all of them at once."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import degrees, isfinite, radians, tan

from tuftwork.errors import InputError

_ABOVE_NOUGHT = (
    "wheelbase", "front_overhang", "rear_overhang", "body_width", "nose_width", "tail_width",
    "nose_height", "bonnet_height", "deck_height", "tail_height", "roof_height", "cabin_width",
    "roof_width", "tyre_diameter_front", "tyre_diameter_rear", "tyre_width_front",
    "tyre_width_rear", "track_front", "track_rear", "splitter_thickness", "splitter_width",
    "skirt_thickness",
)  # fmt: skip
_NOT_NEGATIVE = (
    "tyre_shoulder", "tyre_sink", "splitter_length", "diffuser_length", "skirt_height", "wing_span",
    "wing_chord", "wing_thickness", "wing_end_plate", "front_wing_span", "front_wing_chord",
    "wing_flap_chord", "wing_gurney", "dive_plane_length", "dive_plane_width",
)  # fmt: skip
_ANGLES = ("diffuser_angle", "wing_angle", "wing_flap_angle", "dive_plane_angle")
_STEEPEST = radians(60.0)
"""Beyond it an angle in degrees was taken for radians, or the other way round. [rad]"""
_COUNTS = {"dive_planes": 3, "diffuser_fences": 8}
_SQUARE = (1.0, 50.0)
"""From a lozenge to a box. [-]"""
_CABIN = ("cabin_start", "cabin_top_start", "cabin_top_end", "cabin_end")
_LOWEST = 0.01
"""Ride height above the road. [m]"""


def generic_faults(car: Mapping[str, float]) -> Iterator[InputError]:
    """Yield every number that cannot be meant.

    Parameters
    ----------
    car
        All fields of ``GenericCar``. [m], [rad], [-]
    """
    wrong = [name for name, value in car.items() if not isfinite(value)]
    if wrong:
        yield from (InputError(name, car[name], "", "must be a number") for name in wrong)
        return
    for name in _ABOVE_NOUGHT:
        if not car[name] > 0:
            yield InputError(name, car[name], "m", "must be above 0")
    for name in _NOT_NEGATIVE:
        if not car[name] >= 0:
            yield InputError(name, car[name], "m", "must be 0 or more", "0 leaves the part out.")
    for name in _ANGLES:
        if not abs(car[name]) <= _STEEPEST:
            limit = f"must lie within ±{degrees(_STEEPEST):.0f}"
            yield InputError(name, float(f"{degrees(car[name]):.4g}"), "°", limit)
    for name, most in _COUNTS.items():
        if not (0 <= car[name] <= most and float(car[name]).is_integer()):
            yield InputError(name, car[name], "", f"must be a whole number from 0 to {most}")
    if not _SQUARE[0] <= car["section_power"] <= _SQUARE[1]:
        limit = f"must be from {_SQUARE[0]:g} to {_SQUARE[1]:g}"
        yield InputError("section_power", car["section_power"], "", limit, "2 is an ellipse.")
    yield from _heights(car)
    yield from _wheels(car)


def _heights(car: Mapping[str, float]) -> Iterator[InputError]:
    """Yield what makes the body or the cabin pass through itself."""
    ride = [car["ride_height_front"], car["ride_height_rear"]]
    if not min(ride) > _LOWEST:
        limit = f"must be above {_LOWEST:g} at both axles"
        yield InputError("ride_height", min(ride), "m", limit)
    if not car["diffuser_length"] < car["rear_overhang"] + 0.5 * car["wheelbase"]:
        limit = "must end behind mid wheelbase"
        yield InputError("diffuser_length", car["diffuser_length"], "m", limit)
    for name, floor in (("nose_height", ride[0]), ("bonnet_height", max(ride)),
                        ("deck_height", max(ride)), ("roof_height", max(ride))):  # fmt: skip
        if 0 < car[name] <= floor:
            limit = f"must be above the floor at {floor:g} m"
            yield InputError(name, car[name], "m", limit, "Heights are told from the road.")
    rise = car["diffuser_length"] * tan(min(max(car["diffuser_angle"], 0.0), _STEEPEST))
    slope = (ride[1] - ride[0]) / car["wheelbase"] if car["wheelbase"] > 0 else 0.0
    end = ride[1] + slope * car["rear_overhang"] + rise
    if 0 < car["tail_height"] <= end:
        limit = f"must be above the diffuser's end at {end:.3g} m"
        cure = "Use a shorter or a flatter diffuser, or a higher tail."
        yield InputError("tail_height", car["tail_height"], "m", limit, cure)
    for before, behind in pairwise(_CABIN):
        if not car[before] <= car[behind]:
            limit = f"must not lie behind {behind} = {car[behind]:g} m"
            yield InputError(before, car[before], "m", limit)


def _wheels(car: Mapping[str, float]) -> Iterator[InputError]:
    """Yield what makes wheels pass through themselves or each other."""
    for axle in ("front", "rear"):
        size, width = car[f"tyre_diameter_{axle}"], car[f"tyre_width_{axle}"]
        track = car[f"track_{axle}"]
        if not size > 0 or not width > 0:
            continue  # told already
        if 0 < track <= width:
            limit = f"must be above the tyre's width of {width:g} m"
            yield InputError(f"track_{axle}", track, "m", limit)
        if not car["tyre_shoulder"] < 0.5 * min(width, size):
            limit = f"must be below half the width of the {axle} tyre, {0.5 * width:g} m"
            yield InputError("tyre_shoulder", car["tyre_shoulder"], "m", limit)
        if not car["tyre_sink"] < 0.2 * size:
            limit = f"must be below a fifth of the {axle} tyre's diameter, {0.2 * size:.3g} m"
            yield InputError("tyre_sink", car["tyre_sink"], "m", limit)
