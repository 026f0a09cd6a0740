"""Cells at a knife edge: they slip along a side or midway, wherever the edge lies."""

import numpy as np
import pytest

from tuftwork.flow.setup import Surface, WallLinks
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape import Mesh, diffuser_bluff_body
from tuftwork.shape.loft import block, loft

SURFACES = [Surface(name="none"), Surface(name="part")]
UPPER, LOWER = np.radians(-3.0), np.radians(11.0)


def tail(x: float, z: float) -> WallLinks:
    """Links of a wedge with its tip at (x, z), whose sides rise by ``UPPER`` and ``LOWER``."""
    root = x - 14.0
    corner = np.array([[x, z], [root, z - 14 * np.tan(UPPER)], [root, z - 14 * np.tan(LOWER)]])
    mesh = loft("tail", np.array([np.insert(corner, 1, y, axis=1) for y in (-9.0, 10.0)]))
    tri = mesh.triangles if mesh.volume > 0 else mesh.triangles[:, ::-1]
    body = Body(triangles=tri, surface=1)
    return wrap_bodies((30, 1, 21), [body], SURFACES, skin=0.0)[1]


def angles(links: WallLinks) -> dict[tuple[int, int], float]:
    """Rise of the plane along which each cell of the last half slips. [rad]."""
    x, z = links.cell % 30, links.cell // 30
    last = x > 10
    x, z = x[last], z[last]
    nx, _, nz = links.geometry[:3, last].astype(float)
    return dict(zip(zip(x, z, strict=True), np.arctan(-nx / nz), strict=True))


PLACES = [(20.0 + a, 9.0 + b) for a in (0.07, 0.32, 0.57, 0.94) for b in (0.16, 0.41, 0.66, 0.91)]


@pytest.mark.parametrize(("x", "z"), PLACES)
def test_cells_slip_along_a_side_ahead_of_the_edge_and_midway_behind(x: float, z: float) -> None:
    """Exact, by the wedge's own angles: nowhere square to the stream."""
    seen = {"ahead": 0, "behind": 0}
    middle, half = (UPPER + LOWER) / 2, (LOWER - UPPER) / 2
    for (i, k), rise in angles(tail(x, z)).items():
        if i < x - 0.6:
            assert min(abs(rise - UPPER), abs(rise - LOWER)) < 1e-4
            seen["ahead"] += 1
        elif i > x + 0.6:
            assert rise == pytest.approx(middle, abs=1e-4)
            seen["behind"] += 1
        else:
            # from a side to the middle linearly over the cell between; nearer where both are met
            share = np.clip(0.5 + (i - x) * np.cos(middle) + (k - z) * np.sin(middle), 0, 1)
            assert abs(rise - middle) < (1 - share) * half + 1e-3
    assert seen["ahead"] >= 15


def test_a_square_edge_is_left_as_it_is() -> None:
    tri = block("brick", (8.2, -9.0, 6.3), (20.4, 10.0, 12.6)).triangles
    _, links = wrap_bodies((30, 1, 21), [Body(triangles=tri, surface=1)], SURFACES, skin=0.0)
    x, z = links.cell % 30, links.cell // 30
    off = links.geometry[:, (x == 21) & (z == 13)]
    assert off.size
    np.testing.assert_allclose(
        off[:3, 0], np.array([0.6, 0.0, 0.4]) / np.hypot(0.6, 0.4), atol=1e-5
    )


CELL = 0.008
SHAPE = (44, 48, 58)


def nose_of(body: Mesh) -> WallLinks:
    """Links of the front 0.3 m of a body 0.1 m over the road."""
    tri = (body.triangles + np.array([0.05, 0.19, 0.0])) / CELL
    return wrap_bodies(SHAPE, [Body(triangles=tri, surface=1)], SURFACES, skin=0.0)[1]


def test_the_rim_of_a_groove_far_shallower_than_a_cell_is_no_tail(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Over the round nose the groove leans: its rims are as sharp as a tail, and no edge at all."""
    body = diffuser_bluff_body(np.radians(17.0), 0.1)
    found = nose_of(body)
    monkeypatch.setattr("tuftwork.flow.walls.turned_at_knives", lambda links, *rest: links)
    plain = nose_of(body)
    np.testing.assert_array_equal(found.cell, plain.cell)
    np.testing.assert_array_equal(found.geometry, plain.geometry)
