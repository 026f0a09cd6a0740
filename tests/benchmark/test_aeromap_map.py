"""Reading the map and finding equilibria: seconds, and ratios against a general library.

Ratios are taken in one run, best of several, and kept with the benchmark's results; no test fails
for being slow, because the machine may be busy.
"""

from time import perf_counter
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from tuftwork.aeromap.equilibrium import follow_path, solve_equilibria
from tuftwork.aeromap.interpolate import Surface, evaluate, surface_of
from tuftwork.aeromap.platform import AxleRates, Suspension, axle_spring

N_POINT = 100_000
FRONT = 0.025 + 0.040 * np.linspace(0, 1, 15) ** 1.2
REAR = 0.030 + 0.050 * np.linspace(0, 1, 15) ** 0.9


def halyard(n_draw: int) -> tuple[Surface, Suspension]:
    rng = np.random.default_rng(0)
    x, y = np.meshgrid(FRONT, REAR, indexing="ij")
    cliff = rng.normal(0.0605, 0.001, n_draw)
    front = (0.7 - 8 * (x - 0.05))[..., None] * rng.normal(1, 0.05, n_draw)
    rear = 0.68 + 0.33 / (1 + np.exp(-(y[..., None] - cliff) / 1.5e-3))
    surface = surface_of(FRONT, REAR, np.stack([front, rear, 0 * rear + 0.9]))
    flat, none = np.zeros(n_draw), np.zeros((n_draw, 0))
    axles = [
        axle_spring(
            AxleRates(
                wheel_rate=flat + wheel, tyre_rate=flat + 265e3, stop_gap=none, stop_rate=none
            ),
            ride_height=flat + height, growth=flat, static_load=flat + 6e3,
        )
        for wheel, height in ((72e3, 0.058), (78e3, 0.071))
    ]  # fmt: skip
    return surface, Suspension(front=axles[0], rear=axles[1], inputs={})


def best(call: Any, rounds: int = 7) -> float:
    times = []
    for _ in range(rounds):
        start = perf_counter()
        call()
        times.append(perf_counter() - start)
    return min(times)


@pytest.mark.parametrize("n_field", [1, 3])
@pytest.mark.parametrize("method", ["bilinear", "smooth"])
def test_reading_100000_points(benchmark: Any, method: str, n_field: int) -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(size=(n_field, 15, 15, 1))
    surface = surface_of(FRONT, REAR, values)
    points = rng.uniform(FRONT[0], FRONT[-1], N_POINT), rng.uniform(REAR[0], REAR[-1], N_POINT)
    theirs = RegularGridInterpolator(
        (FRONT, REAR), np.moveaxis(values[..., 0], 0, 2),
        method="linear" if method == "bilinear" else "cubic",
    )  # fmt: skip
    stacked = np.stack(points, axis=1)
    ours = benchmark(evaluate, surface, *points, method=method)
    reference = best(lambda: theirs(stacked), rounds=3)
    benchmark.extra_info["times faster than the library"] = round(
        reference / best(lambda: evaluate(surface, *points, method=method)), 1
    )
    if method == "bilinear":
        np.testing.assert_allclose(ours[:, :, 0].T, theirs(stacked), atol=1e-12)


def test_a_million_platform_loops(benchmark: Any) -> None:
    surface, car = halyard(256)
    speed = np.linspace(0.0, 70.0, 4096)  # 256 draws × 4096 speeds = 1 048 576
    solve_equilibria(surface, car, speed=speed[:2], density=1.18)
    found = benchmark.pedantic(
        solve_equilibria, (surface, car), {"speed": speed, "density": 1.18}, rounds=2
    )
    benchmark.extra_info["microseconds a solve"] = round(
        1e6 * benchmark.stats.stats.min / found.count.size, 2
    )
    assert np.all(found.count >= 1)


def test_a_path_of_256_draws(benchmark: Any) -> None:
    surface, car = halyard(256)
    speed = np.arange(100.0, 241.0, 20.0) / 3.6
    up, _ = benchmark(follow_path, surface, car, speed=speed, density=1.18)
    assert np.all(up.covered)
