"""First guesses for the solver: where cameras stand, where free points lie, where rims are marked.

Poses come from OpenCV where four points of known place are marked, and from a ring of places
around the car otherwise; each is improved on its own picture and the best is kept.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.optimize import least_squares

from tuftwork.errors import InputError, NotConverged
from tuftwork.reading.camera import N_CAMERA, Camera, directions, project
from tuftwork.reading.model import Model, refuse_collinear
from tuftwork.reading.scene import Affine, Dimension, Point, Scene

_TRIED = 5  # starts per picture that are followed to the end
_HIDDEN = 1e9  # cost of a pose that looks through the car
_ENOUGH = 3  # rows beyond the lens that fix a pose come in pairs: three marks
_FOCAL_STEPS = np.array([0.35, 0.55, 0.8, 1.0, 1.25, 1.8, 2.8])  # of the usual focal length
_RING = [(a, e, d) for a in np.arange(0, 360, 30) for e in (-25, 12, 40) for d in (2.0, 5.0, 12.0)]


def first_guess(model: Model) -> np.ndarray:
    """Return unknowns to start from.

    Raises
    ------
    InputError
        If a picture has too little on it, or a point is seen once and lies on no plane.
    """
    scene = model.scene
    theta = np.zeros(len(model.names))
    for name, dimension in scene.dimensions.items():
        if dimension.spread > 0:
            theta[model.index[f"dimension {name}"]] = dimension.best
    known = {n: p for n in model.order if (p := _nominal(scene, n)) is not None}
    for name, place in known.items():
        _put_point(model, theta, name, place)
    waiting = sorted(scene.pictures, key=lambda p: -_known_marks(scene, p, known))
    placed: list[str] = []
    while waiting:
        waiting.sort(key=lambda p: -_known_marks(scene, p, known))
        picture = waiting.pop(0)
        camera, angles = _pose(scene, picture, known)
        start = model.index[f"camera {picture} 0"]
        theta[start : start + N_CAMERA] = camera
        for k, values in angles.items():
            first = model.index[f"rim {k} 0"]
            theta[first : first + len(values)] = values
        placed.append(picture)
        _triangulate(model, theta, placed, known, last=not waiting)
    return theta


def _nominal(scene: Scene, name: str) -> np.ndarray | None:
    """Return a point's place where everything about it is known."""
    point = scene.points[name]
    if point.mirror_of:
        other = _nominal(scene, point.mirror_of)
        return None if other is None else other * np.array([1.0, -1.0, 1.0])
    if any(tie is None for tie in point.tie):
        return None
    return np.array([tie.at(scene.dimensions) for tie in point.tie if tie is not None])


def _put_point(model: Model, theta: np.ndarray, name: str, place: np.ndarray) -> None:
    for axis in range(3):
        own = model.coordinate.get((name, axis))
        if own is not None:
            theta[own] = place[axis]


def _known_marks(scene: Scene, picture: str, known: dict[str, np.ndarray]) -> int:
    seen = sum(s.picture == picture and s.point in known for s in scene.sightings)
    rims = sum(r.picture == picture and r.centre in known for r in scene.rims)
    return seen + 2 * rims


