"""Large maps: nothing lost or run twice after a kill, errors measured, a file that says it all."""

import itertools
import re
import shutil
import signal
import subprocess
import sys
import time
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.small_car import small_car

from tuftwork.aeromap.dataset import from_dataset
from tuftwork.aeromap.surrogate import fit_surrogate, next_run, with_factor
from tuftwork.errors import Cancelled, FileFault, InputError
from tuftwork.files.map import read_map
from tuftwork.study import Bench
from tuftwork.study.store import Store
from tuftwork.study.survey import Plan, Survey, run_survey
from tuftwork.study.survey_error import coverage, errors_of, judged, outputs_of
from tuftwork.study.survey_plan import Block, run_block

QUIET: Any = lambda share, step, left_s: None  # noqa: E731


@pytest.fixture(scope="module")
def folder(two_states: Bench, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(two_states.folder, tmp_path_factory.mktemp("survey") / "car"))


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
told = []
def watch(share, step, left_s):
    told.append(share)
    print(f"{share:.3f}", flush=True)
    # the kill finds it at work, however late it comes
    time.sleep(0.15 if len(told) < 4 else 600.0)
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


def unseen(bench: Bench, survey: Survey) -> tuple[float, float]:
    """Return the share of the misses in the 80 % ranges at every cell that was not run, and what
    the survey says of it; the truth of these cells is run here."""
    plan = Plan.of(bench.answers, survey, bench.folder / "results" / "survey")
    found = judged(errors_of(plan))
    inside, of_all = 0, 0
    for job in plan.jobs:
        cells, fields, _ = plan.read(job)
        others = [c for c in plan.every if c not in set(cells)]
        made = with_factor(fit_surrogate(plan.places(cells), outputs_of(fields)), found[job].factor)
        heights = np.array([[plan.front[i], plan.rear[j]] for i, j in others])
        true = run_block(
            Block(case=plan.cases[job[0]], at=survey.slices[job[1]], cells=tuple(others),
                  heights=heights)
        )  # fmt: skip
        total = true["downforce_front"] + true["downforce_rear"]
        last = slice(-plan.n_draw, None)
        places = plan.places(others)
        miss = np.abs(made.mean(places)[:, last] - total)
        own = made.deviation(places)[:, None] * made.spread[last]
        inside += int(np.sum(miss <= 1.28155 * own))
        of_all += miss.size
    return inside / of_all, coverage(found)[0]


def test_ranges_between_runs_hold_as_often_as_they_say_in_roll_too(folder: Path) -> None:
    bench, survey = Bench(folder), Survey.of(cells=400, share=0.3, roll="1 °, 2 °")
    found = run_survey(bench, survey, watch=QUIET)
    share, said = unseen(bench, survey)
    assert share == pytest.approx(0.80, abs=0.05)
    assert said == pytest.approx(share, abs=0.06)
    assert f"{100 * said:.0f} % of the misses" in found["held"]
    for line in found["slices"]:
        assert line["held_out"] == int(np.ceil(0.15 * np.ceil(0.3 * 400)))


def test_the_next_run_lowers_the_doubt_over_the_map(folder: Path) -> None:
    bench, survey = Bench(folder), Survey.of(cells=196, share=0.4)
    plan = Plan.of(bench.answers, survey, folder / "results" / "survey")
    run_survey(bench, survey, watch=QUIET)
    cells, fields, _ = plan.read(plan.jobs[0])
    others = [c for c in plan.every if c not in set(cells)]
    made = fit_surrogate(plan.places(cells), outputs_of(fields))
    best = next_run(made, plan.places(others))
    assert best.after < best.before
    # a process with that run in it, same lengths and scales: its own variance falls as foretold
    scale = made.local(plan.places(others))
    more = np.concatenate([outputs_of(fields), outputs_of(fields)[:1]])
    after = fit_surrogate(plan.places([*cells, others[best.index]]), more, made.lengths)
    left = np.sqrt(np.mean(after.left(plan.places(others)) * scale**2))
    assert best.after == pytest.approx(left, rel=1e-3)


