"""Slabs on cards without a card: kernels compiled by the host, streams as queues."""

from threading import Thread
from typing import Any

import numpy as np
import pytest

from tuftwork.flow.engine import CpuEngine
from tuftwork.flow.setup import SOLID, Setup, Surface, plain_box
from tuftwork.flow.slab import Slab, cut_slabs
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block


def block_over_a_road() -> Setup:
    shape = (14, 9, 12)
    brick = block("brick", (4.3, 2.8, 2.6), (8.6, 6.4, 8.2))
    road = np.zeros(shape[::-1], np.uint8)
    road[0] = 1
    surfaces = [
        Surface(name="road", has_wall_law=True, velocity=(0.08, 0.0, 0.0)),
        Surface(name="brick", has_wall_law=True, spin=(0.0, 0.004, 0.0), centre=(6.0, 4.0, 5.0)),
    ]
    body = Body(triangles=brick.triangles, surface=1)
    mark, links = wrap_bodies(shape, [body], surfaces, skin=0.0, surroundings=road)
    sx, sy, sz = (np.zeros(n) for n in shape)
    sx[0], sy[0], sz[-1], sz[-2] = 1.0, 1.0, 1.0, 0.03
    return Setup(
        shape=shape, viscosity=2e-4, mark=mark, walls=links, stream=(0.08, 0.005, 0.0),
        sponge=(sx, sy, sz),
    )  # fmt: skip


def on_cards(
    setup: Setup, count: int, n_pair: int, start: tuple[np.ndarray, np.ndarray], overlap: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Run every slab in a thread with a card of its own; return moments and loads."""
    from tuftwork.flow.slab_cuda import CudaPart, NcclLink

    slabs, found = cut_slabs(setup, count), list[Any]([None] * count)

    def one(slab: Slab) -> None:
        part = CudaPart(slab, "float32")
        link = NcclLink("key", slab.number, count)
        density, velocity = start
        part.start(density[slab.low : slab.high], velocity[:, slab.low : slab.high])
        part.advance(n_pair, link, overlap=overlap)
        part.engine.wait()
        found[slab.number] = part.moments(), part.loads()

    threads = [Thread(target=one, args=(slab,)) for slab in slabs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return np.concatenate([m for m, _ in found], axis=1), sum(loads for _, loads in found)


@pytest.mark.parametrize(("count", "overlap"), [(2, True), (3, False)])
@pytest.mark.usefixtures("card_on_host")
def test_cards_pass_planes_round_a_periodic_box(count: int, overlap: bool) -> None:
    shape = (7, 6, 13)
    rng = np.random.default_rng(2)
    setup = Setup(shape=shape, viscosity=1e-3, mark=plain_box(shape))
    start = (
        1.0 + 0.01 * rng.standard_normal(shape[::-1]),
        0.04 * rng.standard_normal((3, *shape[::-1])),
    )
    whole = CpuEngine(setup)
    whole.start(*start)
    whole.advance(8)
    found, _ = on_cards(setup, count, 8, start, overlap)
    np.testing.assert_allclose(found[1:], whole.moments().velocity, rtol=0, atol=3e-7)


@pytest.mark.usefixtures("card_on_host")
def test_a_body_cut_by_the_plane_between_two_cards_feels_the_same() -> None:
    setup = block_over_a_road()
    lx, ly, _ = setup.shape
    cut = cut_slabs(setup, 2)[1].low
    layers = setup.walls.cell // (lx * ly)
    assert {cut - 1, cut} <= set(layers[setup.walls.main == 1])
    start = np.ones(setup.shape[::-1]), np.zeros((3, *setup.shape[::-1]))
    start[1][0] = 0.08
    whole = CpuEngine(setup)
    whole.start(*start)
    whole.advance(8)
    found, loads = on_cards(setup, 2, 8, start, True)
    fluid = setup.mark != SOLID
    np.testing.assert_allclose(
        found[1:, fluid], whole.moments().velocity[:, fluid], rtol=0, atol=1e-6
    )
    np.testing.assert_allclose(loads, whole.part_loads(), rtol=0, atol=1e-4)
