"""Walls whose speed differs from place to place: links take it where they meet the surface."""

from dataclasses import replace

import numpy as np
import pytest
from tests.published import flow_rungs as rungs

from tuftwork.flow.engine import build_engine
from tuftwork.flow.setup import Setup, Surface
from tuftwork.flow.walls import Body, staircase, wrap_bodies
from tuftwork.shape.loft import drum

INNER, OUTER, CENTRE, RIM = 8.3, 18.6, (23.6, 0.0, 23.3), 0.05


def test_air_between_a_turning_and_a_still_drum_moves_as_couette_says(
    backend: tuple[str, str],
) -> None:
    """Exact: u = A r + B / r; torque 4πμΩ r₁² r₂² / (r₂² − r₁²) per width.

    Ten cells across: budget 1/10² of the rim's speed (second order), 3/10² at the worst cell.
    """
    turning, viscosity = RIM / INNER, 0.1
    surfaces = [
        Surface(name="none"),
        Surface(name="inner", spin=(0.0, turning, 0.0), centre=CENTRE),
        Surface(name="outer"),
    ]
    inner, outer = (drum("drum", CENTRE, r, 20.0).triangles for r in (INNER, OUTER))
    bodies = [
        Body(triangles=inner, surface=1),
        Body(triangles=outer, surface=2, is_closed=False),
    ]
    mark, links = wrap_bodies((48, 1, 48), bodies, surfaces, skin=0.0)
    setup = Setup(shape=(48, 1, 48), viscosity=viscosity, mark=mark, walls=links)
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(1200)
    z, x = np.meshgrid(np.arange(48) - CENTRE[2], np.arange(48) - CENTRE[0], indexing="ij")
    r = np.hypot(x, z)
    velocity = engine.moments().velocity[:, :, 0, :]
    around = (velocity[0] * z - velocity[2] * x) / r
    wide = OUTER**2 - INNER**2
    exact = turning * INNER**2 * (OUTER**2 / r - r) / wide
    between = (mark[:, 0] != 1) & (r > INNER) & (r < OUTER - 0.5)
    off = (around - exact)[between] / RIM
    assert np.sqrt((off**2).mean()) < 0.01
    assert np.abs(off).max() < 0.03
    own = links.counted() == 1
    arm_x, arm_z = links.cell[own] % 48 - CENTRE[0], links.cell[own] // 48 - CENTRE[2]
    rows = engine.wall_rows()[:, own]
    torque = float((arm_z * rows[0] - arm_x * rows[2]).sum())
    drag = 4 * np.pi * viscosity * turning * INNER**2 * OUTER**2 / wide
    assert -torque == pytest.approx(drag, rel=0.02)


def test_a_parabola_flows_in_as_a_parabola(backend: tuple[str, str]) -> None:
    """Exact: a channel keeps the parabola that flows in; budget 1 % of the mean speed."""
    case = rungs.DuctCylinder(diameter=4, reynolds=20, speed=0.03, length=4.0)
    shape = (17, case.rows + 1, 1)
    removed = np.zeros(shape[::-1], np.uint8)
    label = np.zeros_like(removed)
    removed[:, 0], removed[:, :, 0] = 1, 1
    label[:, :, 0] = 2
    mark, links = staircase(removed, label, case.surfaces())
    setup = Setup(
        shape=shape, viscosity=0.006, mark=mark, walls=links, profile=case.profile(),
        sponge=(rungs.fading(17, 5), np.zeros(shape[1]), np.zeros(1)),
    )  # fmt: skip
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(400)
    u = engine.moments().velocity[0, 0, 1:, 6]
    exact = case.profile()[0, 0, 1:]
    np.testing.assert_allclose(u / u.mean(), exact / exact.mean(), atol=0.01)


def test_the_wall_law_sees_the_speed_of_the_surface_and_not_of_the_cell() -> None:
    """Exact: air that turns with a drum, as one piece at the rim's speed, feels no friction."""
    spin = (0.0, 0.004, 0.0)
    surface = Surface(name="wheel", has_wall_law=True, spin=spin, centre=CENTRE)
    body = Body(triangles=drum("drum", CENTRE, 12.0, 20.0).triangles, surface=1)
    mark, links = wrap_bodies((48, 1, 48), [body], [Surface(name="none"), surface], skin=0.0)
    engine = build_engine(Setup(shape=(48, 1, 48), viscosity=1e-4, mark=mark, walls=links))
    z, x = np.meshgrid(np.arange(48) - CENTRE[2], np.arange(48) - CENTRE[0], indexing="ij")
    r = np.hypot(x, z)
    velocity = np.zeros((3, 48, 1, 48))
    rim = 0.004 * 12.0
    velocity[0, :, 0], velocity[2, :, 0] = rim * z / r, -rim * x / r
    engine.start(np.ones(mark.shape), velocity)
    engine.advance(1)
    shear = np.linalg.norm(engine.wall_rows()[4:7], axis=0)
    still = replace(links, surfaces=(links.surfaces[0], replace(surface, spin=(0.0, 0.0, 0.0))))
    beside = build_engine(Setup(shape=(48, 1, 48), viscosity=1e-4, mark=mark, walls=still))
    beside.start(np.ones(mark.shape), velocity)
    beside.advance(1)
    assert shear.max() < 0.02 * np.linalg.norm(beside.wall_rows()[4:7], axis=0).max()
