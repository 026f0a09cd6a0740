"""Cut tails thinner than two cells: which edges are, and along what their cells slip."""

import numpy as np
import pytest

from tuftwork.flow.blunt import as_knives, blunt_tails
from tuftwork.flow.edge import SHARP, edge_points, sharp_edges
from tuftwork.flow.setup import Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block, loft
from tuftwork.shape.mesh import Mesh

STREAM = (1.0, 0.0, 0.0)
SURFACES = [Surface(name="around"), Surface(name="foil", has_wall_law=True)]


def wedge(width: float, *, y: tuple[float, float] = (-9.0, 10.0)) -> Mesh:
    """A wedge that thins along the stream from 6 cells to ``width`` at x = 22.3, z = 10.05."""
    rings = [
        np.array([[4.0, s, 7.05], [4.0, s, 13.05], [22.3, s, 10.05 + width / 2],
                  [22.3, s, 10.05 - width / 2]])
        for s in y
    ]  # fmt: skip
    return loft("foil", np.array(rings))


def tails(mesh: Mesh, stream: tuple[float, float, float] = STREAM) -> tuple[np.ndarray, ...]:
    return blunt_tails(sharp_edges(mesh.vertices, mesh.faces, turn=SHARP), stream)


def test_both_edges_of_a_thin_cut_tail_are_one_line() -> None:
    ends, into, width = tails(wedge(0.6))
    assert len(ends) == 2
    np.testing.assert_allclose(ends[:, :, 0], 22.3, atol=1e-9)
    np.testing.assert_allclose(ends[:, :, 2], 10.05, atol=1e-9)
    np.testing.assert_allclose(into, [[-1.0, 0.0, 0.0]] * 2, atol=1e-9)
    np.testing.assert_allclose(width, 0.6, atol=1e-9)


@pytest.mark.parametrize(
    ("mesh", "stream"),
    [
        pytest.param(wedge(2.2), STREAM, id="too thick"),
        pytest.param(wedge(0.6), (-1.0, 0.0, 0.0), id="it meets the stream"),
        pytest.param(block("slab", (0.0, 0.0, 0.0), (20.0, 20.0, 4.0)), STREAM, id="a slab"),
    ],
)
def test_others_are_left_alone(mesh: Mesh, stream: tuple[float, float, float]) -> None:
    assert len(tails(mesh, stream)[0]) == 0


def test_a_narrow_chamfer_is_no_tail() -> None:
    # two turns of 45 degrees with a strip of half a cell between them, on a thick body
    outline = [[0.0, 0.0], [20.0, 0.0], [20.0, 9.6], [19.6, 10.0], [0.0, 10.0]]
    rings = [[[x, s, z] for x, z in outline] for s in (0.0, 20.0)]
    assert len(tails(loft("body", np.array(rings)))[0]) == 0


def test_a_thin_tail_is_not_held_and_a_thick_one_is() -> None:
    def held(mesh: Mesh) -> int:
        edges = as_knives(sharp_edges(mesh.vertices, mesh.faces), STREAM)
        points = edge_points(edges, STREAM)
        return int(((points.place[:, 0] > 22) & (np.abs(points.place[:, 1]) < 8)).sum())

    assert held(wedge(0.6)) == 0
    assert held(wedge(2.2)) > 0


@pytest.mark.parametrize("width", [0.3, 0.6, 1.2])
def test_cells_beside_and_behind_slip_along_the_side_or_midway(width: float) -> None:
    body = Body(triangles=wedge(width).triangles, surface=1)
    lean = (3.0 - width / 2) / 18.3  # of the sides against the stream
    side = lean / np.hypot(1.0, lean)

    def furthest(stream: tuple[float, float, float] | None) -> float:
        """Most by which a normal beside or behind the tail leads air round it."""
        _, links = wrap_bodies((40, 1, 21), [body], SURFACES, skin=0.0, stream=stream)
        x, z = links.cell % 40, links.cell // 40
        near = (x > 17) & (np.abs(z - 10.05) < 4)
        along = links.geometry[0, near]
        return float(max(along.max() - side, -along.min()))

    assert furthest(STREAM) < 0.01
    assert furthest(None) > 0.2
