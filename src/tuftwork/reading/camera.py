"""A camera: from the car's axes to pixels and back, with one coefficient of radial distortion.

The same arithmetic runs for one camera and for many draws of it at once; it is held against
OpenCV's own projection in the tests. Pixels count from the middle of the upper left pixel.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.errors import InputError

N_LENS = 4
"""Numbers of a lens: log focal length, radial distortion, two of the principal point."""
N_CAMERA = 10
"""Numbers of a camera: its lens, a rotation vector, a translation."""
_WIDEST = 100.0  # [-] tangent of the widest ray; a solver far off must not overflow
_NEAREST = 1e-3  # [m] a point behind the camera is held here, so that a solver can walk out again


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """One camera, or many draws of one.

    Attributes
    ----------
    focal : (...)
        Focal length. [pixel]
    distortion : (...)
        ``k1`` of x_d = x (1 + k1 r²): negative for barrel. [-]
    centre : (..., 2)
        Principal point. [pixel]
    turn : (..., 3)
        Rotation vector from the car's axes to the camera's (x right, y down, z ahead). [rad]
    shift : (..., 3)
        Place of the car's origin in the camera's axes. [m]
    """

    focal: Any
    distortion: Any
    centre: Any
    turn: Any
    shift: Any

    @classmethod
    def of_vector(cls, vector: np.ndarray) -> "Camera":
        """Return the camera of ``(..., 10)`` numbers in the order of the attributes."""
        return cls(
            focal=np.exp(np.clip(vector[..., 0], 0.0, 20.0)),
            distortion=vector[..., 1],
            centre=vector[..., 2:4],
            turn=vector[..., 4:7],
            shift=vector[..., 7:10],
        )

    def vector(self) -> np.ndarray:
        """Return the camera as ``(10,)`` numbers."""
        return np.concatenate(
            [[np.log(self.focal), self.distortion], self.centre, self.turn, self.shift]
        )

    def rotation(self) -> np.ndarray:
        """Return the rotation matrix ``(..., 3, 3)``."""
        return rotation_of(np.asarray(self.turn, dtype=float))

    def place(self) -> np.ndarray:
        """Return where the camera stands in the car's axes ``(..., 3)``. [m]"""
        place = -np.einsum("...ji,...j->...i", self.rotation(), np.asarray(self.shift))
        return np.asarray(place)

    def matrix(self) -> np.ndarray:
        """Return OpenCV's camera matrix of one camera."""
        x, y = self.centre
        return np.array([[self.focal, 0.0, x], [0.0, self.focal, y], [0.0, 0.0, 1.0]])


def rotation_of(turn: np.ndarray) -> np.ndarray:
    """Return rotation matrices ``(..., 3, 3)`` of rotation vectors ``(..., 3)``."""
    from scipy.spatial.transform import Rotation

    flat = Rotation.from_rotvec(turn.reshape(-1, 3)).as_matrix()
    return np.asarray(flat).reshape(*turn.shape[:-1], 3, 3)


def project(camera: Camera, points: np.ndarray) -> np.ndarray:
    """Return where points appear, ``(..., n_point, 2)``.

    u = c + f (1 + k1 r²) (X/Z, Y/Z), r² = (X/Z)² + (Y/Z)².

    Parameters
    ----------
    camera
        One camera, or draws of one on leading axes.
    points : (..., n_point, 3)
        In the car's axes: x rearward, y right, z up. [m]

    Returns
    -------
    pixels : (..., n_point, 2)
        [pixel]

    References
    ----------
    [hartley2004] section 6.1, equation for the finite projective camera; section 7.4, radial
    distortion.
    """
    seen = np.einsum("...ij,...pj->...pi", camera.rotation(), points)
    seen = seen + np.asarray(camera.shift)[..., None, :]
    depth = np.maximum(seen[..., 2:], _NEAREST)
    flat = seen[..., :2] / depth
    stretch = 1.0 + np.asarray(camera.distortion)[..., None, None] * np.sum(
        flat**2, axis=-1, keepdims=True
    )
    scale = np.asarray(camera.focal)[..., None, None] * stretch
    return np.asarray(scale * flat + np.asarray(camera.centre)[..., None, :])


def directions(camera: Camera, pixels: np.ndarray) -> np.ndarray:
    """Return the rays of pixels in the car's axes, ``(..., n_point, 3)``, not normalised."""
    flat = straightened(camera, pixels)
    ahead = np.concatenate([flat, np.ones_like(flat[..., :1])], axis=-1)
    return np.asarray(np.einsum("...ji,...pj->...pi", camera.rotation(), ahead))


