"""Where walls are smooth, and air that is made where air gathers along them."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.flow.engine import CpuEngine, build_engine
from tuftwork.flow.setup import Setup, Surface
from tuftwork.flow.wall_recipe import KEPT
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block

SURFACES = [Surface(name="none"), Surface(name="wall", has_wall_law=True)]
STREAM = (0.1, 0.0, 0.0)


def wrapped(shape: tuple[int, int, int], *triangles: np.ndarray) -> tuple:
    """Marks, links, places of the wall cells (n, 3) and which of them are smooth (n,)."""
    bodies = [Body(triangles=t, surface=1) for t in triangles]
    mark, links = wrap_bodies(shape, bodies, SURFACES, skin=0.0, stream=STREAM)
    lx, ly, _ = shape
    n = links.cell
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)], axis=1)
    return mark, links, at, links.bend[6] == 1


def test_faces_are_smooth_but_beside_their_edges() -> None:
    low, high = np.array([8.3, 8.3, 8.3]), np.array([28.7, 24.7, 20.7])
    _, _, at, is_smooth = wrapped((38, 34, 30), block("brick", tuple(low), tuple(high)).triangles)
    foot = np.clip(at, low, high)
    inside = np.sort(np.minimum(foot - low, high - foot), axis=1)[:, 1]  # from the next edge
    away = np.linalg.norm(at - foot, axis=1)
    assert is_smooth[inside > 2.0].all()
    assert not is_smooth[np.hypot(inside, away) < 1.9].any()


def plate(thick: float, high: float = 12.4) -> np.ndarray:
    """A plate along the stream, ``thick`` cells thick, cut off square behind."""
    return block("plate", (8.2, -9.0, high - thick / 2), (30.6, 29.0, high + thick / 2)).triangles


def test_a_thin_cut_tail_is_no_edge() -> None:
    for thick, is_tail in ((1.4, True), (6.0, False)):
        _, _, at, is_smooth = wrapped((40, 20, 25), plate(thick))
        beside = (np.abs(at[:, 0] - 29.5) < 1) & (np.abs(at[:, 2] - 12.4) < thick / 2 + 1)
        assert beside.any()
        assert is_smooth[beside].any() == is_tail


def test_hollow_corners_are_not_smooth() -> None:
    floor = block("floor", (-9.0, -9.0, -9.0), (49.0, 49.0, 4.4)).triangles
    wall = block("wall", (20.3, -9.0, -9.0), (49.0, 49.0, 49.0)).triangles
    _, _, at, is_smooth = wrapped((32, 6, 30), floor, wall)
    from_corner = np.hypot(20.3 - at[:, 0], at[:, 2] - 4.4)
    assert not is_smooth[from_corner < 2.0].any()
    off_ends = (at[:, 0] > 3) & (at[:, 2] < 26)  # the box repeats itself
    assert is_smooth[(from_corner > 4.0) & off_ends].all()


def column(share: float) -> CpuEngine:
    """Still air over a wall ``share`` of a cell from the first of its cells, open on top."""
    n = 60
    wall = Body(triangles=block("low", (-9.0, -9.0, -9.0), (5.0 - share, 9.0, 9.0)).triangles,
                surface=1)  # fmt: skip
    mark, links = wrap_bodies((n, 1, 1), [wall], SURFACES, skin=0.0)
    fading = np.zeros(n)
    fading[-20:] = np.linspace(0.0, 0.5, 20)
    engine = CpuEngine(Setup(
        shape=(n, 1, 1), viscosity=1e-5, mark=mark, walls=links, stream=(1e-9, 0.0, 0.0),
        sponge=(fading, np.zeros(1), np.zeros(1)),
    ))  # fmt: skip
    engine.start(np.ones((1, 1, n)), np.zeros((3, 1, 1, n)))
    return engine


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.7, 1.0])
def test_air_once_made_calls_for_no_more(share: float) -> None:
    """What is taken to gather is forgotten, and what it stirred up dies away.

    With the rate renewed every step, a wall half way between cells fed a flow that turns round
    from step to step.
    """
    engine = column(share)
    engine._rows[KEPT] = 0.002
    engine.advance(10)
    stirred = np.abs(engine.moments().velocity).max()
    engine.advance(630)
    assert np.abs(engine._rows[KEPT]).max() < 1e-8
    assert np.abs(engine.moments().velocity).max() < 0.01 * stirred


def channel(*, makes: bool) -> tuple[float, float]:
    """Largest rate at which air gathers, and mass gained, while eddies between two walls die."""
    n = 16
    low = block("low", (-9.0, -9.0, -9.0), (99.0, 99.0, 3.3)).triangles
    high = block("high", (-9.0, -9.0, n + 3.6), (99.0, 99.0, 99.0)).triangles
    shape = (n, n, n + 8)
    mark, links, _, is_smooth = wrapped(shape, low, high)
    assert is_smooth.all()
    bend = links.bend.copy()
    bend[6] = makes
    setup = Setup(shape=shape, viscosity=1e-5, mark=mark, walls=replace(links, bend=bend))
    engine, air = build_engine(setup), mark != 1
    velocity = 0.02 * np.random.default_rng(1).standard_normal((3, *mark.shape))
    velocity[0] += 0.08
    engine.start(np.ones(mark.shape), velocity * air)
    engine.advance(600)
    gained = float(engine.moments().density[air].mean() - 1.0)
    return float(np.abs(engine.wall_rows()[KEPT]).max()), gained


def test_eddies_between_two_walls_gather_no_more_where_air_is_made() -> None:
    """Made along each link by its own strain, air called for five times as much, and rising."""
    (with_it, gained), (without, kept) = channel(makes=True), channel(makes=False)
    assert without > 1e-5
    assert with_it == pytest.approx(without, rel=0.05)
    # what gathers parts elsewhere, to a thousandth of the mass while noise of a fifth dies
    assert abs(kept) < 1e-5
    assert abs(gained) < 2e-3
