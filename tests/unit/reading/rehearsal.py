"""Random cameras and an invented car of known size: pictures without a picture.

Everything the tool is told is drawn from the ranges it is told, and every click falls as far from
its mark as it says clicks do; what it then measures can be held against what is true.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.reading import (
    Ask,
    Camera,
    Dimension,
    Picture,
    Plane,
    Rim,
    Scene,
    Sighting,
    Trace,
    project,
    tied,
    wheel_points,
)
from tuftwork.reading.begin import looking_at

CLICK = 1.5  # [pixel]
WIDTH, HEIGHT = 4000, 2667
PRIORS = {
    "wheelbase": Dimension(best=2.62, spread=0.002, label="wheelbase"),
    "face front": Dimension(best=0.93, spread=0.010, label="width over front tyres"),
    "face rear": Dimension(best=0.93, spread=0.010, label="width over rear tyres"),
    "tyre front": Dimension(best=0.325, spread=0.002, label="tyre diameter"),
    "tyre rear": Dimension(best=0.325, spread=0.002, label="tyre diameter"),
    "hub front": Dimension(best=0.318, spread=0.003, label="tyre under load"),
    "hub rear": Dimension(best=0.318, spread=0.003, label="tyre under load"),
    "side": Dimension(best=0.90, spread=0.015, label="plane of the side"),
    "wing end": Dimension(best=0.85, spread=0.003, label="plane of the end plate"),
}
PLANES = {
    "side": Plane(axis=1, at=tied(("side", 1.0)), flat=0.006),
    "wing end": Plane(axis=1, at=tied(("wing end", 1.0)), flat=0.002),
    "ground": Plane(axis=2, at=tied(), flat=0.002),
    "centre": Plane(axis=1, at=tied(), flat=0.001),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One picture's scene, its asks and what is true."""

    scene: Scene
    asks: dict[str, Ask]
    truth: dict[str, float]


def true_traces(rng: np.random.Generator) -> dict[str, tuple[str, np.ndarray]]:
    """Return what is marked: plane and points with the plane's own coordinate left at 0."""
    chord = rng.uniform(0.24, 0.34)
    angle = np.radians(rng.uniform(2, 14))
    nose = np.array([2.8, 0, rng.uniform(1.05, 1.25)])
    tail = nose + chord * np.array([np.cos(angle), 0, np.sin(angle)])
    slot = np.array([0.6, 0, 0.55]) + np.array(
        [[0, 0, 0], [0.3, 0, 0.02], [0.32, 0, 0.2], [0.02, 0, 0.22]]
    )
    bar = np.array([0.6, 0, 0.55]) + np.array(
        [[0.1, 0, 0.03], [0.16, 0, 0.03], [0.16, 0, 0.19], [0.1, 0, 0.19]]
    )
    arc = np.radians([10, 50, 90, 130, 170])
    arch = np.array([0, 0, 0.32]) + 0.37 * np.stack([np.cos(arc), 0 * arc, np.sin(arc)], axis=1)
    sill = np.array([[0.5, 0, rng.uniform(0.08, 0.2)]])
    flap = tail + np.array([[-0.02, 0, rng.uniform(0.012, 0.03)], [0.1, 0, 0.08]])
    ramp = np.array([2.7, 0, 0.10]) + 0.8 * np.array(
        [[0, 0, 0], [1, 0, np.tan(np.radians(rng.uniform(6, 14)))]]
    )
    lip = np.array([[-0.9, 0.3, 0.0], [-0.95, 0.7, 0.0]])
    strake = np.array([[0.2, 0.2, 0], [0.7, 0.2 + rng.uniform(-0.1, 0.2), 0]])
    return {
        "chord": ("wing end", np.stack([nose, tail])),
        "flap": ("wing end", flap),
        "slot": ("side", slot),
        "bar": ("side", bar),
        "arch": ("side", arch),
        "sill": ("side", sill),
        "ramp": ("side", ramp),
        "lip": ("ground", lip),
        "strake": ("ground", strake),
    }


