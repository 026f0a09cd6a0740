"""Pairs of cells in one word of half precision: the same flow as cells stored one by one."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tuftwork.flow import cuda, cuda_text
from tuftwork.flow.cuda_pair import paired
from tuftwork.flow.engine import build_engine
from tuftwork.flow.nest import Nest
from tuftwork.flow.nest_engine import NestedEngine
from tuftwork.flow.setup import Setup, Surface, plain_box
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import drum

STREAM = (0.08, 0.01, 0.0)


def wheel_on_a_road(length: int) -> Setup:
    """A turning drum between plain cells, cells prescribed at the inflow, a road with the law."""
    shape = (length, 12, 12)
    wheel = drum("wheel", (8.0, 6.0, 5.0), 3.3, 4.0)
    road = np.zeros(shape[::-1], np.uint8)
    road[0] = 1
    surfaces = [
        Surface(name="road", has_wall_law=True, velocity=(0.08, 0.0, 0.0)),
        Surface(name="wheel", has_wall_law=True, spin=(0.0, -0.02, 0.0), centre=(8.0, 6.0, 5.0)),
    ]
    body = Body(triangles=wheel.triangles, surface=1)
    mark, links = wrap_bodies(shape, [body], surfaces, skin=0.5, surroundings=road)
    sponge = (np.zeros(length), np.zeros(12), np.zeros(12))
    sponge[0][0] = sponge[2][-1] = 1.0
    return Setup(
        shape=shape, viscosity=1e-4, mark=mark, walls=links, stream=STREAM, sponge=sponge
    )  # fmt: skip


def waves(setup: Setup) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    shape = setup.shape[::-1]
    stir = 0.02 * rng.standard_normal((3, *shape))
    return 1 + 0.01 * rng.random(shape), stir + np.array(STREAM).reshape(3, 1, 1, 1)


def test_only_even_rows_in_half_precision_are_stored_in_pairs() -> None:
    setup = Setup(shape=(8, 6, 4), viscosity=0.1, mark=plain_box((8, 6, 4)))
    odd = Setup(shape=(9, 6, 4), viscosity=0.1, mark=plain_box((9, 6, 4)))
    assert paired(setup, half=True)
    assert not paired(setup, half=False)
    assert not paired(odd, half=True)


@pytest.mark.usefixtures("card_on_host")
def test_pairs_hold_the_same_numbers_as_cells_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    setup = replace(wheel_on_a_road(20), force=(1e-5, 0.0, -2e-6))
    kept = []
    for both in (True, False):
        for module in (cuda, cuda_text):
            monkeypatch.setattr(module, "paired", lambda *_, both=both, **__: both)
        engine = build_engine(setup, "cuda", "float16")
        engine.start(*waves(setup))
        engine.advance(3)
        engine.half_pair(True)
        kept.append(engine.state())
    for name in ("populations", "rows"):
        np.testing.assert_array_equal(kept[0][name], kept[1][name], err_msg=name)
    assert np.abs(kept[0]["rows"][:3]).max() > 1e-4


@pytest.mark.usefixtures("card_on_host")
@pytest.mark.parametrize("length", [20, 21])
def test_half_precision_follows_double_beside_walls(length: int) -> None:
    setup = wheel_on_a_road(length)
    engines = [build_engine(setup, "cpu"), build_engine(setup, "cuda", "float16")]
    for engine in engines:
        engine.start(*waves(setup))
        engine.advance(6)
        engine.sample()
    (a, _), (b, _) = (engine.means() for engine in engines)
    assert np.abs(a.velocity - b.velocity)[:, setup.mark != 1].max() < 2e-3 * 0.08
    one, two = (engine.part_loads()[1, :3] for engine in engines)
    np.testing.assert_allclose(two, one, atol=5e-3 * np.abs(one).max())


@pytest.mark.usefixtures("card_on_host")
def test_a_step_in_layers_is_the_step_of_the_whole() -> None:
    setup = wheel_on_a_road(20)
    plane, layers = 20 * 12, (0, 1, 2, 7, 12)
    kept = []
    for parts in ((0, 12), layers):
        engine = cuda.CudaEngine(setup, "float16")
        engine.start(*waves(setup))
        for even in (True, False):
            for first, last in pairwise(parts):
                engine.step_bulk(even, first * plane, last * plane)
            engine.step_walls(even, 0, setup.walls.cell.size)
        kept.append(engine.state()["populations"])
    np.testing.assert_array_equal(kept[0], kept[1])


@pytest.mark.usefixtures("card_on_host")
def test_a_saved_state_goes_on_alike_in_pairs() -> None:
    setup = wheel_on_a_road(20)
    one, two = (build_engine(setup, "cuda", "float16") for _ in range(2))
    one.start(*waves(setup))
    one.advance(1)
    two.restore({name: np.array(value) for name, value in one.state().items()})
    for engine in (one, two):
        engine.advance(1)
    np.testing.assert_array_equal(one.state()["populations"], two.state()["populations"])


@pytest.mark.usefixtures("card_on_host")
def test_boxes_of_finer_cells_exchange_pairs() -> None:
    """The coarse rows are odd and stored one by one, the fine ones in pairs, and the reverse."""
    for length in (19, 20):
        wide, fine = (length, 14, 14), (20, 16, 16)
        nests = [
            Nest(setup=Setup(shape=wide, viscosity=1e-3, mark=plain_box(wide), stream=STREAM)),
            Nest(
                setup=Setup(shape=fine, viscosity=2e-3, mark=plain_box(fine), stream=STREAM),
                level=1, parent=0, at=(4, 3, 3),
            ),
        ]  # fmt: skip
        engines = [NestedEngine(nests, "cpu"), NestedEngine(nests, "cuda", "float16")]
        for engine in engines:
            engine.start(*waves(nests[0].setup))
            engine.advance(3)
        boxes = engines[0].engines
        for box, a, b in zip(boxes, *(engine.shown() for engine in engines), strict=True):
            far = np.abs(a.last.velocity - b.last.velocity)[:, box.setup.mark != 1]
            assert far.max() < 2e-3 * 0.08