def _pose(
    scene: Scene, picture: str, known: dict[str, np.ndarray]
) -> tuple[np.ndarray, dict[int, np.ndarray]]:
    """Return a picture's camera and the angles of its rims, fitted alone."""
    alone, rims = _alone(scene, picture, known)
    n_mark = len(alone.sightings) + sum(len(r.at) for r in alone.rims)
    if n_mark < _ENOUGH:
        cure = "Mark at least four points of known place: hubs, tyre tops, tyres on the ground."
        raise InputError("picture", picture, "", f"has {n_mark} marks of known place", cure)
    if not alone.rims and not alone.parallels:
        refuse_collinear(picture, np.array([s.at for s in alone.sightings]))
    model = Model(scene=alone)
    starts = [_with_rims(model, vector, picture) for vector in _starts(alone, picture)]
    costs = np.sum(np.minimum(model.residuals(np.array(starts)), 1e4) ** 2, axis=1)
    costs += [_HIDDEN * _through_the_car(model, start, picture) for start in starts]
    best: tuple[float, np.ndarray] | None = None
    for place in np.argsort(costs)[:_TRIED]:
        found = least_squares(
            model.residuals,
            starts[place],
            jac=model.jacobian,
            method="lm",
            max_nfev=40,
            ftol=1e-5,
            xtol=1e-6,
        )
        if not np.all(np.isfinite(found.x)):
            continue
        cost = float(found.cost) + (_HIDDEN if _through_the_car(model, found.x, picture) else 0.0)
        if best is None or cost < best[0]:
            best = (cost, found.x)
    if best is None:
        raise NotConverged(f"No camera fits the marks on {picture}. Check which mark is which.")
    angles, at = {}, N_CAMERA
    for k, rim in zip(rims, alone.rims, strict=True):
        angles[k] = best[1][at : at + len(rim.at)]
        at += len(rim.at)
    return best[1][:N_CAMERA], angles


def _through_the_car(model: Model, theta: np.ndarray, picture: str) -> bool:
    """Return whether a wheel's outer face would be seen from inside the car: its mirror image."""
    eye = model.camera(theta, picture).place()
    for rim in model.scene.rims:
        centre = _nominal(model.scene, rim.centre)
        assert centre is not None
        if (eye[1] - centre[1]) * np.sign(centre[1]) < 0:
            return True
    return False


def _alone(scene: Scene, picture: str, known: dict[str, np.ndarray]) -> tuple[Scene, list[int]]:
    """Return the scene of one picture with all that is known held fast."""
    points = {
        name: Point(tie=(fixed(place[0]), fixed(place[1]), fixed(place[2])))
        for name, place in known.items()
    }
    rims = [k for k, r in enumerate(scene.rims) if r.picture == picture and r.centre in known]
    exact = {n: Dimension(best=d.best, label=d.label) for n, d in scene.dimensions.items()}
    alone = replace(
        scene,
        dimensions=exact,
        points=points,
        pictures={picture: scene.pictures[picture]},
        sightings=tuple(s for s in scene.sightings if s.picture == picture and s.point in known),
        rims=tuple(scene.rims[k] for k in rims),
        parallels=tuple(p for p in scene.parallels if p.picture == picture),
        lengths=(),
    )
    return alone, rims


def fixed(value: float) -> Affine:
    """Return a coordinate that is a plain number."""
    return Affine(constant=float(value))


def _starts(scene: Scene, picture: str) -> Iterator[np.ndarray]:
    own = scene.pictures[picture]
    wide = own.focal * (_FOCAL_STEPS if own.focal_spread > 0.15 else np.array([1.0]))
    middle = np.array([(own.width - 1) / 2, (own.height - 1) / 2])
    places = np.array([_nominal(scene, s.point) for s in scene.sightings]).reshape(-1, 3)
    if len(places) >= 4:
        pixels = np.array([s.at for s in scene.sightings], dtype=float)
        for focal in wide:
            yield from _by_opencv(places, pixels, float(focal), middle)
    if len(places) < 6:
        rims = [_nominal(scene, r.centre) for r in scene.rims]
        target = np.mean([*places, *[r for r in rims if r is not None]], axis=0)
        for focal in wide:
            for azimuth, elevation, distance in _RING:
                yield looking_at(
                    target, np.radians(azimuth), np.radians(elevation), distance,
                    float(focal), middle,
                )  # fmt: skip


