"""A box cut into slabs gives what the whole box gives."""

import pickle
import re
from collections.abc import Callable
from dataclasses import replace
from threading import Barrier, Thread
from typing import Any

import numpy as np
import pytest

from tuftwork.errors import Fault, FileFault, InputError, NotConverged, UnknownName
from tuftwork.flow.doubt import Looked
from tuftwork.flow.engine import CpuEngine, build_engine
from tuftwork.flow.porous import add_cores
from tuftwork.flow.setup import SOLID, Core, Setup, Surface, plain_box
from tuftwork.flow.slab import DOWN, UP, cut_layers, cut_slabs, some_walls
from tuftwork.flow.slab_crew import MpiCrew, PipeCrew, end_ranks, serve_rank
from tuftwork.flow.slab_engine import SlabEngine, slabs_on_cards
from tuftwork.flow.slab_here import slabs_here
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block, drum


def bodies_cut_by_planes() -> Setup:
    """A turning wheel, a block and a plate across every height, over a road, in a sponge."""
    shape = (26, 16, 21)
    wheel = drum("wheel", (8.2, 8.0, 8.3), 5.6, 5.0)
    brick = block("brick", (15.3, 4.2, 3.4), (19.6, 11.7, 15.8))
    plate = block("plate", (21.0, 3.0, 5.6), (24.0, 12.0, 5.6 + 1e-9))
    bodies = [
        Body(triangles=wheel.triangles, surface=1),
        Body(triangles=brick.triangles, surface=2),
        Body(triangles=plate.triangles[:2], surface=3, is_closed=False),
    ]
    surfaces = [
        Surface(name="road", has_wall_law=True, velocity=(0.08, 0.0, 0.0)),
        Surface(name="wheel", has_wall_law=True, spin=(0.0, -0.0125, 0.0), centre=(8.0, 8.0, 8.0)),
        Surface(name="brick", has_wall_law=True),
        Surface(name="plate"),
    ]
    road = np.zeros(shape[::-1], np.uint8)
    road[0] = 1
    mark, links = wrap_bodies(shape, bodies, surfaces, skin=0.0, surroundings=road)
    sx, sy, sz = (np.zeros(n) for n in shape)
    sx[0], sx[-3:], sy[0], sz[-1], sz[-3:-1] = 1.0, 0.02, 1.0, 1.0, 0.03
    return Setup(
        shape=shape, viscosity=2e-4, mark=mark, walls=links, stream=(0.08, 0.005, 0.0),
        sponge=(sx, sy, sz),
    )  # fmt: skip


@pytest.fixture(scope="module")
def setup() -> Setup:
    return bodies_cut_by_planes()


@pytest.fixture(scope="module")
def whole(setup: Setup) -> CpuEngine:
    engine = CpuEngine(setup)
    engine.start_uniform()
    engine.advance(12)
    engine.sample()
    engine.advance(3)
    engine.sample()
    return engine


def run_like(whole: SlabEngine) -> SlabEngine:
    whole.start_uniform()
    whole.advance(12)
    whole.sample()
    whole.advance(3)
    whole.sample()
    return whole


def differ(a: np.ndarray, b: np.ndarray, mark: np.ndarray | None = None) -> float:
    if mark is not None:
        a, b = a[..., mark != SOLID], b[..., mark != SOLID]
    return float(np.abs(a - b).max())


