"""Cores, fans and openings of a project: from its tables to the flow, the page and the record."""

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from tests.unit.study.flow_car import flow_car
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record
from tuftwork.flow import FlowCase, prepare
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import run_case

CAR = (
    flow_car(rear="300 mm", frontal_area="1.3 m^2")
    + """
[[flow.surfaces]]
file = "van.stl"
unit = "m"
front_axle = "0.5 m"
ride_height_front = "300 mm"
ride_height_rear = "300 mm"
"""
)
CASE = """
[[flow.cases]]
name = "Coarse 150"
speed = "150 km/h"
cell = "120 mm"
ahead = "1.2 m"
behind = "1.8 m"
beside = "1.4 m"
above = "1.6 m"
settle = 0.3
longest = 1.35
"""
ROOF = """
[[flow.cores]]
part = "radiator"
rows = [ { speed = "4 m/s", loss = "60 Pa" }, { speed = "8 m/s", loss = "210 Pa" } ]
station = "1.0 m"
height = "1.5 m"
width = "1.0 m"
tall = "0.4 m"
depth = "0.12 m"
"""
FACES = """
[[flow.openings]]
name = "nose"
part = "van.stl"
kind = "inlet"
station = "-0.5 m"
height = "0.75 m"
faces = "ahead"
width = "1.0 m"
tall = "0.5 m"
[[flow.openings]]
name = "back"
part = "van.stl"
kind = "outlet"
station = "2.9 m"
height = "0.75 m"
faces = "back"
width = "1.0 m"
tall = "0.5 m"
"""
TOLD = FACES.replace('kind = "inlet"', 'kind = "inlet"\nmass_flow = "3 kg/s"').replace(
    'kind = "outlet"', 'kind = "outlet"\nmass_flow = "3 kg/s"'
)
NET = """
[cooling]
speed = "150 km/h"
temperature = "28 °C"
[[cooling.circuits]]
name = "water"
coolers = ["core"]
flow = "2 kg/s"
heat = "60 kW"
limit = "110 °C"
[[cooling.inlets]]
name = "nose"
end = "mouth"
area = "0.3 m^2"
[[cooling.cores]]
name = "core"
start = "mouth"
end = "behind"
width = "0.7 m"
height = "0.5 m"
rows = [ { speed = "4 m/s", loss = "120 Pa" }, { speed = "8 m/s", loss = "350 Pa" } ]
[[cooling.fans]]
name = "fan"
start = "behind"
end = "after"
running = "100 %"
curve = [ { flow = "0 m^3/s", rise = "200 Pa" }, { flow = "1 m^3/s", rise = "0 Pa" } ]
[[cooling.exits]]
name = "back"
start = "after"
area = "0.3 m^2"
at = "base"
"""


def project_at(folder: Path, text: str) -> Path:
    (folder / "evidence").mkdir(parents=True, exist_ok=True)
    box = trimesh.creation.box(bounds=[[0.0, -0.7, 0.3], [3.4, 0.7, 1.2]])
    box.export(folder / "evidence" / "van.stl")
    (folder / "project.toml").write_text(text, encoding="utf-8")
    return folder


def case_of(folder: Path, text: str) -> FlowCase:
    opened = read_project(project_at(folder, text))
    return built_case(opened.project, opened.folder, run_named(opened.project)).case


def test_a_run_tells_what_passed_its_core_and_openings(tmp_path: Path) -> None:
    folder = project_at(tmp_path, CAR + ROOF + TOLD + CASE)
    state = run_case(folder)
    assert state["state"] == "done"
    record = read_flow_record(next((folder / "evidence").glob("flow-*.npz")))
    (core,) = record["cores"]
    assert core["mass_flow"] > 0
    # 60 Pa at 4 m/s and 210 Pa at 8 m/s at the reference state; the square part goes with density
    linear, square = np.linalg.solve([[4, 16], [8, 64]], [60, 210])
    air = record["case"]
    linear *= air["density"] * air["viscosity"] / 1.8718e-5
    square *= air["density"] / 1.1644
    v = core["speed"]
    assert core["law_drop"] == pytest.approx(linear * v + square * v**2, rel=1e-6)
    mouth, vent = record["openings"]
    assert mouth["mass_flow"] == pytest.approx(vent["mass_flow"], rel=1e-9)
    assert mouth["net_flow"] is None
    page = Bench(folder, runs_itself=False).page("flow")
    rows = {row["name"]: row for row in page["result"]["inside"]}
    assert set(rows) == {"radiator", "nose", "back"}
    assert "Pa" in rows["radiator"]["pressure"]
    assert rows["nose"]["flow"].startswith("3.000")
    assert page["result"]["doubts"] == [d["text"] for d in record["doubts"]]
    assert any(p["name"] == "radiator" for p in page["result"]["parts"])


