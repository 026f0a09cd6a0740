"""What drives a flow and may change in time: force, imposed profile, parabolic surfaces."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow.engine import build_engine
from tuftwork.flow.setup import Setup, Surface, plain_box
from tuftwork.flow.walls import staircase

SHAPE = (16, 6, 5)


def test_a_force_that_is_changed_pushes_from_then_on(backend: tuple[str, str]) -> None:
    setup = Setup(shape=SHAPE, viscosity=0.01, mark=plain_box(SHAPE), force=(1e-4, 0.0, 0.0))
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(10)
    engine.set_force((0.0, 5e-5, 0.0))
    engine.advance(20)
    u, v, _ = engine.moments().velocity.mean(axis=(1, 2, 3))
    # half a step's force counts to the velocity, so the change itself is worth half a step
    assert u == pytest.approx(20 * 1e-4, rel=0.03)
    assert v == pytest.approx(40 * 5e-5, rel=0.03)


def profiled() -> Setup:
    profile = np.zeros((3, SHAPE[2], SHAPE[1]))
    profile[0] = 0.02 + 0.01 * np.arange(SHAPE[2])[:, None]
    sponge = (np.ones(SHAPE[0]), np.zeros(SHAPE[1]), np.zeros(SHAPE[2]))
    return Setup(shape=SHAPE, viscosity=0.01, mark=plain_box(SHAPE), profile=profile, sponge=sponge)


def test_a_sponge_imposes_its_profile_row_by_row_and_a_new_one_when_told(
    backend: tuple[str, str],
) -> None:
    setup = profiled()
    engine = build_engine(setup, *backend)
    engine.start(np.ones(SHAPE[::-1]), np.zeros((3, *SHAPE[::-1])))
    for factor in (1.0, 0.5):
        engine.set_stream(factor * setup.profile)
        engine.advance(2)
        # every cell is imposed, so what streams in differs only from row to row
        u = engine.moments().velocity[0].mean(axis=2)
        wanted = factor * setup.profile[0]
        mixed = wanted + (np.roll(wanted, 1, 0) - 2 * wanted + np.roll(wanted, -1, 0)) / 6
        np.testing.assert_allclose(u, mixed, atol=2e-4)


def test_a_profile_of_the_wrong_size_or_too_fast_is_refused() -> None:
    setup = profiled()
    with pytest.raises(InputError, match="must have shape"):
        replace(setup, profile=np.zeros((3, 4, 4)))
    with pytest.raises(InputError, match="must be below"):
        replace(setup, profile=10 * setup.profile)


def test_a_surface_of_parabolic_speed_moves_air_most_in_its_middle() -> None:
    """A lid over a deep channel: the air under it takes the parabola of the lid."""
    from tuftwork.flow import _cpu_kernel as kernel

    fast = Surface(
        name="lid", velocity=(0.06, 0.0, 0.0), centre=(0.0, 5.0, 0.0), fall=(0.0, 1 / 16, 0.0)
    )
    table = np.array([fast.row()])
    at = [
        kernel.other_surface(table, 0, 1.0, 0.0, 0.0, 3, 1, 2, 0.0, y - 1.0, 0.0)
        for y in (1.0, 3.0, 5.0, 9.0)
    ]
    np.testing.assert_allclose(at, [0.0, 0.045, 0.06, 0.0], atol=1e-15)
    removed = np.zeros((5, 11, 1), np.uint8)
    removed[[0, -1]] = removed[:, [0]] = 1
    label = np.zeros_like(removed)
    label[-1] = 1
    shape = (1, 11, 5)
    mark, links = staircase(removed, label, [Surface(name="still"), fast])
    engine = build_engine(Setup(shape=shape, viscosity=0.1, mark=mark, walls=links))
    engine.start_uniform()
    engine.advance(200)
    u = engine.moments().velocity[0, 3, 1:, 0]
    assert u.argmax() == 4
    assert u[4] > 3 * u[0] > 0
