"""The 3-D flow in a project: from tables to a run, evidence, a sighting with its whole range."""

import json
import os
from pathlib import Path

import numpy as np
import pytest
import trimesh
from tests.unit.study.flow_car import flow_car

from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record, write_flow_record
from tuftwork.quantity import Z80
from tuftwork.shape import generic_car
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.files import slug
from tuftwork.study.flow.sighting import flown_runs, narrowed_by, runs_held, sighted_rows

BASE = flow_car()
FLOW = """
[flow]
generic = "coupe"
numbers = { ride_height_front = "300 mm", ride_height_rear = "310 mm", splitter_length = "0 m", \
wing_span = "0 m" }
[[flow.cases]]
name = "Coarse 150"
speed = "150 km/h"
cell = "110 mm"
ahead = "1.3 m"
behind = "1.9 m"
beside = "1.4 m"
above = "1.7 m"
settle = 0.3
longest = 1.35
"""


def project_at(folder: Path, text: str = BASE + FLOW) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "project.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """A project whose case has been run to its end, and what was told on the way."""
    folder = project_at(tmp_path_factory.mktemp("flown") / "small")
    told: list[dict] = []
    state = run_case(folder, tell=lambda s: told.append(dict(s)))
    assert next(t["state"] for t in told) == "preparing"
    return folder, state


def test_a_finished_run_becomes_evidence_with_its_digest(flown: tuple[Path, dict]) -> None:
    folder, state = flown
    opened = read_project(folder)
    (item,) = opened.project.evidence
    assert (item.id, item.kind, state["evidence"]) == ("flow-1", "run", "flow-1")
    assert opened.project.flow.cases[0].evidence == "flow-1"
    # the block stands higher than cars do, which is doubted; nothing else is
    assert all(fault.key.startswith("mass_states.") for fault in opened.notices)
    assert (folder / "evidence" / item.file).is_file()
    names = {Path(f).name for f in state["files"]}
    assert {"car.glb", "loads.nc", "surface-body.vtp"} <= names
    assert not list((folder / "results" / "flow").rglob("state.npz"))


def test_the_range_of_a_run_holds_its_noise_and_the_stated_bias(
    flown: tuple[Path, dict],
) -> None:
    folder, _ = flown
    (run,) = flown_runs(read_project(folder).project, folder)
    loads, bias = run.record["loads"], run.record["bias"]
    drag = run.area("drag")
    assert drag.origin == "computed"
    assert drag.best == loads["drag"]["mean"]
    assert drag.high - drag.best >= (bias["high"] - 1) * drag.best
    assert drag.high - drag.best >= Z80 * loads["drag"]["error"]
    down = run.area("downforce")
    assert down.high - down.best >= 0.3 * abs(drag.best)
    # as the words beside it say: half of itself or 1.6 of the drag; an axle half of that
    least = max(0.5 * abs(down.best), 1.6 * drag.best)
    assert "half of itself or 1.6 times the drag" in bias["text"]
    assert down.high - down.best >= least
    assert all(
        run.area(axle).high - run.area(axle).best >= 0.5 * least for axle in ("front", "rear")
    )
    front, rear = run.area("front").best, run.area("rear").best
    assert front + rear == pytest.approx(down.best, abs=0.01)


def test_a_run_stands_beside_the_budget_and_moves_it_only_as_far_as_its_range_allows(
    flown: tuple[Path, dict], tmp_path: Path
) -> None:
    folder, _ = flown
    bench = Bench(folder)
    rows = {r["kind"]: r for r in bench.page("budget")["rows"]}
    # the table stands at other ride heights, so the row says its own
    place = "hf 300.0 mm, hr 310.0 mm, 150 km/h"
    assert rows["run"]["name"] == f"3-D flow Coarse 150, at {place}"
    assert "stated bias" in rows["run"]["note"]
    rows_held = bench.answers.results["tie"]["rows"]
    assert runs_held(bench.opened.project, rows_held) == ("flow-1",)
    assert not bench.answers.is_tied  # nothing was measured
    made = narrowed_by(bench.opened.project, rows_held, is_tied=False)  # in a map's header
    assert made.startswith(", narrowed by this program's 3-D flow (flow-1), with its stated bias")
    assert narrowed_by(bench.opened.project, [], is_tied=True) == ", narrowed by measured rows"
    page = bench.page("flow")
    assert any("generic and counts as the car" in n for n in page["result"]["notices"])
    plain = Bench(project_at(tmp_path / "plain", BASE)).page("budget")["rows"]
    alone = next(r for r in plain if r["kind"] == "total")
    tied = rows["total"]
    for key in ("total", "drag"):
        width = alone[key]["high"] - alone[key]["low"]
        assert abs(tied[key]["best"] - alone[key]["best"]) < 0.5 * width
        assert tied[key]["high"] - tied[key]["low"] > 0.4 * width


def test_several_runs_are_no_surer_than_one(flown: tuple[Path, dict], tmp_path: Path) -> None:
    folder, _ = flown
    text = (folder / "project.toml").read_text("utf-8")
    second = FLOW.partition("[[flow.cases]]")[2].replace("Coarse 150", "again")
    second = f'[[flow.cases]]{second}evidence = "flow-1"'
    other = project_at(tmp_path / "two", f"{text}\n{second}\n")
    (other / "evidence").mkdir()
    for file in (folder / "evidence").iterdir():
        (other / "evidence" / file.name).write_bytes(file.read_bytes())
    (one,) = sighted_rows(read_project(folder).project, folder)
    two = sighted_rows(read_project(other).project, other)
    assert len(two) == 2
    before = one.downforce_front.high - one.downforce_front.low
    after = two[0].downforce_front.high - two[0].downforce_front.low
    assert after == pytest.approx(np.sqrt(2) * before)


def test_a_shape_that_is_not_the_car_is_not_held_against_it(
    flown: tuple[Path, dict], tmp_path: Path
) -> None:
    folder, _ = flown
    text = (folder / "project.toml").read_text("utf-8")
    text = text.replace("longest = 1.35", "longest = 1.35\ncounts = false")
    other = project_at(tmp_path / "apart", text)
    (other / "evidence").mkdir()
    for file in (folder / "evidence").iterdir():
        (other / "evidence" / file.name).write_bytes(file.read_bytes())
    project = read_project(other).project
    assert sighted_rows(project, other) == ()
    assert "not the car" in flown_runs(project, other)[0].why_not
    assert all(r["kind"] != "run" for r in Bench(other).page("budget")["rows"])


def test_the_page_shows_cost_loads_and_chain(flown: tuple[Path, dict]) -> None:
    folder, _ = flown
    bench = Bench(folder, runs_itself=False)
    page = bench.page("flow")
    assert page["cost"]["can_run"]
    assert {r["label"] for r in page["cost"]["rows"]} >= {"cells", "memory", "time at most"}
    assert page["setting"]["front_mm"] == 300.0
    result = page["result"]
    assert not result["is_older"]
    assert [r["key"] for r in result["loads"]] == ["downforce", "front", "rear", "drag"]
    assert sum(p["name"] == "body" for p in result["parts"]) == 1
    chain = bench.why(result["loads"][3]["number"]["why"])
    assert any("Stated bias" in s["what"] for s in chain["steps"])
    with pytest.raises(UnknownName, match="load"):
        bench.why("flow/Coarse 150/lift")
    view, arrays = bench.live({"do": "flow_view", "case": "Coarse 150"})
    assert view["names"][0] == "body"
    assert arrays["vertices"].shape[0] == arrays["pressure"].shape[0]
    assert arrays["faces"].max() < len(arrays["vertices"])
    means, instants = view["planes"][:7], view["planes"][7:]
    assert [p["name"] for p in instants] == [f"{p['name']}, one instant" for p in means]
    assert arrays["pressure_last"].shape == arrays["pressure"].shape


def test_settings_are_weighed_as_they_move_and_all_faults_are_told(
    flown: tuple[Path, dict],
) -> None:
    bench = Bench(flown[0], runs_itself=False)
    header, _ = bench.live({"do": "flow_cost", "cell_mm": 400, "front_mm": 60, "rear_mm": 70})
    assert not header["cost"]["can_run"]
    assert any("cells" in text for text in header["cost"]["faults"])
    header, _ = bench.live({"do": "flow_cost", "cell_mm": 3})
    assert any("memory" in text for text in header["cost"]["faults"])
    with pytest.raises(InputError, match=r"^Speed = 4000 km/h: must be 5 to 400 km/h\. .* 400 "):
        bench.live({"do": "flow_cost", "speed_kmh": 4000})
    header, _ = bench.live({"do": "flow_cost", "cell_mm": 40, "levels": 1})
    labels = [row["label"] for row in header["cost"]["rows"]]
    sizes = [text for text in labels if text.startswith("cells of")]
    assert sizes == ["cells of 80 mm", "cells of 40 mm"]
    header, _ = bench.live({"do": "flow_cost", "leave_out": ["cabin"]})
    assert [p["in"] for p in header["parts"] if p["name"] == "cabin"] == [False]
    cut, _ = bench.live({"do": "flow_prepare"})
    assert cut["faults"] == []
    assert {r["label"] for r in cut["rows"]} >= {"narrowest gap"}


def test_a_run_under_way_is_seen_stopped_and_known_when_lost(tmp_path: Path) -> None:
    folder = project_at(tmp_path / "going")
    bench = Bench(folder, runs_itself=False)
    built = built_case(bench.opened.project, folder, run_named(bench.opened.project))
    desk = Desk.of(folder, built.digest)
    history = [[0.5 + 0.1 * k, -0.1, 0.02, 0.9, 0.01] for k in range(5)]
    desk.note(state="running", case="Coarse 150", pid=os.getpid(), travel=0.9, longest=1.35,
              seconds=4.0, rate=5e6, downforce=[-0.1, 0.02], drag=[0.9, 0.01],
              history=history)  # fmt: skip
    header, arrays = bench.live({"do": "flow_watch"})
    assert header["run"]["is_going"]
    assert header["run"]["numbers"]["drag"]["text"].startswith("0.90")
    np.testing.assert_allclose(arrays["drag"], 0.9)
    with pytest.raises(InputError, match="running already"):
        bench.live({"do": "flow_start"})
    assert bench.live({"do": "flow_cancel"})[0]["asked"]
    assert (desk.folder / "stop").is_file()
    desk.note(pid=2**22 + 12345)
    found = bench.page("flow")["run"]
    assert (found["state"], found["is_going"]) == ("lost", False)
    assert "starts afresh" in found["text"]
    assert not bench.live({"do": "flow_cancel"})[0]["asked"]


def test_a_stopped_run_says_so_and_keeps_its_place(tmp_path: Path) -> None:
    from tuftwork.errors import Cancelled

    folder = project_at(tmp_path / "stopped")

    def stop(state: dict) -> None:
        if state["state"] == "running" and state.get("step"):
            next((folder / "results" / "flow").iterdir()).joinpath("stop").touch()

    with pytest.raises(Cancelled):
        run_case(folder, tell=stop)
    page = Bench(folder, runs_itself=False).page("flow")
    assert page["run"]["state"] == "cancelled"
    assert page["run"]["can_resume"]
    assert page["result"] is None


def test_geometry_from_a_file_is_placed_checked_and_told_apart_from_another_unit(
    tmp_path: Path,
) -> None:
    folder = project_at(tmp_path / "file")
    (folder / "evidence").mkdir()
    scene = trimesh.Scene()
    for mesh in generic_car("coupe", ride_height_front=0.3, ride_height_rear=0.31):
        # drawn in millimetres, nose forward along +x, y to the left
        places = (mesh.vertices * [-1, -1, 1] + [5.0, 0, 0]) * 1000
        body = trimesh.Trimesh(places, mesh.faces, process=False)
        scene.add_geometry(body, geom_name=mesh.name, node_name=mesh.name)
    (folder / "evidence" / "car.glb").write_bytes(scene.export(file_type="glb"))
    flow = """
