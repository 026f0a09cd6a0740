"""Porous cores, fans and openings of the lattice flow against closed forms."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from scipy.optimize import root

from tuftwork.cooling.single_duct import SingleDuct, single_duct_flow
from tuftwork.flow.corner import hold_corners
from tuftwork.flow.engine import build_engine
from tuftwork.flow.porous import add_cores
from tuftwork.flow.setup import Core, Setup, Surface, no_walls, plain_box
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import block

pytestmark = pytest.mark.published
AXIS = (1.0, 0.0, 0.0)


def slab(low, high):
    return block("slab", low, high).triangles


def sponge(count: int, low: float, high: float) -> np.ndarray:
    at = np.arange(count)
    share = np.zeros(count)
    for depth, width in ((at, low), (count - 1 - at, high)):
        share = np.maximum(share, 0.05 * np.clip(1 - depth / width, 0, 1) ** 2)
    share[0] = 1.0
    return share


def ring(cores: list[Core], places: list[tuple[float, float]], force: float, axis: int):
    """A duct without walls that bites its tail, along one axis of the grid."""
    n = 48
    shape = [1, 1, 1]
    shape[axis] = n
    surfaces = (Surface(name="road"), *(Surface(name=c.name) for c in cores))
    links = replace(no_walls(), surfaces=surfaces)
    bodies = []
    for a, b in places:
        low, high = [-0.5] * 3, [0.5] * 3
        low[axis], high[axis] = a, b
        bodies.append(slab(tuple(low), tuple(high)))
    shape_ = (shape[0], shape[1], shape[2])
    mark, links, _ = add_cores(plain_box(shape_), links, list(zip(cores, bodies, strict=True)))
    pull = [0.0, 0.0, 0.0]
    pull[axis] = force
    setup = Setup(shape=shape_, viscosity=1e-3, mark=mark, walls=links,
                  force=(pull[0], pull[1], pull[2]))  # fmt: skip
    engine = build_engine(setup)
    engine.start_uniform()
    engine.advance(6000)
    return engine


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_core_in_a_duct_loses_what_its_law_says_and_passes_the_same_mass_everywhere(axis) -> None:
    """Exact in one dimension: the core takes the driving force up, ρ(a v + b v²) over its depth."""
    a, b, depth, force = 0.004, 0.3, 8.6, 2e-5
    unit = tuple(float(k == axis) for k in range(3))
    core = Core(name="core", surface=1, axis=unit, linear=a, square=b)
    engine = ring([core], [(20.3, 28.9)], force, axis)
    now = engine.moments()
    flux = (now.density * now.velocity[axis]).reshape(-1)
    assert np.ptp(flux) < 1e-9 * flux.mean()
    walls = engine.setup.walls
    v = now.velocity[axis].reshape(-1)[walls.cell]
    law = (walls.fill * now.density.reshape(-1)[walls.cell] * (a * v + b * v**2)).sum()
    assert engine.part_loads()[1, axis] == pytest.approx(force * 48, rel=1e-9)
    assert law == pytest.approx(force * 48, rel=1e-9)
    # the drop by its mean speed; density falls by 0.3 % over the core
    assert depth * (a * v.mean() + b * v.mean() ** 2) == pytest.approx(force * 48, rel=5e-3)
    assert walls.fill.sum() == pytest.approx(depth, rel=1e-6)


def test_a_fan_and_a_core_meet_where_their_curves_cross() -> None:
    """Exact: rise − p₁v − p₂v² = a v + b v²; density differs by 0.2 %, so budget 0.5 %."""
    core = Core(name="core", surface=1, axis=AXIS, linear=0.004, square=0.3)
    fan = Core(name="fan", surface=2, axis=AXIS, linear=0.002, square=0.1, lift=6e-4, across=0.0)
    engine = ring([core, fan], [(10.3, 18.9), (30.1, 33.4)], 0.0, 0)
    a, b, p = 0.004 * 8.6 + 0.002 * 3.3, 0.3 * 8.6 + 0.1 * 3.3, 6e-4 * 3.3
    crossing = (-a + sqrt(a * a + 4 * b * p)) / (2 * b)
    now = engine.moments()
    assert now.velocity[0].mean() == pytest.approx(crossing, rel=5e-3)
    loads = engine.part_loads()
    assert loads[1, 0] == pytest.approx(-loads[2, 0], rel=1e-9)


def screen_in_channel(loss: float, blocked: float) -> float:
    """Drag coefficient of a screen that blocks a share of a stream between frictionless walls.

    Continuity, Bernoulli ahead and beside, momentum (computed); with nothing blocked it is Taylor's
    K/(1 + K/4)² of 1944 (status: memory; momentum theory of the actuator disc gives the same).
    """

    def miss(speeds: np.ndarray) -> list[float]:
        through, wake, beside = speeds
        stream = blocked * through
        return [
            beside * (1 - stream / wake) - (1 - stream),
            beside**2 - wake**2 - loss * through**2,
            blocked * loss / 2 * through**2
            - (0.5 * (beside**2 - 1) + 1 - stream * wake - beside * (1 - stream)),
        ]

    free = 1 / (1 + loss / 4)
    found = root(miss, [free + 0.01, max(2 * free - 1, 0.1) + 0.02, 1.02], tol=1e-12)
    assert np.abs(found.fun).max() < 1e-9
    return float(loss * found.x[0] ** 2)


def test_the_theory_of_a_screen_has_its_known_limit() -> None:
    """Taylor 1944: K/(1 + K/4)² in an unbounded stream (status: memory)."""
    for loss in (0.5, 1.0, 2.0, 3.0):
        assert screen_in_channel(loss, 1e-3) == pytest.approx(loss / (1 + loss / 4) ** 2, rel=5e-3)


@pytest.mark.parametrize("loss", [0.5, 1.0, 2.0])
def test_a_free_screen_drags_as_taylor_says(loss: float) -> None:
    """Budget 5 % of the theory in a stream ten heights wide, which itself lies 5 to 12 % above the
    unbounded value: screen 12 cells high, thickness 2, shear layers not thin (model error)."""
    high, speed, depth = 12, 0.08, 2.0
    shape = (12 * high, 1, 10 * high)
    x0, z0 = 4.0 * high, 4.5 * high
    core = Core(name="screen", surface=1, axis=AXIS, square=loss / 2 / depth, across=0.0)
    body = slab((x0, -0.5, z0), (x0 + depth, 0.5, z0 + high))
    links = replace(no_walls(), surfaces=(Surface(name="road"), Surface(name="screen")))
    mark, links, _ = add_cores(plain_box(shape), links, [(core, body)])
    lines = (sponge(shape[0], 4, 2 * high), np.zeros(1), sponge(shape[2], 4, 4))
    engine = build_engine(
        Setup(shape=shape, viscosity=1e-4, mark=mark, walls=links, stream=(speed, 0.0, 0.0),
              sponge=lines)
    )  # fmt: skip
    engine.start_uniform()
    engine.advance(450)
    drag = engine.part_loads()[1, 0] / (0.5 * speed**2 * high)
    assert drag == pytest.approx(screen_in_channel(loss, 0.1), rel=0.05)


def test_a_ram_duct_passes_what_the_closed_form_says() -> None:
    """u/V = √[(η − Cp_e)/(K + 1)] of the straight duct (cooling room's closed form, which its own
    checks hold against Küchemann and Weber); η and Cp_e read off the flow. Budget 3 %: plates'
    friction and a flow that still settles."""
    high, speed, loss, long, depth = 12, 0.08, 3.0, 40, 4.0
    shape = (long + 12 * high, 1, 8 * high)
    x0, z0 = 4 * high + 0.2, 3.5 * high + 0.03
    surfaces = [
        Surface(name="road"), Surface(name="plates", has_wall_law=True), Surface(name="core"),
    ]  # fmt: skip
    bodies = [
        Body(triangles=slab((x0, -9.0, a), (x0 + long, 9.0, a + 2.0)), surface=1)
        for a in (z0 - 2.0, z0 + high)
    ]
    mark, links = wrap_bodies(shape, bodies, surfaces, skin=0.0)
    links, _ = hold_corners(links)
    xc = x0 + 0.45 * long
    core = Core(name="core", surface=2, axis=AXIS, square=loss / 2 / depth)
    mark, links, lost = add_cores(
        mark, links, [(core, slab((xc, -0.5, z0), (xc + depth, 0.5, z0 + high)))]
    )
    assert lost[0] < 0.01
    lines = (sponge(shape[0], 4, 2 * high), np.zeros(1), sponge(shape[2], 4, 4))
    engine = build_engine(
        Setup(shape=shape, viscosity=2e-5, mark=mark, walls=links, stream=(speed, 0.0, 0.0),
              sponge=lines)
    )  # fmt: skip
    engine.start_uniform()
    engine.advance(720)
    engine.clear()
    for _ in range(4):
        engine.advance(10)
        engine.sample()
    mean, rows = engine.means()
    cp = (mean.density - 1) / 3 / (0.5 * speed**2)
    u = mean.velocity[0] / speed
    inside = slice(int(np.ceil(z0)), int(z0 + high) + 1)
    ahead = (cp + u**2)[inside, 0, int(x0) - 2 * high].mean()
    leaving = cp[inside, 0, int(x0 + long - 1)].mean()
    closed = single_duct_flow(
        SingleDuct(speed=1.0, density=1.0, recovery=ahead, exit_pressure=leaving, core_loss=loss,
                   core_area=1.0, exit_area=1.0)
    )  # fmt: skip
    zone = links.zone > 0
    face = (links.fill * mean.velocity[0].reshape(-1)[links.cell])[zone].sum()
    face /= links.fill.sum() * speed
    assert face == pytest.approx(closed.face_velocity, rel=0.03)
    # and the core takes what its law says of that speed
    drop = rows[7, zone].sum() / (links.fill.sum() / depth) / (0.5 * speed**2)
    assert drop == pytest.approx(loss * face**2, rel=0.05)
