"""A project folder that is opened, run, changed and run again."""

import shutil
import sys
from pathlib import Path

import pytest

from tuftwork.errors import Cancelled, FileFault, NotCovered
from tuftwork.study import Bench
from tuftwork.study.registry import FINDINGS, PAGES


@pytest.fixture
def copy(halyard: Bench, tmp_path: Path) -> Path:
    """A copy of the computed demo that a test may change."""
    return Path(shutil.copytree(halyard.folder, tmp_path / "halyard"))


@pytest.fixture
def small(two_states: Bench, tmp_path: Path) -> Path:
    """A copy of a computed small car, for what is the same with any project."""
    return Path(shutil.copytree(two_states.folder, tmp_path / "car"))


def replace(folder: Path, old: str, new: str) -> None:
    path = folder / "project.toml"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def cached(bench: Bench) -> dict[str, bool]:
    return {s["name"]: s["cached"] for s in bench.page("runs")["runs"][0]["steps"]}


def test_a_computed_demo_has_read_the_sources_of_every_page_and_finding(halyard: Bench) -> None:
    """A source saved half written while the demo was computed broke whoever asked first."""
    for maker in (*(page.make for page in PAGES), *FINDINGS):
        assert maker.partition(":")[0] in sys.modules


def test_a_second_run_computes_nothing(copy: Path) -> None:
    bench = Bench(copy)
    bench.run()
    assert all(cached(bench).values())


def test_one_wing_angle_computes_only_its_own_state_again(copy: Path) -> None:
    replace(
        copy, '"rear wing.incidence" = "12 ° ± 0.3 °"', '"rear wing.incidence" = "10 ° ± 0.3 °"'
    )
    bench = Bench(copy)
    bench.run()
    again = {name for name, held in cached(bench).items() if not held}
    assert {"map more wing", "ride more wing"} <= again
    assert {"tie", "axes", "map as raced", "ride as raced", "map rear up, wing 9"}.isdisjoint(again)


def test_the_app_shows_old_results_as_stale_and_runs_only_when_told(small: Path) -> None:
    bench = Bench(small, runs_itself=False)
    assert bench.page("overview")["stale"] is False
    replace(small, '"rear wing.incidence" = "8 ° ± 0.3 °"', '"rear wing.incidence" = "9 ° ± 0.3 °"')
    page = bench.page("overview")
    assert page["stale"] is True
    assert page["answer"]
    bench.run()
    assert bench.page("overview")["stale"] is False


def test_reopened_after_a_change_the_last_results_are_still_there(copy: Path) -> None:
    replace(copy, "[study]\nspeeds = [", '[study]\nspeeds = ["150 km/h", ')
    bench = Bench(copy, runs_itself=False)
    page = bench.page("overview")
    assert page["stale"] is True
    assert page["answer"]


def test_nothing_computed_yet_is_said_and_not_computed_behind_the_back(copy: Path) -> None:
    shutil.rmtree(copy / "results")
    bench = Bench(copy, runs_itself=False)
    page = bench.page("overview")
    assert page["findings"] == []
    assert page["partial"]
    with pytest.raises(NotCovered, match="Run the study"):
        bench.page("budget")
    assert not (copy / "results" / "ledger.sqlite").exists()


def test_a_cancelled_run_leaves_a_folder_that_goes_on_from_there(small: Path) -> None:
    shutil.rmtree(small / "results")
    bench = Bench(small)
    seen: list[str] = []

    def cancelled() -> bool:
        return any("Aero map" in step for step in seen)

    with pytest.raises(Cancelled):
        bench.run(lambda share, step, left: seen.append(step), cancelled)
    assert bench.page("runs")["runs"][0]["state"] == "cancelled"
    bench.run()
    kept = cached(bench)
    assert kept["draws"]
    assert kept["tie"]
    assert bench.page("overview")["answer"]


def test_a_broken_file_is_refused_and_results_stay(copy: Path) -> None:
    bench = Bench(copy)
    assert bench.page("overview")["answer"]
    replace(copy, 'mass = "1285 kg ± 3 kg"', 'mass = "1285 furlongs"')
    with pytest.raises(FileFault, match="furlongs"):
        bench.page("overview")
    with pytest.raises(FileFault):
        bench.run()
    replace(copy, 'mass = "1285 furlongs"', 'mass = "1285 kg ± 3 kg"')
    assert bench.page("overview")["answer"]


def test_a_project_without_parts_says_so(tmp_path: Path) -> None:
    from tuftwork.files import new_project

    new_project(tmp_path / "bare", title="Bare")
    bench = Bench(tmp_path / "bare")
    bench.run()
    assert "No parts" in bench.page("overview")["answer"]
    with pytest.raises(NotCovered, match="parts"):
        bench.page("budget")
    with pytest.raises(NotCovered, match="both axles"):
        bench.page("map")


def test_exports_hold_the_numbers_of_the_pages(halyard: Bench, tmp_path: Path) -> None:
    import csv

    import xarray as xr

    names = {Path(p).name for p in halyard.export(tmp_path)}
    assert names == {"map.nc", "path.csv", "budget.csv"}
    with (tmp_path / "path.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["state"] == "as raced"]
    shown = halyard.page("map")["path"]
    assert float(rows[0]["CzS_best_m2"]) == pytest.approx(shown[0]["total"]["best"], rel=1e-5)
    with xr.open_dataset(tmp_path / "map.nc", engine="h5netcdf") as data:
        assert list(data["state"].values) == list(halyard.answers.states)


def test_a_project_that_cannot_be_read_says_so_until_it_is_mended(small: Path) -> None:
    bench = Bench(small, runs_itself=False)
    assert bench.page("overview")["answer"]
    text = (small / "project.toml").read_text("utf-8")
    (small / "project.toml").write_text(text + "\n[[[", "utf-8")
    assert not bench.is_readable()
    (small / "project.toml").write_text(text, "utf-8")
    assert bench.is_readable()
    assert not bench.is_stale()


def test_the_rail_says_which_pages_show_results(small: Path) -> None:
    rail = {line["page"]: line["results"] for line in Bench(small).page("overview")["rail"]}
    assert rail["car"]
    assert rail["overview"]
    assert not any(rail[page] for page in ("evidence", "runs", "pictures"))
