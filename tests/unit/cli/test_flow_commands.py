"""The commands of the 3-D flow: cost and faults before anything runs, and what a run gave."""

import json
from pathlib import Path

import pytest
from tests.unit.study.flow_car import COARSE_LOOK, flow_car
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.study.flow.desk import register_run

TEXT = (
    flow_car(front="160 mm", rear="175 mm")
    + """
[flow]
generic = "coupe"
numbers = { ride_height_front = "160 mm", ride_height_rear = "175 mm", splitter_length = "0 m" }
[[flow.cases]]
name = "coarse look"
speed = "220 km/h"
cell = "62 mm"
counts = false
"""
)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "car"
    folder.mkdir()
    (folder / "project.toml").write_text(TEXT, encoding="utf-8")
    return folder


def call(*words: str, code: int) -> str:
    told = CliRunner().invoke(program, list(words))
    assert told.exit_code == code, told.output
    return told.stdout


def test_prepare_says_the_cost_and_refuses_cells_too_coarse_for_the_gap(project: Path) -> None:
    tree = json.loads(call("flow", "prepare", str(project), "--quick", "--json", code=0))
    assert tree["faults"] == []
    said = {row["label"]: row["text"] for row in tree["cost"]}
    assert set(said) >= {"cells", "memory", "time at most"}
    assert "of it for averages and looks at the whole field" in said["time at most"]
    coarse = TEXT.replace("62 mm", "240 mm")
    (project / "project.toml").write_text(coarse, encoding="utf-8")
    tree = json.loads(call("flow", "prepare", str(project), "--json", code=1))
    assert any("needs at least 2 cells" in fault for fault in tree["faults"])


def test_show_gives_a_recorded_run_with_its_bias(project: Path) -> None:
    record = project / "flow-coarse-look.npz"
    record.write_bytes(COARSE_LOOK.read_bytes())
    assert register_run(project, "coarse look", record) == "flow-1"
    said = " ".join(call("flow", "show", str(project), code=0).split())
    assert "has not been compared" in said
    assert "not the car" in said


def test_a_recorded_run_is_exported_to_open_files(project: Path) -> None:
    import xarray

    record = project / "flow-coarse-look.npz"
    record.write_bytes(COARSE_LOOK.read_bytes())
    register_run(project, "coarse look", record)
    folder = project / "open"
    tree = json.loads(call("flow", "show", str(project), "--export", str(folder), "--json", code=0))
    names = {Path(name).name for name in tree["exported"]}
    assert names >= {"surface.vtp", "streamlines.vtp", "vortices-q.vtp", "bands.csv", "planes.nc"}
    head = (folder / "surface.vtp").read_bytes()[:2000].decode("latin-1")
    count = int(head.split('NumberOfPoints="')[1].split('"')[0])
    assert count > 1000
    lines = (folder / "streamlines.vtp").read_bytes()[:2000].decode("latin-1")
    assert int(lines.split('NumberOfLines="')[1].split('"')[0]) > 10
    middle = xarray.open_dataset(folder / "planes.nc", group="middle_of_the_car", engine="h5netcdf")
    assert middle["total_pressure_loss"].dims == ("z", "x")
    assert middle["x"].attrs["units"] == "m"
    middle.close()
    rows = (folder / "bands.csv").read_text("utf-8").splitlines()[2:]
    drag = sum(float(row.rsplit(",", 1)[1]) for row in rows)
    assert drag == pytest.approx(sum(p["drag"] for p in read_parts(record)), rel=1e-3)


def read_parts(record: Path) -> list[dict[str, float]]:
    from tuftwork.files.flow import read_flow_record

    return list(read_flow_record(record, arrays=False)["parts"])


def test_an_unknown_case_is_refused_with_those_there_are(project: Path) -> None:
    said = call("flow", "prepare", str(project), "--case", "x", "--json", code=2)
    assert "coarse look" in said


def test_prepare_tells_what_several_cards_need_and_why_the_cpu_takes_none(project: Path) -> None:
    tree = json.loads(
        call("flow", "prepare", str(project), "--quick", "--cards", "2", "--json", code=1)
    )
    assert any("uses none" in fault for fault in tree["faults"])
    on_card = TEXT.replace('cell = "62 mm"', 'cell = "62 mm"\nback_end = "cuda"')
    (project / "project.toml").write_text(on_card, encoding="utf-8")
    tree = json.loads(
        call("flow", "prepare", str(project), "--quick", "--cards", "2", "--json", code=0)
    )
    told = {row["label"]: row["text"] for row in tree["cost"]}
    assert "on each of 2 cards" in told["memory"]
    assert "2 graphics cards" in told["time at most"]
    assert "2 times one card's rate" in told["cards together"]
    said = on_card.replace('back_end = "cuda"', 'back_end = "cuda"\ncards = 4')
    (project / "project.toml").write_text(said, encoding="utf-8")
    tree = json.loads(call("flow", "prepare", str(project), "--quick", "--json", code=0))
    assert any("on each of 4 cards" in row["text"] for row in tree["cost"])


def test_a_sweep_tells_every_case_that_is_refused(project: Path) -> None:
    coarse = TEXT.replace("62 mm", "240 mm")
    (project / "project.toml").write_text(coarse, encoding="utf-8")
    tree = json.loads(call("flow", "sweep", str(project), "--yaw", "0,3 °", "--json", code=1))
    assert [row["name"] for row in tree["cases"]] == [
        "coarse look, yaw 0 °", "coarse look, yaw 3 °",
    ]  # fmt: skip
    assert all(row["state"] == "refused" for row in tree["cases"])
    assert all("needs at least 2 cells" in row["text"] for row in tree["cases"])
