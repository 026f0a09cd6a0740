"""Large maps: nothing lost or run twice after a kill, errors measured, a file that says it all."""

import itertools
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.small_car import STATES, write_small_car

from tuftwork.errors import Cancelled, FileFault, InputError
from tuftwork.files.map import read_map
from tuftwork.study import Bench
from tuftwork.study.store import Store
from tuftwork.study.survey import Plan, Survey, run_survey

QUIET: Any = lambda share, step, left_s: None  # noqa: E731


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = write_small_car(
        Path(tmp_path_factory.mktemp("survey")) / "car", draws=32, states=STATES[:2],
        devices=[], schedules=[],
    )  # fmt: skip
    Bench(place).run()
    return place


def cells_on_disk(plan: Plan) -> list[tuple[Any, ...]]:
    """Return every cell that lies in some block, as often as it lies there."""
    found = []
    for job in plan.jobs:
        store = Store(plan.place(job))
        for path in sorted(store.folder.glob("*/*.npz")):
            tree = store.load(path.stem)
            assert tree is not None
            found += [(*job, int(i), int(j)) for i, j in tree["cells"]]
    return found


_KILLED = """
import sys, time
from pathlib import Path
from tuftwork.study import Bench
from tuftwork.study.survey import Survey, run_survey
bench = Bench(sys.argv[1])
def watch(share, step, left_s):
    print(f"{share:.3f}", flush=True)
    time.sleep(0.15)  # so that the kill finds it at work
run_survey(bench, Survey.of(cells=144), watch=watch)
"""


