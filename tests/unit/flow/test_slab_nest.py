"""Boxes of finer cells cut into stacks of slabs give what they give on one card."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from tests.unit.flow.brick import Memory

from crew_here import OneCardLink, ThreadCrew
from tuftwork.errors import Cancelled, InputError
from tuftwork.flow import (
    Box,
    FlowCase,
    FlowPart,
    Prepared,
    Spin,
    StopRule,
    prepare,
    run,
    slab_cuda,
    slab_nest_engine,
)
from tuftwork.flow import engine as engine_module
from tuftwork.flow import nest_engine as nest_engine_module
from tuftwork.flow.cost import RATES
from tuftwork.flow.engine import AbstractEngine
from tuftwork.flow.judge import HANDING, forecast
from tuftwork.flow.nest import GHOST, Nest
from tuftwork.flow.nest_engine import NestedEngine, build_boxes
from tuftwork.flow.setup import SOLID
from tuftwork.flow.slab_engine import build_cards
from tuftwork.flow.slab_nest import APART, LEAST, Stack, columns_of, cut_planes, cut_stacks
from tuftwork.flow.slab_nest_engine import SlabNestedEngine
from tuftwork.flow.zones import Zone
from tuftwork.shape import block, drum


def body_over_a_road() -> FlowCase:
    """A brick and a turning wheel in two levels of finer boxes that stand on the road."""
    brick = block("brick", (0.0, -0.12, 0.06), (0.4, 0.12, 0.44))
    wheel = drum("wheel", (0.2, 0.24, 0.1), 0.11, 0.08)
    parts = (
        FlowPart(name="brick", vertices=brick.vertices, faces=brick.faces),
        FlowPart(
            name="wheel", vertices=wheel.vertices, faces=wheel.faces,
            spin=Spin(rate=-270.0, centre=(0.2, 0.24, 0.1)),
        ),
    )  # fmt: skip
    zones = (
        Zone(level=1, low=(-0.25, -0.35, 0.0), high=(0.7, 0.45, 0.7)),
        Zone(level=2, low=(-0.1, -0.2, 0.0), high=(0.5, 0.35, 0.5)),
    )
    air = Box(ahead=0.6, behind=0.9, beside=0.6, above=0.7)
    return FlowCase(parts=parts, speed=30.0, cell=0.05, box=air, zones=zones)


@pytest.fixture(scope="module", autouse=True)
def one_kernel() -> Iterator[None]:
    """Whole boxes take the kernels that their slabs take: small ones have kernels of their own.

    The same arithmetic compiled twice may round apart in the last place, and air between a turning
    wheel and the road makes 4e-13 of that.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine_module, "SMALL", 1 << 40)
        patch.setattr(nest_engine_module, "SMALL", 1 << 40)
        yield


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(body_over_a_road())


def run_like(engine: NestedEngine) -> NestedEngine:
    engine.start_uniform()
    engine.advance(3)
    engine.sample()
    engine.advance(1)
    engine.sample()
    return engine


@pytest.fixture(scope="module")
def whole(prepared: Prepared) -> NestedEngine:
    return run_like(NestedEngine(prepared.nests))


def here(nests: tuple[Nest, ...], cards: int) -> SlabNestedEngine:
    return SlabNestedEngine(nests, cards, lambda stacks: ThreadCrew(stacks, "cpu"))


def own_air(engine: NestedEngine, number: int) -> np.ndarray:
    """Cells of a box that it answers for."""
    mark = engine.nests[number].setup.mark
    own = np.ones(mark.shape, bool)
    if number:
        own[:] = False
        own[GHOST:-GHOST, GHOST:-GHOST, GHOST:-GHOST] = True
    return own & (mark != SOLID)


def same(one: NestedEngine, two: NestedEngine, bound: float) -> None:
    for n, (a, b) in enumerate(zip(one.engines, two.engines, strict=True)):
        air = own_air(one, n)
        for x, y in ((a.moments(), b.moments()), (a.means()[0], b.means()[0])):
            assert np.abs(x.velocity[:, air] - y.velocity[:, air]).max() < bound
            assert np.abs(x.density[air] - y.density[air]).max() < bound
        kept = a.counted > 0
        rows = np.abs(a.wall_rows() - b.wall_rows())[:, kept]
        assert rows.max() < 50 * bound


@pytest.mark.parametrize("cards", [2, 3])
def test_stacks_of_slabs_give_what_the_whole_boxes_give(
    prepared: Prepared, whole: NestedEngine, cards: int
) -> None:
    engine = here(prepared.nests, cards)
    stacks = cut_stacks(engine.nests, cards)
    for n, nest in enumerate(engine.nests):
        cuts = [s.slabs[n].low for s in stacks if s.slabs[n] is not None][1:]
        assert cuts
        if n == 2:
            layers = nest.setup.walls.cell // (nest.setup.shape[0] * nest.setup.shape[1])
            assert set(cuts) <= set(layers[nest.setup.walls.main == 1])
    run_like(engine)
    same(whole, engine, 1e-14)
    np.testing.assert_allclose(engine.part_loads(), whole.part_loads(), rtol=0, atol=1e-11)
    engine.close()


