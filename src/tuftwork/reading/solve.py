"""Cameras and points from marks: one least-squares problem, its covariance, what it rests on."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Z80
from tuftwork.reading.begin import first_guess
from tuftwork.reading.camera import Camera, on_plane, project
from tuftwork.reading.model import Model
from tuftwork.reading.scene import Scene

CONTRADICTION = 5.0
"""Marks that miss by this many of their spreads on average contradict what was said. [-]"""
WEAK = 0.04
"""A set-up is weak where a length in the middle of the car is not known to this share. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """The mark that would narrow a picture most: its range then over its range now. [-]"""

    picture: str
    mark: str
    left: float

    def __str__(self) -> str:
        return f"Mark {self.mark} in {self.picture}: ranges shrink to {100 * self.left:.0f} %."


@dataclass(frozen=True, kw_only=True)
class Solution:
    """Solved cameras and points.

    Attributes
    ----------
    model
        The problem.
    theta : (n_unknown,)
        Its solution.
    covariance : (n_unknown, n_unknown)
        Of the unknowns, for the stated spreads times ``excess`` squared.
    jacobian : (n_row, n_unknown)
        At the solution, rows in standard deviations.
    excess
        Root of χ² over degrees of freedom where above 1: marks miss by more than their spread. [-]
    notices
        What a reader must be told.
    """

    model: Model
    theta: np.ndarray
    covariance: np.ndarray
    jacobian: np.ndarray
    excess: float
    notices: tuple[str, ...] = ()

    @property
    def scene(self) -> Scene:
        """What was solved."""
        return self.model.scene

    def camera(self, picture: str) -> Camera:
        """Return a picture's camera."""
        return self.model.camera(self.theta, picture)

    def point(self, name: str) -> np.ndarray:
        """Return a solved point ``(3,)``. [m]"""
        return np.asarray(self.model.points(self.theta)[self.model.order[name]])

    def draws(self, size: int, seed: int = 0) -> np.ndarray:
        """Return draws of the unknowns ``(size, n_unknown)``."""
        values, axes = np.linalg.eigh(self.covariance)
        deviates = np.random.default_rng(seed).standard_normal((size, len(values)))
        return np.asarray(self.theta + (deviates * np.sqrt(np.maximum(values, 0.0))) @ axes.T)

    def shares(self, gradient: np.ndarray) -> dict[str, float]:
        """Return the variance of ``gradient · theta`` by what it comes from; they add up to it.

        With A the covariance and J_g the rows of one group, Σ_g A J_gᵀ J_g A = A.
        """
        weight = self.jacobian @ (self.covariance @ gradient) / self.excess
        found: dict[str, float] = {}
        for group, part in zip(self.model.groups, weight**2, strict=True):
            found[group] = found.get(group, 0.0) + float(part)
        return found

    def strength(self, picture: str) -> float:
        """Return half the 80 % range of a metre in the middle of the car, as a share. [-]"""
        gradient, length = self._probe(picture)
        return float(Z80 * np.sqrt(gradient @ self.covariance @ gradient) / length)

    def _probe(self, picture: str) -> tuple[np.ndarray, float]:
        """Return gradient and value of a length across the picture on the car's best-seen plane."""
        own = self.scene.pictures[picture]
        camera = self.camera(picture)
        axis = int(np.argmax(np.abs(camera.rotation()[2])))
        places = self.model.points(self.theta)
        seen = [self.model.order[s.point] for s in self.scene.sightings if s.picture == picture]
        seen += [self.model.order[r.centre] for r in self.scene.rims if r.picture == picture]
        origin = places[seen].mean(axis=0)
        middle = project(camera, origin[None])[0]
        reach = 0.12 * own.width
        pixels = middle + reach * np.array([[-1.0, 0.0], [1.0, 0.0]])
        normal = np.eye(3)[axis]

        def length(theta: np.ndarray) -> np.ndarray:
            count = theta.shape[:-1]
            ends = on_plane(
                self.model.camera(theta, picture),
                np.broadcast_to(pixels, (*count, 2, 2)),
                np.broadcast_to(origin, (*count, 3)),
                np.broadcast_to(normal, (*count, 3)),
            )
            return np.asarray(np.linalg.norm(ends[..., 1, :] - ends[..., 0, :], axis=-1))

        return gradient_of(length, self.theta), float(length(self.theta[None])[0])

    def hint(self, picture: str) -> Hint | None:
        """Return the mark that would help a picture most, None where nothing helps by a tenth."""
        gradient, _ = self._probe(picture)
        now = float(gradient @ self.covariance @ gradient)
        own, camera = self.scene.pictures[picture], self.camera(picture)
        marked = {s.point for s in self.scene.sightings if s.picture == picture}
        best: Hint | None = None
        for name, place in _candidates(self.model):
            at = project(camera, place[None])[0]
            ahead = float((camera.rotation() @ place + np.asarray(camera.shift))[2])
            inside = 0 < at[0] < own.width - 1 and 0 < at[1] < own.height - 1
            if name in marked or not inside or ahead < 0.1:
                continue
            rows, spread = self._rows_of(picture, name, place)
            carried = rows @ self.covariance @ gradient
            inner = rows @ self.covariance @ rows.T + spread
            then = now - float(carried @ np.linalg.solve(inner, carried))
            left = float(np.sqrt(max(then, 0.0) / now))
            if left < (best.left if best else 0.9):
                best = Hint(picture=picture, mark=name, left=left)
        return best

    def _rows_of(self, picture: str, name: str, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return what a new mark's pixels depend on, and their own covariance."""
        own = self.scene.pictures[picture]
        point = self.scene.points[name]

        def pixel(theta: np.ndarray) -> np.ndarray:
            where = np.stack(
                [
                    np.einsum("...i,i->...", theta, row) + constant
                    for row, constant in (self.model.affine_row(t) for t in point.tie if t)
                ],
                axis=-1,
            )
            return project(self.model.camera(theta, picture), where[..., None, :])[..., 0, :]

        rows = np.stack(
            [gradient_of(lambda t, k=k: pixel(t)[..., k], self.theta) for k in range(2)]
        )
        scale = float(np.asarray(self.camera(picture).focal)) / max(
            0.3, float((self.camera(picture).rotation() @ place)[2] + self.camera(picture).shift[2])
        )
        spread = own.click**2 + (point.loose * scale) ** 2
        return rows, spread * np.eye(2)


def gradient_of(function: object, theta: np.ndarray) -> np.ndarray:
    """Return the gradient of a batched scalar function by central differences."""
    assert callable(function)
    step = 1e-6 * np.maximum(1.0, np.abs(theta))
    both = function(np.concatenate([theta + np.diag(step), theta - np.diag(step)]))
    half = len(theta)
    return np.asarray((both[:half] - both[half:]) / (2.0 * step))


def solve_scene(scene: Scene, start: np.ndarray | None = None) -> Solution:
    """Return cameras and points that agree best with everything said.

    Parameters
    ----------
    scene
        Marks and what is known.
    start : (n_unknown,)
        Unknowns to begin from, where a neighbouring problem was solved before.

    Raises
    ------
    InputError
        If marks lie on one line, a picture has too few, or what was said contradicts itself.
    NotConverged
        If no camera fits.

    Notes
    -----
    Wheels stand square to the car (no steer, no camber). Not for pictures cut from larger ones by
    more than a few per cent, nor for lenses that need a second distortion coefficient.

    References
    ----------
    [hartley2004] section 18.1, bundle adjustment; appendix 6.
    """
    model = Model(scene=scene)
    guess = start if start is not None and len(start) == len(model.names) else first_guess(model)
    found = least_squares(
        model.residuals, guess, jac=model.jacobian, method="lm", x_scale="jac",
        xtol=1e-10, ftol=1e-9, gtol=1e-10, max_nfev=80,
    )  # fmt: skip
    if not np.all(np.isfinite(found.x)):
        raise NotConverged("The marks fit no camera. Check which mark is which.")
    jacobian = model.jacobian(found.x)
    covariance = _inverse(jacobian)
    rows, unknowns = jacobian.shape
    ratio = float(np.sqrt(2.0 * found.cost / max(1, rows - unknowns)))
    if ratio > CONTRADICTION:
        culprit = _culprit(model, found.x, jacobian, covariance)
        cure = "Check that length, that the mark is on the right thing, and which picture it is in."
        raise InputError(
            "marks and lengths", f"miss by {ratio:.0f} times their own ranges", "",
            f"contradict each other; most of it goes away without '{culprit}'", cure,
        )  # fmt: skip
    if not found.success:
        raise NotConverged("The marks fit no camera. Check which mark is which.")
    excess = max(1.0, ratio)
    solution = Solution(
        model=model, theta=found.x, covariance=covariance * excess**2, jacobian=jacobian,
        excess=excess,
    )  # fmt: skip
    return _with_notices(solution, ratio)


def _with_notices(solution: Solution, ratio: float) -> Solution:
    from dataclasses import replace

    notices = []
    if ratio > 1.5:
        notices.append(
            f"Marks miss by {ratio:.1f} times what a click should; every range is widened by that."
        )
    for picture in solution.scene.pictures:
        weak = solution.strength(picture)
        if weak > WEAK:
            hint = solution.hint(picture)
            notices.append(
                f"{picture} is a weak set-up: lengths across it are known to ±{100 * weak:.1f} %. "
                + (str(hint) if hint else "Mark a known length along the direction of view.")
            )
    return replace(solution, notices=tuple(notices))


def _inverse(jacobian: np.ndarray) -> np.ndarray:
    scale = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-12)
    normal = (jacobian / scale).T @ (jacobian / scale)
    return np.asarray(np.linalg.pinv(normal, rcond=1e-13, hermitian=True) / np.outer(scale, scale))


def _culprit(model: Model, theta: np.ndarray, jacobian: np.ndarray, covariance: np.ndarray) -> str:
    """Return the group of rows without which χ² falls most."""
    residual = model.residuals(theta)
    falls: dict[str, float] = {}
    groups = np.array(model.groups)
    for group in set(model.groups):
        rows = groups == group
        inside = np.eye(int(rows.sum())) - jacobian[rows] @ covariance @ jacobian[rows].T
        gain = residual[rows] @ np.linalg.pinv(inside, rcond=1e-6) @ residual[rows]
        falls[group] = float(gain) / int(rows.sum()) ** 0.5
    return max(falls, key=lambda name: falls[name])


def _candidates(model: Model) -> list[tuple[str, np.ndarray]]:
    """Return points that could still be marked: all of known place."""
    found = []
    for name, point in model.scene.points.items():
        if point.mirror_of or any(tie is None for tie in point.tie):
            continue
        place = [tie.at(model.scene.dimensions) for tie in point.tie if tie is not None]
        found.append((name, np.array(place)))
    return found