def test_openings_are_the_nets_inlets_and_exits_and_cores_its_coolers(tmp_path: Path) -> None:
    cooler = ROOF.replace("[[flow.cores]]", "[[flow.cores]]\ncooler = 'core'").replace(
        'rows = [ { speed = "4 m/s", loss = "60 Pa" }, { speed = "8 m/s", loss = "210 Pa" } ]\n', ""
    )
    fan = ROOF.replace("flow.cores", "flow.fans").replace('"radiator"', '"blower"').replace(
        'rows = [ { speed = "4 m/s", loss = "60 Pa" }, { speed = "8 m/s", loss = "210 Pa" } ]',
        'fan = "fan"',
    ).replace('"1.0 m"\nheight', '"1.6 m"\nheight')  # fmt: skip
    case = case_of(tmp_path, CAR + NET + cooler + fan + FACES + CASE)
    assert case.tie is not None
    assert case.tie.heats["core"] == pytest.approx(60e3, rel=1e-3)
    nose, back = case.openings
    assert 0.5 < nose.mass_flow < 6.0
    assert back.mass_flow == pytest.approx(nose.mass_flow)
    laws = {p.name: p.porous for p in case.parts if p.porous is not None}
    # a face of 0.4 m² where the net's core has 0.35 m²: the drop at a mass flow is the same
    assert laws["radiator"].drop(8.0 * 0.35 / 0.4) == pytest.approx(350.0, rel=0.06)
    assert laws["blower"].rise == pytest.approx(200.0 * case.density / 1.2, rel=0.01)


def test_openings_stand_in_cells_of_several_sizes(tmp_path: Path) -> None:
    text = CAR + TOLD + CASE.replace('"120 mm"', '"50 mm"\nlevels = 1')
    prepared = prepare(case_of(tmp_path, text))
    assert [p.opening.name for p in prepared.passages] == ["nose", "back"]
    for passage in prepared.passages:
        assert [piece.box for piece in passage.pieces if piece.cells.size] == [1]
        assert passage.area * prepared.case.cell**2 == pytest.approx(0.5, rel=0.1)


def test_prepare_lists_openings_with_their_area_in_cells_and_as_drawn(tmp_path: Path) -> None:
    """Drawn 1.0 x 0.5 m; 3 kg/s through it by hand."""
    folder = project_at(tmp_path, CAR + TOLD + CASE)
    told = CliRunner().invoke(program, ["flow", "prepare", str(folder), "--json"])
    nose, back = json.loads(told.stdout)["openings"]
    opened = read_project(folder)
    density = built_case(opened.project, folder, run_named(opened.project)).case.density
    assert [(o["name"], o["way"], o["part"]) for o in (nose, back)] == [
        ("nose", "in", "van.stl"), ("back", "out", "van.stl")
    ]  # fmt: skip
    for o in (nose, back):
        assert o["drawn"] == pytest.approx(0.5, rel=1e-6)
        assert o["area"] == pytest.approx(0.5, rel=0.3)  # cells of 0.12 m
        assert o["area"] != o["drawn"]
        assert o["mass_flow"] == pytest.approx(3.0)
        assert o["speed"] == pytest.approx(3.0 / (density * o["area"]))
    quick = CliRunner().invoke(program, ["flow", "prepare", str(folder), "--quick", "--json"])
    uncut = json.loads(quick.stdout)["openings"][0]
    assert uncut["area"] is None
    assert uncut["speed"] == pytest.approx(3.0 / (density * 0.5))
    said = CliRunner().invoke(program, ["flow", "prepare", str(folder)]).stdout
    assert "Openings" in said
    row = next(line for line in said.splitlines() if line.split()[:1] == ["nose"])
    assert row.replace("│", " ").split() == ["nose", "in", f"{nose['area']:.4f}", "0.5000", "3.000",
                           f"{nose['speed']:.1f}"]  # fmt: skip


def test_tables_that_cannot_be_meant_are_refused(tmp_path: Path) -> None:
    for text, error, say in (
        (CAR + FACES + CASE, NotCovered, "no cooling net"),
        (CAR + ROOF.replace('"radiator"', '"van.stk"').replace("station", "#").replace(
            "height", "#").replace("width", "#").replace("tall", "#").replace("depth", "#") + CASE,
         UnknownName, "van.stk"),
        (CAR + TOLD.replace('"3 kg/s"', '"2 kg/s"', 1) + CASE, InputError, "must equal"),
        (CAR + TOLD.replace('mass_flow = "3 kg/s"\n', "", 1) + CASE, InputError, "all openings"),
        (CAR + ROOF.replace("rows", "cooler = 'x'\nrows") + CASE, FileFault, "either 'cooler'"),
        (CAR + ROOF.replace('depth = "0.12 m"', "") + CASE, FileFault, "together"),
    ):  # fmt: skip
        with pytest.raises(error, match=say):
            case_of(tmp_path, text)