def test_a_state_of_three_stacks_goes_on_in_one(prepared: Prepared, whole: NestedEngine) -> None:
    first = here(prepared.nests, 3)
    first.start_uniform()
    first.advance(3)
    first.sample()
    saved = {name: np.array(value) for name, value in first.state().items()}
    first.close()
    engine = NestedEngine(prepared.nests)
    engine.restore(saved)
    engine.advance(1)
    engine.sample()
    assert (engine.step, engine.n_sample) == (8, 2)
    same(whole, engine, 1e-14)


class CpuCrewForCards:
    """Notes how many stacks were asked for."""

    def __init__(self) -> None:
        self.asked: list[int] = []

    def __call__(self, stacks: Sequence[Stack], precision: str) -> ThreadCrew:
        self.asked.append(len(stacks))
        return ThreadCrew(stacks, "cpu")


def small_body() -> FlowCase:
    """A brick that crosses the upper face of its box of finer cells."""
    mesh = block("brick", (0.0, -0.1, 0.1), (0.4, 0.1, 0.4))
    part = FlowPart(name="brick", vertices=mesh.vertices, faces=mesh.faces)
    zone = Zone(level=1, low=(-0.1, -0.2, 0.0), high=(0.5, 0.2, 0.3))
    air = Box(ahead=0.4, behind=0.6, beside=0.4, above=0.4)
    return FlowCase(parts=(part,), speed=30.0, cell=0.05, box=air, zones=(zone,))


RULE = StopRule(error=1e-9, settle=0.3, longest=1.4)


def test_a_shared_run_with_finer_boxes_gives_the_same_and_goes_on_with_other_cards(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    crews = CpuCrewForCards()
    monkeypatch.setattr(slab_nest_engine, "crew_on_cards", crews)
    case = prepare(small_body())
    alone = run(case, rule=RULE, precision="float64")
    shelf = Memory()
    seen: list[float] = []

    def until(progress: object) -> bool:
        seen.append(progress.travel)
        return progress.travel < 0.6

    with pytest.raises(Cancelled):
        run(case, rule=RULE, backend="cuda", cards=2, checkpoint=shelf, watch=until)
    shared = run(case, rule=RULE, backend="cuda", cards=3, checkpoint=shelf)
    assert crews.asked == [2, 3]
    assert max(seen) == pytest.approx(0.6, abs=0.03)
    np.testing.assert_allclose(shared.series, alone.series, rtol=0, atol=1e-9)
    assert shared.parts[0].drag_area == pytest.approx(alone.parts[0].drag_area, rel=1e-9)
    assert shared.parts[0].downforce_area == pytest.approx(alone.parts[0].downforce_area, rel=1e-9)
    assert shared.drag_area.mean == pytest.approx(alone.drag_area.mean, rel=1e-9)
    assert shared.drag_area.error == pytest.approx(alone.drag_area.error, rel=1e-6)
    assert shared.reached == alone.reached
    assert shared.made_with["cards"] == 3
    assert shared.made_with["cells"] == alone.made_with["cells"]
    assert [d.kind for d in shared.doubts] == [d.kind for d in alone.doubts]
    for one, two in zip(alone.boxes, shared.boxes, strict=True):
        air = np.zeros(one.prepared.setup.mark.shape, bool)
        air[GHOST:-GHOST, GHOST:-GHOST, GHOST:-GHOST] = True
        air &= one.prepared.setup.mark != SOLID
        found, wanted = two.mean.velocity[:, air], one.mean.velocity[:, air]
        np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-12)
        np.testing.assert_allclose(two.wall_rows, one.wall_rows, rtol=0, atol=1e-11)


@pytest.mark.usefixtures("card_on_host")
@pytest.mark.parametrize("precision", ["float16"])
def test_the_cards_kernels_give_the_same_with_finer_boxes_shared_out(
    monkeypatch: pytest.MonkeyPatch, precision: str
) -> None:
    """Streams are worked off in random order: what levels need of each other is held by events."""
    monkeypatch.setattr(
        slab_nest_engine, "crew_on_cards", lambda stacks, kind: ThreadCrew(stacks, "cuda", kind)
    )
    case = prepare(small_body())
    one = build_boxes(case, "cuda", precision)
    two = build_cards(case, "cuda", precision, 2)
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(2)
        engine.sample()
    same(one, two, 1e-12)
    np.testing.assert_allclose(two.part_loads(), one.part_loads(), rtol=0, atol=1e-5)
    two.close()


