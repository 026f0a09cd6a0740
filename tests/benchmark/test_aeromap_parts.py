"""How fast the whole car answers: one call for a grid against one call for each of its cells."""

from typing import Any

import numpy as np
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import budget, car_loads
from tuftwork.aeromap.part import draws_of, part_models

FRONT, REAR = np.meshgrid(np.linspace(35, 65, 15), np.linspace(45, 90, 15), indexing="ij")


def test_loads_of_225_cells_and_256_draws(benchmark: Any) -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.prior())
    here = halyard.platform(FRONT[..., None], REAR[..., None], 200.0)
    loads = benchmark(car_loads, models, here, draws)
    assert loads.downforce.shape == (15, 15, 256)


def test_loads_cell_by_cell(benchmark: Any) -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.prior())
    cells = [
        halyard.platform(f, r, 200.0) for f, r in zip(FRONT.ravel(), REAR.ravel(), strict=True)
    ]

    def one_by_one() -> int:
        return sum(car_loads(models, cell, draws).downforce.size for cell in cells)

    assert benchmark.pedantic(one_by_one, rounds=1) == 225 * 256


def test_budget_of_one_state(benchmark: Any) -> None:
    models = part_models(halyard.project())
    found = benchmark(budget, models, halyard.platform(45.0, 57.0, 220.0), halyard.prior())
    assert found.total.kind == "total"