[flow]
[[flow.surfaces]]
file = "car.glb"
unit = "mm"
nose = "+x"
up = "z"
front_axle = "5000 mm"
ride_height_front = "300 mm"
ride_height_rear = "310 mm"
leave_out = ["rear wing*", "splitter"]
[[flow.cases]]
name = "file"
speed = "150 km/h"
cell = "100 mm"
ride_height_front = "280 mm"
"""
    project_at(folder, BASE + flow)
    opened = read_project(folder)
    built = built_case(opened.project, folder, run_named(opened.project))
    by_name = {p.name: p for p in built.case.parts}
    assert set(by_name) == {"body", "cabin", *(n for n in by_name if n.startswith("wheel"))}
    assert built.front == 0.28
    wheel = by_name["wheel front left"]
    assert wheel.spin is not None
    assert wheel.spin.centre[0] == pytest.approx(0.0, abs=1e-6)
    assert wheel.vertices[:, 1].mean() < 0  # left stays left
    reference = {m.name: m for m in generic_car("coupe", ride_height_front=0.3,
                                                ride_height_rear=0.31)}["body"]  # fmt: skip
    change = by_name["body"].vertices[:, 2].min() - reference.vertices[:, 2].min()
    assert change == pytest.approx(-0.02, abs=0.01)
    assert built.forecast().faults == ()
    wrong = project_at(folder, BASE + flow.replace('unit = "mm"', 'unit = "in"').replace(
        "5000 mm", "127 m"))  # fmt: skip
    opened = read_project(wrong)
    faults = built_case(opened.project, wrong, run_named(opened.project)).forecast().faults
    said = " ".join(str(f) for f in faults)
    assert "In 'mm' it would fit" in said
    with pytest.raises(FileFault):
        run_case(wrong)
    state = json.loads(next((wrong / "results" / "flow").rglob("run.json")).read_text())
    assert state["state"] == "refused"
    (fault,) = state["faults"]  # all else that a wrong unit brings with it is not told
    assert "In 'mm' it would fit" in fault


def test_a_project_without_a_shape_says_how_to_begin_and_can_be_given_one(tmp_path: Path) -> None:
    folder = project_at(tmp_path / "none", BASE)
    bench = Bench(folder, runs_itself=False)
    page = bench.page("flow")
    assert page["cases"] == []
    assert "generic car" in page["text"]
    with pytest.raises(NotCovered, match=r"\[flow\]"):
        run_named(bench.opened.project)
    bench.live({"do": "flow_add", "kind": "prototype"})
    page = bench.page("flow")
    assert (page["generic"], page["case"]) == ("prototype", "first look")
    bench.live({"do": "flow_save", "case": "first look", "cell_mm": 40, "yaw_deg": 3})
    setting = Bench(folder, runs_itself=False).page("flow")["setting"]
    assert (setting["cell_mm"], setting["yaw_deg"]) == (40.0, 3.0)


def test_impossible_tables_are_refused(tmp_path: Path) -> None:
    both = FLOW.replace('generic = "coupe"', "")
    with pytest.raises(FileFault, match="generic"):
        read_project(project_at(tmp_path / "a", BASE + both))
    named = FLOW + 'state = "wet"\nevidence = "flow-9"\n'
    with pytest.raises(FileFault, match=r"(?s)no state.*no evidence"):
        read_project(project_at(tmp_path / "b", BASE + named))
    odd = FLOW.replace("splitter_length", "spoiler_length")
    folder = project_at(tmp_path / "c", BASE + odd)
    page = Bench(folder, runs_itself=False).page("flow")
    assert not page["cost"]["can_run"]
    assert "spoiler_length" in page["cost"]["faults"][0]


def test_records_come_back_as_written_and_damage_is_told(tmp_path: Path) -> None:
    tree = {
        "a": {"faces": np.array([[5, 1, 2], [9, 3, 4]], np.int32), "word": "x", "n": 1.5},
        "list": [{"field": np.array([1.0, np.nan], np.float16)}, None],
    }
    path = tmp_path / "run.npz"
    write_flow_record(path, tree)
    back = read_flow_record(path)
    np.testing.assert_array_equal(back["a"]["faces"], tree["a"]["faces"])
    np.testing.assert_array_equal(back["list"][0]["field"], tree["list"][0]["field"])
    assert back["a"]["word"] == "x"
    assert read_flow_record(path, arrays=False)["a"]["n"] == 1.5
    path.write_bytes(b"nothing")
    with pytest.raises(FileFault, match="cannot be read"):
        read_flow_record(path)
    with pytest.raises(FileFault, match="no such file"):
        read_flow_record(tmp_path / "gone.npz")
    assert slug("Über 220 km/h!") == "über-220-km-h"
