"""Seconds of the lap: one lap, its gradient against the lap, an ensemble, a straight against SciPy.

No timed gates: numbers go into the benchmark history, ratios are taken in one run.
"""

import time
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from tuftwork.lap import (
    Case,
    Draws,
    Piece,
    circuit_from_radii,
    lap_times,
    prepare,
    solve_sprint,
)
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero
from tuftwork.lap.kernel import solve_point
from tuftwork.lap.physics import DRIVE
from tuftwork.lap.solve import gradient_of, run_kernel


def best(work: Callable[[], object], times: int = 7) -> float:
    work()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def usual(n_point: int) -> Case:
    return prepare(brackenholt(), halyard(), halyard_aero(), n_point=n_point)


def test_one_lap_at_5000_points(benchmark: Callable[..., object]) -> None:
    case = usual(5000)
    coef = case.aero.of_draw(0)
    benchmark(lambda: run_kernel(case, case.parameters, coef))


def test_gradient_in_laps(benchmark: Callable[..., object]) -> None:
    case = usual(5000)
    p, coef = case.parameters, case.aero.of_draw(0)
    record = run_kernel(case, p, coef)
    lap = best(lambda: run_kernel(case, p, coef))
    slope = best(lambda: gradient_of(case, record, p, coef, case.mix))
    benchmark.extra_info["lap and gradient over lap"] = 1.0 + slope / lap  # type: ignore[attr-defined]
    benchmark(lambda: gradient_of(case, record, p, coef, case.mix))


def test_ensemble_of_one_circuit(benchmark: Callable[..., object]) -> None:
    case = usual(2000)
    rng = np.random.default_rng(0)
    draws = Draws(n_draw=256, shifts={"grip_front": 0.02 * rng.standard_normal(256)})
    benchmark.pedantic(lambda: lap_times(case, draws), rounds=2, warmup_rounds=1)  # type: ignore[attr-defined]


def test_straight_line_against_a_general_integrator(benchmark: Callable[..., object]) -> None:
    road = circuit_from_radii("straight", [Piece(length=690.0)], closed=False)
    case = prepare(road, halyard(), halyard_aero(), n_point=700)
    aero = (case.aero.of_draw(0), case.aero.ride_height_front, case.aero.ride_height_rear)
    power = case.vehicle.power
    flat = (0.0, 0.0, 1.0, 0.0, 1.0, 0.0)
    guess = (0.0, 0.053, 0.066, 0.0)

    def slope(_: float, energy: np.ndarray) -> list[float]:
        found = solve_point(
            DRIVE, float(energy[0]), guess, flat, np.zeros(3), case.parameters,
            case.vehicle.flags, aero, power.table, power.step,
        )  # fmt: skip
        return [float(found[0])]

    def general() -> float:
        done = solve_ivp(slope, (0.0, 690.0), [0.5 * 25.0**2], rtol=1e-8, atol=1e-8)
        return float(np.sqrt(2.0 * done.y[0, -1]))

    def ours() -> float:
        return float(solve_sprint(case, start_speed=25.0).trace.speed[-1])

    assert abs(general() - ours()) < 0.05
    benchmark.extra_info["general integrator over ours"] = best(general, 3) / best(ours, 3)  # type: ignore[attr-defined]
    benchmark(ours)
