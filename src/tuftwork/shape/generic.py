"""A generic car from about forty numbers: closed parts, wheels apart, so that a concept can be run.

Three kinds are offered: coupé, prototype and open-wheeler. None is a real car.
"""

from dataclasses import asdict, dataclass, replace

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, UnknownName
from tuftwork.shape.loft import drum, loft
from tuftwork.shape.mesh import Mesh
from tuftwork.shape.possible import generic_faults

Floats = npt.NDArray[np.float64]
RING = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class GenericCar:
    """Numbers of a generic car. Lengths [m], angles [rad]; front axle at x = 0, road at z = 0.

    A part with zero length, chord, height or number is left out.

    Attributes
    ----------
    section_power
        Squareness of the body's sections: 2 is an ellipse, 8 nearly a box. [-]
    tyre_sink
        Depth of the tyre's flat below the road, so that no wedge of air is left.
    wing_flap_chord, wing_flap_angle
        Second element of the rear wing, its incidence from the road.
    dive_planes, diffuser_fences
        How many: dive planes on each side, fences over the whole width.
    """

    wheelbase: float = 2.60
    front_overhang: float = 0.90
    rear_overhang: float = 0.85
    ride_height_front: float = 0.08
    ride_height_rear: float = 0.10
    body_width: float = 1.80
    nose_width: float = 1.50
    tail_width: float = 1.70
    nose_height: float = 0.45
    bonnet_height: float = 0.85
    deck_height: float = 0.95
    tail_height: float = 0.90
    section_power: float = 5.0
    cabin_start: float = 0.55
    cabin_end: float = 2.70
    cabin_top_start: float = 1.20
    cabin_top_end: float = 1.75
    roof_height: float = 1.28
    cabin_width: float = 1.45
    roof_width: float = 1.10
    tyre_diameter_front: float = 0.65
    tyre_diameter_rear: float = 0.67
    tyre_width_front: float = 0.25
    tyre_width_rear: float = 0.28
    tyre_shoulder: float = 0.03
    track_front: float = 1.55
    track_rear: float = 1.55
    tyre_sink: float = 0.005
    splitter_length: float = 0.06
    splitter_thickness: float = 0.02
    splitter_width: float = 1.60
    diffuser_length: float = 0.70
    diffuser_angle: float = 0.16
    skirt_height: float = 0.0
    skirt_thickness: float = 0.03
    wing_span: float = 1.60
    wing_chord: float = 0.28
    wing_angle: float = 0.14
    wing_thickness: float = 0.10
    wing_x: float = 3.25
    wing_z: float = 1.25
    wing_end_plate: float = 0.15
    front_wing_span: float = 0.0
    front_wing_chord: float = 0.0
    front_wing_x: float = -0.80
    front_wing_z: float = 0.12
    wing_flap_chord: float = 0.0
    wing_flap_angle: float = 0.55
    wing_gurney: float = 0.0
    dive_planes: float = 0.0
    dive_plane_length: float = 0.30
    dive_plane_width: float = 0.08
    dive_plane_angle: float = 0.30
    diffuser_fences: float = 0.0

    def __post_init__(self) -> None:
        for fault in generic_faults(asdict(self)):
            raise fault


KINDS: dict[str, GenericCar] = {
    "coupe": GenericCar(),
    "prototype": GenericCar(
        wheelbase=2.90, front_overhang=1.00, rear_overhang=0.80, ride_height_front=0.05,
        ride_height_rear=0.07, body_width=1.90, nose_width=1.80, tail_width=1.85, nose_height=0.30,
        bonnet_height=0.62, deck_height=0.70, tail_height=0.65, cabin_start=0.70, cabin_end=3.00,
        cabin_top_start=1.20, cabin_top_end=1.60, roof_height=1.05, cabin_width=0.95,
        roof_width=0.70, diffuser_length=1.00, diffuser_angle=0.18, wing_span=1.80, wing_chord=0.35,
        wing_x=3.35, wing_z=1.00, splitter_length=0.08, splitter_width=1.80,
    ),
    "open-wheeler": GenericCar(
        wheelbase=2.80, front_overhang=0.95, rear_overhang=0.45, ride_height_front=0.05,
        ride_height_rear=0.07, body_width=0.80, nose_width=0.25, tail_width=0.40, nose_height=0.35,
        bonnet_height=0.60, deck_height=0.70, tail_height=0.55, cabin_start=1.35, cabin_end=2.90,
        cabin_top_start=1.75, cabin_top_end=1.90, roof_height=0.98, cabin_width=0.45,
        roof_width=0.20, tyre_diameter_front=0.56, tyre_diameter_rear=0.58, tyre_width_front=0.23,
        tyre_width_rear=0.30, track_front=1.50, track_rear=1.45, splitter_length=0.0,
        diffuser_length=0.60, diffuser_angle=0.20, wing_span=0.95, wing_chord=0.30, wing_x=3.15,
        wing_z=0.85, wing_end_plate=0.30, front_wing_span=1.60, front_wing_chord=0.25,
        front_wing_x=-0.90,
    ),
}  # fmt: skip
"""The kinds offered."""


def generic_numbers(kind: str = "coupe", **numbers: float) -> GenericCar:
    """Return the numbers of a kind with some changed; arguments and errors as ``generic_car``."""
    if kind not in KINDS:
        raise UnknownName("kind", kind, KINDS)
    known = GenericCar.__dataclass_fields__
    for name in numbers:
        if name not in known:
            raise UnknownName("number", name, known)
    return replace(KINDS[kind], **numbers)


