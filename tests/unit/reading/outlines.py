"""Random cars of the invented shape seen head-on through long lenses, with their outlines."""

from dataclasses import dataclass

import numpy as np

from tuftwork.demo.mould import Mould
from tuftwork.demo.photo import SIZE, Shot, outline_of
from tuftwork.quantity import Z80
from tuftwork.reading import (
    Ask,
    Dimension,
    Picture,
    Scene,
    Sighting,
    Trace,
    outline_plane,
    project,
    wheel_points,
)

CLICK = 1.0  # [pixel]
_FINE = 1500.0  # [pixel/m] of the shadow the true area is counted on
_SPREAD = {"wheelbase": 0.002, "face": 0.010, "tyre": 0.003, "hub": 0.003}  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """One picture's scene, its question and the true frontal area. [m²]"""

    scene: Scene
    ask: Ask
    truth: float


def random_car(rng: np.random.Generator) -> Mould:
    """Return a car with a roof: cab forward or back, short or long nose, wing low or above it."""
    wheelbase, side = rng.uniform(2.35, 2.85), rng.uniform(0.84, 0.97)
    radius, roof = rng.uniform(0.30, 0.36), rng.uniform(1.10, 1.38)
    nose, front = -rng.uniform(0.6, 1.2), rng.uniform(0.05, 0.11)
    screen = rng.uniform(-0.05, 0.40) * wheelbase
    cabin = (screen, screen + 0.65, screen + rng.uniform(1.2, 1.6), screen + rng.uniform(2.0, 2.5))
    return Mould(
        wheelbase=wheelbase, side=side, face=side + rng.uniform(0.01, 0.04), radius_front=radius,
        radius_rear=radius + rng.uniform(0.0, 0.02), roof=roof, belt=rng.uniform(0.58, 0.64) * roof,
        bonnet=rng.uniform(0.62, 0.68) * roof, clearance_front=front,
        clearance_rear=front + rng.uniform(0.0, 0.03), nose=nose, splitter=nose - 0.06,
        splitter_width=2 * side * rng.uniform(0.85, 0.96), tail=wheelbase + rng.uniform(0.75, 0.95),
        cabin=cabin, wing_span=2 * side * rng.uniform(0.70, 1.0),
        wing_station=wheelbase + rng.uniform(0.25, 0.5), wing_height=roof * rng.uniform(0.80, 1.06),
        kick=wheelbase - 0.1, ramp_end=wheelbase + 0.95,
    )  # fmt: skip


def frontal_area(car: Mould) -> float:
    """Return the area of a car's shadow along x, counted on a fine grid. [m²]"""
    import cv2

    mask = np.zeros((int(1.8 * _FINE), int(2.6 * _FINE)), dtype=np.uint8)
    for surface in car.surfaces():
        at = _FINE * (np.asarray(surface.vertices)[:, 1:] + [1.3, 0.1])
        for corners in np.round(at[np.asarray(surface.faces)]).astype(np.int32):
            cv2.fillConvexPoly(mask, corners, 255)
    return float(np.count_nonzero(mask)) / _FINE**2


def outline_shot(rng: np.random.Generator) -> Outline:
    """Return a random car from ahead, 15 to 50 m away, as the rule of the outline asks for.

    Within a degree of square, from half the car's height: eight times in ten within 0.3 m.
    """
    car = random_car(rng)
    distance = rng.uniform(15.0, 50.0)
    middle = 0.5 * car.roof
    height = max(0.2, rng.normal(middle, 0.3 / Z80))
    shot = Shot(
        id="P", title="", target=(0.8, 0.0, middle), azimuth=180 + rng.uniform(-1.0, 1.0),
        elevation=float(np.degrees(np.arcsin((height - middle) / distance))), distance=distance,
        focal_35mm=rng.uniform(0.45, 0.7) * 36.0 * distance / 2.0,
    )  # fmt: skip
    camera = shot.camera()
    picture = Picture(
        width=SIZE[0], height=SIZE[1], focal=float(camera.focal) * np.exp(rng.normal(0, 0.04)),
        focal_spread=0.04, click=CLICK,
    )  # fmt: skip
    around = outline_of(car, camera)
    clicked = around + rng.normal(0, CLICK, around.shape)
    plane = outline_plane("ahead", car.wheelbase)
    trace = Trace(name="silhouette", picture="P", at=_pairs(clicked), plane=plane)
    sightings = []
    for side in ("left", "right"):
        for what in ("top", "ground"):
            at = project(camera, car.wheel("front", side, what)[None]) + rng.normal(
                0, CLICK, (1, 2)
            )
            name = f"{what} front {side}"
            sightings.append(Sighting(picture="P", point=name, at=_pairs(at)[0]))
    scene = Scene(
        dimensions=_told(rng, car), points=wheel_points(), pictures={"P": picture},
        sightings=tuple(sightings), planes={"outline from ahead": plane},
    )  # fmt: skip
    return Outline(scene=scene, ask=Ask(kind="area", traces=(trace,)), truth=frontal_area(car))


def _told(rng: np.random.Generator, car: Mould) -> dict[str, Dimension]:
    """Return what a person would know of a car: its truth, missed by what it is known to."""
    true = {"wheelbase": car.wheelbase}
    for axle, radius in (("front", car.radius_front), ("rear", car.radius_rear)):
        true |= {
            f"face {axle}": car.face,
            f"tyre {axle}": radius,
            f"hub {axle}": radius - car.squat,
        }
    return {
        name: Dimension(best=rng.normal(value, spread), spread=spread, label=name)
        for name, value in true.items() for spread in (_SPREAD[name.split()[0]],)
    }  # fmt: skip


def _pairs(at: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in at)
