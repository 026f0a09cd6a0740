"""Parts of a field: slabs and cards are asked for no more, and what a card holds is foretold."""

import gc
import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from tests.unit.flow.brick import FINER, prepared_brick, wish_for, with_core
from tests.unit.flow.test_slab_nest import body_over_a_road, here

from card_on_host import CardArray
from tuftwork.flow import prepare, window
from tuftwork.flow.card_memory import LOOKING
from tuftwork.flow.doubt import looked_at
from tuftwork.flow.engine import build_engine
from tuftwork.flow.judge import forecast
from tuftwork.flow.moments import Moments
from tuftwork.flow.nest_engine import NestedEngine, build_boxes
from tuftwork.flow.over_time import Sampler, foresee
from tuftwork.flow.slab_engine import SlabEngine
from tuftwork.flow.slab_here import HereCrew, cut_slabs
from tuftwork.flow.surface_map import boxes_of
from tuftwork.flow.zones import Zone


class ListeningCrew(HereCrew):
    """Notes what slabs are asked and how much they answer."""

    def __init__(self, slabs: Sequence[Any]) -> None:
        super().__init__(slabs)
        self.heard: dict[str, int] = {}

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        answers = super().ask(verb, each)
        for answer in answers:
            rows = answer if isinstance(answer, list) else [answer]
            size = sum(row.nbytes for row in rows if isinstance(row, np.ndarray))
            self.heard[verb] = self.heard.get(verb, 0) + size
        return answers


def test_a_sample_asks_slabs_for_the_planes_and_the_walls_that_are_read_and_no_more() -> None:
    """The two layers of three planes, in double precision, and one number a wall cell."""
    prepared = prepared_brick()
    slabs = cut_slabs(prepared.setup, 3)
    crew = ListeningCrew(slabs)
    engine = SlabEngine(prepared.setup, slabs, crew)
    engine.start_uniform()
    engine.advance(5)
    crew.heard.clear()
    Sampler(prepared, wish_for(prepared)).take(engine, 0.5)
    lx, ly, lz = prepared.setup.shape
    assert crew.heard["layers"] == 8 * 4 * 2 * (ly * lz + lx * lz + lx * ly)
    brick = int((prepared.setup.walls.counted() == 1).sum())
    assert 0 < crew.heard["densities"] <= 8 * brick
    assert set(crew.heard) == {"layers", "densities"}


def test_layers_of_slabs_are_those_of_the_whole_box_wherever_they_lie() -> None:
    """Every pair of layers, those on either side of a plane between slabs too; exact."""
    prepared = prepared_brick()
    setup = prepared.setup
    slabs = cut_slabs(setup, 3)
    one, two = build_engine(setup), SlabEngine(setup, slabs, HereCrew(slabs))
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(5)
    wanted = [(axis, k) for axis in range(3) for k in range(setup.shape[axis] - 1)]
    now = one.moments()
    rows = np.concatenate([now.density[None], now.velocity])
    rows[:, setup.mark == 1] = np.nan  # solids are undefined
    for (axis, k), found in zip(wanted, two.layers(wanted), strict=True):
        expected = np.moveaxis(np.take(rows, [k, k + 1], 3 - axis), 3 - axis, 1)
        air = np.isfinite(expected)
        np.testing.assert_allclose(found[air], expected[air], atol=1e-13, rtol=0)


@pytest.mark.parametrize("has_core", [False, True])
def test_a_window_is_cut_from_the_whole_field(backend: tuple[str, str], has_core: bool) -> None:
    setup = prepared_brick().setup
    if has_core:
        setup = with_core(setup)
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(10)
    rows = joined(engine.moments())
    part = engine.window(((11, 4, 1), (6, 7, 8)))
    np.testing.assert_allclose(part, rows[:, 1:9, 4:11, 11:17], atol=1e-7)
    assert np.ptp(part[1]) > 1e-3


def joined(now: Moments) -> np.ndarray:
    return np.concatenate([now.density[None], now.velocity])


