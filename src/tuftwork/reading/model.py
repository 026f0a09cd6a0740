"""The least-squares problem of a scene: its unknowns, its rows and what each row belongs to."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.reading.camera import N_CAMERA, Camera, project, straightened
from tuftwork.reading.scene import Affine, Parallel, Picture, Scene, Sighting

_FREE_SPREAD = 3.0  # [m] standard deviation of a free coordinate about the car's middle
_FARTHEST = 1e4  # [pixel] a start far off must not overflow


@dataclass(frozen=True, kw_only=True)
class Model:
    """Unknowns ``theta``: dimensions, cameras, free coordinates, angles along rims.

    ``residuals`` takes many sets of unknowns at once, ``(..., n_unknown)``.
    """

    scene: Scene
    names: list[str] = field(default_factory=list)
    coordinate: dict[tuple[str, int], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        scene = self.scene
        self.names.extend(f"dimension {n}" for n, d in scene.dimensions.items() if d.spread > 0)
        for picture in scene.pictures:
            self.names.extend(f"camera {picture} {i}" for i in range(N_CAMERA))
        for name, point in scene.points.items():
            if point.mirror_of and point.loose == 0.0:
                continue
            for axis in range(3):
                if point.mirror_of or point.tie[axis] is None or point.loose > 0:
                    if name not in self.used:
                        continue
                    self.coordinate[name, axis] = len(self.names)
                    self.names.append(f"{name} {'xyz'[axis]}")
        for k, rim in enumerate(scene.rims):
            self.names.extend(f"rim {k} {i}" for i in range(len(rim.at)))

    @cached_property
    def used(self) -> frozenset[str]:
        """Points that some row speaks of."""
        found = {s.point for s in self.scene.sightings} | {r.centre for r in self.scene.rims}
        found |= {end for length in self.scene.lengths for end in (length.first, length.second)}
        for name in list(found):
            if name not in self.scene.points:
                raise UnknownName("point", name, self.scene.points)
            if self.scene.points[name].mirror_of:
                found.add(self.scene.points[name].mirror_of)
        return frozenset(found)

    @cached_property
    def index(self) -> dict[str, int]:
        """Place of every unknown."""
        return {name: i for i, name in enumerate(self.names)}

    @cached_property
    def order(self) -> dict[str, int]:
        """Place of every used point."""
        return {name: i for i, name in enumerate(sorted(self.used))}

    def affine_row(self, affine: Affine) -> tuple[np.ndarray, float]:
        """Return a coordinate as a row of the unknowns and a constant."""
        row, constant = np.zeros(len(self.names)), affine.constant
        for name, factor in affine.terms:
            dimension = self.scene.dimensions.get(name)
            if dimension is None:
                raise UnknownName("dimension", name, self.scene.dimensions)
            if dimension.spread > 0:
                row[self.index[f"dimension {name}"]] += factor
            else:
                constant += factor * dimension.best
        return row, constant

    @cached_property
    def _places(self) -> tuple[np.ndarray, np.ndarray]:
        """Matrix and constants of all used points' coordinates."""
        rows, constants = [], []
        for name in self.order:
            for axis in range(3):
                row, constant = self._coordinate_row(name, axis)
                rows.append(row)
                constants.append(constant)
        return np.array(rows).T.reshape(len(self.names), -1), np.array(constants)

    def _coordinate_row(self, name: str, axis: int) -> tuple[np.ndarray, float]:
        point = self.scene.points[name]
        own = self.coordinate.get((name, axis))
        if own is not None:
            row = np.zeros(len(self.names))
            row[own] = 1.0
            return row, 0.0
        if point.mirror_of:
            row, constant = self._coordinate_row(point.mirror_of, axis)
            sign = -1.0 if axis == 1 else 1.0
            return sign * row, sign * constant
        tie = point.tie[axis]
        assert tie is not None
        return self.affine_row(tie)

    def points(self, theta: np.ndarray) -> np.ndarray:
        """Return all used points, ``(..., n_point, 3)``. [m]"""
        matrix, constants = self._places
        flat = theta @ matrix + constants
        return np.asarray(flat.reshape(*theta.shape[:-1], -1, 3))

    def camera(self, theta: np.ndarray, picture: str) -> Camera:
        """Return a picture's camera."""
        start = self.index[f"camera {picture} 0"]
        return Camera.of_vector(theta[..., start : start + N_CAMERA])

    @cached_property
    def linear(self) -> tuple[np.ndarray, np.ndarray, list[str]]:
        """Rows that are linear: what is known of dimensions, lenses, planes, symmetry."""
        rows: list[np.ndarray] = []
        values: list[float] = []
        groups: list[str] = []

        def add(row: np.ndarray, value: float, spread: float, group: str) -> None:
            rows.append(row / spread)
            values.append(value / spread)
            groups.append(group)

        def unit(place: int) -> np.ndarray:
            row = np.zeros(len(self.names))
            row[place] = 1.0
            return row

        for name, d in self.scene.dimensions.items():
            if d.spread > 0:
                row = unit(self.index[f"dimension {name}"])
                add(row, d.best, d.spread, d.label or name)
        for name, picture in self.scene.pictures.items():
            start = self.index[f"camera {name} 0"]
            for i, (value, spread, group) in enumerate(lens_prior(picture, name)):
                add(unit(start + i), value, spread, group)
        for (name, axis), place in self.coordinate.items():
            point = self.scene.points[name]
            if point.mirror_of:
                row, constant = self._coordinate_row(point.mirror_of, axis)
                sign = -1.0 if axis == 1 else 1.0
                add(unit(place) - sign * row, sign * constant, point.loose, "symmetry of the car")
            elif (tie := point.tie[axis]) is not None:
                row, constant = self.affine_row(tie)
                add(unit(place) - row, constant, point.loose, f"place of {name}")
            else:
                add(unit(place), 0.0, _FREE_SPREAD, "size of a car")
        return np.array(rows), np.array(values), groups

    @cached_property
    def groups(self) -> list[str]:
        """What every row belongs to, in the order of ``residuals``."""
        scene = self.scene
        found = list(self.linear[2])
        for picture in scene.pictures:
            for s in self._seen[picture]:
                found += [f"mark {s.point}"] * 2
        for rim in scene.rims:
            found += [f"marks on tyre {rim.centre.removeprefix('hub ')}"] * (2 * len(rim.at))
        found += [f"parallel lines along {'xyz'[p.axis]}" for p in scene.parallels]
        found += [length.label for length in scene.lengths]
        return found

    @cached_property
    def _seen(self) -> dict[str, list[Sighting]]:
        return {p: [s for s in self.scene.sightings if s.picture == p] for p in self.scene.pictures}

    def residuals(self, theta: np.ndarray) -> np.ndarray:
        """Return all rows, in standard deviations, ``(..., n_row)``."""
        scene = self.scene
        matrix, values, _ = self.linear
        places = self.points(theta)
        parts = [theta @ matrix.T - values]
        for name, picture in scene.pictures.items():
            seen = self._seen[name]
            if not seen:
                continue
            at = np.array([s.at for s in seen])
            click = np.array([s.click or picture.click for s in seen])[:, None]
            points = places[..., [self.order[s.point] for s in seen], :]
            found = project(self.camera(theta, name), points)
            parts.append(_held((found - at) / click))
        for k, rim in enumerate(scene.rims):
            found = project(self.camera(theta, rim.picture), self.rim_points(theta, k, places))
            parts.append(_held((found - np.array(rim.at)) / scene.pictures[rim.picture].click))
        for line in scene.parallels:
            parts.append(self._off_parallel(theta, line)[..., None])
        for length in scene.lengths:
            gap = (
                places[..., self.order[length.first], :] - places[..., self.order[length.second], :]
            )
            off = (np.linalg.norm(gap, axis=-1) - length.best) / length.spread
            parts.append(off[..., None])
        return np.concatenate(parts, axis=-1)

    def rim_points(self, theta: np.ndarray, k: int, places: np.ndarray | None = None) -> np.ndarray:
        """Return the points on a rim that its marks stand for."""
        rim = self.scene.rims[k]
        places = self.points(theta) if places is None else places
        start = self.index[f"rim {k} 0"]
        angle = theta[..., start : start + len(rim.at)]
        row, constant = self.affine_row(rim.radius)
        radius = (theta @ row + constant)[..., None]
        ring = np.stack([np.cos(angle), np.zeros_like(angle), np.sin(angle)], axis=-1)
        centre = places[..., self.order[rim.centre], :][..., None, :]
        return np.asarray(centre + radius[..., None] * ring)

    def _off_parallel(self, theta: np.ndarray, line: Parallel) -> np.ndarray:
        """Return how far the second end of an edge lies off the line to its vanishing point."""
        camera = self.camera(theta, line.picture)
        ends = np.broadcast_to(np.array(line.at), (*theta.shape[:-1], 2, 2))
        flat = straightened(camera, ends)
        gone = camera.rotation()[..., :, line.axis]
        first = np.concatenate([flat[..., 0, :], np.ones_like(flat[..., 0, :1])], axis=-1)
        normal = np.cross(first, gone)
        normal = normal / np.maximum(np.linalg.norm(normal[..., :2], axis=-1, keepdims=True), 1e-9)
        off = np.sum(normal[..., :2] * flat[..., 1, :], axis=-1) + normal[..., 2]
        click = np.sqrt(2.0) * self.scene.pictures[line.picture].click
        return np.asarray(off * np.asarray(camera.focal) / click)

    def jacobian(self, theta: np.ndarray) -> np.ndarray:
        """Return ``(n_row, n_unknown)`` by central differences, all columns in one call."""
        step = 1e-6 * np.maximum(1.0, np.abs(theta))
        moved = np.diag(step)
        both = self.residuals(np.concatenate([theta + moved, theta - moved]))
        half = len(theta)
        return np.asarray(((both[:half] - both[half:]) / (2.0 * step[:, None])).T)


def lens_prior(picture: Picture, name: str) -> list[tuple[float, float, str]]:
    """Return what is known of a lens: value, spread, name; in the order of a camera's numbers."""
    spread = picture.centre_spread * picture.width
    return [
        (float(np.log(picture.focal)), picture.focal_spread, f"focal length of {name}"),
        (0.0, picture.distortion_spread, f"distortion of {name}"),
        ((picture.width - 1) / 2, spread, f"middle of {name}"),
        ((picture.height - 1) / 2, spread, f"middle of {name}"),
    ]


def _held(off: np.ndarray) -> np.ndarray:
    flat = np.clip(off, -_FARTHEST, _FARTHEST)
    return np.asarray(flat.reshape(*off.shape[:-2], -1))


def refuse_collinear(picture: str, pixels: np.ndarray) -> None:
    """Refuse marks that lie on one line: they fix no camera."""
    if len(pixels) < 3:
        return
    off = np.linalg.svd(pixels - pixels.mean(axis=0), compute_uv=False)
    if off[1] < 4.0:
        cure = "Mark a point well off that line: the top of a tyre, the ground, the roof."
        raise InputError("marks", picture, "", "all lie on one line and fix no camera", cure)
