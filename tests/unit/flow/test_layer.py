"""The mixing layer: which cells it takes, and that it leaves everything else as it was."""

import numpy as np
from scipy.optimize import brentq
from tests.published.flow_rungs import law_profile

from tuftwork.flow.engine import build_engine
from tuftwork.flow.layer import add_layer
from tuftwork.flow.setup import WALL, Setup, Surface
from tuftwork.flow.walls import staircase


def floor(has_wall_law: bool) -> tuple[np.ndarray, object]:
    removed = np.zeros((12, 4, 6), np.uint8)
    removed[0] = 1
    surfaces = [Surface(name="none"), Surface(name="floor", has_wall_law=has_wall_law)]
    return staircase(removed, removed.copy(), surfaces)


def test_cells_within_the_depth_of_a_wall_with_the_law_join_without_cuts() -> None:
    mark, links = floor(True)
    before = links.cell.size
    out, joined = add_layer(mark, links, 4)
    added = joined.geometry[3] < 0
    # the box is periodic: both sides of the floor have cells at 1.5, 2.5 and 3.5 cells from it
    assert added.sum() == 2 * 3 * 4 * 6
    assert set(np.round(-joined.geometry[3, added], 3)) == {1.5, 2.5, 3.5}
    assert not joined.cut[:, added].any()
    assert np.all(np.diff(joined.cell) > 0)
    assert joined.surfaces[1].row()[0] == 4.0
    assert (out == WALL).sum() == before + added.sum()


def test_without_the_law_or_without_depth_nothing_changes() -> None:
    for law, depth in ((False, 4), (True, 0)):
        mark, links = floor(law)
        out, same = add_layer(mark, links, depth)
        assert out is mark
        assert same is links


def test_viscosities_of_neighbours_count_by_their_harmonic_mean() -> None:
    """Exact in a steady column: the step of speed is the mean of stress over viscosity."""
    half, depth, viscosity, friction = 6, 8, 1e-5, 0.004
    removed = np.zeros((2 * half + 1, 1, 1), np.uint8)
    removed[0] = 1
    surfaces = [Surface(name="none"), Surface(name="walls", has_wall_law=True)]
    mark, links = add_layer(*staircase(removed, removed.copy(), surfaces), depth)
    force = friction**2 / half
    shape = (1, 1, 2 * half + 1)
    engine = build_engine(
        Setup(shape=shape, viscosity=viscosity, mark=mark, walls=links, force=(force, 0.0, 0.0))
    )
    y = np.arange(half) + 0.5
    velocity = np.zeros((3, 2 * half + 1, 1, 1))
    velocity[0, 1:, 0, 0] = law_profile(np.r_[y, y[::-1]], half, friction, viscosity)
    engine.start(np.ones(shape[::-1]), velocity)
    engine.advance(30_000)
    speed = engine.moments().velocity[0, 1 : half + 1, 0, 0]

    def own(u: float, at: float) -> float:
        return brentq(lambda s: law_profile(np.array([at]), 1e9, s, viscosity)[0] - u, 1e-6, 0.1)

    shear = np.array([own(u, at) for u, at in zip(speed, y, strict=True)])
    damped = (1 - np.exp(-y * shear / viscosity / 26)) ** 2
    mixing = y * damped * np.clip((depth - y) / (depth - 1), 0, 1)
    mixing[0] = 2 * y[0] + 1
    stress = force * (half - y)
    strain = stress / (viscosity + 0.41 * shear * mixing)
    np.testing.assert_allclose(np.diff(speed), 0.5 * (strain[1:] + strain[:-1]), rtol=0.02)
