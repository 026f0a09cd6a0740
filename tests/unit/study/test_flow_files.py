"""Open files of a run: mean and one instant, every box of cells, read back by other libraries."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray
from tests.unit.study.flow_car import COARSE_LOOK

from tuftwork.errors import InputError
from tuftwork.files.flow import read_flow_record
from tuftwork.flow import Box, FlowCase, FlowPart, FlowResult, StopRule, fields, prepare, run
from tuftwork.flow.output import surface_values
from tuftwork.flow.part_load import part_loads, sum_parts
from tuftwork.flow.zones import Zone
from tuftwork.shape import block
from tuftwork.study.flow.export import export_record
from tuftwork.study.flow.files import check_forms, export_run

BRICK = block("brick", (0.0, -0.15, 0.2), (0.5, 0.15, 0.5))


@pytest.fixture(scope="module")
def result() -> FlowResult:
    part = FlowPart(name="Brick 1", vertices=BRICK.vertices, faces=BRICK.faces)
    zone = Zone(level=1, low=(-0.2, -0.35, 0.0), high=(0.8, 0.35, 0.7))
    case = FlowCase(parts=(part,), speed=30.0, cell=0.1, zones=(zone,),
                    box=Box(ahead=0.7, behind=0.9, beside=0.7, above=0.7))  # fmt: skip
    return run(prepare(case), rule=StopRule(error=1e-9, settle=1.0, longest=3.0))


@pytest.fixture(scope="module")
def folder(result: FlowResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("files")
    forms = ("files", "zarr") if _has_zarr() else ("files",)
    export_run(result, out, wheelbase=0.4, fields=forms)
    return out


def _has_zarr() -> bool:
    try:
        check_forms(("zarr",))
    except InputError:
        return False
    return True


def test_wall_values_of_an_instant_are_those_of_the_last_sample(result: FlowResult) -> None:
    """Exact: the forces by wall cell of all boxes add up to the load of the last sample."""
    boxes = (result, *result.boxes)
    total = sum_parts([part_loads(box.prepared, box.last_rows) for box in boxes])[0]
    assert total.drag_area == pytest.approx(result.series[-1, 1, 0], rel=1e-9)
    assert total.downforce_area == pytest.approx(-result.series[-1, 1, 2], rel=1e-9)
    _, _, now = surface_values(result, 0, state="last")
    _, _, mean = surface_values(result, 0)
    same = [replace(box, last_rows=box.wall_rows) for box in boxes]
    _, _, again = surface_values(replace(same[0], boxes=tuple(same[1:])), 0, state="last")
    for name, values in now.items():
        np.testing.assert_array_equal(again[name], mean[name])
        assert np.abs(values - mean[name]).max() > 1e-4
    # ahead the stream is stopped, whatever the instant
    assert 0.7 < now["pressure_coefficient"].max() < 1.3


def test_netcdf_holds_the_fields_of_every_box_of_cells(result: FlowResult, folder: Path) -> None:
    for state in ("mean", "last"):
        for n, box in enumerate((result, *result.boxes)):
            path = folder / f"fields-{state}.nc"
            with xarray.open_dataset(path, engine="h5netcdf", group=f"box{n}" if n else None) as d:
                wanted = fields(box, state)["pressure_coefficient"].astype(np.float32)
                np.testing.assert_array_equal(d["pressure_coefficient"].values, wanted)
                step = np.diff(d["x"].values)
                assert step == pytest.approx(0.1 / 2**n)
                assert d.attrs["cell_size"] == f"{0.1 / 2**n:g} m"
                assert d.attrs["state"] == state


def test_a_zarr_store_holds_histories_and_fields(result: FlowResult, folder: Path) -> None:
    zarr = pytest.importorskip("zarr")
    root = zarr.open_group(str(folder / "run.zarr"), mode="r")
    assert set(root["mean"].group_keys()) == set(root["last"].group_keys()) == {"box0", "box1"}
    loss = root["last/box1/total_pressure_loss"][:]
    np.testing.assert_array_equal(
        loss, fields(result.boxes[0], "last")["total_pressure_loss"].astype(np.float32)
    )
    drag = root["loads/drag"][:]
    np.testing.assert_allclose(drag, result.series[:, 1, 0], rtol=1e-12)
    assert root["loads/drag"].attrs["units"] == "m2"


def test_surfaces_and_scenes_stand_beside_the_means(folder: Path) -> None:
    names = {path.name for path in folder.iterdir()}
    assert {"surface-brick-1.vtp", "surface-last-brick-1.vtp", "car.glb", "car-last.glb",
            "fields-mean-box1.vti", "fields-last-box1.vtkhdf", "loads.nc"} <= names  # fmt: skip
    assert (folder / "car.glb").read_bytes() != (folder / "car-last.glb").read_bytes()


def test_forms_that_cannot_be_written_are_refused_before_the_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("tuftwork.study.flow.files.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"pip install 'tuftwork\[zarr\]'"):
        check_forms(("files", "zarr"))


def test_exported_files_say_speed_density_and_bias_and_a_part_with_a_comma_keeps_its_columns(
    tmp_path: Path,
) -> None:
    record = read_flow_record(COARSE_LOOK)
    record["parts"][0]["name"] = 'flap, "upper"'
    export_record(record, tmp_path)
    with (tmp_path / "bands.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(line for line in file if not line.startswith("#")))
    assert {len(row) for row in rows} == {5}
    assert rows[1][0] == 'flap, "upper"'
    drag = sum(float(row[4]) for row in rows[1:])
    assert drag == pytest.approx(sum(p["drag"] for p in record["parts"]), abs=1e-3)
    for name, group in (("loads.nc", None), ("planes.nc", "middle_of_the_car")):
        told = xarray.open_dataset(tmp_path / name, engine="h5netcdf", group=group).attrs
        assert told["car_speed"] == f"{record['case']['speed']:.9g} m/s"
        assert told["density"] == f"{record['case']['density']:.9g} kg/m3"
        assert told["bias"] == record["bias"]["text"]
