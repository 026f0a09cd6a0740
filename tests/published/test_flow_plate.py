"""A turbulent layer along a flat wall, then against rising pressure, in cells as large as a roof's.

A slice without turbulence of its own, as the layer on a body's roof is: 16 000 is the Reynolds
number of a 4 mm cell at 60 m/s. The law alone (``layer`` 0) is what bodies run with.

Friction of the plate: White, Viscous Fluid Flow, 0.455 / ln² 0.06 Re_x (status: memory).
Rising pressure: the entrainment method of Head 1958 with the friction of Ludwieg and Tillmann 1950
(status: formulae from memory, integrated here along the edge speed that the run itself shows);
he gives the shape factor at which a layer lets go as 1.8 to 2.4 (memory).
"""

from dataclasses import dataclass

import numpy as np
import pytest
from tests.published.flow_rungs import law_walls

from tuftwork.flow.engine import build_engine
from tuftwork.flow.setup import Setup

pytestmark = pytest.mark.published

REYNOLDS = 16_000.0
SPEED, FALL, MIDDLE, WIDTH = 0.14, 0.25, 190.0, 36.0
LONG, HIGH = 255, 34
PLATE, RISEN = 150, 225


@dataclass(frozen=True)
class Wall:
    """Speed over that of the stream by place along the wall and cell; friction of the law."""

    speed: np.ndarray
    friction: np.ndarray

    @property
    def edge(self) -> np.ndarray:
        return np.asarray(self.speed[:, 8:14].max(axis=1))

    def thickness(self, place: int) -> tuple[float, float]:
        """Momentum and displacement thickness in cells."""
        share = np.clip(self.speed[place] / self.edge[place], None, 1.0)
        share = share[: int(np.argmax(share > 0.995))]
        return float((share * (1 - share)).sum()), float((1 - share).sum())