def test_planes_clear_the_edges_of_boxes_and_share_the_work() -> None:
    boxes = [
        (0, -1, (0, 0, 0), (100, 80, 64)),
        (1, 0, (20, 20, 3), (80, 60, 44)),
        (2, 1, (10, 10, 0), (100, 80, 60)),
    ]
    columns = columns_of(boxes)
    assert [c.offset for c in columns] == [0, 6, 12]
    work = [np.full(c.shape[2], float(c.shape[0] * c.shape[1])) for c in columns]
    total = sum(w.sum() * c.scale for w, c in zip(work, columns, strict=True))
    for count in (2, 3, 4):
        planes = cut_planes(columns, work, count)
        assert planes[0] == 0
        assert planes[-1] == 64
        assert min(b - a for a, b in pairwise(planes)) >= 4
        shares = np.zeros(count)
        for column, own in zip(columns, work, strict=True):
            cuts = column.cuts(planes)
            for p in planes[1:-1]:
                q = p * column.scale - column.offset
                top = column.shape[2]
                assert q <= -APART or LEAST <= q <= top - LEAST or q >= top + APART
            shares += [own[a:b].sum() * column.scale for a, b in pairwise(cuts)]
        assert shares.sum() == pytest.approx(total)
        # a layer of outermost cells under the finest box is a fourteenth of all
        assert shares.max() < total / count * (1.0 + 0.5 * count / 14 + 0.1)


def test_more_cards_than_planes_can_serve_are_refused_with_numbers() -> None:
    case = small_body()
    with pytest.raises(InputError, match=r"must be from 1 to \d+: \d+ of the \d+ planes"):
        cut_stacks(prepare(case).nests, 9)
    seen = forecast(case, lengths=5.0, backend="cuda", cards=9, free=8e10)
    assert any("clear the edges of the finer ones" in str(fault) for fault in seen.faults)


def test_memory_and_time_of_nested_boxes_on_several_cards_are_told_before() -> None:
    case = replace(small_body(), cell=0.004)
    one, two, four = (
        forecast(case, lengths=10.0, backend="cuda", cards=n, free=8e10) for n in (1, 2, 4)
    )
    assert not [fault for seen in (one, two, four) for fault in seen.faults]
    # the cards share the time; the fuller one has most of the walls, whose cells hold more
    assert 0.5 < two.memory / one.memory < 0.67
    assert 0.5 < two.seconds / one.seconds < 0.65
    assert 0.8 < two.efficiency < 1.0
    assert four.seconds < two.seconds
    assert two.cards == 2
    small = forecast(case, lengths=10.0, backend="cuda", cards=2, free=1e7)
    assert any("memory of each card" in str(fault) for fault in small.faults)
    alone = sum(c.n_cell * (HANDING if k else 1) * 2**k for k, c in enumerate(one.levels))
    assert one.seconds == pytest.approx(alone / RATES["cuda", "float32"] * one.n_step)


def cards_here() -> int:
    """Number of cards; skips where there is none."""
    cupy = pytest.importorskip("cupy")
    try:
        return int(cupy.cuda.runtime.getDeviceCount())
    except cupy.cuda.runtime.CUDARuntimeError as error:
        pytest.skip(f"no graphics card: {error}")


@pytest.mark.gpu
@pytest.mark.parametrize("precision", ["float32", "float16"])
def test_two_stacks_on_one_card_agree_with_one(
    prepared: Prepared, precision: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards_here()
    monkeypatch.setattr(slab_cuda, "NcclLink", OneCardLink)
    one = build_boxes(prepared, "cuda", precision)
    two = SlabNestedEngine(
        prepared.nests,
        2,
        lambda stacks: ThreadCrew(stacks, "cuda", precision),
        backend="cuda",
        precision=precision,
    )
    agree_on_cards(one, two, precision)


def agree_on_cards(one: AbstractEngine, two: AbstractEngine, precision: str) -> None:
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(20)
        engine.sample()
    # the wheel's speed is worked out from another origin: single precision, or the storage's half
    bound = {"float32": 2e-6, "float16": 2e-3}[precision]
    same(one, two, bound)
    np.testing.assert_allclose(two.part_loads(), one.part_loads(), rtol=0, atol=100 * bound)
    two.close()


@pytest.mark.gpu
@pytest.mark.parametrize("precision", ["float32", "float16"])
def test_two_cards_agree_with_one_on_boxes_of_finer_cells(
    prepared: Prepared, precision: str
) -> None:
    if cards_here() < 2:
        pytest.skip("there is one card")
    one = build_boxes(prepared, "cuda", precision)
    agree_on_cards(one, build_cards(prepared, "cuda", precision, 2), precision)