def shot(rng: np.random.Generator, view: str) -> Shot:
    """Return a random picture of a random car from the ``side`` or from ``three-quarter`` ahead."""
    car = {n: Dimension(best=rng.normal(d.best, d.spread)) for n, d in PRIORS.items()}
    camera, picture = _camera(rng, view)
    points = wheel_points()
    where = {
        n: np.array([t.at(car) for t in p.tie if t]) + rng.normal(0, p.loose, 3)
        for n, p in points.items()
    }
    wheels = ("front right", "rear right", *(("front left",) if view != "side" else ()))
    sightings = []
    for wheel in wheels:
        for kind in ("hub", "top", "ground"):
            name = f"{kind} {wheel}"
            at = _clicked(rng, camera, where[name][None])[0]
            sightings.append(Sighting(picture="P", point=name, at=at))
    angles = np.radians([200, 160, 120, 60, 20, -20])
    ring = np.stack([np.cos(angles), 0 * angles, np.sin(angles)], axis=1)
    rim = where["hub front right"] + car["tyre front"].best * ring
    rims = (
        Rim(picture="P", centre="hub front right", radius=tied(("tyre front", 1.0)),
            at=_clicked(rng, camera, rim)),
    )  # fmt: skip
    traces, true = {}, {}
    for name, (plane, points_on) in true_traces(rng).items():
        own = PLANES[plane]
        moved = points_on.copy()
        moved[:, own.axis] = own.at.at(car) + rng.normal(0, own.flat)
        if plane == "ground":
            moved[:, 2] = rng.normal(0, own.flat)
        true[name] = moved
        traces[name] = Trace(name=name, picture="P", at=_clicked(rng, camera, moved), plane=own)
    scene = Scene(
        dimensions=PRIORS, points=points, pictures={"P": picture}, sightings=tuple(sightings),
        planes=PLANES, rims=rims,
    )  # fmt: skip
    asks, truth = _asked(traces, true)
    if view == "side":  # the ground is seen almost edge-on
        asks = {k: a for k, a in asks.items() if k not in ("plan angle", "ground distance")}
    return Shot(scene=scene, asks=asks, truth={k: truth[k] for k in asks})


def _asked(
    traces: dict[str, Trace], true: dict[str, np.ndarray]
) -> tuple[dict[str, Ask], dict[str, float]]:
    one = {
        "distance": ("distance", "chord"), "angle": ("angle", "chord"),
        "height": ("height", "sill"), "station": ("station", "sill"),
        "radius": ("radius", "arch"), "area": ("area", "slot"), "ramp": ("angle", "ramp"),
        "rise": ("rise", "ramp"), "run": ("run", "ramp"),
        "plan angle": ("plan angle", "strake"), "ground distance": ("distance", "lip"),
    }  # fmt: skip
    asks = {k: Ask(kind=kind, traces=(traces[t],)) for k, (kind, t) in one.items()}
    asks["net area"] = Ask(kind="area", traces=(traces["slot"],), less=(traces["bar"],))
    asks["gap"] = Ask(kind="gap", traces=(traces["chord"], traces["flap"]))
    from tuftwork.reading.kind import KINDS, outline_area

    truth = {k: float(KINDS[kind].work([true[t]])) for k, (kind, t) in one.items()}
    truth["net area"] = truth["area"] - float(outline_area(true["bar"]))
    truth["gap"] = float(KINDS["gap"].work([true["chord"], true["flap"]]))
    return asks, truth


def _camera(rng: np.random.Generator, view: str) -> tuple[Camera, Picture]:
    side = view == "side"
    equivalent = rng.uniform(60, 105) if side else rng.uniform(24, 32)
    focal = equivalent / 36 * WIDTH
    picture = Picture(
        width=WIDTH, height=HEIGHT, focal=focal * np.exp(rng.normal(0, 0.03)), focal_spread=0.03,
        distortion_spread=0.005 if side else 0.03, click=CLICK,
    )  # fmt: skip
    azimuth = np.radians(rng.uniform(78, 102) if side else rng.uniform(122, 150))
    elevation = np.radians(rng.uniform(2, 8) if side else rng.uniform(8, 22))
    distance = (1.25 if side else 1.6) * focal / WIDTH * (4.9 if side else 4.6)
    middle = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
    middle = middle + rng.normal(0, picture.centre_spread * WIDTH, 2)
    target = np.array([1.25, 0.0, 0.5])
    vector = looking_at(target, azimuth, elevation, max(distance, 4.5), focal, middle)
    vector[1] = rng.normal(0, picture.distortion_spread)
    return Camera.of_vector(vector), picture


def _clicked(
    rng: np.random.Generator, camera: Camera, points: np.ndarray
) -> tuple[tuple[float, float], ...]:
    at = project(camera, points) + rng.normal(0, CLICK, (len(points), 2))
    assert np.all(at > 0)
    assert np.all(at < [WIDTH - 1, HEIGHT - 1])
    return tuple((float(x), float(y)) for x, y in at)
