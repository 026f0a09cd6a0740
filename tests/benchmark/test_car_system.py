"""Seconds of the car as a system: eigenvalues of every draw and speed, cells of a large map."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.aeromap.test_together import plain_bounce
from tests.unit.study.small_car import STATES, write_small_car

from tuftwork.aeromap.oscillation import car_oscillator, modes_of
from tuftwork.study import Bench
from tuftwork.study.survey import Survey, run_survey


def test_eigenvalues_of_256_draws_at_37_speeds(benchmark: Any) -> None:
    shape = (37, 256)
    bounce = plain_bounce()
    wide = {n: np.full(256, float(getattr(bounce, n)[0])) for n in type(bounce).__slots__}
    system = car_oscillator(
        type(bounce)(**wide), series_front=np.full(shape, 1.2e5), series_rear=np.full(shape, 1.2e5),
        slopes=np.full((2, 2, *shape), 2e4), lag=np.full(shape, 0.05),
    )  # fmt: skip
    found = benchmark(modes_of, system)
    assert found.growth.shape == shape


@pytest.mark.parametrize("share", [1.0, 0.3])
def test_a_thousand_cells_of_three_states(benchmark: Any, tmp_path: Path, share: float) -> None:
    folder = write_small_car(
        tmp_path / "car", draws=256, states=STATES[:3], devices=[], schedules=[]
    )
    bench = Bench(folder)
    bench.run()
    wanted = Survey.of(cells=1000, share=share)

    def run() -> dict[str, Any]:
        return run_survey(bench, wanted, watch=lambda *_: None)

    found = benchmark.pedantic(run, rounds=1)
    benchmark.extra_info["cells run"] = found["ran"]
    assert found["ran"] >= 3 * int(share * 1000)