FIELDS_ASKED = {
    # what the header must hold, and under which name it stands in the file
    "car": "car", "config hash": "digest", "body parts": "configuration", "settings": "settings",
    "cooling state": "cooling", "wheel and tyre size, loaded radius": "tyres",
    "camber": "camber", "steer": "steer", "yaw": "yaw", "roll": "roll", "wind": "wind",
    "Reynolds number and speed": "reynolds", "density": "made_at_density",
    "speed": "made_at_speed", "viscosity": "made_at_viscosity", "ground condition": "ground",
    "date": "day", "author": "author", "method": "method", "mass state": "mass_state",
    "reference plane": "datum", "points where heights are measured": "measured_at",
    "sign and moment convention": "axes", "interpolation rule": "interpolation",
    "known cliffs": "cliffs", "hysteresis direction": "hysteresis", "checksum": "checksum",
    "change log": "changes", "meaning of the ranges": "range", "slices": "slices",
}  # fmt: skip
PER_CELL = {
    "source of the cell: track, tunnel, solver, model": "source", "origin": "origin",
    "method per cell": "method", "valid flag": "valid", "extrapolated flag": "extrapolated",
    "doubt from reading between runs": "CzS_between",
}  # fmt: skip
LOADS = ("CzSf", "CzSr", "CxS", "CyS", "CnSL", "cooling_flow")
DEVICES = ("lever_step", "lever_CzS", "lever_CzSf", "lever_CxS", "lever_CzS_held", "cross_CzS",
           "blanked_CzS", "blanked_cooling_flow")  # fmt: skip


@pytest.fixture(scope="module")
def sliced(folder: Path) -> Path:
    wanted = Survey.of(cells=144, share=0.45, roll="1 °", yaw="3 °", steer="4 °", speed="120 km/h")
    return Path(run_survey(Bench(folder), wanted, watch=QUIET)["file"])


def opened(path: Path, group: str | None = None) -> Any:
    import xarray as xr

    return xr.open_dataset(path, engine="h5netcdf", group=group)


def test_the_header_of_the_map_file_is_complete_field_by_field(sliced: Path) -> None:
    with opened(sliced) as held:
        missing = [asked for asked, key in FIELDS_ASKED.items() if not held.attrs.get(key)]
        assert missing == []
        assert [a for a, key in PER_CELL.items() if key not in held.variables] == []
        for name in LOADS:
            for end in ("low", "best", "high", "uncertainty"):
                assert held[f"{name}_{end}"].dims == ("state", "hf", "hr")
                assert held[f"{name}_{end}"].attrs["units"]
        assert set(DEVICES) <= set(held.variables)
        steps = set(held["lever_step"].to_numpy())
        assert {"1 °", "1 mm"} <= steps  # per degree, per mm of Gurney flap
        assert held["source"].attrs["flag_meanings"] == "track tunnel solver model"
        assert "loaded radius at rest" in held.attrs["tyres"]
        # two axes of heights, finer near the cliff than elsewhere
        gaps = np.diff(held["hr"].to_numpy())
        assert 10 <= held.sizes["hf"] <= 15
        assert np.min(gaps) < 0.7 * np.max(gaps)


def test_the_config_hash_follows_the_car_and_the_loaded_radius_its_weight(sliced: Path) -> None:
    with opened(sliced) as held:
        digest, tyres = held.attrs["digest"], held.attrs["tyres"]
    assert re.fullmatch(r"[0-9a-f]{64}", digest)
    # by hand: half the front axle's weight on one tyre
    car = small_car(32)
    weight = {m["name"]: m for m in car["mass_states"]}
    race = next(iter(weight.values()))
    number = {k: float(re.match(r"[\d.]+", race[k]).group()) for k in ("mass", "front_weight")}  # type: ignore[union-attr]
    front = car["car"]["front"]
    size, rate = (
        float(re.match(r"[\d.]+", front[k]).group()) for k in ("tyre_diameter", "tyre_rate")
    )  # type: ignore[union-attr]
    load = 9.80665 * number["mass"] * number["front_weight"] / 100 / 2
    said = float(re.search(r"loaded radius at rest (\d+) mm", tyres).group(1))  # type: ignore[union-attr]
    millimetre = 1.0 if front["tyre_rate"].split()[1] == "N/mm" else 1e3
    assert said == pytest.approx(size / 2 - millimetre * load / rate, abs=1.5)