@pytest.mark.parametrize(
    ("count", "overlap", "late"),
    [(1, False, False), (2, False, False), (3, False, False), (3, True, False), (3, True, True)],
)
def test_slabs_give_what_the_whole_box_gives(
    setup: Setup, whole: CpuEngine, count: int, overlap: bool, late: bool
) -> None:
    slabs = run_like(slabs_here(setup, count, overlap=overlap, late=late))
    for cut in [s.low for s in slabs.slabs[1:]]:
        assert {1, 2} <= set(np.unique(setup.walls.main[setup.walls.cell // (26 * 16) == cut]))
    one, two = whole.moments(), slabs.moments()
    # the wheel's speed is worked out from another origin: the last bits may differ
    assert differ(one.density, two.density, setup.mark) < 1e-14
    assert differ(one.velocity, two.velocity, setup.mark) < 1e-14
    assert differ(whole.wall_rows(), slabs.wall_rows()) < 1e-13
    np.testing.assert_allclose(slabs.part_loads(), whole.part_loads(), rtol=0, atol=1e-11)
    (mean, rows), (mean2, rows2) = whole.means(), slabs.means()
    assert differ(mean.velocity, mean2.velocity, setup.mark) < 1e-14
    assert differ(rows, rows2) < 1e-13


def test_without_anything_that_turns_slabs_agree_to_the_last_bit(setup: Setup) -> None:
    still = tuple(replace(s, spin=(0.0, 0.0, 0.0)) for s in setup.walls.surfaces)
    plain = replace(setup, walls=replace(setup.walls, surfaces=still))
    one, two = CpuEngine(plain), slabs_here(plain, 3)
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(10)
    fluid = plain.mark != SOLID
    np.testing.assert_array_equal(
        one.moments().velocity[:, fluid], two.moments().velocity[:, fluid]
    )
    np.testing.assert_array_equal(one.wall_rows(), two.wall_rows())


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_periodic_box_closes_on_itself_through_its_slabs(count: int) -> None:
    shape = (9, 7, 13)
    rng = np.random.default_rng(2)
    setup = Setup(shape=shape, viscosity=1e-3, mark=plain_box(shape), force=(1e-6, 0.0, 2e-6))
    density = 1.0 + 0.01 * rng.standard_normal(shape[::-1])
    velocity = 0.04 * rng.standard_normal((3, *shape[::-1]))
    one, two = CpuEngine(setup), slabs_here(setup, count, overlap=count > 1)
    for engine in (one, two):
        engine.start(density, velocity)
        engine.advance(20)
    np.testing.assert_array_equal(one.moments().velocity, two.moments().velocity)


def test_stream_force_and_surfaces_may_change_while_slabs_run(setup: Setup) -> None:
    _, ly, lz = setup.shape
    profile = np.zeros((3, lz, ly))
    profile[0] = 0.05 + 0.001 * np.arange(lz)[:, None]
    faster = setup.walls.table()
    faster[1, 5] *= 2.0
    sheared = replace(setup, profile=profile, force=(1e-6, 0.0, 0.0))
    found = []
    for engine in (CpuEngine(sheared), slabs_here(sheared, 3, overlap=True)):
        engine.start_uniform()
        engine.advance(4)
        engine.set_surfaces(faster)
        engine.set_force((2e-6, 0.0, 1e-6))
        engine.set_stream(1.1 * profile)
        engine.advance(4)
        found.append(engine.moments().velocity)
    assert differ(found[0], found[1], setup.mark) < 1e-14


@pytest.mark.parametrize("cards", [2, 3])
def test_slabs_tell_the_same_extremes_and_densities(
    setup: Setup, whole: CpuEngine, cards: int
) -> None:
    slabs = run_like(slabs_here(setup, cards))
    air = (setup.mark != SOLID) & (np.arange(setup.shape[0]) > 1)
    looked = Looked(air=air, still=air & (np.arange(setup.shape[0]) > 12))
    one, two = (engine.extremes(looked, 0.08) for engine in (whole, slabs))
    for name in ("speed", "total", "dense", "thin"):
        assert getattr(two, name)[0] == pytest.approx(getattr(one, name)[0], rel=1e-12)
        assert getattr(two, name)[1] == getattr(one, name)[1]
    assert two.mass == pytest.approx(one.mass, rel=1e-12)
    assert two.ripple[0] <= one.ripple[0] * (1 + 1e-12)
    if cards == 2:  # of three slabs some are too thin to look for ripple inside themselves
        assert two.ripple[0] == pytest.approx(one.ripple[0], rel=1e-12)
        assert two.ripple[1] == one.ripple[1]
        assert two.rippled == pytest.approx(one.rippled, rel=1e-12)
    cells = np.arange(0, setup.walls.cell.size, 7)[::-1]
    np.testing.assert_allclose(slabs.densities(cells), whole.densities(cells), atol=1e-14)


def test_a_state_saved_in_three_slabs_goes_on_in_two_and_in_one(
    setup: Setup, whole: CpuEngine
) -> None:
    first = slabs_here(setup, 3)
    first.start_uniform()
    first.advance(12)
    first.sample()
    saved = {name: value.copy() for name, value in first.state().items()}
    for engine in (slabs_here(setup, 2), CpuEngine(setup)):
        engine.restore(saved)
        engine.advance(3)
        engine.sample()
        assert (engine.step, engine.n_sample) == (30, 2)
        assert differ(whole.moments().velocity, engine.moments().velocity, setup.mark) < 1e-14
        assert differ(whole.means()[1], engine.means()[1]) < 1e-13


def test_slabs_share_the_work_and_a_road_needs_no_word_from_the_roof(setup: Setup) -> None:
    slabs = cut_slabs(setup, 3)
    assert [s.low for s in slabs[1:]] == [s.high for s in slabs[:-1]]
    assert sorted(np.concatenate([s.wall for s in slabs])) == list(range(setup.walls.cell.size))
    assert [s.meets for s in slabs] == [(False, True), (True, True), (True, False)]
    # cells beside walls count more, and the lower slabs hold more of them
    assert slabs[0].high - slabs[0].low < slabs[2].high - slabs[2].low
    assert len(UP) == len(DOWN) == 9


def test_slabs_that_would_be_too_thin_are_refused(setup: Setup) -> None:
    with pytest.raises(InputError, match="at least 4 layers"):
        cut_layers(setup, 6)


def test_one_process_a_slab_gives_the_same_and_tells_what_went_wrong(
    setup: Setup, whole: CpuEngine
) -> None:
    slabs = cut_slabs(setup, 2)
    engine = SlabEngine(setup, slabs, PipeCrew(slabs, "cpu", "float64"))
    run_like(engine)
    assert differ(whole.moments().velocity, engine.moments().velocity, setup.mark) < 1e-14
    np.testing.assert_allclose(engine.part_loads(), whole.part_loads(), rtol=0, atol=1e-11)
    assert differ(whole.means()[1], engine.means()[1]) < 1e-13
    with pytest.raises(InputError, match="must have shape"):
        engine.set_stream(np.zeros((3, setup.shape[2], 2)))
    # the crew has been let go of: what it held is gone, and that is said
    with pytest.raises((NotConverged, ValueError)):
        engine.advance(1)


class ThreadComm:
    """What is used of a communicator, between threads instead of processes."""

    def __init__(self, size: int) -> None:
        self.size, self.barrier, self.table = size, Barrier(size, timeout=60), [None] * size

    def rank(self, number: int) -> "ThreadRank":
        return ThreadRank(self, number)


class ThreadRank:
    def __init__(self, comm: ThreadComm, number: int) -> None:
        self.comm, self.number = comm, number

    def Get_size(self) -> int:  # noqa: N802 - as the standard names it
        return self.comm.size

    def Get_rank(self) -> int:  # noqa: N802 - as the standard names it
        return self.number

    def _together(self, act: Callable[[], Any]) -> Any:
        self.comm.barrier.wait()
        found = act()
        self.comm.barrier.wait()
        return found

    def _put(self, value: Any) -> None:
        self.comm.table[self.number] = value

    def allgather(self, value: Any) -> list[Any]:
        self._together(lambda: self._put(value))
        return self._together(lambda: list(self.comm.table))

    def gather(self, value: Any, root: int) -> list[Any] | None:
        found = self.allgather(value)
        return found if self.number == root else None

    def scatter(self, values: list[Any] | None, root: int) -> Any:
        return self.allgather(values)[root][self.number]


def test_ranks_of_an_mpi_run_serve_one_crew_after_another(setup: Setup, whole: CpuEngine) -> None:
    slabs = cut_slabs(setup, 2)
    comm = ThreadComm(2)
    other = Thread(target=serve_rank, args=(comm.rank(1),))
    other.start()
    lead = comm.rank(0)
    with pytest.raises(InputError, match="MPI was started with 2 processes"):
        MpiCrew(cut_slabs(setup, 3), "cpu", "float64", lead)
    for _ in range(2):
        crew = MpiCrew(slabs, "cpu", "float64", lead)
        engine = SlabEngine(setup, slabs, crew)
        engine.start_uniform()
        np.testing.assert_allclose(
            engine.moments().velocity[0, setup.mark != SOLID], 0.08, rtol=1e-12
        )
        engine.close()
    end_ranks(lead)
    other.join(30)
    assert not other.is_alive()


def test_errors_travel_between_processes_as_they_are() -> None:
    for error in (
        InputError("cell", 0.1, "m", "is too large", "Use a smaller one."),
        UnknownName("case", "lo", ["low", "high"]),
        FileFault([Fault(what="is not there", file="a.toml")]),
        NotConverged("diverged"),
    ):
        again = pickle.loads(pickle.dumps(error))
        assert type(again) is type(error)
        assert str(again) == str(error)
        assert vars(again) == vars(error)


@pytest.mark.parametrize("half", [False, True])
def test_the_text_for_a_card_is_whole_and_names_every_kernel_once(setup: Setup, half: bool) -> None:
    from tuftwork.flow.cuda_text import cuda_source
    from tuftwork.flow.slab_cuda import slab_text

    text = cuda_source(setup, half=half, block=128) + slab_text()
    names = re.findall(r"__global__ void (?:__launch_bounds__\(BLOCK\) )?(\w+)\(", text)
    assert len(names) == len(set(names))
    assert {"bulk_even", "bulk_odd", "wall_even", "wall_odd", "fields", "fill"} <= set(names)
    assert {"give", "take"} <= set(names)
    assert text.count("{") == text.count("}")
    assert "%s" not in text


@pytest.mark.gpu
@pytest.mark.parametrize("precision", ["float32", "float16"])
def test_two_cards_agree_with_one(setup: Setup, precision: str) -> None:
    cupy = pytest.importorskip("cupy")
    try:
        count = cupy.cuda.runtime.getDeviceCount()
    except cupy.cuda.runtime.CUDARuntimeError as error:
        pytest.skip(f"no graphics card: {error}")
    if count < 2:
        pytest.skip("there is one card")
    one = build_engine(setup, "cuda", precision)
    two = slabs_on_cards(setup, 2, precision)
    still = np.full(setup.shape[::-1], 1.0)
    velocity = np.zeros((3, *still.shape))
    velocity[0] = 0.08
    for engine in (one, two):
        engine.start(still, velocity)
        engine.advance(20)
    air = setup.mark != SOLID
    found, wanted = (e.moments().velocity[:, air] for e in (two, one))
    # the wheel's speed is worked out from another origin: single precision
    np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-6)
    two.close()


@pytest.mark.parametrize("order", ["by layer", "any"])
def test_a_core_cut_by_a_slab_resists_as_in_the_whole_box(setup: Setup, order: str) -> None:
    """Wall cells and cells of a core stand in one list, in whatever order it was put together."""
    walls = replace(setup.walls, surfaces=(*setup.walls.surfaces, Surface(name="core")))
    core = Core(name="core", surface=4, axis=(0.8, 0.0, 0.6), linear=0.05, square=0.4, across=0.5)
    porous = block("core", (20.6, 3.2, 8.3), (23.4, 12.7, 17.6)).triangles
    mark, links, _ = add_cores(setup.mark, walls, [(core, porous)])
    if order == "any":
        links = some_walls(links, np.random.default_rng(5).permutation(links.cell.size))
    cored = replace(setup, mark=mark, walls=links)
    one, two = CpuEngine(cored), slabs_here(cored, 3, overlap=True)
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(8)
    assert differ(one.moments().velocity, two.moments().velocity, mark) < 1e-14
    assert differ(one.wall_rows(), two.wall_rows()) < 1e-13
    np.testing.assert_allclose(two.part_loads(), one.part_loads(), rtol=0, atol=1e-11)
    assert abs(one.part_loads()[4, 0]) > 1e-3
