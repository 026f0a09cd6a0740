"""Sharp edges: which they are, and that the stream leaves a wall there."""

import numpy as np
import pytest

from tuftwork.flow.edge import EdgePoints, Edges, edge_points, hold_edges, sharp_edges
from tuftwork.flow.setup import Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block, drum, reference_bluff_body


def directions(ends: np.ndarray) -> np.ndarray:
    along = ends[:, 1] - ends[:, 0]
    return along / np.linalg.norm(along, axis=1, keepdims=True)


def test_a_box_has_twelve_sharp_edges_and_no_diagonals() -> None:
    mesh = block("box", (0.0, 0.0, 0.0), (1.0, 2.0, 3.0))
    ends = sharp_edges(mesh.vertices, mesh.faces).ends
    # caps may add a point on no edge; lengths tell: four of each side
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()
    assert length == pytest.approx(4 * (1 + 2 + 3))
    assert np.all(np.isclose(np.abs(directions(ends)).max(axis=1), 1.0))


def test_facets_of_a_rounded_shape_are_not_sharp_and_a_shallow_slant_neither() -> None:
    mesh = reference_bluff_body(np.radians(12.5))
    ends = sharp_edges(mesh.vertices, mesh.faces).ends
    middle = ends.mean(axis=1)
    across = np.abs(directions(ends)[:, 1]) > 0.9
    # across the stream: only the two edges of the base; the slant’s own edge turns by 12.5°
    assert np.all(np.isclose(middle[across][:, 0], 1.044, atol=1e-6))
    wheel = drum("wheel", (0.0, 0.0, 0.3), 0.3, 0.2)
    rims = sharp_edges(wheel.vertices, wheel.faces).ends
    assert np.allclose(np.abs(rims[..., 1]), 0.1, atol=1e-6)


@pytest.mark.parametrize(("slant", "is_sharp"), [(25.0, False), (30.0, False), (35.0, True)])
def test_an_edge_is_sharp_on_the_slant_that_the_stream_leaves_in_print(
    slant: float, is_sharp: bool
) -> None:
    # attached at 25° and 30°, not at 35°: Ahmed 1984 (memory); the turn was chosen on these
    mesh = reference_bluff_body(np.radians(slant))
    ends = sharp_edges(mesh.vertices, mesh.faces).ends
    start = 1.044 - 0.222 * np.cos(np.radians(slant))
    across = np.abs(directions(ends)[:, 1]) > 0.9
    assert np.any(np.abs(ends[across, 0, 0] - start) < 1e-6) == is_sharp


def test_hollow_edges_are_left_alone() -> None:
    outline = [[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]]
    from tuftwork.shape.loft import loft

    rings = np.array([[[x, y, z] for y, z in outline] for x in (0.0, 1.0)], dtype=float)
    mesh = loft("angle", rings)
    ends = sharp_edges(mesh.vertices, mesh.faces).ends
    along_x = np.abs(directions(ends)[:, 0]) > 0.9
    places = {tuple(np.round(p, 6)) for p in ends[along_x].mean(axis=1)[:, 1:]}
    assert (1.0, 1.0) not in places
    assert len(places) == 5


def test_the_rim_of_a_plate_is_sharp() -> None:
    corner = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float)
    edges = sharp_edges(corner, np.array([[0, 1, 2], [0, 2, 3]]))
    assert len(edges) == 4
    assert not edges.normals.any()


def test_points_lie_along_edges_and_leave_out_those_along_the_stream() -> None:
    ends = np.array([[[0, 0, 0], [4, 0, 0]], [[0, 0, 0], [0, 3, 0]]], dtype=float)
    edges = Edges(ends, np.zeros((2, 2, 3)))
    points = edge_points(edges, (1.0, 0.0, 0.0)).place
    assert np.all(points[:, 0] == 0)
    assert np.diff(points[:, 1]).max() <= 0.5
    assert points[:, 1].max() == 3
    assert len(edge_points(edges)) > len(points)
    assert edge_points(Edges(ends[:0], ends[:0]), None).place.shape == (0, 3)


def test_cells_beside_a_sharp_edge_have_no_slip_and_count_to_the_same_part() -> None:
    mesh = block("box", (6.5, 6.5, 6.5), (17.5, 17.5, 17.5))
    surfaces = [Surface(name="none"), Surface(name="box", has_wall_law=True)]
    body = Body(triangles=mesh.vertices[mesh.faces], surface=1)
    shape = (24, 24, 24)
    _, links = wrap_bodies(shape, [body], surfaces, skin=0.0)
    points = edge_points(sharp_edges(mesh.vertices, mesh.faces))
    held, count = hold_edges(links, shape, points)
    assert 0 < count < links.cell.size
    assert np.all(held.counted() == links.counted())
    law = np.array([s.has_wall_law for s in held.surfaces])[held.main]
    z, y, x = np.unravel_index(held.cell, shape[::-1])
    # the middle of a face slips still, the cell beside an edge does not
    face = (x == 6) & (y == 12) & (z == 12)
    edge = (x == 6) & (y == 7) & (z == 12)
    assert law[face].all()
    assert not law[edge].any()
    assert hold_edges(links, shape, EdgePoints(points.place[:0], points.turn[:0]))[1] == 0


