"""How walls bend, from the normals of the wall cells round about.

Along a wall that bends air without friction is strained: its way turns, and its speed falls
outwards where the wall bulges. With the gradient K of the wall's normal along it the strain between
the normal and the wall is −2 K u. The spring of a wall with the law rests at that strain and at the
one that carries the law's stress; resting without it, it brakes air that turns.
"""

import numpy as np
import numpy.typing as npt

from tuftwork.flow.setup import Floats, WallLinks

REACH, MOST_NEAR = 2.6, 24
"""Wall cells that a bend is read from lie within this, and are at most so many. [cells], [-]"""
EDGE = np.radians(20.0)
"""Angle between two normals beyond which there is an edge between them. [rad]"""
SHARPEST = 0.2
"""A wall that bends more is held by few cells; no more than this is believed. [1/cell]"""
_SLACK = 0.05
_CHUNK = 50_000


def bends(links: WallLinks, shape: tuple[int, ...]) -> npt.NDArray[np.float32]:
    """Return the bend of the wall beside each wall cell.

    Parameters
    ----------
    links
        The wall links, with true normals.
    shape
        Cells along z, y, x.

    Returns
    -------
    bend : (6, n_wall)
        Gradient of the normal along the wall at the cell's centre, xx, yy, zz, xy, xz, yz; positive
        where the wall bulges into the air. [1/cell]
    """
    out = np.zeros((6, links.cell.size), np.float32)
    at = np.stack(np.unravel_index(links.cell, shape)[::-1], axis=1).astype(float)
    for surface in range(1, len(links.surfaces)):
        own = np.flatnonzero(links.main == surface)
        if own.size > 3:
            out[:, own] = _bends(at[own], links.geometry[:3, own].T.astype(float))
    return out


def _bends(at: Floats, normal: Floats) -> Floats:
    """Return the bend of one surface from places and normals. Shape (6, n)."""
    from scipy.spatial import cKDTree

    tree, parts = cKDTree(at), []
    count = min(MOST_NEAR, len(at))
    for start in range(0, len(at), _CHUNK):
        here, own = at[start : start + _CHUNK], normal[start : start + _CHUNK]
        far, near = tree.query(here, k=count, distance_upper_bound=REACH)
        found = np.isfinite(far)
        near = np.where(found, near, 0)
        looks = normal[near]
        weight = found & (np.einsum("nka,na->nk", looks, own) > np.cos(EDGE))
        one, two = _beside(own)
        basis = np.stack([one, two], axis=1)  # (n, 2, 3)
        way = np.einsum("nka,nba->nkb", at[near] - here[:, None], basis)
        turn = np.einsum("nka,nba->nkb", looks - own[:, None], basis)
        square = np.einsum("nk,nka,nkb->nab", weight, way, way) + _SLACK * np.eye(2)
        mixed = np.einsum("nk,nka,nkb->nab", weight, way, turn)
        slope = np.linalg.solve(square, mixed)
        slope = 0.5 * (slope + slope.transpose(0, 2, 1))
        size = np.sqrt((slope**2).sum(axis=(1, 2)))
        slope *= np.minimum(1.0, SHARPEST / np.maximum(size, 1e-30))[:, None, None]
        full = np.einsum("nab,nac,nbd->ncd", slope, basis, basis)
        parts.append(full[:, (0, 1, 2, 0, 0, 1), (0, 1, 2, 1, 2, 2)].T)
    return np.asarray(np.concatenate(parts, axis=1))


def _beside(normal: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors square to a normal and to each other. Shapes (n, 3)."""
    axis = np.eye(3)[np.abs(normal).argmin(axis=1)]
    one = np.cross(normal, axis)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    return np.asarray(one), np.asarray(np.cross(normal, one))