def impossible_numbers(kind: str = "coupe", **numbers: float) -> tuple[InputError, ...]:
    """Return everything that cannot be meant in changed numbers of a kind.

    Parameters
    ----------
    kind, **numbers
        As for ``generic_car``; a number that no kind has is not looked at.
    """
    own = asdict(KINDS[kind])
    return tuple(generic_faults(own | {k: v for k, v in numbers.items() if k in own}))


def generic_car(kind: str = "coupe", **numbers: float) -> tuple[Mesh, ...]:
    """Return the closed parts of a generic car.

    Parameters
    ----------
    kind
        ``"coupe"``, ``"prototype"`` or ``"open-wheeler"``.
    **numbers
        Fields of ``GenericCar`` to change.

    Returns
    -------
    parts
        Body, cabin, four wheels, and splitter, skirts, fences, dive planes, wings, flap, gurney and
        end plates where they have a size.
        Each is watertight; they may overlap.

    Raises
    ------
    UnknownName
        If the kind or a number is not known.
    InputError
        If a number is impossible.
    """
    from tuftwork.shape.kit import dive_planes, floor_parts, wings

    car = generic_numbers(kind, **numbers)
    return (
        _body(car), _cabin(car), *_wheels(car), *floor_parts(car), *dive_planes(car), *wings(car)
    )  # fmt: skip


def _ring(x: float, half: float, low: float, high: float, power: float) -> Floats:
    """Draw a rounded rectangle across the car."""
    t = np.linspace(0, 2 * np.pi, RING, endpoint=False) + np.pi / RING
    c, s = np.cos(t), np.sin(t)
    y = half * np.sign(c) * np.abs(c) ** (2 / power)
    z = 0.5 * (low + high) + 0.5 * (high - low) * np.sign(s) * np.abs(s) ** (2 / power)
    return np.stack([np.full(RING, x), y, z], axis=1)


def _body(car: GenericCar) -> Mesh:
    """Lower body with a flat floor, a rounded nose and the diffuser's kick."""
    nose, tail = -car.front_overhang, car.wheelbase + car.rear_overhang
    kick = tail - max(car.diffuser_length, 1e-3)
    x = np.unique(
        np.concatenate(
            [
                nose + 0.35 * car.front_overhang * (1 - np.cos(np.linspace(0, np.pi / 2, 9))),
                np.linspace(nose + 0.35 * car.front_overhang, tail, 41),
                [kick],
            ]
        )
    )
    mid = [nose, nose + 0.35 * car.front_overhang, 0.25 * car.wheelbase, 0.8 * car.wheelbase, tail]
    half = 0.5 * np.interp(
        x,
        mid,
        [car.nose_width, 0.95 * car.body_width, car.body_width, car.body_width, car.tail_width],
    )
    if car.body_width < 1.2:
        half = 0.5 * np.interp(
            x, [nose, 0.0, 0.45 * car.wheelbase, 0.75 * car.wheelbase, tail],
            [car.nose_width, 1.4 * car.nose_width, car.body_width, car.body_width, car.tail_width],
        )  # fmt: skip
    top = np.interp(
        x, mid, [car.nose_height, 0.75 * car.nose_height + 0.25 * car.bonnet_height,
                 car.bonnet_height, car.deck_height, car.tail_height],
    )  # fmt: skip
    slope = (car.ride_height_rear - car.ride_height_front) / car.wheelbase
    low = car.ride_height_front + slope * x
    low = low + np.maximum(x - kick, 0) * np.tan(car.diffuser_angle)
    # the nose is rounded: sections shrink towards the leading edge
    near = np.clip((x - nose) / (0.35 * car.front_overhang), 0, 1)
    shrink = np.sqrt(np.maximum(1 - (1 - near) ** 2, 0.02))
    middle = low + 0.4 * (top - low)
    high = middle + (top - middle) * shrink
    low = middle - (middle - low) * shrink
    rings = [
        _ring(a, h * (0.75 + 0.25 * s), lo, hi, car.section_power)
        for a, h, lo, hi, s in zip(x, half, low, high, shrink, strict=True)
    ]
    return loft("body", np.stack(rings))


def _cabin(car: GenericCar) -> Mesh:
    """Cabin from the belt to the roof, set into the body."""
    foot = 0.6 * car.bonnet_height
    rows = []
    for share in np.linspace(0, 1, 12):
        z = foot + share * (car.roof_height - foot)
        x0 = car.cabin_start + share * (car.cabin_top_start - car.cabin_start)
        x1 = car.cabin_end + share * (car.cabin_top_end - car.cabin_end)
        half = 0.5 * (car.cabin_width + share * (car.roof_width - car.cabin_width))
        t = np.linspace(0, 2 * np.pi, RING, endpoint=False) + np.pi / RING
        c, s = np.cos(t), np.sin(t)
        px = 0.5 * (x0 + x1) + 0.5 * (x1 - x0) * np.sign(c) * np.abs(c) ** 0.6
        py = half * np.sign(s) * np.abs(s) ** 0.6
        rows.append(np.stack([px, py, np.full(RING, z)], axis=1))
    return loft("cabin", np.stack(rows))


def _wheels(car: GenericCar) -> list[Mesh]:
    """Four drums, sunk into the road by the tyre's flat so that no wedge of air is left."""
    out = []
    for axle, x, size, width, track in (
        ("front", 0.0, car.tyre_diameter_front, car.tyre_width_front, car.track_front),
        ("rear", car.wheelbase, car.tyre_diameter_rear, car.tyre_width_rear, car.track_rear),
    ):
        for side, sign in (("left", -1), ("right", 1)):
            centre = (x, sign * 0.5 * track, 0.5 * size - car.tyre_sink)
            out.append(drum(f"wheel {axle} {side}", centre, 0.5 * size, width, car.tyre_shoulder))
    return out
