"""A case that keeps fields over time, from the project file to cost, run, page and open files."""

import shutil
from collections import namedtuple
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import Cancelled, FileFault, InputError, NotCovered
from tuftwork.files import read_project
from tuftwork.files.time_file import read_time_file
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.export import export_record
from tuftwork.study.flow.files import check_forms
from tuftwork.study.flow.live import cost_live, save_live, view_live
from tuftwork.study.flow.over_time import (
    GROWING,
    keeping,
    kept_as_asked,
    said,
    series_of,
    spoken_plane,
)
from tuftwork.study.flow.page import flow_page, record_of
from tuftwork.study.flow.sweep import spread_cases
from tuftwork.study.flow.time_live import frame_live

CASE = BLUFF_CASE.format(name="kept", speed=120, longest=2.5)
KEPT = """
[flow.cases.over_time]
every = 0.1
planes = [{ axis = "y", at = "0 m" }, { axis = "x", at = "3 m" }]
"""


def has_zarr() -> bool:
    try:
        check_forms(("zarr",))
    except InputError:
        return False
    return True


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project whose case was stopped on the way and gone on with."""
    folder = bluff_project(tmp_path_factory.mktemp("kept") / "car", CASE + KEPT)

    desk = desk_of(folder)
    stopper = {"left": True}

    def watch(state: dict[str, Any]) -> None:
        if stopper["left"] and (state.get("travel") or 0) > 0.8:
            stopper["left"] = False
            (desk.folder / "stop").touch()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tuftwork.study.flow.desk._EVERY", 0.0)  # told of each sample, however quick
        with pytest.raises(Cancelled):
            run_case(folder, tell=watch)
    assert (desk.folder / GROWING).is_file()
    run_case(folder, fields=("zarr",) if has_zarr() else ())
    return folder


def desk_of(folder: Path) -> Desk:
    opened = read_project(folder)
    return Desk.of(folder, built_case(opened.project, folder, run_named(opened.project)).digest)


@pytest.fixture(scope="module")
def bench(project: Path) -> Bench:
    return Bench(project, runs_itself=False)


def test_what_was_kept_is_whole_although_the_run_was_stopped(project: Path, bench: Bench) -> None:
    record = record_of(bench, "kept")
    series = series_of(record, project)
    assert series is not None
    step = np.diff(series.travel)
    assert step == pytest.approx(step[0], rel=1e-6)
    assert 0.5 < series.travel[0] <= 0.5 + 1.01 * step[0]
    assert series.travel[-1] > 2.5 - 1.01 * step[0]
    assert not (desk_of(project).folder / GROWING).exists()
    # the record's mean plane and the mean of the samples tell the same story
    plane = record["planes"][0]
    mean = series.plane(0, slice(None))["pressure_coefficient"].mean(axis=0)
    assert mean.shape == plane["pressure"].shape
    assert np.nanmax(np.abs(mean - plane["pressure"])) < 0.2
    assert [p["name"] for p in record["planes"] if p["axis"] == "x"][-1] == "x = 3 m, one instant"
    rms = record["surface"]["pressure_rms"].astype(float)
    assert rms.shape == (series.n_vertex,)
    np.testing.assert_allclose(rms, series.surface_rms(), atol=1e-3)


def test_the_page_switches_keeping_on_and_off_and_leaves_the_projects_words(tmp_path: Path) -> None:
    words = KEPT.replace('"3 m"', '"3000 mm"')
    folder = bluff_project(tmp_path / "car", CASE + words)
    bench = Bench(folder, runs_itself=False)
    own = flow_page(bench)["setting"]["over_time"]
    assert own == {
        "every": 0.1, "surface": True, "planes": [{"axis": "y", "at": 0}, {"axis": "x", "at": 3}],
    }  # fmt: skip
    save_live(bench, {"over_time": own, "speed_kmh": 140})
    assert words.strip() in (folder / "project.toml").read_text("utf-8")
    assert save_live(bench, {"over_time": None})[0]["saved"] == 1
    assert read_project(folder).project.flow.cases[0].over_time is None  # type: ignore[union-attr]
    wanted = {"every": 0.25, "surface": False, "planes": [{"axis": "z", "at": -0.5}]}
    told, _ = cost_live(bench, {"over_time": wanted})
    assert "over_time.planes" in told["cost"]["faults"][0]  # below the road
    wanted["planes"] = [{"axis": "z", "at": 0.7}]
    save_live(bench, {"over_time": wanted})
    kept = read_project(folder).project.flow.cases[0].over_time  # type: ignore[union-attr]
    assert kept is not None
    assert (kept.every, kept.surface, kept.planes[0].at.best) == (0.25, False, 0.7)
    assert flow_page(bench)["setting"]["over_time"] == wanted


@pytest.mark.parametrize(
    ("change", "text"),
    [({"every": 0}, "above 0"), ({"every": "often"}, "a number"),
     ({"planes": []}, "keep something"),
     ({"planes": [{"axis": "q", "at": 0}]}, "normal to x, y or z"),
     ({"planes": [{"axis": "x", "at": None}]}, "a number")],
)  # fmt: skip
def test_what_cannot_be_kept_is_refused_in_plain_words(change: Any, text: str) -> None:
    asked = {"every": 0.1, "surface": False, "planes": [{"axis": "x", "at": 1.0}]} | change
    with pytest.raises(InputError, match=text):
        kept_as_asked(asked)


def test_planes_are_named_to_the_millimetre() -> None:
    """Two of them a finger apart are two."""
    assert [spoken_plane("x", v) for v in (12.344, 12.336, -0.0, -0.25)] == [
        "x = 12.344 m", "x = 12.336 m", "x = 0 m", "x = \u22120.25 m",
    ]  # fmt: skip


def test_prepare_and_show_say_what_is_kept(project: Path, bench: Bench) -> None:
    told = flow_page(bench)["result"]["over_time"]
    assert told.startswith("Kept over time: ")
    assert "begins late" not in told
    record = record_of(bench, "kept")
    late = record | {"over_time": record["over_time"] | {"from": 1.5}}
    assert "It begins late, not at 0.5" in said(late, project)
    assert "the plane y = 0 m" in told
    assert "results/flow/" in told
    cost = {row["label"]: row["text"] for row in flow_page(bench)["cost"]["rows"]}
    count = series_of(record_of(bench, "kept"), project).count  # type: ignore[union-attr]
    assert cost["kept over time"].startswith(f"at most {count} samples, every 0.1")
    for words in (["prepare", str(project), "--quick"], ["show", str(project)]):
        shown = CliRunner().invoke(program, ["flow", *words])
        assert "kept over time" in shown.output.lower()


def test_the_foretold_size_is_that_of_the_file(project: Path, bench: Bench) -> None:
    opened = read_project(project)
    built = built_case(opened.project, project, run_named(opened.project))
    told = keeping(built.case, built.run)
    size = series_of(record_of(bench, "kept"), project).path.stat().st_size  # type: ignore[union-attr]
    assert told is not None
    assert told.size == pytest.approx(size, rel=0.35)


def test_the_page_gets_samples_one_by_one(bench: Bench) -> None:
    header, arrays = view_live(bench, {"case": "kept"})
    times = header["over_time"]
    assert times["planes"][0] == 0
    assert header["planes"][times["planes"][1]]["name"] == "x = 3 m"
    assert "pressure_rms" in arrays
    last = len(times["travel"]) - 1
    told, found = frame_live(bench, {"case": "kept", "frame": last, "plane": 0, "surface": True})
    assert told == {"frame": last, "plane": 0}
    assert found["surface"].shape == arrays["pressure"].shape
    assert found["loss"].shape == arrays["plane0 loss"].shape
    np.testing.assert_allclose(found["across"], arrays["plane0 across"], atol=1e-6)
    np.testing.assert_allclose(
        found["loss"], 1 - found["pressure"] - found["speed"] ** 2, atol=1e-5
    )
    with pytest.raises(InputError, match="sample = 100: must be from 1 to"):
        frame_live(bench, {"case": "kept", "frame": 99})
    with pytest.raises(InputError, match="plane = 3"):
        frame_live(bench, {"case": "kept", "frame": 0, "plane": 2})


def test_open_files_hold_every_sample_with_speed_loss_and_rms(
    project: Path, bench: Bench, tmp_path: Path
) -> None:
    record = record_of(bench, "kept")
    series = series_of(record, project)
    assert series is not None
    written = export_record(record, tmp_path, series)
    assert written[-1].endswith("over-time.nc")
    with xarray.open_dataset(written[-1], engine="h5netcdf", group="plane1") as found:
        assert found.attrs["axis"] == "x"
        assert found["speed"].dims == ("time", "z", "y")
        assert found["time"].attrs["units"] == "s"
        square = found["speed"] ** 2 + found["pressure_coefficient"]
        np.testing.assert_allclose(found["total_pressure_loss"], 1 - square, atol=1e-5)
    with xarray.open_dataset(written[-1], engine="h5netcdf", group="surface") as found:
        assert found.sizes["time"] == series.count
        np.testing.assert_allclose(
            found["pressure_coefficient"].std("time", ddof=1),
            found["pressure_coefficient_rms"], atol=1e-5,
        )  # fmt: skip
    store = project / "out" / "flow" / "kept" / "run.zarr"
    if has_zarr():
        with xarray.open_zarr(store, group="over_time/plane0", consolidated=False) as found:
            np.testing.assert_allclose(found["travel"], series.travel)


def test_a_case_that_cannot_keep_it_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = bluff_project(tmp_path / "car", CASE + KEPT.replace('"3 m"', '"30 m"'))
    with pytest.raises(FileFault, match=r"plane \(over_time\.planes\): x"):
        run_case(folder)
    text = (folder / "project.toml").read_text("utf-8")
    (folder / "project.toml").write_text(text.replace("every = 0.1", "every = 5.0"), "utf-8")
    opened = read_project(folder)
    faults = built_case(opened.project, folder, run_named(opened.project)).forecast().faults
    assert any("must lie in the box" in str(f) for f in faults)
    (folder / "project.toml").write_text(
        text.replace('"30 m"', '"3 m"').replace("every = 0.1", "every = 5.0"), "utf-8"
    )
    with pytest.raises(FileFault, match="the run ends before a sample falls due"):
        run_case(folder)
    (folder / "project.toml").write_text(text.replace('"30 m"', '"3 m"'), "utf-8")
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1, 1, 1000))
    with pytest.raises(FileFault, match="are free on the disk"):
        run_case(folder)
    nothing = text.replace("every = 0.1", "every = 0.1\nsurface = false")
    nothing = nothing[: nothing.index("planes = ")]
    (folder / "project.toml").write_text(nothing, "utf-8")
    with pytest.raises(FileFault, match="nothing to keep over time"):
        read_project(folder)


def test_a_file_that_has_gone_is_told(project: Path, tmp_path: Path) -> None:
    folder = tmp_path / "car"
    shutil.copytree(project, folder)
    for path in folder.glob("results/flow/*/*over-time.nc"):
        path.unlink()
    bench = Bench(folder, runs_itself=False)
    assert "has gone from results/" in flow_page(bench)["result"]["over_time"]
    assert view_live(bench, {"case": "kept"})[0]["over_time"] is None
    with pytest.raises(NotCovered, match="has gone"):
        frame_live(bench, {"case": "kept", "frame": 0})


def test_cases_spread_from_it_keep_the_same(tmp_path: Path) -> None:
    folder = bluff_project(tmp_path / "car", CASE + KEPT)
    opened, names = spread_cases(read_project(folder), "kept", {"yaw": ["0", "4"]})
    spread = [run_named(opened.project, name).over_time for name in names]
    assert spread == [run_named(opened.project, "kept").over_time] * 2


def test_a_growing_file_can_be_read(project: Path) -> None:
    path = next(project.glob("results/flow/*/*over-time.nc"))
    grows = path.with_name(GROWING)
    shutil.copyfile(path, grows)
    try:
        shown = flow_page(Bench(project, runs_itself=False))["kept"]
        assert shown.startswith(f"{read_time_file(path).count} samples over time so far")
    finally:
        grows.unlink()