def test_a_killed_survey_goes_on_with_nothing_lost_or_run_twice(folder: Path) -> None:
    bench = Bench(folder)
    plan = Plan.of(bench.answers, Survey.of(cells=144), folder / "results" / "survey")
    asked = [sys.executable, "-c", _KILLED, str(folder)]
    with subprocess.Popen(asked, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        for _ in range(3):  # three blocks are told of, so three lie on the disk
            assert run.stdout.readline()
        run.send_signal(signal.SIGKILL)
        assert run.wait() == -signal.SIGKILL
    before = cells_on_disk(plan)
    files = {p: p.stat().st_mtime_ns for p in plan.folder.rglob("*.npz")}
    assert 0 < len(before) < 2 * 144
    found = run_survey(bench, Survey.of(cells=144), watch=QUIET)
    after = cells_on_disk(plan)
    assert found["kept"] == len(before)
    assert found["ran"] == 2 * 144 - len(before)
    assert len(after) == len(set(after)) == 2 * 144
    assert {p: p.stat().st_mtime_ns for p in files} == files
    again = run_survey(bench, Survey.of(cells=144), watch=QUIET)
    assert again["ran"] == 0


def test_a_damaged_block_is_run_again_and_nothing_else(folder: Path) -> None:
    bench, survey = Bench(folder), Survey.of(cells=49)
    run_survey(bench, survey, watch=QUIET)
    plan = Plan.of(bench.answers, survey, folder / "results" / "survey")
    block = next(plan.place(plan.jobs[0]).rglob("*.npz"))
    tree = Store(plan.place(plan.jobs[0])).load(block.stem)
    assert tree is not None
    block.write_bytes(block.read_bytes()[:200])
    assert run_survey(bench, survey, watch=QUIET)["ran"] == len(tree["cells"])


def test_a_survey_can_be_stopped_and_goes_on(folder: Path) -> None:
    bench, survey = Bench(folder), Survey.of(cells=64)
    told: list[float] = []

    def watch(share: float, step: str, left_s: float | None) -> None:
        told.append(share)

    with pytest.raises(Cancelled):
        run_survey(bench, survey, watch=watch, is_cancelled=lambda: len(told) > 2)
    found = run_survey(bench, survey, watch=QUIET)
    assert found["kept"] > 0
    assert found["kept"] + found["ran"] == 2 * 64


def test_cells_between_runs_are_as_near_as_the_held_out_error_says(folder: Path) -> None:
    bench = Bench(folder)
    part = run_survey(bench, Survey.of(cells=196, share=0.4), watch=QUIET)
    whole = run_survey(bench, Survey.of(cells=196), watch=QUIET)
    read, true = read_map(Path(part["file"])), read_map(Path(whole["file"]))
    np.testing.assert_allclose(read.front, true.front)
    for at, line in enumerate(part["slices"]):
        assert line["run"] < 0.5 * 196
        assert line["error_m2"] is not None
        assert "mm: ±" in line["next"]
        miss = (read.downforce_front + read.downforce_rear)[at] - (
            true.downforce_front + true.downforce_rear
        )[at]
        assert np.sqrt(np.mean(miss**2)) < 3 * line["error_m2"] + 1e-3
        assert np.sqrt(np.mean(miss**2)) < 0.02


def test_refinement_puts_runs_near_the_cliff(folder: Path) -> None:
    bench, survey = Bench(folder), Survey.of(cells=196, share=0.4)
    run_survey(bench, survey, watch=QUIET)
    plan = Plan.of(bench.answers, survey, folder / "results" / "survey")
    cells, fields, _ = plan.read(plan.jobs[0])
    # the rear cliff bends the load between 55 and 63 mm
    rear = 1e3 * plan.rear[np.array(cells)[:, 1]]
    share = np.mean((rear > 54) & (rear < 64))
    even = np.mean((1e3 * plan.rear > 54) & (1e3 * plan.rear < 64))
    assert share >= 0.8 * even
    assert set(fields) >= {"downforce_front", "downforce_rear", "drag"}


def test_slices_in_roll_and_yaw_stand_in_the_file_with_side_force(folder: Path) -> None:
    import xarray as xr

    bench = Bench(folder)
    found = run_survey(bench, Survey.of(cells=36, roll="1 °", yaw="3 °"), watch=QUIET)
    with xr.open_dataset(found["file"], engine="h5netcdf") as straight:
        level = float(np.mean(straight["CzSf_best"] + straight["CzSr_best"]))
        assert straight.attrs["roll"].startswith("0.00")
        assert {"lever_CzS", "cross_CzS", "method", "CzSf_uncertainty"} <= set(straight.variables)
        for key in ("cliffs", "hysteresis", "tyres", "settings", "reynolds", "measured_at"):
            assert straight.attrs[key], key
    with xr.open_dataset(found["file"], engine="h5netcdf", group="yaw_3.0") as askew:
        assert float(np.mean(askew["CzSf_best"] + askew["CzSr_best"])) < level
        assert float(np.min(askew["CyS_best"])) > 0
    with xr.open_dataset(found["file"], engine="h5netcdf", group="roll_1.0") as rolled:
        assert float(np.mean(rolled["CzSf_best"] + rolled["CzSr_best"])) != level


def test_a_survey_file_changed_after_writing_is_refused(folder: Path, tmp_path: Path) -> None:
    import h5py

    bench = Bench(folder)
    target = tmp_path / "map.nc"
    run_survey(bench, Survey.of(cells=36), watch=QUIET, to=str(target))
    with h5py.File(target, "r+") as opened:
        opened["CzSf"][0, 0, 0, 0] += 0.1
    with pytest.raises(FileFault, match="checksum"):
        read_map(target)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"cells": 4}, "cells"),
        ({"cells": 100, "share": 0.0}, "share"),
        ({"cells": 100, "roll": "9 °"}, "roll"),
        ({"cells": 100, "yaw": "0 °"}, "yaw"),
    ],
)
def test_what_cannot_be_surveyed_is_refused(asked: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Survey.of(**asked)


def test_progress_counts_what_was_kept(folder: Path) -> None:
    begun = time.perf_counter()
    told: list[float] = []
    run_survey(Bench(folder), Survey.of(cells=81), watch=lambda share, *_: told.append(share))
    assert told[-1] == pytest.approx(1.0)
    assert all(b >= a for a, b in itertools.pairwise(told))
    assert time.perf_counter() > begun
