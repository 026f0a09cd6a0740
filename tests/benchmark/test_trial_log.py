"""Reading a long log against bare polars, finding faults, repainting a trace; ``make bench``.

``TUFTWORK_LOG_MB`` sets the size of the file (60 by default; 1000 is the promise's own size).
"""

import os
import subprocess
import sys
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import polars as pl
import pytest

from trialdays import DRIVER, made, suspects
from tuftwork.files.log import read_log
from tuftwork.trial.fault import find_faults
from tuftwork.trial.pyramid import build_pyramid
from tuftwork.trial.synthetic import Planted

MEGABYTES = float(os.environ.get("TUFTWORK_LOG_MB", "60"))
N_COLUMN = 60
NAMED = ("time", "gps speed", "pitot", "damper fl", "damper fr", "damper rl", "damper rr",
         "laser front", "laser rear", "acc long")  # fmt: skip

_PEAK = """
import resource, sys
from pathlib import Path
from tuftwork.files.log import read_log
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
read_log(Path(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.fixture(scope="module")
def long_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    names = [*NAMED, *(f"channel {i}" for i in range(N_COLUMN - len(NAMED)))]
    rows = int(MEGABYTES * 1e6 / (N_COLUMN * 7))
    block = min(rows, 100_000)
    noise = np.random.default_rng(1)
    path = tmp_path_factory.mktemp("log") / "long.csv"
    values = noise.uniform(10, 99, (block, N_COLUMN)).round(3)
    with path.open("wb") as file:
        for first in range(0, rows, block):
            count = min(block, rows - first)
            table = {n: values[:count, i] for i, n in enumerate(names)}
            table["time"] = np.round((first + np.arange(count)) / 100, 2)
            pl.DataFrame(table).write_csv(file, include_header=first == 0)
    return path


def test_reading_costs_little_more_than_bare_polars(benchmark: Any, long_log: Path) -> None:
    begun = perf_counter()
    bare = pl.read_csv(long_log)
    plain = perf_counter() - begun
    rows = bare.height
    del bare
    read = benchmark.pedantic(read_log, args=(long_log,), rounds=1, iterations=1)
    assert read.rows == rows
    size = long_log.stat().st_size
    benchmark.extra_info["times_bare_polars"] = benchmark.stats.stats.min / plain
    # in a process of its own: the peak of this one is what reading without us has taken
    told = subprocess.run(
        [sys.executable, "-c", _PEAK, str(long_log)], capture_output=True, text=True, check=True
    )
    benchmark.extra_info["memory_over_file"] = float(told.stdout) * 1024 / size
    benchmark.extra_info["file_MB"] = size / 1e6


def test_faults_of_a_days_log(benchmark: Any) -> None:
    planted = Planted(**DRIVER, gains={"pot rear left": 0.92, "air speed": 1.03})
    day = made(planted, 7, seconds=60.0)
    benchmark.extra_info["samples"] = int(day.log.base.time.size)
    found = benchmark.pedantic(find_faults, args=(day.log, suspects(day)), rounds=1, iterations=1)
    assert len([h for h in found if h.is_fault]) == 3


def test_a_window_of_ten_million_samples(benchmark: Any) -> None:
    values = np.random.default_rng(1).normal(0, 1, 10_000_000)
    trace = build_pyramid(np.arange(values.size) / 1000, values)
    at, _, _ = benchmark(trace.window, 1234.5, 8000.0, 900)
    assert at.size < 4000
