"""The mixing layer: which cells it takes, and that it leaves everything else as it was."""

import numpy as np
import pytest
from scipy.optimize import brentq
from tests.published.flow_rungs import law_profile, law_walls

from tuftwork.flow.engine import build_engine
from tuftwork.flow.layer import add_layer
from tuftwork.flow.setup import WALL, Setup, Surface
from tuftwork.flow.walls import Body, staircase, wrap_bodies
from tuftwork.shape.loft import drum


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


HALF, DEPTH, FRICTION = 6, 8, 0.004
Y = np.arange(HALF) + 0.5


def column(viscosity: float, *, shear_only: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Steady speed in a column between two walls, friction velocity of each cell, and stress."""
    removed = np.zeros((2 * HALF + 1, 1, 1), np.uint8)
    removed[0] = 1
    mark, links = law_walls(removed, DEPTH, shear_only=shear_only)
    force = FRICTION**2 / HALF
    shape = (1, 1, 2 * HALF + 1)
    engine = build_engine(
        Setup(shape=shape, viscosity=viscosity, mark=mark, walls=links, force=(force, 0.0, 0.0))
    )
    velocity = np.zeros((3, 2 * HALF + 1, 1, 1))
    velocity[0, 1:, 0, 0] = law_profile(np.r_[Y, Y[::-1]], HALF, FRICTION, viscosity)
    engine.start(np.ones(shape[::-1]), velocity)
    engine.advance(30_000)
    speed = engine.moments().velocity[0, 1 : HALF + 1, 0, 0]

    def own(u: float, at: float) -> float:
        return brentq(lambda s: law_profile(np.array([at]), 1e9, s, viscosity)[0] - u, 1e-6, 0.1)

    shear = np.array([own(u, at) for u, at in zip(speed, Y, strict=True)])
    return speed, shear, force * (HALF - Y)


def slope_of_law(y_plus: np.ndarray) -> np.ndarray:
    """Slope of the law by central differences."""
    ends = [law_profile(y_plus * f, 1e9, 1.0, 1.0) for f in (1.001, 0.999)]
    return (ends[0] - ends[1]) / (0.002 * y_plus)


@pytest.mark.parametrize("viscosity", [1e-5, 1e-4])
def test_where_only_shear_is_mixed_speed_steps_up_as_the_law_does(viscosity: float) -> None:
    """In a viscous layer too: with the greater viscosity the wall cell lies at 20 wall units."""
    speed, shear, stress = column(viscosity, shear_only=True)
    faded = np.clip((DEPTH - Y) / (DEPTH - 1), 0, 1)
    eddies = faded * (1 / slope_of_law(Y * shear / viscosity) - 1)
    strain = stress / (viscosity * (1 + eddies))
    np.testing.assert_allclose(np.diff(speed)[1:], 0.5 * (strain[1:-1] + strain[2:]), rtol=0.02)
    # the first step is that of the law at a stress that does not change, here a little less
    two = law_profile(Y[:2], 1e9, shear[0], viscosity)
    assert np.diff(two)[0] * stress[0] / shear[0] ** 2 == pytest.approx(
        speed[1] - speed[0], rel=0.06
    )
    # the spring holds the cell where the law's stress is that of its own centre, not of the wall
    assert shear[0] ** 2 == pytest.approx(stress[0], rel=0.02)


def wave(backend: tuple[str, str | None], *, shear_only: bool) -> float:
    """How much of a wave across the stream, along the wall, is left in the third cell."""
    shape, steps = (16, 2, 13), 200
    removed = np.zeros(shape[::-1], np.uint8)
    removed[0] = 1
    mark, links = law_walls(removed, 6, shear_only=shear_only)
    engine = build_engine(Setup(shape=shape, viscosity=1e-5, mark=mark, walls=links), *backend)
    velocity = np.zeros((3, *shape[::-1]))
    velocity[0] = 0.08
    sine = np.sin(2 * np.pi * np.arange(16) / 16)
    velocity[1] = 0.004 * sine
    engine.start(np.ones(shape[::-1]), velocity)
    engine.advance(steps // 2)
    across = engine.moments().velocity[1, 3, 0]
    return float(np.abs(np.fft.fft(across)[1]) / 8 / 0.004)


def test_a_wave_along_the_wall_lives_where_only_shear_is_mixed(backend: tuple[str, str]) -> None:
    """With all stresses mixed it decays by the layer's viscosity, with the shear by none.

    Rows of cells exchange the wave, so it decays between the least and the greatest of theirs;
    what the wall's friction takes from it is alike in both.
    """
    least, most = 0.41 * 0.08 / 23.0 * 1.35, 0.41 * 0.08 / 19.7 * 2.0  # u+ at 1.5 and 0.5 cells
    slow, fast = (np.exp(-nu * (2 * np.pi / 16) ** 2 * 200) for nu in (least, most))
    left = wave(backend, shear_only=True)
    assert left > 0.97
    assert fast < wave(backend, shear_only=False) / left < slow


def slanted(backend: tuple[str, str | None]) -> np.ndarray:
    """Speeds beside a drum with a layer that mixes the shear, after some steps."""
    shape = (24, 6, 24)
    body = drum("drum", (12.0, 3.0, 12.0), 6.0, 20.0)
    surfaces = (Surface(name="none"), Surface(name="drum", has_wall_law=True))
    triangles = body.vertices[body.faces]
    mark, links = wrap_bodies(shape, [Body(triangles=triangles, surface=1)], surfaces, skin=0.0)
    mark, links = add_layer(mark, links, 4, shear_only=True)
    assert (links.geometry[3] < 0).any()
    engine = build_engine(Setup(shape=shape, viscosity=1e-4, mark=mark, walls=links), *backend)
    velocity = np.zeros((3, *shape[::-1]))
    velocity[0] = 0.05
    engine.start(np.ones(shape[::-1]), velocity)
    engine.advance(20)
    out = engine.moments().velocity
    return np.where(mark == 1, 0.0, out)


def test_both_back_ends_mix_the_shear_alike_on_a_slanted_wall(backend: tuple[str, str]) -> None:
    bound = 1e-3 if backend[1] == "float16" else 2e-5
    np.testing.assert_allclose(slanted(backend), slanted(("cpu", None)), atol=bound)


def test_viscosities_of_neighbours_count_by_their_harmonic_mean() -> None:
    """Exact in a steady column: the step of speed is the mean of stress over viscosity."""
    viscosity = 1e-5
    speed, shear, stress = column(viscosity, shear_only=False)
    y = Y
    damped = (1 - np.exp(-y * shear / viscosity / 26)) ** 2
    mixing = y * damped * np.clip((DEPTH - y) / (DEPTH - 1), 0, 1)
    mixing[0] = 2 * y[0] + 1
    strain = stress / (viscosity + 0.41 * shear * mixing)
    np.testing.assert_allclose(np.diff(speed), 0.5 * (strain[1:] + strain[:-1]), rtol=0.02)