def test_only_the_face_away_from_the_stream_is_held() -> None:
    mesh = block("box", (6.5, 6.5, 6.5), (17.5, 17.5, 17.5))
    surfaces = [Surface(name="none"), Surface(name="box", has_wall_law=True)]
    body = Body(triangles=mesh.vertices[mesh.faces], surface=1)
    shape = (24, 24, 24)
    _, links = wrap_bodies(shape, [body], surfaces, skin=0.0)
    points = edge_points(sharp_edges(mesh.vertices, mesh.faces), (1.0, 0.0, 0.0))
    held, _ = hold_edges(links, shape, points)
    law = np.array([s.has_wall_law for s in held.surfaces])[held.main]

    def slips(x: int, y: int, z: int) -> bool:
        return bool(law[held.cell == (z * 24 + y) * 24 + x][0])

    # on the side just before the base the wall law stays; behind each edge air is held, and on
    # both sides of one that the stream meets head on
    assert slips(17, 12, 18)
    assert not slips(6, 12, 17)
    assert not slips(7, 12, 18)
    assert not slips(18, 12, 17)
    # sides meet along the stream: it does not cross from one to the other
    assert slips(12, 17, 18)


def test_a_ridge_that_parts_the_stream_and_a_knife_edge() -> None:
    roof = np.array([[0, -1, 0], [4, -1, 0], [4, 1, 0], [0, 1, 0], [0, 0, 0.4], [4, 0, 0.4]], float)
    faces = np.array(
        [[0, 4, 5], [0, 5, 1], [3, 2, 5], [3, 5, 4], [0, 3, 4], [1, 5, 2], [0, 1, 2], [0, 2, 3]]
    )
    ridge = sharp_edges(roof, faces[:, ::-1])
    across = edge_points(ridge, (0.0, 1.0, 0.0))
    # over the ridge the far slope is behind; straight down on it neither is
    top = (across.place[:, 2] == 0.4) & (across.place[:, 0] > 0) & (across.place[:, 0] < 4)
    assert top.any()
    assert np.all(across.turn[top] @ (0.0, 1.0, 0.0) > 0)
    down = edge_points(ridge, (0.0, 0.0, -1.0))
    inside = (down.place[:, 0] > 0) & (down.place[:, 0] < 4)
    assert not np.any(down.place[inside, 2] == 0.4)
    thin = roof * [1.0, 1.0, 0.2]
    knife = sharp_edges(thin, faces[:, ::-1])
    rims = np.abs(knife.ends[:, :, 1]).min(axis=1) == 1
    along_x = np.ptp(knife.ends[:, :, 0], axis=1) == 4
    assert not knife.normals[rims & along_x].any()


def test_the_rim_of_a_plate_is_held_where_the_plate_lies_against_the_stream() -> None:
    corner = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]], dtype=float)
    edges = sharp_edges(corner, np.array([[0, 1, 2], [0, 2, 3]]))
    middle = edges.ends.mean(axis=1)
    assert edges.into is not None
    np.testing.assert_allclose(edges.into, np.sign([2, 2, 0] - middle), atol=1e-12)
    assert len(edge_points(edges, (0.0, 0.0, 1.0))) == len(edge_points(edges))
    for degrees, is_held in ((0.0, False), (20.0, False), (45.0, True)):
        turn = np.radians(degrees)
        place = edge_points(edges, (np.cos(turn), 0.0, np.sin(turn))).place
        assert bool(np.any(place[:, 0] == 0)) == is_held, degrees


def test_the_tail_of_a_wing_is_free_and_a_knife_edge_across_the_stream_is_not() -> None:
    from tuftwork.shape.loft import loft

    outline = np.array([[0.0, 0.0], [-4.0, 0.5], [-4.5, 0.0], [-4.0, -0.5]])
    rings = np.array([np.insert(outline, 1, y, axis=1) for y in (-3.0, 3.0)])
    mesh = loft("wing", rings)
    edges = sharp_edges(mesh.vertices, mesh.faces)

    def at_the_tip(stream: tuple[float, float, float]) -> int:
        place = edge_points(edges, stream).place
        return int((np.all(place[:, [0, 2]] == 0, axis=1) & (np.abs(place[:, 1]) < 2.9)).sum())

    assert at_the_tip((1.0, 0.0, 0.0)) == 0
    assert at_the_tip((0.8, 0.1, 0.3)) == 0
    assert at_the_tip((-1.0, 0.0, 0.0)) == 0  # a wedge that parts the stream
    assert at_the_tip((-0.6, 0.0, 0.8)) > 0
    assert at_the_tip((0.0, 0.0, 1.0)) > 0
