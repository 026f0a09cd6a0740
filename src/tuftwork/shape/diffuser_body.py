"""The diffuser body of the literature: a block whose floor ends in a ramp between plates."""

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.shape.mesh import Mesh

LENGTH, HALF_WIDTH, HEIGHT, KICK = 1.315, 0.157, 0.324, 0.775
"""Length, half width and height (seen), start of the ramp (memory). [m]"""
NOSE, PLATE = 0.100, 0.005
"""Radius of the nose's edges and thickness of the side plates: a choice of our own. [m]"""
_SLIT = 1e-6
"""Depth of the channel ahead of the ramp, so that every ring has the same points. [m]"""
_END = ((0, 1, 2), (0, 2, 7), (2, 3, 7), (3, 6, 7), (3, 5, 6), (3, 4, 5))
"""Triangles over a ring, the channel between the plates left open."""


def diffuser_bluff_body(
    angle: float, ride_height: float, *, plate: float = PLATE, nose: float = NOSE, n_nose: int = 24
) -> Mesh:
    """Return the diffuser body in ground effect: 1.315 m long, 0.314 m wide, 0.324 m high.

    Parameters
    ----------
    angle
        Angle of the ramp, which rises over the last 0.540 m between side plates. [rad]
    ride_height
        Height of the level floor, and of the lower edges of the plates, over the road. [m]
    plate
        Thickness of the side plates. [m]
    nose
        Radius of the nose's edges, above, below and at the sides. [m]
    n_nose
        Rings along the rounded nose.

    Returns
    -------
    mesh
        Watertight; nose at x = 0, road at z = 0.

    Raises
    ------
    InputError
        If the ramp leaves nothing of the base, or the body touches the road.

    References
    ----------
    [senior2001] for the size; nose and plates are a choice of our own.
    """
    rise = (LENGTH - KICK) * float(np.tan(angle))
    if not 0 < rise < 0.9 * HEIGHT:
        raise InputError("angle", angle, "rad", f"must lie below {np.arctan(0.54):.2f}, above 0")
    if not ride_height > 0:
        raise InputError("ride_height", ride_height, "m", "must be above 0")
    turn = np.linspace(0, np.pi / 2, n_nose)
    rows = [(float(nose * (1 - np.cos(t))), float(nose * (1 - np.sin(t))), _SLIT) for t in turn]
    rows += [(KICK, 0.0, _SLIT), (LENGTH, 0.0, rise)]
    rings = np.array([_ring(*row, ride_height, plate) for row in rows])
    return _closed("body", rings)


def _ring(x: float, inset: float, depth: float, height: float, plate: float) -> list[list[float]]:
    """Return a ring: outside, and the channel between the plates."""
    out, low, high = HALF_WIDTH - inset, height + inset, height + HEIGHT - inset
    inner = out - plate
    return [
        [x, -out, low], [x, -inner, low], [x, -inner, low + depth], [x, inner, low + depth],
        [x, inner, low], [x, out, low], [x, out, high], [x, -out, high],
    ]  # fmt: skip


def _closed(name: str, rings: npt.NDArray[np.float64]) -> Mesh:
    """Return the surface through the rings with both ends closed."""
    n_ring, n_point, _ = rings.shape
    number = np.arange(n_ring * n_point).reshape(n_ring, n_point)
    after = np.roll(number, -1, axis=1)
    a, b, c, d = number[:-1].ravel(), after[:-1].ravel(), after[1:].ravel(), number[1:].ravel()
    end = np.array(_END)
    faces = np.concatenate([
        np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1),
        end[:, ::-1], end + number[-1, 0],
    ])  # fmt: skip
    mesh = Mesh(name=name, vertices=rings.reshape(-1, 3), faces=faces)
    if mesh.volume < 0:
        mesh = Mesh(name=name, vertices=mesh.vertices, faces=faces[:, ::-1].copy())
    return mesh
