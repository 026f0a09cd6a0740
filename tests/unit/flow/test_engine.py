"""What every back end promises."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.flow.engine import AbstractEngine, build_engine
from tuftwork.flow.generate import TARGET, cpu_source
from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY, WEIGHT
from tuftwork.flow.setup import Setup, Surface, plain_box
from tuftwork.flow.walls import Body, staircase, wrap_bodies
from tuftwork.shape.loft import block, drum

ROUND_OFF = {"float64": 1e-12, "float32": 2e-6, "float16": 2e-4}
"""Relative drift allowed over the steps taken here: storage, not physics."""


def expect_miss(engine: AbstractEngine, precision: str, size: str) -> None:
    """Say which bound a card misses: seen on one H100, not mended yet."""
    if engine.backend == "cuda" and engine.precision == precision:
        pytest.xfail(size)


def test_velocities_are_isotropic_to_fourth_order() -> None:
    assert WEIGHT.sum() == pytest.approx(1.0, abs=1e-15)
    second = np.einsum("q,qa,qb->ab", WEIGHT, VELOCITY, VELOCITY)
    np.testing.assert_allclose(second, np.eye(3) / 3, atol=1e-15)
    fourth = np.einsum("q,qa,qb,qc,qd->abcd", WEIGHT, VELOCITY, VELOCITY, VELOCITY, VELOCITY)
    eye = np.eye(3)
    isotropic = sum(
        np.einsum(f"{p},{q}->abcd", eye, eye) for p, q in (("ab", "cd"), ("ac", "bd"), ("ad", "bc"))
    )
    np.testing.assert_allclose(fourth, isotropic / 9, atol=1e-15)
    np.testing.assert_array_equal(VELOCITY[OPPOSITE], -VELOCITY)
    assert len(VELOCITY) == N_VELOCITY


def test_the_generated_kernel_still_says_what_the_recipe_says() -> None:
    assert TARGET.read_text(encoding="utf-8") == cpu_source()


def test_mass_and_momentum_are_kept_in_a_closed_periodic_box(
    backend: tuple[str, str], request: pytest.FixtureRequest
) -> None:
    shape = (12, 10, 8)
    rng = np.random.default_rng(4)
    setup = Setup(shape=shape, viscosity=1e-4, mark=plain_box(shape))
    engine = build_engine(setup, *backend)
    velocity = 0.05 * rng.standard_normal((3, *shape[::-1])) + 0.03
    density = 1.0 + 0.01 * rng.standard_normal(shape[::-1])
    engine.start(density, velocity)
    before = engine.moments()
    engine.advance(40)
    after = engine.moments()
    expect_miss(engine, "float32", "momentum drifts by 6e-6 on the card against 2e-6")
    if backend == ("cpu", "float32"):
        miss = pytest.mark.xfail(strict=True, reason="miss: momentum drifts by 6e-6 against 2e-6")
        request.applymarker(miss)
    bound = ROUND_OFF[engine.precision]
    assert after.density.sum() == pytest.approx(before.density.sum(), rel=bound)
    first, last = (np.einsum("kji,akji->a", m.density, m.velocity) for m in (before, after))
    np.testing.assert_allclose(last, first, rtol=0, atol=bound * np.abs(first).max())


def test_a_plate_between_a_still_and_a_moving_wall_drags_the_fluid_linearly(
    backend: tuple[str, str],
) -> None:
    height = 16
    removed = np.zeros((height + 2, 1, 1), np.uint8)
    removed[[0, -1]] = 1
    label = removed.copy()
    label[0] = 0
    surfaces = [Surface(name="still"), Surface(name="lid", velocity=(0.05, 0.0, 0.0))]
    mark, links = staircase(removed, label, surfaces)
    setup = Setup(shape=(1, 1, height + 2), viscosity=0.125, mark=mark, walls=links)
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(2000)
    u = engine.moments().velocity[0, 1:-1, 0, 0]
    exact = 0.05 * (np.arange(height) + 0.5) / height
    # terms of third order in speed leave 5e-6 of the lid speed; half precision is meant for
    # turbulent flow: a step of speed between cells, 3e-3, is held to a part in 50 or so
    expect_miss(
        engine, "float16",
        "1.4 % of the lid's speed against 0.3 %, and its load 7.2 % high against 2 %, on the card",
    )  # fmt: skip
    bound = {"float64": 1e-5, "float32": 3e-5, "float16": 3e-3}[engine.precision]
    np.testing.assert_allclose(u, exact, atol=0.05 * bound)
    # the lid's load is the shear stress ν u / H on one cell
    assert engine.part_loads()[1, 0] == pytest.approx(-0.125 * 0.05 / height, rel=max(bound, 1e-3))


def test_an_interpolated_wall_puts_the_zero_where_the_wall_is(backend: tuple[str, str]) -> None:
    """Channel between the road and a slab whose face lies anywhere between two layers."""
    for face in (16.7, 16.95, 17.3):
        slab = block("slab", (-9.0, -9.0, face), (9.0, 9.0, face + 3.0))
        road = np.zeros((22, 1, 1), np.uint8)
        road[0] = 1
        body = Body(triangles=slab.triangles, surface=1)
        surfaces = [Surface(name="road"), Surface(name="slab")]
        mark, links = wrap_bodies((1, 1, 22), [body], surfaces, skin=0.0, surroundings=road)
        height = face - 0.5
        force = 8 * 0.125 * 0.02 / height**2
        setup = Setup(
            shape=(1, 1, 22), viscosity=0.125, mark=mark, walls=links, force=(force, 0.0, 0.0)
        )
        engine = build_engine(setup, *backend)
        z = np.arange(22) - 0.5
        exact = np.where((z > 0) & (z < height), force / 0.25 * z * (height - z), 0.0)
        velocity = np.zeros((3, 22, 1, 1))
        velocity[0, :, 0, 0] = exact
        engine.start(np.ones((22, 1, 1)), velocity)
        engine.advance(1500)
        fluid = mark[:, 0, 0] != 1
        fluid[18:] = False
        u = engine.moments().velocity[0, :, 0, 0]
        # linear interpolation along the link: of the order of one cell over the height, squared
        bound = {"float64": 0.006, "float32": 0.006, "float16": 0.012}[engine.precision]
        np.testing.assert_allclose(u[fluid], exact[fluid], atol=bound * exact.max())


def test_back_ends_agree_on_a_wheel_in_a_stream(backend: tuple[str, str]) -> None:
    wheel = drum("wheel", (12.0, 8.0, 6.0), 4.3, 5.0)
    road = np.zeros((16, 16, 32), np.uint8)
    road[0] = 1
    surfaces = [
        Surface(name="road", has_wall_law=True, velocity=(0.08, 0.0, 0.0)),
        Surface(name="wheel", has_wall_law=True, spin=(0.0, -0.016, 0.0), centre=(12.0, 8.0, 6.0)),
    ]
    mark, links = wrap_bodies(
        (32, 16, 16), [Body(triangles=wheel.triangles, surface=1)], surfaces,
        skin=0.5, surroundings=road,
    )  # fmt: skip
    sponge = (np.zeros(32), np.zeros(16), np.zeros(16))
    sponge[0][0] = sponge[1][0] = sponge[2][-1] = 1.0
    setup = Setup(
        shape=(32, 16, 16), viscosity=1e-5, mark=mark, walls=links, stream=(0.08, 0.0, 0.0),
        sponge=sponge,
    )  # fmt: skip
    reference = build_engine(setup, "cpu")
    engine = build_engine(setup, *backend)
    for e in (reference, engine):
        e.start_uniform()
        e.advance(15)
    a, b = reference.moments(), engine.moments()
    fluid = mark != 1
    error = np.abs(b.velocity - a.velocity)[:, fluid].max() / 0.08
    assert error < {"float64": 1e-14, "float32": 2e-4, "float16": 2e-2}[engine.precision]
    scale = np.abs(reference.part_loads()[1, :3]).max()
    assert np.abs(engine.part_loads() - reference.part_loads())[1, :3].max() < 0.02 * scale


def test_means_and_states_come_back_as_saved(backend: tuple[str, str]) -> None:
    shape = (8, 8, 8)
    setup = Setup(shape=shape, viscosity=0.01, mark=plain_box(shape), stream=(0.05, 0.0, 0.0))
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(2)
    engine.sample()
    held = {key: np.array(value) for key, value in engine.state().items()}
    engine.advance(3)
    engine.restore(held)
    assert (engine.step, engine.n_sample) == (4, 1)
    mean, _ = engine.means()
    np.testing.assert_allclose(mean.velocity[0], 0.05, rtol=1e-3)
    engine.clear()
    assert engine.n_sample == 0


def test_impossible_setups_are_refused() -> None:
    good = Setup(shape=(4, 4, 4), viscosity=0.1, mark=plain_box((4, 4, 4)))
    with pytest.raises(InputError, match="viscosity = 0"):
        replace(good, viscosity=0.0)
    with pytest.raises(InputError, match=r"must be below 0\.3"):
        replace(good, stream=(0.4, 0.0, 0.0))
    with pytest.raises(InputError, match="must have shape"):
        replace(good, shape=(4, 4, 5))
    with pytest.raises(UnknownName, match="backend"):
        build_engine(good, "cup")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="offers"):
        build_engine(good, "cpu", "float16")


def test_air_shut_in_between_bodies_is_taken_out() -> None:
    """Six slabs that overlap into a hollow box leave no air inside it."""
    low, high, thick = 4.2, 14.2, 2.0
    slabs = []
    for axis in range(3):
        for face in (low, high - thick):
            a, b = [low] * 3, [high] * 3
            a[axis], b[axis] = face, face + thick
            slabs.append(block("slab", tuple(a), tuple(b)))
    bodies = [Body(triangles=s.triangles, surface=1) for s in slabs]
    surfaces = [Surface(name="none"), Surface(name="box")]
    mark, links = wrap_bodies((20, 20, 20), bodies, surfaces, skin=0.0)
    assert (mark[5:14, 5:14, 5:14] == 1).all()
    assert (mark == 1).sum() == 10**3
    assert set(np.unique(links.surface_of[links.cut > 0])) == {1}
