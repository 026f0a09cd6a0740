"""Kit parts of the generic car: splitter, skirts, fences, dive planes, wings with end plates."""

import numpy as np
import numpy.typing as npt

from tuftwork.shape.generic import GenericCar
from tuftwork.shape.loft import block, loft
from tuftwork.shape.mesh import Mesh

Floats = npt.NDArray[np.float64]
_SIDES = (("left", -1), ("right", 1))
_FENCE, _DIVE_PLANE = 0.012, 0.006
"""Thicknesses. [m]"""


def floor_parts(car: GenericCar) -> list[Mesh]:
    """Splitter, side skirts and the diffuser's fences."""
    out = []
    nose = -car.front_overhang
    if car.splitter_length > 0:
        low = car.ride_height_front - 0.01
        half = 0.5 * car.splitter_width
        corner = (nose - car.splitter_length, -half, low)
        far = (nose + 0.5 * car.front_overhang, half, low + car.splitter_thickness)
        out.append(block("splitter", corner, far))
    if car.skirt_height > 0:
        for side, sign in _SIDES:
            y = sorted(
                (sign * (0.5 * car.body_width - car.skirt_thickness), sign * 0.5 * car.body_width)
            )
            low = car.ride_height_front - car.skirt_height
            far = (0.85 * car.wheelbase, y[1], car.ride_height_rear + 0.1)
            out.append(block(f"skirt {side}", (0.15 * car.wheelbase, y[0], low), far))
    return [*out, *_fences(car)]


def _fences(car: GenericCar) -> list[Mesh]:
    """Upright plates that divide the diffuser, down to the plane of the floor."""
    count, tail = int(car.diffuser_fences), car.wheelbase + car.rear_overhang
    if not (count and car.diffuser_length > 0.1 and car.diffuser_angle > 0):
        return []
    kick = tail - car.diffuser_length
    slope = (car.ride_height_rear - car.ride_height_front) / car.wheelbase
    low = [car.ride_height_front + slope * x for x in (kick, tail)]
    rise = car.diffuser_length * np.tan(car.diffuser_angle)
    # the top corners lie inside the body, so that no slit is left
    side = [(kick, low[0]), (tail, low[1]), (tail, low[1] + rise + 0.03), (kick, low[0] + 0.03)]
    out = []
    for n, y in enumerate(np.linspace(-0.4, 0.4, count) * car.tail_width if count > 1 else [0.0]):
        rings = [[[x, y + d, z] for x, z in side] for d in (-0.5 * _FENCE, 0.5 * _FENCE)]
        out.append(loft(f"diffuser fence {n + 1}", np.array(rings)))
    return out


def dive_planes(car: GenericCar) -> list[Mesh]:
    """Small plates on the corners of the nose, nose down."""
    out = []
    count = int(car.dive_planes)
    nose = -car.front_overhang
    half = 0.5 * (0.5 * car.nose_width + 0.5 * 0.95 * car.body_width)
    length, angle = car.dive_plane_length, car.dive_plane_angle
    for n in range(count):
        z = car.ride_height_front + (0.35 + 0.28 * n) * (car.nose_height - car.ride_height_front)
        x0, rise = nose + 0.12 * car.front_overhang, length * np.sin(angle)
        x1 = x0 + length * np.cos(angle)
        side = [(x0, z), (x1, z + rise), (x1, z + rise + _DIVE_PLANE), (x0, z + _DIVE_PLANE)]
        for name, sign in _SIDES:
            root, tip = sign * 0.7 * half, sign * (half + car.dive_plane_width)
            rings = [[[x, y, z] for x, z in side] for y in (root, tip)]
            out.append(loft(f"dive plane {n + 1} {name}", np.array(rings)))
    return out


def _plane(
    name: str, span: float, chord: float, thickness: float, angle: float, at: Floats
) -> Mesh:
    """Inverted wing of constant section, nose at the place ``at``."""
    t = np.linspace(0, np.pi, 24)
    x = 0.5 * (1 - np.cos(t))
    half = (
        5
        * thickness
        * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    )
    camber = -0.16 * x * (1 - x)
    upper = np.stack([x, camber + half], axis=1)
    lower = np.stack([x, camber - half], axis=1)
    ring = np.concatenate([upper, lower[::-1]])
    ring[:, 1] += np.where(np.arange(len(ring)) < len(upper), 0.004, -0.004)
    c, s = np.cos(angle), np.sin(angle)
    px = chord * (ring[:, 0] * c - ring[:, 1] * s) + at[0]
    pz = chord * (ring[:, 0] * s + ring[:, 1] * c) + at[1]
    rings = [np.stack([px, np.full(len(px), y), pz], axis=1) for y in (-0.5 * span, 0.5 * span)]
    return loft(name, np.stack(rings))


def _flap_and_gurney(car: GenericCar, at: Floats) -> list[Mesh]:
    """Second element of the rear wing, behind and above the main one, and the edge strip."""
    turn = car.wing_angle
    edge = at + car.wing_chord * np.array([np.cos(turn), np.sin(turn)])
    out = []
    if car.wing_flap_chord > 0:
        turn = car.wing_flap_angle
        nose = edge + car.wing_chord * np.array([-0.02, 0.03])
        out.append(
            _plane(
                "rear wing flap", car.wing_span, car.wing_flap_chord, car.wing_thickness, turn, nose
            )
        )
        edge = nose + car.wing_flap_chord * np.array([np.cos(turn), np.sin(turn)])
    if car.wing_gurney > 0:
        half = 0.5 * car.wing_span
        low = (float(edge[0]) - 0.004, -half, float(edge[1]) - 0.004)
        far = (float(edge[0]), half, float(edge[1]) + car.wing_gurney)
        out.append(block("rear wing gurney", low, far))
    return out


def wings(car: GenericCar) -> list[Mesh]:
    """Rear and front wing with end plates, flap and gurney."""
    out = []
    rows = (
        ("rear wing", car.wing_span, car.wing_chord, car.wing_x, car.wing_z),
        (
            "front wing",
            car.front_wing_span,
            car.front_wing_chord,
            car.front_wing_x,
            car.front_wing_z,
        ),
    )
    for name, span, chord, x, z in rows:
        if not (span > 0 and chord > 0):
            continue
        at = np.array([x, z])
        out.append(_plane(name, span, chord, car.wing_thickness, car.wing_angle, at))
        if name == "rear wing":
            out += _flap_and_gurney(car, at)
        depth = car.wing_end_plate
        if depth > 0:
            below = min(0.6 * depth, z - 0.05)
            for side, sign in _SIDES:
                y = sorted((sign * 0.5 * span, sign * (0.5 * span + 0.012)))
                low = (x - 0.02, y[0], z - below)
                high = (x + 1.1 * chord, y[1], z + 0.4 * depth)
                out.append(block(f"{name} end plate {side}", low, high))
    return out
