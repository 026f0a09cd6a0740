"""The mixing layer: which cells it takes, and that it leaves everything else as it was."""

import numpy as np
import pytest
from scipy.optimize import brentq
from tests.published.flow_rungs import law_profile, law_walls

from tuftwork.flow.case import Box, FlowCase, FlowPart, Spin
from tuftwork.flow.engine import build_engine
from tuftwork.flow.layer import add_layer, own_depths
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


WAVE_FRICTION = 0.08 / 21.3


def streaks(backend: tuple[str, str | None], *, shear_only: bool) -> float:
    """How much of streaks along the stream, side by side, is left in the third cell."""
    shape, steps = (2, 16, 13), 200
    removed = np.zeros(shape[::-1], np.uint8)
    removed[0] = 1
    mark, links = law_walls(removed, 6, shear_only=shear_only)
    engine = build_engine(Setup(shape=shape, viscosity=1e-5, mark=mark, walls=links), *backend)
    # the stream is a layer on the law: where its speed does not rise outwards nothing is mixed
    y = np.arange(6) + 0.5
    layer = law_profile(np.r_[y, y[::-1]], 1e9, WAVE_FRICTION, 1e-5)
    sine = np.sin(2 * np.pi * np.arange(16) / 16)
    velocity = np.zeros((3, *shape[::-1]))
    velocity[0, 1:] = layer[:, None, None] * (1 + 0.05 * sine)[:, None]
    engine.start(np.ones(shape[::-1]), velocity)
    engine.advance(steps // 2)
    now, then = engine.moments().velocity[0, 3, :, 0], velocity[0, 3, :, 0]
    # friction goes with the square of the speed, so it takes twice as much from streaks
    taken = (now.mean() / then.mean()) ** 2
    return float(np.abs(np.fft.fft(now)[1] / np.fft.fft(then)[1]) / taken)


def test_streaks_along_the_wall_live_where_only_shear_is_mixed(
    backend: tuple[str, str | None], request: pytest.FixtureRequest
) -> None:
    """With all stresses mixed they decay by the layer's viscosity, with the shear by none.

    Rows of cells exchange them, so they decay between the least and the greatest of theirs.
    """
    if backend[1] == "float16":
        miss = "miss: 0.954 are left against 0.938, on the card: half precision is for turbulence"
        request.applymarker(pytest.mark.xfail(strict=True, reason=miss))
    least, most = 0.41 * WAVE_FRICTION * 1.35, 0.41 * WAVE_FRICTION * 2.0
    slow, fast = (np.exp(-nu * (2 * np.pi / 16) ** 2 * 200) for nu in (least, most))
    left = streaks(backend, shear_only=True)
    assert left > 0.97
    assert fast < streaks(backend, shear_only=False) / left < slow


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


def mixed_by(backend: tuple[str, str | None], slope: float) -> float:
    """What a layer of 12 cells changes 6 to 10 cells off, where the speed changes by ``slope``."""
    shape, out = (2, 2, 33), []
    for depth in (0, 12):
        removed = np.zeros(shape[::-1], np.uint8)
        removed[0] = 1
        mark, links = law_walls(removed, depth, shear_only=True)
        engine = build_engine(Setup(shape=shape, viscosity=1e-5, mark=mark, walls=links), *backend)
        y = np.minimum(np.arange(33) - 0.5, 32.5 - np.arange(33))
        velocity = np.zeros((3, *shape[::-1]))
        velocity[0] = (0.08 + slope * (y - 8.0))[:, None, None]
        engine.start(np.ones(shape[::-1]), velocity)
        engine.advance(2)  # what the wall cell does has not come this far yet
        out.append(engine.moments().velocity[0, 7:10, 0, 0])
    return float(np.abs(out[1] - out[0]).max())


def test_air_that_slows_down_away_from_the_wall_is_not_mixed(
    backend: tuple[str, str | None],
) -> None:
    """Flow round a bulging wall without friction does so: it has no layer to mix in."""
    if backend[1] == "float16":
        pytest.skip("the effect is below what half precision stores")
    assert mixed_by(backend, -0.004) < 1e-6
    assert mixed_by(backend, 0.004) > 4e-6


def test_a_part_gets_a_layer_as_deep_as_that_of_a_plate_of_its_length() -> None:
    """0.37 x Re_x^(-1/5), Schlichting (status: memory): 18 mm after 1.044 m at 60 m/s."""
    body = drum("body", (0.5, 0.0, 0.3), 0.1, 0.2)

    def part(name: str, length: float, spin: Spin | None = None) -> FlowPart:
        v = body.vertices * np.array([length / np.ptp(body.vertices[:, 0]), 1.0, 1.0])
        return FlowPart(name=name, vertices=v, faces=body.faces, spin=spin)

    spin = Spin(rate=-100.0, centre=(0.0, 0.0, 0.3))
    parts = (part("body", 1.044), part("wing", 0.2234), part("wheel", 1.044, spin=spin))
    room = Box(ahead=1.0, behind=1.0, beside=1.0, above=1.0)
    for cell, expected in ((0.006, 3), (0.004, 5), (0.002, 5), (0.0074, 2), (0.0125, 0)):
        case = FlowCase(parts=parts[:1], speed=60.0, viscosity=1.5e-5, cell=cell, box=room)
        assert own_depths(case).tolist() == [0, expected, 0]
    # the wing over the road: 89 cells, 6.1 mm of layer in cells of 2.5 mm
    case = FlowCase(parts=parts, speed=30.0, viscosity=1.5e-5, cell=0.0025, box=room)
    assert own_depths(case).tolist() == [0, 5, 2, 0, 0]
    # a plate across the stream has no length to grow a layer on
    across = FlowPart(
        name="plate", vertices=body.vertices * (0, 1, 1), faces=body.faces, is_closed=False
    )
    case = FlowCase(parts=(across,), speed=30.0, cell=0.0025, box=room)
    assert own_depths(case).tolist() == [0, 0, 0]


def test_a_cell_belongs_to_the_nearest_wall_whether_that_has_a_layer_or_not() -> None:
    removed = np.zeros((9, 4, 6), np.uint8)
    label = removed.copy()
    removed[0], label[0] = 1, 1
    removed[8], label[8] = 1, 2
    surfaces = [Surface(name=n, has_wall_law=True) for n in ("none", "floor", "roof")]
    mark, links = staircase(removed, label, surfaces)
    _, joined = add_layer(mark, links, np.array([0, 5, 0]))
    added = joined.geometry[3] < 0
    height = joined.cell[added] // (4 * 6)
    assert set(height.tolist()) == {2, 3, 4}
    assert [s.layer for s in joined.surfaces] == [0.0, 5.0, 0.0]
