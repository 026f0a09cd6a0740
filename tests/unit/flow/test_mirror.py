"""A body and its mirror image are cut alike, also where walls lie on the centres of cells."""

import numpy as np
import pytest

from tuftwork.flow.setup import SOLID, Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block

SHAPE = (15, 15, 15)


def cut(half: float) -> tuple[np.ndarray, np.ndarray]:
    """Marks, and the shortest link of each cell, of a cube about the middle of a box."""
    middle = 7.0
    mesh = block("cube", (middle - half,) * 3, (middle + half,) * 3)
    body = Body(triangles=mesh.vertices[mesh.faces], surface=1)
    surfaces = [Surface(name="none"), Surface(name="cube")]
    mark, links = wrap_bodies(SHAPE, [body], surfaces, skin=0.0)
    shortest = np.zeros(np.prod(SHAPE))
    length = np.where(links.cut > 0, links.cut, np.inf).min(axis=0)
    shortest[links.cell] = length
    return mark, shortest.reshape(SHAPE[::-1])


@pytest.mark.parametrize("half", [3.0, 3.0 + 1e-9, 3.0 - 1e-9, 3.3, 2.5])
def test_a_cube_is_cut_alike_on_all_six_sides(half: float) -> None:
    mark, shortest = cut(half)
    for axis in range(3):
        np.testing.assert_array_equal(mark, np.flip(mark, axis))
        np.testing.assert_allclose(shortest, np.flip(shortest, axis), atol=1e-6)


def test_cells_on_a_wall_belong_to_the_body() -> None:
    mark, shortest = cut(3.0)
    assert int((mark == SOLID).sum()) == 7**3
    assert shortest[7, 7, 11] == pytest.approx(1.0)
