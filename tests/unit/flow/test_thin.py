"""Parts thinner than a cell: both sides are cut, nothing passes, and loads balance."""

import numpy as np
import pytest

from crew_here import ThreadCrew
from tuftwork.flow.engine import CpuEngine, build_engine
from tuftwork.flow.lattice import OPPOSITE, VELOCITY
from tuftwork.flow.nest import Nest, shown
from tuftwork.flow.nest_engine import NestedEngine
from tuftwork.flow.setup import SOLID, THIN, Setup, Surface
from tuftwork.flow.slab_here import slabs_here
from tuftwork.flow.slab_nest_engine import SlabNestedEngine
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block, loft

SURFACES = [Surface(name="none"), Surface(name="part")]


def wedge(tip: tuple[float, float], length: float, half: float, slope: float = 0.0) -> np.ndarray:
    """Triangles of a wedge along y with its tip at (x, z), opening towards −x."""
    x, z = tip
    root = z - slope * length
    corner = np.array([[x, z], [x - length, root + half], [x - length, root - half]])
    rings = [np.insert(corner, 1, y, axis=1) for y in (-9.0, 10.0)]
    mesh = loft("wedge", np.array(rings))
    return mesh.triangles if mesh.volume > 0 else mesh.triangles[:, ::-1]


def slab_across(angle: float, thick: float, size: int) -> np.ndarray:
    """Triangles of a slab through the middle of a box, leaning by ``angle``; a plate if thin."""
    if thick:
        tri = block("slab", (-90.0, -9.0, -thick / 2), (90.0, 10.0, thick / 2)).triangles
    else:
        corner = np.array([[-90.0, -9, 0], [90, -9, 0], [90, 10, 0], [-90, 10, 0]])
        tri = corner[[[0, 1, 2], [0, 2, 3]]]
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]])
    return tri @ turn.T + np.array([size / 2 + 0.13, 0.0, size / 2 + 0.21])


def closed_box(size: int, triangles: np.ndarray, *, is_closed: bool = True) -> CpuEngine:
    """A box with solid outer layers and a part in it."""
    around = np.ones((size, 1, size), np.uint8)
    around[1:-1, :, 1:-1] = 0
    body = Body(triangles=triangles, surface=1, is_closed=is_closed)
    mark, links = wrap_bodies((size, 1, size), [body], SURFACES, skin=0.0, surroundings=around)
    engine = build_engine(Setup(shape=(size, 1, size), viscosity=0.05, mark=mark, walls=links))
    assert isinstance(engine, CpuEngine)
    return engine


def test_both_ends_of_a_link_across_a_thin_part_are_cut() -> None:
    tri = wedge((20.3, 8.4), 14.0, 1.2)
    mark, links = wrap_bodies((26, 1, 17), [Body(triangles=tri, surface=1)], SURFACES, skin=0.0)
    cut = np.zeros((26, mark.size))
    cut[:, links.cell] = links.cut
    x, z = links.cell % 26, links.cell // 26
    for q, e in enumerate(VELOCITY[1:]):
        to = (z + e[2]) % 17 * 26 + (x + e[0]) % 26
        thin = links.cut[q] > THIN
        back = cut[OPPOSITE[q + 1] - 1, to[thin]]
        assert np.all(mark.reshape(-1)[to[thin]] != SOLID)
        assert np.all(back > THIN)
        # the part itself lies between the two places on the wall
        assert np.all(links.cut[q, thin] + back - 2 * THIN < 1.0)
    assert (links.cut > THIN).sum() > 20


@pytest.mark.parametrize("noise", [0.0, 1e-15, 1e-12])
def test_a_link_that_only_touches_an_edge_of_a_closed_part_is_not_cut(noise: float) -> None:
    """Edges half way between cells lie on their diagonals to the last bit; rounding decided."""
    tri = block("brick", (7.5, 6.5, 5.5), (13.5, 11.5, 9.5)).triangles * (1 + noise)
    _, links = wrap_bodies((20, 18, 16), [Body(triangles=tri, surface=1)], SURFACES, skin=0.0)
    assert links.cell.size == 8 * 7 * 6 - 6 * 5 * 4
    assert not np.any(links.cut > THIN)