@pytest.mark.usefixtures("card_on_host")
def test_a_card_looks_at_its_field_in_pieces_and_sees_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Pieces of one, three and seven layers against all at once; only the mean may round apart."""
    prepared = prepared_brick()
    engine = build_engine(prepared.setup, "cuda")
    engine.start_uniform()
    engine.advance(30)
    looked = looked_at(prepared)
    whole, rows = engine.extremes(looked, 0.1), joined(engine.moments())
    assert whole.ripple[0] > 0
    assert whole.rippled > 0
    lx, ly, _ = prepared.setup.shape
    for layers in (1, 3, 7):
        monkeypatch.setattr(window, "PIECE", layers * lx * ly)
        seen = engine.extremes(looked, 0.1)
        assert seen.mass == pytest.approx(whole.mass, rel=1e-6)
        assert seen.rippled == pytest.approx(whole.rippled, rel=1e-12)
        assert replace(seen, mass=0.0, rippled=0.0) == replace(whole, mass=0.0, rippled=0.0)
        np.testing.assert_array_equal(joined(engine.moments()), rows)


def held_on_card(engine: Any) -> int:
    """Bytes of all arrays that an engine holds on the card."""
    gc.collect()
    found: dict[int, int] = {}

    def gather(thing: Any, depth: int = 0) -> None:
        if isinstance(thing, CardArray):
            found[id(thing)] = thing.nbytes
        elif isinstance(thing, list | tuple) and depth < 4:
            for one in thing:
                gather(one, depth + 1)

    boxes, links = [engine], []
    if isinstance(engine, NestedEngine):
        boxes, links = engine.engines, [link for own in engine._links for _, link in own]
    for one in (*boxes, *links):
        for value in vars(one).values():
            gather(value)
    return sum(found.values())


@pytest.mark.usefixtures("card_on_host")
@pytest.mark.parametrize("zones", [(), FINER], ids=["cells of one size", "finer cells"])
@pytest.mark.parametrize("precision", ["float32", "float16"])
def test_the_memory_of_a_card_is_foretold_before_the_grid_is_cut(
    zones: tuple[Zone, ...], precision: Any
) -> None:
    """Against what is allocated: arrays that stay, and the most that a look takes for a moment.

    Budget: 10 % for walls and edges, which are estimated; never too little by more than 3 %.
    """
    prepared = prepared_brick(cell=0.04, zones=zones)
    engine = build_boxes(prepared, "cuda", precision)
    engine.start_uniform()
    engine.advance(1)
    looks = [looked_at(box) for box in boxes_of(prepared)]
    taken = 0
    for box, looked in zip(engine.each, looks, strict=True):
        box.extremes(looked, 0.1)  # where it looks is sent once, and stays
        tracemalloc.start()
        box.extremes(looked, 0.1)
        taken = max(taken, tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    allocated = held_on_card(engine) + taken
    told = forecast(prepared.case, lengths=1.0, backend="cuda", precision=precision, free=1e12)
    assert 0.97 * allocated < told.memory < 1.10 * allocated
    assert taken < 1.02 * LOOKING * max(box.setup.n_cell for box in boxes_of(prepared))


@pytest.mark.usefixtures("card_on_host")
@pytest.mark.parametrize("zones", [(), FINER], ids=["cells of one size", "finer cells"])
def test_the_memory_for_samples_over_time_is_foretold_and_counted(
    zones: tuple[Zone, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Arrays as a pool keeps them: at most what is told, and at least two thirds of it."""
    import cupy

    prepared = prepared_brick(cell=0.04, zones=zones)
    engine = build_boxes(prepared, "cuda")
    engine.start_uniform()
    engine.advance(1)
    wish = wish_for(prepared)
    sampler = Sampler(prepared, wish)
    taken: list[int] = []

    def noted(name: str) -> None:
        made = getattr(cupy, name)

        def make(*given: Any, **named: Any) -> Any:
            array = made(*given, **named)
            taken.append(array.nbytes)
            return array

        monkeypatch.setattr(cupy, name, make)

    for name in ("empty", "zeros", "ones", "asarray"):
        noted(name)
    sampler.take(engine, 0.5)
    assert wish.surface is not None
    told = foresee(prepared.case, wish, n_vertex=len(wish.surface.vertices), settle=1.0,
                   longest=2.0)  # fmt: skip
    assert 0.66 * told.memory < sum(taken) <= told.memory
    without, with_it = (
        forecast(prepared.case, lengths=1.0, backend="cuda", free=1e12, samples=samples).memory
        for samples in (0.0, told.memory)
    )
    assert with_it - without == told.memory


def test_pieces_cover_every_layer_once_with_those_above(monkeypatch: pytest.MonkeyPatch) -> None:
    for layers, halo in product((1, 2, 5, 40), (0, 3)):
        monkeypatch.setattr(window, "PIECE", 12 * layers)
        found = list(window.pieces_of((4, 3, 11), halo))
        assert [k for first, end, _ in found for k in range(first, end)] == list(range(11))
        for first, end, (low, size) in found:
            assert (low, size[:2]) == ((0, 0, first), (4, 3))
            assert first + size[2] == min(end + halo, 11)


def test_slabs_of_boxes_of_finer_cells_give_the_same_sample() -> None:
    """A brick and a wheel in three levels, cut through all of them for two cards; to rounding."""
    prepared = prepare(body_over_a_road())
    sampler, found = Sampler(prepared, wish_for(prepared)), []
    for engine in (NestedEngine(prepared.nests), here(prepared.nests, 2)):
        engine.start_uniform()
        engine.advance(2)
        found.append(sampler.take(engine, 0.5))
        engine.close()
    assert len({box for plane in sampler.planes for box, _, _ in plane.cuts}) == 3
    for name, values in found[0].items():
        np.testing.assert_allclose(found[1][name], values, atol=1e-6, err_msg=name)
