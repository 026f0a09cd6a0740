"""A splitter over a moving road, alone and with a body that leaves a wedge above it."""

import numpy as np
import pytest

from tuftwork.flow.corner import hold_corners
from tuftwork.flow.engine import build_engine
from tuftwork.flow.setup import Setup, Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape import block

SPEED = 0.1
LONG, HIGH = 150, 70
SURFACES = [
    Surface(name="road", has_wall_law=True, velocity=(SPEED, 0.0, 0.0)),
    Surface(name="splitter", has_wall_law=True),
    Surface(name="body", has_wall_law=True),
]


def sponge(count: int, low: int, high: int) -> np.ndarray:
    at = np.arange(count)
    share = np.zeros(count)
    for depth, width in ((at, low), (count - 1 - at, high)):
        if width:
            share = np.maximum(share, 0.05 * np.clip(1 - depth / width, 0, 1) ** 2)
    return share


def fastest(gap: int, *, wedge: bool, hold: bool, pairs: int = 150) -> tuple[float, int]:
    """Largest speed over the free stream, and how many cells were held."""
    low = 0.5 + gap
    plate = block("splitter", (40.3, -9.0, low), (80.3, 9.0, low + 2.2))
    bodies = [Body(triangles=plate.triangles, surface=1)]
    if wedge:
        c, s = np.cos(0.3), np.sin(0.3)
        turn = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        nose = block("body", (-34.0, -9.0, 0.0), (0.0, 9.0, 20.0)).triangles @ turn.T
        bodies.append(Body(triangles=nose + np.array([78.0, 0.0, low + 2.3]), surface=2))
    road = np.zeros((HIGH, 1, LONG), np.uint8)
    road[0] = 1
    mark, links = wrap_bodies((LONG, 1, HIGH), bodies, SURFACES, skin=0.0, surroundings=road)
    held = 0
    if hold:
        links, held = hold_corners(links)
    along, up = sponge(LONG, 4, 25), sponge(HIGH, 0, 8)
    along[0] = up[-1] = 1.0
    setup = Setup(shape=(LONG, 1, HIGH), viscosity=1e-5, mark=mark, walls=links,
                  stream=(SPEED, 0.0, 0.0), sponge=(along, np.zeros(1), up))  # fmt: skip
    engine = build_engine(setup)
    engine.start_uniform()
    engine.advance(pairs)
    with np.errstate(all="ignore"):  # a flow that broke
        speed = np.linalg.norm(engine.moments().velocity, axis=0)[mark != 1]
    return float(np.nan_to_num(speed, nan=np.inf).max()) / SPEED, held


@pytest.mark.parametrize("gap", [2, 3, 4, 6])
def test_a_gap_of_few_cells_is_sound_and_is_left_alone(gap: int) -> None:
    plain, _ = fastest(gap, wedge=False, hold=False, pairs=60)
    same, held = fastest(gap, wedge=False, hold=True, pairs=60)
    assert held == 0
    assert same == plain
    assert plain < 1.6


@pytest.mark.parametrize("gap", [2, 4])
def test_a_wedge_above_a_splitter_breaks_the_flow_unless_its_cells_are_held(gap: int) -> None:
    """The body blocks two fifths of this small box, so the air beside it is fast in any case."""
    loose, _ = fastest(gap, wedge=True, hold=False)
    firm, held = fastest(gap, wedge=True, hold=True)
    assert held > 0
    assert not loose < 20.0
    assert firm < 4.5
