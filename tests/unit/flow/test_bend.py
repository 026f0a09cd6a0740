"""How walls bend, read from the normals of their cells, against cylinder, ball and flat faces."""

import numpy as np
import pytest
import trimesh

from tuftwork.flow.setup import Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape import block

SURFACES = [Surface(name="around"), Surface(name="body", has_wall_law=True)]
RADIUS = 12.0


def bends_of(triangles: np.ndarray, shape: tuple[int, int, int]) -> tuple[np.ndarray, ...]:
    """Places (n, 3), distance (n,) and bend (n, 3, 3) of the wall cells of a body."""
    _, links = wrap_bodies(shape, [Body(triangles=triangles, surface=1)], SURFACES, skin=0.0)
    xx, yy, zz, xy, xz, yz = links.bend[:6].astype(float)
    full = np.stack([np.stack(row, axis=1) for row in ((xx, xy, xz), (xy, yy, yz), (xz, yz, zz))])
    lx, ly, _ = shape
    n = links.cell
    place = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)], axis=1).astype(float)
    return place, links.geometry[3], full.transpose(1, 0, 2)


def test_a_ball_bends_alike_both_ways() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=RADIUS)
    centre = np.array([20.3, 20.1, 19.8])
    place, _, bend = bends_of(np.asarray(ball.triangles) + centre, (41, 41, 41))
    # exact: the gradient of the normal at a distance r from the middle is (1 - n n) / r
    way = place - centre
    far = np.linalg.norm(way, axis=1)
    unit = way / far[:, None]
    exact = (np.eye(3) - unit[:, :, None] * unit[:, None]) / far[:, None, None]
    assert np.abs(bend - exact).mean() < 0.1 / RADIUS
    assert np.median(np.trace(bend, axis1=1, axis2=2) * far) == pytest.approx(2.0, rel=0.05)


def test_a_drum_bends_round_its_axis_only() -> None:
    drum = trimesh.creation.cylinder(radius=RADIUS, height=90.0, sections=180)
    centre = np.array([20.3, 20.1, 12.0])
    place, _, bend = bends_of(np.asarray(drum.triangles) + centre, (41, 41, 25))
    inner = (place[:, 2] > 4) & (place[:, 2] < 20)
    far = np.hypot(*(place - centre)[:, :2].T)
    round_ = np.trace(bend, axis1=1, axis2=2) * far
    assert np.median(round_[inner]) == pytest.approx(1.0, rel=0.05)
    assert np.abs(round_[inner] - 1.0).max() < 0.25
    assert np.abs(bend[inner, 2, 2]).max() < 0.01 / RADIUS


def test_from_inside_it_bends_the_other_way() -> None:
    outer, bore = (trimesh.creation.cylinder(radius=r, height=90.0, sections=180)
                   for r in (18.0, RADIUS))  # fmt: skip
    centre = np.array([20.3, 20.1, 12.0])
    ring = np.concatenate([outer.triangles, np.asarray(bore.triangles)[:, ::-1]]) + centre
    place, _, bend = bends_of(ring, (41, 41, 25))
    far = np.hypot(*(place - centre)[:, :2].T)
    within = (far < RADIUS) & (place[:, 2] > 4) & (place[:, 2] < 20)
    assert within.any()
    trace = np.trace(bend, axis1=1, axis2=2) * far
    assert np.median(trace[within]) == pytest.approx(-1.0, rel=0.1)


def test_flat_faces_do_not_bend_up_to_their_edges() -> None:
    brick = block("brick", (8.3, 8.3, 8.3), (28.7, 24.7, 20.7)).triangles
    place, far, bend = bends_of(brick, (38, 34, 30))
    off = np.maximum([8.3, 8.3, 8.3] - place, place - [28.7, 24.7, 20.7]).max(axis=1)
    beside = far - off < 1e-3  # the foot lies on a face, not on an edge
    assert beside.sum() > 1000
    size = np.abs(bend).max(axis=(1, 2))
    assert np.median(size[beside]) < 1e-12
    # only within reach of an edge, where cells look past it
    inside = np.sort(np.minimum(place - 8.3, [28.7, 24.7, 20.7] - place), axis=1)[:, 1]
    assert size[beside & (inside > 3.0)].max() < 1e-6