@pytest.mark.parametrize("place", [20.05, 20.3, 20.55, 20.8])
def test_a_cell_behind_a_tip_has_the_normal_of_the_side_that_it_meets(place: float) -> None:
    """Else it slips square to the stream, and air goes round the tip."""
    body = Body(triangles=wedge((place, 8.16), 14.0, 1.2), surface=1)
    _, links = wrap_bodies((26, 1, 17), [body], SURFACES, skin=0.0)
    beside = (links.cut > THIN).any(axis=0)
    assert beside.sum() > 4
    assert np.all(np.abs(links.geometry[2, beside]) > 0.85)
    assert np.all(links.geometry[3, beside] > 0)


@pytest.mark.parametrize("angle", [0.0, 0.2, np.pi / 4])
@pytest.mark.parametrize("thick", [0.3, 0.0])
def test_air_of_two_pressures_stays_apart_beside_a_thin_part(angle: float, thick: float) -> None:
    """Exact: at rest nothing passes a tight wall; thickness 0 is a plate."""
    size = 20
    engine = closed_box(size, slab_across(angle, thick, size), is_closed=thick > 0)
    z, x = np.meshgrid(np.arange(size), np.arange(size), indexing="ij")
    up = (z - size / 2 - 0.21) * np.cos(angle) - (x - size / 2 - 0.13) * np.sin(angle) > 0
    density = np.where(up, 1.02, 1.0)[:, None]
    engine.start(density, np.zeros((3, size, 1, size)))
    engine.advance(100)
    air = engine.setup.mark != SOLID
    np.testing.assert_allclose(engine.moments().density[air], density[air], atol=1e-12)


def test_the_load_of_a_thin_part_is_the_momentum_that_the_air_loses() -> None:
    """Exact, pair of steps by pair of steps."""
    shape = (40, 1, 30)
    body = Body(triangles=wedge((28.3, 14.4), 16.0, 1.0, 0.15), surface=1)
    law = [SURFACES[0], Surface(name="part", has_wall_law=True)]
    mark, links = wrap_bodies(shape, [body], law, skin=0.0)
    assert (links.cut > THIN).any()
    engine = build_engine(Setup(shape=shape, viscosity=1e-4, mark=mark, walls=links))
    engine.start(np.ones(mark.shape), np.full((3, *mark.shape), 0.05) * (mark != SOLID))
    air = (mark != SOLID).reshape(-1)

    def momentum() -> np.ndarray:
        return VELOCITY.T.astype(float) @ engine.populations[:, air].sum(axis=1)

    engine.advance(4)
    before, load = momentum(), np.zeros(3)
    for _ in range(20):
        engine.advance(1)
        load += 2 * engine.part_loads()[1, :3]
    assert np.abs(load).max() > 0.01
    np.testing.assert_allclose(before - momentum(), load, atol=1e-12)


def test_slabs_through_a_thin_part_give_the_same_bits_as_the_whole_box() -> None:
    shape = (30, 6, 18)
    body = Body(triangles=wedge((22.3, 8.9), 16.0, 0.8, 0.1), surface=1)
    mark, links = wrap_bodies(shape, [body], SURFACES, skin=0.0)
    setup = Setup(shape=shape, viscosity=2e-3, mark=mark, walls=links, stream=(0.06, 0.0, 0.01))
    whole = build_engine(setup)
    parts = slabs_here(setup, 2)
    for engine in (whole, parts):
        engine.start_uniform()
        engine.advance(10)
    np.testing.assert_array_equal(parts.moments().velocity, whole.moments().velocity)
    np.testing.assert_allclose(parts.part_loads(), whole.part_loads(), atol=1e-12)


