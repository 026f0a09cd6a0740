"""Closed surfaces from rings of points: lofts, boxes, drums, and the reference bluff body."""

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.shape.mesh import Mesh

Floats = npt.NDArray[np.float64]


def loft(name: str, rings: Floats) -> Mesh:
    """Return a closed surface through rings, its first and last ring capped.

    Parameters
    ----------
    name
        Part name.
    rings : (n_ring, n_point, 3)
        Closed rings with matching points; the last point joins the first. [m]

    Returns
    -------
    mesh
        Watertight, normals outwards.

    Raises
    ------
    InputError
        If there are fewer than two rings or three points.
    """
    n_ring, n_point, _ = rings.shape
    if n_ring < 2 or n_point < 3:
        raise InputError("rings", f"{n_ring} × {n_point}", "", "at least 2 rings of 3 points")
    number = np.arange(n_ring * n_point).reshape(n_ring, n_point)
    after = np.roll(number, -1, axis=1)
    a, b, c, d = number[:-1].ravel(), after[:-1].ravel(), after[1:].ravel(), number[1:].ravel()
    sides = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    hubs = np.array([n_ring * n_point, n_ring * n_point + 1])
    first = np.stack([np.full(n_point, hubs[0]), after[0], number[0]], axis=1)
    last = np.stack([np.full(n_point, hubs[1]), number[-1], after[-1]], axis=1)
    vertices = np.concatenate([rings.reshape(-1, 3), rings[[0, -1]].mean(axis=1)])
    faces = np.concatenate([sides, first, last])
    mesh = Mesh(name=name, vertices=vertices, faces=faces)
    if mesh.volume < 0:
        mesh = Mesh(name=name, vertices=vertices, faces=faces[:, ::-1].copy())
    return mesh


def block(name: str, low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    """Return a box between two corners. [m]."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    ring = np.array([[y0, z0], [y1, z0], [y1, z1], [y0, z1]], dtype=float)
    return loft(name, np.stack([np.column_stack([np.full(4, x), ring]) for x in (x0, x1)]))


def drum(
    name: str, centre: tuple[float, float, float], radius: float, width: float, edge: float = 0.0
) -> Mesh:
    """Return a wheel: a drum about a lateral axis with its shoulders cut back by ``edge``. [m]."""
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    half = width / 2
    rows = [
        (-half, radius - edge),
        (-half + edge, radius),
        (half - edge, radius),
        (half, radius - edge),
    ]
    if edge == 0.0:
        rows = [(-half, radius), (half, radius)]
    rings = [
        np.stack(
            [
                centre[0] + r * np.cos(angle),
                np.full(64, centre[1] + y),
                centre[2] + r * np.sin(angle),
            ],
            axis=1,
        )
        for y, r in rows
    ]
    return loft(name, np.stack(rings))


def reference_bluff_body(slant: float, *, n_nose: int = 24) -> Mesh:
    """Return the slanted-tail reference body of the literature, without its stilts.

    Length 1.044 m, width 0.389 m, height 0.288 m, clearance 0.050 m, nose edges of radius 0.100 m,
    slant 0.222 m long.

    Parameters
    ----------
    slant
        Slant angle of the tail. [rad]
    n_nose
        Rings along the rounded nose.

    Returns
    -------
    mesh
        Watertight; nose at x = 0, road at z = 0.

    References
    ----------
    [ahmed1984] figure 1.
    """
    length, half, height, clear, radius, run = 1.044, 0.1945, 0.288, 0.050, 0.100, 0.222
    turn = np.linspace(0, np.pi / 2, n_nose)
    stations = [
        (float(radius * (1 - np.cos(t))), float(radius * (1 - np.sin(t))), 0.0) for t in turn
    ]
    if slant > 0:
        stations.append((length - run * float(np.cos(slant)), 0.0, 0.0))
    stations.append((length, 0.0, run * float(np.sin(slant))))
    rings = []
    for x, inset, drop in stations:
        y, low, high = half - inset, clear + inset, clear + height - inset - drop
        rings.append([[x, -y, low], [x, y, low], [x, y, high], [x, -y, high]])
    return loft("body", np.array(rings))