def straightened(camera: Camera, pixels: np.ndarray) -> np.ndarray:
    """Return pixels as a lens without distortion and of focal length one would show them."""
    bent = (pixels - np.asarray(camera.centre)[..., None, :]) / np.asarray(camera.focal)[
        ..., None, None
    ]
    k = np.asarray(camera.distortion)[..., None, None]
    bent = np.clip(bent, -_WIDEST, _WIDEST)
    flat = bent
    for _ in range(12):
        square = np.sum(flat**2, axis=-1, keepdims=True)
        # Newton on the radius: r (1 + k r²) = r_d; held where the lens formula folds over
        slope = np.maximum(1.0 + 3.0 * k * square, 0.2)
        flat = np.clip(flat - (flat * (1.0 + k * square) - bent) / slope, -_WIDEST, _WIDEST)
    return np.asarray(flat)


def on_plane(
    camera: Camera, pixels: np.ndarray, origin: np.ndarray, normal: np.ndarray
) -> np.ndarray:
    """Return where the rays of pixels meet a plane, ``(..., n_point, 3)``. [m]

    Parameters
    ----------
    camera
        One camera or draws of one.
    pixels : (..., n_point, 2)
        [pixel]
    origin, normal : (..., 3) or (..., n_point, 3)
        A point of the plane and its normal. [m], [-]
    """
    ray = directions(camera, pixels)
    eye = camera.place()[..., None, :]
    if origin.ndim < ray.ndim:
        origin, normal = origin[..., None, :], normal[..., None, :]
    along = np.sum(normal * ray, axis=-1, keepdims=True)
    flat = np.abs(along) < 1e-9 * np.linalg.norm(ray, axis=-1, keepdims=True)
    reach = np.sum(normal * (origin - eye), axis=-1, keepdims=True)
    return np.asarray(eye + np.where(flat, np.nan, reach / np.where(flat, 1.0, along)) * ray)


def vanishing_point(segments: np.ndarray) -> np.ndarray:
    """Return the common point of lines that are parallel in space, homogeneous ``(3,)``.

    Least squares on the lines' own vectors, in centred and scaled coordinates.

    Parameters
    ----------
    segments : (n_line, 2, 2)
        Two pixels of each line. [pixel]

    Raises
    ------
    InputError
        If fewer than two lines are given, or they are one line.

    References
    ----------
    [hartley2004] section 8.6, vanishing points as images of directions.
    """
    if len(segments) < 2:
        cure = "Mark a second line of the same direction."
        raise InputError("lines", len(segments), "", "a vanishing point needs two", cure)
    middle, size = segments.mean(axis=(0, 1)), np.std(segments) + 1e-9
    ends = (segments - middle) / size
    ends = np.concatenate([ends, np.ones_like(ends[..., :1])], axis=-1)
    lines = np.cross(ends[:, 0], ends[:, 1])
    lines /= np.maximum(np.linalg.norm(lines[:, :2], axis=1, keepdims=True), 1e-12)
    _, strength, axes = np.linalg.svd(lines)
    if strength[1] < 1e-9 * strength[0]:
        raise InputError("lines", len(segments), "", "are all the same line", "Mark another one.")
    x, y, w = axes[-1]
    return np.array([x * size + middle[0] * w, y * size + middle[1] * w, w])


def focal_from_square(first: np.ndarray, second: np.ndarray, centre: np.ndarray) -> float:
    """Return the focal length from vanishing points of two directions at right angles. [pixel]

    v1ᵀ ω v2 = 0 with ω = (K Kᵀ)⁻¹, square pixels: f² = −(v1 − c)·(v2 − c).

    Raises
    ------
    InputError
        If either lies at infinity or the two lie on one side of the centre.

    References
    ----------
    [hartley2004] section 8.8, orthogonality of vanishing points through the image of the absolute
    conic.
    """
    if abs(first[2]) < 1e-12 or abs(second[2]) < 1e-12:
        cure = "The picture looks square at the car: give the focal length or a known length."
        raise InputError("vanishing point", "at infinity", "", "gives no focal length", cure)
    a, b = first[:2] / first[2] - centre, second[:2] / second[2] - centre
    square = -float(a @ b)
    if not square > 0.0:
        cure = "Check which lines are square to each other."
        raise InputError("vanishing points", "of one side", "", "cannot be at right angles", cure)
    return float(np.sqrt(square))