def _by_opencv(
    places: np.ndarray, pixels: np.ndarray, focal: float, middle: np.ndarray
) -> Iterator[np.ndarray]:
    import cv2

    lens = Camera(focal=focal, distortion=0.0, centre=middle, turn=np.zeros(3), shift=np.zeros(3))
    ways = [cv2.SOLVEPNP_SQPNP]
    off_plane = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[2]
    if off_plane < 1e-6:
        ways.append(cv2.SOLVEPNP_IPPE)
    for way in ways:
        try:
            _, turns, shifts, _ = cv2.solvePnPGeneric(
                places, pixels, lens.matrix(), None, flags=way
            )
        except cv2.error:
            continue
        for turn, shift in zip(turns, shifts, strict=True):
            vector = replace(lens, turn=turn.ravel(), shift=shift.ravel()).vector()
            if np.all(np.isfinite(vector)):
                yield vector


def looking_at(
    target: np.ndarray, azimuth: float, elevation: float, distance: float,
    focal: float, middle: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Return the ten numbers of a camera that looks at a point from around it, upright."""
    from scipy.spatial.transform import Rotation

    way = np.array([
        np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation),
        np.sin(elevation),
    ])  # fmt: skip
    ahead = -way
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(ahead, right), ahead])
    # car axes (x rearward, y right, z up) are right-handed with these camera axes
    vector = Rotation.from_matrix(turn).as_rotvec()
    camera = Camera(
        focal=focal, distortion=0.0, centre=middle, turn=vector,
        shift=-turn @ (target + distance * way),
    )  # fmt: skip
    return camera.vector()


def _with_rims(model: Model, camera: np.ndarray, picture: str) -> np.ndarray:
    """Return unknowns with every rim mark at the nearest place of the drawn circle."""
    theta = np.zeros(len(model.names))
    theta[model.index[f"camera {picture} 0"] :][:N_CAMERA] = camera
    around = np.linspace(0.0, 2 * np.pi, 72, endpoint=False)
    for k, rim in enumerate(model.scene.rims):
        centre = _nominal(model.scene, rim.centre)
        assert centre is not None
        radius = rim.radius.at(model.scene.dimensions)
        ring = centre + radius * np.stack(
            [np.cos(around), np.zeros_like(around), np.sin(around)], axis=1
        )
        drawn = project(Camera.of_vector(camera), ring)
        gap = np.linalg.norm(drawn[None] - np.array(rim.at)[:, None], axis=-1)
        start = model.index[f"rim {k} 0"]
        theta[start : start + len(rim.at)] = around[np.argmin(gap, axis=1)]
    return theta


def _triangulate(
    model: Model, theta: np.ndarray, placed: list[str], known: dict[str, np.ndarray], *, last: bool
) -> None:
    """Put free points where the rays of the pictures placed so far come closest."""
    scene = model.scene
    for name in model.order:
        point = scene.points[name]
        if name in known or point.mirror_of:
            continue
        normal, right = np.zeros((3, 3)), np.zeros(3)
        for axis, tie in enumerate(point.tie):
            if tie is not None:
                normal[axis, axis] += 1.0
                right[axis] += tie.at(scene.dimensions)
        for sighting in scene.sightings:
            if sighting.picture not in placed:
                continue
            flip = np.ones(3)
            if sighting.point != name:
                if scene.points[sighting.point].mirror_of != name:
                    continue
                flip = np.array([1.0, -1.0, 1.0])
            camera = model.camera(theta, sighting.picture)
            ray = directions(camera, np.array([sighting.at]))[0] * flip
            ray /= np.linalg.norm(ray)
            across = np.eye(3) - np.outer(ray, ray)
            normal += across
            right += across @ (camera.place() * flip)
        if np.linalg.eigvalsh(normal)[0] < 1e-4:
            if last:
                cure = "Put it on a plane, or mark it in a second picture."
                raise InputError("point", name, "", "is seen once and lies on no plane", cure)
            continue
        known[name] = np.linalg.solve(normal, right)
        _put_point(model, theta, name, known[name])
        for mirror in model.order:
            if scene.points[mirror].mirror_of == name:
                known[mirror] = known[name] * np.array([1.0, -1.0, 1.0])
                _put_point(model, theta, mirror, known[mirror])