def test_slices_stand_in_the_file_and_go_the_way_they_must(sliced: Path) -> None:
    def level(held: Any, name: str = "CzS") -> float:
        ends = ("CzSf", "CzSr") if name == "CzS" else (name,)
        return float(sum(np.mean(held[f"{end}_best"]) for end in ends))

    with opened(sliced) as straight:
        names = straight.attrs["slices"].split(", ")
        assert names == ["roll_1.0", "yaw_3.0", "steer_4.0", "120_km_h"]
        assert straight.attrs["roll"].startswith("0.00")
        assert float(np.max(np.abs(straight["CyS_best"]))) == 0
        flow = level(straight, "cooling_flow")
        assert flow > 0
        speed = straight.attrs["made_at_speed"]
        usual = level(straight)
        drag = level(straight, "CxS")
    with opened(sliced, "yaw_3.0") as askew:
        assert level(askew) < usual
        assert float(np.min(askew["CyS_best"])) > 0
        assert askew.attrs["yaw"] == "3.00°"
    with opened(sliced, "roll_1.0") as rolled:
        assert level(rolled) != usual
    with opened(sliced, "steer_4.0") as turned:
        assert level(turned) < usual
        assert level(turned, "CxS") > drag
        assert turned.attrs["steer"] == "4.00°"
    with opened(sliced, "120_km_h") as slow:
        # the coolers' share of the car's speed is an input: the flow goes with the speed
        assert level(slow, "cooling_flow") == pytest.approx(flow * 120 / 3.6 / speed, rel=1e-6)
        assert slow.attrs["made_at_speed"] == pytest.approx(120 / 3.6)


def test_a_number_changed_anywhere_in_the_file_is_told(sliced: Path) -> None:
    for group in (None, "yaw_3.0"):
        with opened(sliced, group) as held:
            whole = held.load()
        assert from_dataset(whole).digest == whole.attrs["checksum"]
        for name in ("CyS_best", "CnSL_low", "cooling_flow_high", "method", "CzS_between"):
            changed = whole.copy(deep=True)
            changed[name][0, 1, 1] += 1
            with pytest.raises(InputError, match="beside the axle loads"):
                from_dataset(changed)
        changed = whole.copy(deep=True)
        changed["CzSf"][0, 1, 1, 0] += 1e-9
        with pytest.raises(InputError, match="changed after writing"):
            from_dataset(changed)


def test_how_good_the_reading_is_stands_with_the_map(sliced: Path) -> None:
    with opened(sliced) as held:
        assert np.all(held["held_out_error"] > 0)
        assert np.all(held["held_out_count"] >= 8)
        assert np.all((held["held_out_covered"] > 0.4) & (held["held_out_covered"] <= 1))
        assert np.all(np.isin(held["next_hf"], held["hf"]))
        between = held["CzS_between"].to_numpy()
        assert np.all(between[held["method"].to_numpy() == 0] == 0)
        assert np.all(between[held["method"].to_numpy() == 1] > 0)


def test_a_saved_map_has_the_same_header(folder: Path, tmp_path: Path) -> None:
    with opened(Path(Bench(folder).save_map(tmp_path / "map.nc"))) as held:
        missing = [a for a, k in FIELDS_ASKED.items() if k != "slices" and not held.attrs.get(k)]
        assert missing == []


def test_a_survey_on_a_scheduler_is_the_same_and_goes_on_after_a_stop(
    folder: Path, tmp_path: Path
) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    bench, survey = Bench(folder), Survey.of(cells=100, share=0.6)
    told: list[float] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the scheduler's own warnings about ports in use
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster:
            place = cluster.scheduler_address
            with pytest.raises(Cancelled):
                run_survey(
                    bench, survey, watch=lambda share, *_: told.append(share), scheduler=place,
                    is_cancelled=lambda: len(told) > 3,
                )  # fmt: skip
            plan = Plan.of(bench.answers, survey, folder / "results" / "survey")
            kept = cells_on_disk(plan)
            far = run_survey(
                bench, survey, watch=QUIET, scheduler=place, to=str(tmp_path / "far.nc")
            )
            assert 0 < len(kept) == far["kept"]
            assert len(cells_on_disk(plan)) == len(set(cells_on_disk(plan)))
            assert far["ran"] + far["kept"] == len(cells_on_disk(plan))
    shutil.rmtree(plan.folder)
    here = run_survey(bench, survey, watch=QUIET, to=str(tmp_path / "here.nc"))
    assert here["kept"] == 0
    assert read_map(tmp_path / "far.nc").digest == read_map(tmp_path / "here.nc").digest


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
        ({"cells": 100, "steer": "20 °"}, "steer"),
        ({"cells": 100, "speed": "0 km/h"}, "speed"),
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
