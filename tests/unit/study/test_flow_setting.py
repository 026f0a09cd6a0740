"""Settings of the page: what was moved is written and nothing else; refusals in its words."""

from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project

from tuftwork.errors import InputError, UnknownName
from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import run_case
from tuftwork.study.flow.page import facts_of
from tuftwork.study.flow.sweep_live import spread_live

LINES = """
# a case in its owner's own words
[[flow.cases]]
name = "one"   # mine
speed = { value = "33.333333 m/s", origin = "assumed", from = "the day" }
yaw = "0.0500001 rad"
cell = "0.19 m"  # as coarse as it goes
ahead = "1.2 m"
behind = "1.6 m"
beside = "1.2 m"
above = "1.2 m"
settle = 0.25
longest = 1.65
error = "150 cm^2"
lattice_speed = 0.2
precision = "float64"
leave_out = [ ]
over_time = { every = 0.5, planes = [ { axis = "x", at = "3000 mm" } ], surface = false }
[about_nothing]
""".replace("[about_nothing]\n", "# the last line, without an end")
CASE = BLUFF_CASE.format(name="one", speed=150, longest=2.0)


def bench_of(folder: Path, case: str = CASE) -> Bench:
    return Bench(bluff_project(folder, case), runs_itself=False)


def text_of(bench: Bench) -> str:
    return (bench.folder / "project.toml").read_bytes().decode()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_all_fields_as_they_are_shown_change_no_byte(end: str, tmp_path: Path) -> None:
    """A ride height as drawn, other units, more digits: none of them is a change."""
    bench = bench_of(tmp_path / "car", LINES)
    path = bench.folder / "project.toml"
    path.write_bytes(text_of(bench).replace("\n", end).encode())
    before = path.read_bytes()
    bench = Bench(bench.folder, runs_itself=False)
    setting = bench.page("flow")["setting"]
    assert (setting["front_mm"], setting["rear_mm"]) == (400.0, 400.0)
    answer, _ = bench.live({"do": "flow_save", "case": "one", **setting})
    assert answer["saved"] == 0
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("change", "old", "new"),
    [
        ({"cell_mm": 180}, 'cell = "0.19 m"', 'cell = "180 mm"'),
        ({"settle": 0.5}, "settle = 0.25", "settle = 0.5"),
        ({"longest": 2.0}, "longest = 1.65", "longest = 2.0"),
        ({"speed_kmh": 130}, 'value = "33.333333 m/s"', 'value = "130 km/h"'),
        ({"error_m2": 0.02}, 'error = "150 cm^2"', 'error = "0.02 m²"'),
    ],
)
def test_only_what_was_moved_is_written(
    change: dict[str, Any], old: str, new: str, tmp_path: Path
) -> None:
    bench = bench_of(tmp_path / "car", LINES)
    before = text_of(bench)
    setting = bench.page("flow")["setting"]
    answer, _ = bench.live({"do": "flow_save", "case": "one", **setting, **change})
    assert answer["saved"] == 1
    assert text_of(bench) == before.replace(old, new)