def cross_ratio(a: float, b: float, c: float, d: float) -> float:
    """Return the cross ratio of four points on a line: |ab||cd| / (|ac||bd|). [-]

    References
    ----------
    [hartley2004] section 2.5, definition of the cross ratio on the projective line.
    """
    return (a - b) * (c - d) / ((a - c) * (b - d))


def height_from_reference(
    base: np.ndarray, top: np.ndarray, known_base: np.ndarray, known_top: np.ndarray,
    vertical: np.ndarray, horizon: np.ndarray,
) -> float:  # fmt: skip
    """Return a height above ground over a known height, both vertical, from one picture. [-]

    α Z = −‖b × t‖ / ((l·b) ‖v × t‖), so two heights share the unknown α.

    Parameters
    ----------
    base, top, known_base, known_top : (2,)
        Feet and heads of what is sought and what is known. [pixel]
    vertical, horizon : (3,)
        Vertical vanishing point and vanishing line of the ground, homogeneous.

    References
    ----------
    [criminisi2000] equation for heights above a reference plane; [hartley2004] section 8.7.
    """

    def scaled(foot: np.ndarray, head: np.ndarray) -> float:
        b, t = np.append(foot, 1.0), np.append(head, 1.0)
        line = horizon / np.linalg.norm(horizon[:2])
        reach = float(np.linalg.norm(np.cross(b, t)))
        return reach / abs(float(line @ b) * float(np.linalg.norm(np.cross(vertical, t))))

    return scaled(base, top) / scaled(known_base, known_top)


def circle_poses(
    pixels: np.ndarray, camera: Camera, radius: float
) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
    """Return the two circles in space that a picture of one circle allows.

    The pixels are straightened, an ellipse is fitted, and its cone is cut by the two planes in
    which the cut is round.

    Parameters
    ----------
    pixels : (n_point, 2)
        Marks along the circle, five or more. [pixel]
    camera
        Lens of the picture; pose is not used.
    radius
        Of the circle. [m]

    Returns
    -------
    poses
        Centre [m] and unit normal of each, in the camera's axes, normal towards the camera.

    Raises
    ------
    InputError
        If there are fewer than five marks or they do not lie on an ellipse.

    References
    ----------
    [chen2004] the two-fold answer from the eigenvectors of the cone.
    """
    if len(pixels) < 5:
        raise InputError("marks", len(pixels), "", "an ellipse needs five", "Mark more of the rim.")
    flat = straightened(camera, pixels)
    middle, size = flat.mean(axis=0), float(np.std(flat)) + 1e-12
    x, y = ((flat - middle) / size).T
    rows = np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=1)
    a, b, c, d, e, f = np.linalg.svd(rows)[2][-1]
    conic = np.array([[a, b / 2, d / 2], [b / 2, c, e / 2], [d / 2, e / 2, f]])
    move = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, size]]) / size
    cone = move.T @ conic @ move
    values, axes = np.linalg.eigh(cone)
    if np.sum(values > 0) == 1:
        values, axes = -values[::-1], axes[:, ::-1]
    if not (values[0] < 0 < values[1] <= values[2]) or b * b >= 4 * a * c:
        raise InputError("marks", len(pixels), "", "do not lie on an ellipse", "Mark them again.")
    # cone: l1 x² + l2 y² + l3 z² = 0 with l1 >= l2 > 0 > l3
    l3, l2, l1 = values
    axes = axes[:, ::-1]
    if axes[2, 2] < 0:
        axes = axes * np.array([1.0, 1.0, -1.0])
    tilt = np.sqrt(max(0.0, (l1 - l2) / (l1 - l3)))
    lean = np.sqrt(max(0.0, (l2 - l3) / (l1 - l3)))
    found = []
    for sign in (1.0, -1.0):
        normal = axes @ np.array([sign * tilt, 0.0, -lean])
        # the centre is the pole of the plane; the radius fixes how far along it lies
        pole = axes @ ((axes.T @ normal) / np.array([l1, l2, l3]))
        place = radius * np.sqrt(-l2 / (normal @ pole)) * pole
        place = place if place[2] > 0 else -place
        if normal @ place > 0:
            normal = -normal
        found.append((place, normal / np.linalg.norm(normal)))
    return tuple(found)