def test_every_back_end_sends_back_alike_at_a_thin_part(backend: tuple[str, str]) -> None:
    shape = (24, 4, 16)
    body = Body(triangles=wedge((18.3, 7.9), 12.0, 0.7, 0.1), surface=1)
    law = [SURFACES[0], Surface(name="part", has_wall_law=True)]
    mark, links = wrap_bodies(shape, [body], law, skin=0.0)
    setup = Setup(shape=shape, viscosity=2e-3, mark=mark, walls=links, stream=(0.06, 0.0, 0.01))
    one, two = build_engine(setup), build_engine(setup, *backend)
    for engine in (one, two):
        engine.start_uniform()
        engine.advance(10)
    bound = {"float64": 1e-15, "float32": 1e-6, "float16": 1e-4}[backend[1]]
    air = mark != SOLID
    found, expected = (e.moments().velocity[:, air] for e in (two, one))
    np.testing.assert_allclose(found, expected, atol=bound)


def across_levels(angle: float, thick: float) -> list[Nest]:
    """A closed box with finer cells in its middle; a part leans through both."""
    size, deep, at = 20, 14, (5, 3, 5)
    around = np.ones((size, deep, size), np.uint8)
    around[1:-1, :, 1:-1] = 0
    tri = slab_across(angle, thick, size) + np.array([0.0, 5.0, 0.0])
    out = []
    for level, shape in ((0, (size, deep, size)), (1, (20, 16, 20))):
        own = tri if not level else 2.0 * (tri - (np.array(at) - 0.25))
        body = Body(triangles=own, surface=1, is_closed=thick > 0)
        mark, links = wrap_bodies(
            shape, [body], SURFACES, skin=0.0, surroundings=None if level else around
        )
        setup = Setup(shape=shape, viscosity=0.02 * 2**level, mark=mark, walls=links)
        out.append(Nest(setup=setup, level=level, parent=level - 1, at=at if level else (0, 0, 0)))
    return out


def started_apart(engine: NestedEngine, angle: float) -> list[np.ndarray]:
    """Start every box with two pressures at rest and return the density of each."""
    wanted = []
    for number, (nest, inner) in enumerate(zip(engine.nests, engine.engines, strict=True)):
        low, (lx, ly, lz) = engine.place(number), nest.setup.shape
        x, z = low[0] + np.arange(lx) / nest.scale, low[2] + np.arange(lz) / nest.scale
        up = (z[:, None] - 10.21) * np.cos(angle) - (x[None] - 10.13) * np.sin(angle) > 0
        density = np.repeat(np.where(up, 1.02, 1.0)[:, None], ly, axis=1)
        inner.start(density, np.zeros((3, *density.shape)))
        wanted.append(density)
    return wanted


def assert_apart(engine: NestedEngine, wanted: list[np.ndarray], bound: float) -> None:
    for setup, seen, density in zip(shown(engine.nests), engine.shown(), wanted, strict=True):
        air = setup.mark != SOLID
        assert np.abs(seen.last.density - density)[air].max() < bound


@pytest.mark.parametrize("angle", [0.0, 0.2, np.pi / 4])
@pytest.mark.parametrize("thick", [0.3, 0.0])
def test_air_of_two_pressures_stays_apart_at_the_edge_of_finer_cells(
    angle: float, thick: float, backend: tuple[str, str]
) -> None:
    """Exact: at rest nothing passes a tight wall, whichever cells it is cut into."""
    engine = NestedEngine(across_levels(angle, thick), *backend)
    wanted = started_apart(engine, angle)
    engine.advance(20)
    bound = {"float64": 1e-12, "float32": 1e-5, "float16": 1e-3}[backend[1]]
    assert_apart(engine, wanted, bound)


def test_slabs_of_finer_cells_keep_two_pressures_apart_too() -> None:
    nests = across_levels(0.2, 0.3)
    engine = SlabNestedEngine(nests, 2, lambda stacks: ThreadCrew(stacks, "cpu"))
    wanted = started_apart(engine, 0.2)
    engine.advance(10)
    assert_apart(engine, wanted, 1e-12)
    engine.close()
