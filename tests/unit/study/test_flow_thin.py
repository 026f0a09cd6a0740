"""A thinned surface keeps the force on it and the two sides of a plate apart."""

import numpy as np
import pytest

from tuftwork.study.flow.thin import thinned, whole


def ball(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Return vertices and outward faces of a sphere of radius one, from a folded grid."""
    turn, rise = np.meshgrid(np.arange(2 * n), np.arange(n + 1), indexing="ij")
    a, b = np.pi * turn / n, np.pi * (rise / n - 0.5)
    places = np.stack([np.cos(b) * np.cos(a), np.cos(b) * np.sin(a), np.sin(b)], -1)
    at = np.arange(turn.size).reshape(turn.shape)
    p, q = at, np.roll(at, -1, axis=0)
    low = np.stack([p[:, :-1], q[:, :-1], q[:, 1:]], -1).reshape(-1, 3)
    high = np.stack([p[:, :-1], q[:, 1:], p[:, 1:]], -1).reshape(-1, 3)
    return places.reshape(-1, 3), np.concatenate([low, high])


def force(vertices: np.ndarray, faces: np.ndarray, values: np.ndarray) -> np.ndarray:
    corner = vertices[faces]
    area = 0.5 * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return np.asarray((values[faces].mean(axis=1)[:, None] * area).sum(axis=0))


def test_a_thinned_ball_in_a_fluid_at_rest_is_lifted_by_its_volume() -> None:
    # divergence theorem: the integral of z n over a closed surface is its volume along z
    vertices, faces = ball(90)
    found = thinned(vertices, faces, np.zeros(len(vertices), int), 0.12)
    assert len(found.faces) < 0.2 * len(faces)
    lift = force(found.vertices, found.faces, found.mean(vertices[:, 2]))
    assert lift == pytest.approx([0.0, 0.0, 4.0 / 3.0 * np.pi], rel=0.03, abs=0.03)


def test_the_two_sides_of_a_plate_thinner_than_a_cube_stay_apart() -> None:
    across, along = (v.ravel() for v in np.meshgrid(np.linspace(0, 1, 41), np.linspace(0, 1, 41)))
    at = np.arange(41 * 41).reshape(41, 41)
    one = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:]], -1).reshape(-1, 3)
    top = np.column_stack([across, along, np.full(across.size, 0.004)])
    low = np.column_stack([across, along, np.zeros(across.size)])
    vertices = np.concatenate([top, low])
    faces = np.concatenate([one, one[:, ::-1] + len(top)])
    values = np.repeat([1.0, -1.0], len(top))
    found = thinned(vertices, faces, np.zeros(len(vertices), int), 0.1)
    assert len(found.vertices) < 300
    assert set(np.unique(found.mean(values))) == {1.0, -1.0}


def test_parts_stay_apart_and_nothing_changes_where_nothing_is_thinned() -> None:
    vertices, faces = ball(12)
    both = np.concatenate([vertices, vertices])
    pairs = np.concatenate([faces, faces + len(vertices)])
    part = np.repeat([0, 3], len(vertices))
    found = thinned(both, pairs, part, 0.4)
    assert set(np.unique(found.mean(part))) == {0.0, 3.0}
    same = whole(vertices, faces)
    assert np.array_equal(same.mean(vertices[:, 0]), vertices[:, 0])
    with pytest.raises(ValueError, match="positive"):
        thinned(vertices, faces, part[: len(vertices)], 0.0)