def test_one_ride_height_that_was_moved_does_not_write_the_other(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car", LINES)
    setting = bench.page("flow")["setting"] | {"rear_mm": 420}
    bench.live({"do": "flow_save", "case": "one", **setting})
    assert 'ride_height_rear = "420 mm"' in text_of(bench)
    assert "ride_height_front" not in text_of(bench).split("[[flow.cases]]")[1]
    (case,) = read_project(bench.folder).project.flow.cases
    assert case.precision == "float64"  # nobody chose another back end


def test_another_back_end_takes_the_storage_of_the_old_one_away(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car", LINES)
    before = text_of(bench)
    bench.live({"do": "flow_save", "case": "one", "back_end": "cuda"})
    (case,) = read_project(bench.folder).project.flow.cases
    assert (case.back_end, case.precision) == ("cuda", "")
    bench.live({"do": "flow_save", "case": "one", "back_end": "cpu"})
    assert 'precision = "float64"' in before
    assert "precision" not in text_of(bench).split("[[flow.cases]]")[1]


def test_settling_is_a_field_that_what_is_averaged_goes_with(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car")
    assert bench.page("flow")["setting"]["settle"] == 0.5
    answer, _ = bench.live({"do": "flow_cost", "case": "one", "settle": 0.75})
    told = {row["label"]: row["text"] for row in answer["cost"]["rows"]}
    assert told["averaged over"] == "at most 1.25 car lengths, after 0.75 of settling"
    answer, _ = bench.live({"do": "flow_cost", "case": "one", "settle": 2.5})
    (fault,) = answer["cost"]["faults"]
    assert fault.startswith("Runs at most (longest) = 2 car lengths: must be at least 1 car length")
    assert fault.endswith("Let it run 3.5 or more, or settle for 1 or less.")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cell_mm": 0.1}, r"Cell = 0\.1 mm: must be 0\.5 to 500 mm\. .* is 0\.5 mm\."),
        ({"front_mm": "low"}, r"Front ride height \(ride_height_front\) = 'low' mm: must be a num"),
        ({"yaw_deg": 45}, r"Yaw = 45 °: must be \u221230 to 30 °\. .* is 30 °\."),
        ({"error_m2": 0}, r"Statistical error \(error\) = 0 m²: must be 0\.0001 to 1 m²"),
        ({"levels": 1.5}, r"Doublings outwards \(levels\) = 1\.5 times: must be a whole number"),
        ({"levels": None, "settle": -1}, r"Settles for \(settle\) = -1 car lengths: must be 0 to"),
        (
            {"longest": 9000},
            r"Runs at most \(longest\) = 9000 car lengths: must be 1\.5 to",
        ),
        ({"leave_out": [""]}, r"leave_out.* = '': .*at least 1 character"),
        (
            {"over_time": {"every": 0}},
            r"Kept over time, every \(over_time\.every\) = 0 car",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_label_key_and_unit(
    change: dict[str, Any], said: str, tmp_path: Path
) -> None:
    bench = bench_of(tmp_path / "car")
    for do in ("flow_cost", "flow_save", "flow_start"):
        with pytest.raises(InputError, match=f"^{said}"):
            bench.live({"do": do, "case": "one", **change})
    assert not (bench.folder / "results").exists()
    with pytest.raises(UnknownName, match=r"Runs on \(back_end\) = 'abacus': not known.*cpu, cuda"):
        bench.live({"do": "flow_cost", "case": "one", "back_end": "abacus"})


def test_a_value_to_spread_is_refused_under_its_own_name(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car")
    said = r"^Front ride height \(ride_height_front\), to be spread = 'low': not a height"
    with pytest.raises(InputError, match=said):
        spread_live(bench, {"case": "one", "front": "low"})


def test_a_case_that_settled_otherwise_is_run_with_other_settings(tmp_path: Path) -> None:
    """By page and sweep; its record and the page say the time of all its processes."""
    bench = bench_of(tmp_path / "car")
    told: list[dict[str, Any]] = []
    state = run_case(bench.folder, tell=lambda s: told.append(dict(s)))
    record = read_flow_record(next((bench.folder / "evidence").glob("*.npz")), arrays=False)
    assert state["seconds"] == record["made_with"]["seconds"]
    assert max(s.get("seconds", 0.0) for s in told) == pytest.approx(state["seconds"], abs=0.06)
    bench = Bench(bench.folder, runs_itself=False)
    page = bench.page("flow")
    assert not page["result"]["is_older"]
    assert page["sweep"]["rows"][0]["state"] == "done"
    bench.live({"do": "flow_save", "case": "one", "settle": 0.75})
    page = bench.page("flow")
    assert page["result"]["is_older"]
    assert page["sweep"]["rows"][0]["state"] == "older"


def test_cells_of_several_sizes_are_counted_as_cells(tmp_path: Path) -> None:
    """Not as their updates in a step of the largest, of which the smallest make two each."""
    record = {
        "made_with": {"version": "0", "backend": "cpu", "precision": "float64", "steps": 10,
                      "travel": 1.0, "seconds": 700.0, "cells": 2_000_000},
        "grid": {"n_plain": 5_000_000, "blockage": 0.01},
        "case": {"cell": 0.008, "is_generic": True, "road": "moving", "box": {}},
    }  # fmt: skip
    told = facts_of(record)
    assert "2.00 million cells, the smallest of 8 mm" in told
    assert "12\u202fmin" in told
    plain = record | {"grid": {"n_plain": 1_900_000, "blockage": 0.01}}
    assert "2.00 million cells of 8 mm" in facts_of(plain)


def test_the_grid_that_is_cut_says_how_many_cells_it_has(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car", CASE.replace("190 mm", "60 mm"))
    counts = []
    for levels in (0, 1):
        answer, _ = bench.live({"do": "flow_prepare", "case": "one", "levels": levels})
        row = next(r for r in answer["rows"] if r["label"] == "cells that are computed")
        counts.append(float(row["text"].split()[0]))
        project = bench.opened.project
        run = run_named(project).with_values({"levels": levels})
        cells = built_case(project, bench.folder, run).forecast().n_cell
        assert 0.75 * cells < 1e6 * counts[-1] <= cells + 5000
    assert counts[1] < counts[0]