def stream(along: np.ndarray, up: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A potential flow that slows down by ``FALL``: speed along the wall and away from it."""
    w = 1 - FALL / 2 * (1 + np.tanh((along + 1j * up - MIDDLE) / WIDTH))
    return SPEED * w.real, -SPEED * w.imag


def run(layer: int, *, shear_only: bool = False) -> Wall:
    """The wall lies across x, the stream goes along y: the sponge's profile changes along it."""
    shape = (HIGH, LONG, 1)
    removed = np.zeros(shape[::-1], np.uint8)
    removed[:, :, 0] = 1
    mark, links = law_walls(removed, layer, shear_only=shear_only)
    profile = np.zeros((3, 1, LONG))
    profile[1, 0], profile[0, 0] = stream(np.arange(LONG), np.full(LONG, HIGH - 1.5))
    top, along = np.zeros(HIGH), np.zeros(LONG)
    top[-1] = along[0] = along[-1] = 1.0
    along[-21:-1] = 0.05 * np.linspace(0, 1, 20) ** 2
    setup = Setup(
        shape=shape, viscosity=SPEED / REYNOLDS, mark=mark, walls=links,
        stream=(0.0, SPEED, 0.0), sponge=(top, along, np.zeros(1)), profile=profile,
    )  # fmt: skip
    engine = build_engine(setup)
    velocity = np.zeros((3, *shape[::-1]))
    up, far = np.meshgrid(np.arange(HIGH) - 0.5, np.arange(LONG, dtype=float))
    velocity[1, 0], velocity[0, 0] = stream(far, up)
    engine.start(1 + 1.5 * (SPEED**2 - (velocity**2).sum(axis=0)), velocity)
    engine.advance(1100)
    for _ in range(35):
        engine.advance(10)
        engine.sample()
    mean, rows = engine.means()
    foot = (links.geometry[0] > 0) & (links.geometry[3] > 0)
    friction = np.zeros(LONG)
    friction[links.cell[foot] // HIGH] = rows[5, foot]
    return Wall(mean.velocity[1, 0, :, 1:] / SPEED, friction / (0.5 * SPEED**2))


@pytest.fixture(scope="module")
def law_alone() -> Wall:
    return run(0)


@pytest.fixture(scope="module")
def with_layer() -> Wall:
    return run(4)


@pytest.fixture(scope="module")
def with_shear_mixed() -> Wall:
    return run(5, shear_only=True)


def head(edge: np.ndarray, begin: int, end: int) -> tuple[float, float]:
    """Friction over the square of the edge's speed, and shape factor, at ``end``."""
    steps = 10
    at = np.arange(begin, end, 1 / steps)
    speed = np.interp(at, np.arange(edge.size), edge)
    slope = np.interp(at, np.arange(edge.size), np.gradient(edge))
    theta = 0.016 * begin / (REYNOLDS * begin) ** (1 / 7)
    entrain, shape, friction = 3.3 + 0.8234 * (1.35 - 1.1) ** -1.287, 1.35, 0.0
    for u, du in zip(speed, slope, strict=True):
        if entrain >= 5.3:
            shape = 1.1 + ((entrain - 3.3) / 0.8234) ** (-1 / 1.287)
        else:
            shape = 0.6778 + ((entrain - 3.3) / 1.5501) ** (-1 / 3.064)
        friction = 0.246 * 10 ** (-0.678 * shape) * (u * theta * REYNOLDS) ** -0.268
        grown = friction / 2 - (shape + 2) * theta * du / u
        rate = (0.0306 * (entrain - 3) ** -0.6169 - entrain * (grown + theta * du / u)) / theta
        theta, entrain = theta + grown / steps, max(entrain + rate / steps, 3.31)
    return friction, shape


def plate_friction(wall: Wall) -> float:
    """Friction on the plate over White's at the edge's speed."""
    u = wall.edge[PLATE]
    return float(wall.friction[PLATE] / u**2 / (0.455 / np.log(0.06 * u * PLATE * REYNOLDS) ** 2))


LAW_PLATE = "miss: friction 14 % below the printed one"


@pytest.mark.xfail(strict=True, reason=LAW_PLATE)
def test_the_law_alone_has_the_friction_of_a_plate(law_alone: Wall) -> None:
    """Budget 8 %, that of a channel with modelled walls (L61)."""
    assert plate_friction(law_alone) == pytest.approx(1.0, abs=0.08)


def test_law_and_layer_have_the_friction_of_a_plate(with_layer: Wall) -> None:
    """Budget 8 %, that of a channel with modelled walls (L61)."""
    assert plate_friction(with_layer) == pytest.approx(1.0, abs=0.08)


def test_shear_mixed_has_the_friction_of_a_plate(with_shear_mixed: Wall) -> None:
    """Budget 8 %, that of a channel with modelled walls (L61)."""
    assert plate_friction(with_shear_mixed) == pytest.approx(1.0, abs=0.08)


def test_shear_mixed_has_the_profile_of_a_plate(with_shear_mixed: Wall) -> None:
    """Logarithmic law, κ 0.41 and B 5.0 (White, status: memory), within the inner fifth.

    Budget 4 %: half of what friction may be off, since u+ goes with its root.
    """
    u = with_shear_mixed.speed[PLATE, :2] * SPEED
    friction = SPEED * np.sqrt(0.5 * with_shear_mixed.friction[PLATE])
    y_plus = np.array([0.5, 1.5]) * friction / (SPEED / REYNOLDS)
    np.testing.assert_allclose(u / friction, np.log(y_plus) / 0.41 + 5.0, rtol=0.04)


LAW_RISE = "miss: shape factor 2.2 where Head's method gives 1.6: the air lets go of the wall"


@pytest.mark.xfail(strict=True, reason=LAW_RISE)
def test_the_law_alone_holds_air_against_a_pressure_that_head_lets_it_climb(
    law_alone: Wall,
) -> None:
    theta, displaced = law_alone.thickness(RISEN)
    assert head(law_alone.edge, 90, RISEN)[1] < 1.6
    assert displaced / theta < 1.8


def test_law_and_layer_hold_air_against_a_pressure_that_head_lets_it_climb(
    with_layer: Wall,
) -> None:
    theta, displaced = with_layer.thickness(RISEN)
    assert head(with_layer.edge, 90, RISEN)[1] < 1.6
    assert displaced / theta < 1.8


def test_shear_mixed_holds_air_against_a_pressure_that_head_lets_it_climb(
    with_shear_mixed: Wall,
) -> None:
    theta, displaced = with_shear_mixed.thickness(RISEN)
    assert head(with_shear_mixed.edge, 90, RISEN)[1] < 1.6
    assert displaced / theta < 1.8


LAYER_RISE = "miss: friction 50 % above that of Head's method where the pressure rises"


@pytest.mark.xfail(strict=True, reason=LAYER_RISE)
def test_law_and_layer_have_the_friction_of_heads_method_as_pressure_rises(
    with_layer: Wall,
) -> None:
    """Budget 20 %: 10 % of the method, 8 % of modelled walls, the rest reading."""
    expected = head(with_layer.edge, 90, RISEN)[0] * with_layer.edge[RISEN] ** 2
    assert with_layer.friction[RISEN] == pytest.approx(expected, rel=0.20)


SHEAR_RISE = "miss: friction 45 % above that of Head's method where the pressure rises"


@pytest.mark.xfail(strict=True, reason=SHEAR_RISE)
def test_shear_mixed_has_the_friction_of_heads_method_as_pressure_rises(
    with_shear_mixed: Wall,
) -> None:
    """Budget 20 %, as above."""
    expected = head(with_shear_mixed.edge, 90, RISEN)[0] * with_shear_mixed.edge[RISEN] ** 2
    assert with_shear_mixed.friction[RISEN] == pytest.approx(expected, rel=0.20)
