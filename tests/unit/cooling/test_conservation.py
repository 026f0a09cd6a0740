"""Air, liquid and heat together conserve mass and energy to 1e-9, in random cars."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tuftwork.cooling import (
    AirNet,
    Cooler,
    CoolingSystem,
    Core,
    Exit,
    HotStream,
    Inlet,
    Leak,
    Surroundings,
    simple_loop,
    solve_cooling,
)
from tuftwork.cooling.surroundings import OUTSIDE


def _core(area: float) -> Core:
    return Core(face_area=area, linear_loss=16.0, square_loss=3.0, mass_velocity=(1.0, 10.0),
                conductance=(2500.0, 9000.0))  # fmt: skip


def _car(rng: np.random.Generator, *, is_series: bool, has_stream: bool) -> CoolingSystem:
    """Return a car with two cores of one loop, behind each other or side by side, and a leak."""
    first, second = (_core(float(rng.uniform(0.12, 0.3))) for _ in range(2))
    between = "b" if is_series else "a"
    behind = "c" if is_series else "b"
    parts = [
        Inlet(name="in", end="a", area=float(rng.uniform(0.05, 0.12))),
        Cooler(name="one", start="a", end="b", core=first),
        Cooler(name="two", start=between, end=behind, core=second),
        Leak(name="gap", start="a", end=behind, area=float(rng.uniform(1e-3, 1e-2))),
        Exit(name="out", start=behind, net_area=float(rng.uniform(0.05, 0.12)),
             pressure=float(rng.uniform(-0.5, 0.0))),
        Leak(name="seam", start="b", end=OUTSIDE, area=float(rng.uniform(1e-3, 5e-3))),
    ]  # fmt: skip
    streams: tuple[HotStream, ...] = ()
    if has_stream:
        parts += [Cooler(name="charge", start="a", end=behind, core=_core(0.1))]
        streams = (HotStream(cooler="charge", mass_flow=0.3, temperature=405.0),)
    heat = rng.uniform(20e3, 70e3, 3)
    loop = simple_loop("water", ("one", "two"), heat=heat, flow=float(rng.uniform(1.0, 3.0)))
    return CoolingSystem(air=AirNet(elements=tuple(parts)), loops=(loop,), streams=streams)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), is_series=st.booleans(), has_stream=st.booleans(),
       humidity=st.floats(0.0, 1.0))  # fmt: skip
def test_every_car_conserves_mass_and_energy(
    seed: int, is_series: bool, has_stream: bool, humidity: float
) -> None:
    rng = np.random.default_rng(seed)
    car = _car(rng, is_series=is_series, has_stream=has_stream)
    around = Surroundings(speed=float(rng.uniform(25.0, 70.0)), temperature=303.15,
                          humidity=humidity)  # fmt: skip
    state = solve_cooling(car, around)
    air, loop = state.air, car.loops[0]
    # what the engine gives, the cores shed
    shed = state.heat["one"] + state.heat["two"]
    np.testing.assert_allclose(shed, loop.heat, rtol=1e-9)
    # what enters leaves, at every node and over the car
    largest = np.abs(air.flow).max()
    for node in air.nodes:
        kept = sum(
            air.of(p.name) * ((p.end == node) * 1.0 - (p.start == node) * 1.0)
            for p in car.air.elements
        )
        assert float(np.abs(kept).max()) < 1e-9 * largest
    # heat over the car leaves with the air
    gained = np.zeros(3)
    for part in car.air.elements:
        if OUTSIDE not in (part.start, part.end):
            continue
        out = air.of(part.name) * (1.0 if part.end == OUTSIDE else -1.0)
        warm = np.where(out > 0, air.of(part.name, "inlet"), 303.15) - 303.15
        gained = gained + np.maximum(out, 0.0) * around.heat_capacity * warm
    np.testing.assert_allclose(gained, sum(state.heat.values()), rtol=1e-9)
    if has_stream:
        cooled = 0.3 * 1006.5 * (405.0 - state.stream_outlet["charge"])
        np.testing.assert_allclose(cooled, state.heat["charge"], rtol=1e-3)  # cp of the room's air
