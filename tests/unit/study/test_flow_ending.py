"""When a run of the 3-D flow may end, and what is told before it: on the page as in the file."""

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import BLUFF_CASE, COARSE_LOOK, bluff_project
from typer.testing import CliRunner

from tuftwork.car import Evidence
from tuftwork.cli import program
from tuftwork.errors import FileFault, InputError
from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record
from tuftwork.flow.stop import Progress
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, run_case
from tuftwork.study.flow.grid import runs_alike
from tuftwork.study.flow.page import state_tree
from tuftwork.study.flow.sighting import Flown

CASE = BLUFF_CASE.format(name="one", speed=150, longest=2.0).replace("1e-30", "0.01")
WIDE = CASE.replace('beside = "1.2 m"', 'beside = "2 m"').replace(
    'above = "1.2 m"', 'above = "2 m"'
)
GENERIC = '[flow]\ngeneric = "coupe"\n'


def bench_of(folder: Path, case: str = CASE) -> Bench:
    return Bench(bluff_project(folder, case), runs_itself=False)


def asked(bench: Bench) -> str:
    opened = read_project(bench.folder)
    return built_case(opened.project, bench.folder, run_named(opened.project)).rule.asked


def test_the_page_shows_and_saves_a_share_instead_of_an_area(tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car", CASE + 'error_share = "2 %"\n')
    setting = bench.page("flow")["setting"]
    assert setting["error_pct"] == pytest.approx(2.0)
    answer, _ = bench.live({"do": "flow_save", "case": "one", "error_pct": 0.5})
    assert answer["saved"] == 1
    assert asked(bench) == "0.5 % of CzS and of CxS"
    bench.live({"do": "flow_save", "case": "one", "error_pct": None, "error_m2": 0.02})
    assert asked(bench) == "0.02 m²"
    assert "error_share" not in (bench.folder / "project.toml").read_text(encoding="utf-8")
    assert bench.page("flow")["setting"]["error_pct"] is None


@pytest.mark.parametrize("share", [0, -1, 60, "many"])
def test_a_share_that_cannot_be_meant_is_refused_in_percent(share: Any, tmp_path: Path) -> None:
    bench = bench_of(tmp_path / "car")
    with pytest.raises(InputError, match=r"^Statistical error \(error_share\) = .* 0\.001 to 50 %"):
        bench.live({"do": "flow_cost", "case": "one", "error_pct": share})


def test_a_run_under_way_tells_the_error_that_was_asked_for() -> None:
    tree = state_tree({"state": "running", "asked": "1 % of CzS and of CxS"})
    assert tree is not None
    assert tree["asked"] == "1 % of CzS and of CxS"


def test_a_refused_run_says_why_without_the_keys_it_stands_under(tmp_path: Path) -> None:
    late = CASE.replace("settle = 0.5", "settle = 3.0")
    bench = bench_of(tmp_path / "car", late + 'leave_out = ["wing*"]\n')
    with pytest.raises(FileFault, match=r"(?s)flow\.cases\.one: Runs at most \(longest\)"):
        run_case(bench.folder, "one", register=False)
    page = bench.page("flow")
    (row,) = page["sweep"]["rows"]
    assert row["state"] == "refused"
    assert row["text"] == page["run"]["text"]
    assert "faults" not in row["text"]
    assert "flow.cases" not in row["text"]
    assert row["text"].startswith("Runs at most (longest): must be at least 1 car length more than")
    assert "part in leave_out: not known" in row["text"]


@pytest.mark.parametrize("before", [0.0, 30.0])
def test_the_time_left_is_that_of_this_process_from_a_checkpoint_too(
    before: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two seconds for a length, however many lengths were run before."""
    monkeypatch.setattr("tuftwork.study.flow.desk._EVERY", -1.0)
    desk = Desk(folder=tmp_path)
    desk.note(state="running", longest=60.0)
    for gone in (0.5, 5.0, 20.0):
        desk.watch(Progress(step=1, travel=before + gone, downforce_area=None, drag_area=None,
                            seconds=7.0 + 2.0 * gone, rate=1e6))  # fmt: skip
    tree = state_tree(desk.state)
    assert tree is not None
    # the first seven seconds compiled kernels and are not paid again
    assert tree["left_s"] == pytest.approx(2.0 * (60.0 - desk.state["travel"]))
    assert tree["progress"] == pytest.approx(desk.state["travel"] / 60.0)


def gone_on(folder: Path, settle: float) -> Desk:
    """The desk of a process that goes on where another one stopped, before its first sample."""
    desk = Desk(folder=folder)
    desk.note(state="cancelled", travel=5.0, seconds=60.0, settle=2.0, downforce=[0.1, 0.01],
              doubts=["Doubtful."], history=[[2.5, 0, 0, 0, 0], [4.8, 0, 0, 0, 0]])  # fmt: skip
    desk.checkpoint.write_bytes(b"state")
    new = Desk(folder=folder)
    new.note(state="preparing", pid=os.getpid(), longest=10.0, **new.so_far(settle))
    return new


def test_a_run_that_goes_on_shows_how_far_it_is_at_once(tmp_path: Path) -> None:
    desk = gone_on(tmp_path, settle=2.0)
    tree = state_tree(desk.state)
    assert tree is not None
    assert (tree["travel"], tree["seconds"], tree["progress"]) == (5.0, 60.0, 0.5)
    assert tree["doubts"] == ["Doubtful."]
    # the checkpoint was written a little before the last look: what came between is told again
    desk.watch(Progress(step=1, travel=4.75, downforce_area=None, drag_area=None, seconds=58.0,
                        rate=1e6))  # fmt: skip
    assert [row[0] for row in desk.state["history"]] == [2.5]


def test_a_settling_that_the_checkpoint_cannot_give_is_told_before_the_run(tmp_path: Path) -> None:
    """By page and command, and the checkpoint's state stays what it was."""
    bench = bench_of(tmp_path / "car", CASE.replace("longest = 2.0", "longest = 9.0"))
    project = bench.opened.project
    desk = Desk.of(bench.folder, built_case(project, bench.folder, run_named(project)).digest)
    desk = gone_on(desk.folder, settle=2.0)
    desk.note(state="cancelled")

    def faults(settle: float) -> list[str]:
        answer, _ = bench.live({"do": "flow_cost", "case": "one", "settle": settle})
        return list(answer["cost"]["faults"])

    assert faults(2.0) == faults(5.0) == faults(7.0) == []
    (fault,) = faults(3.0)
    assert fault == (
        "Settles for (settle) = 3 car lengths: the checkpoint at 5.00 holds means of the fields "
        "from 2 on. Keep 2, or let it settle for 5 or more."
    )
    shown = CliRunner().invoke(program, ["flow", "show", str(bench.folder)])
    assert "60\u202fs of computing so far." in shown.output
    kept = (desk.folder / "run.json").read_bytes()
    for start in (lambda: bench.live({"do": "flow_start", "case": "one", "settle": 3.0}),
                  lambda: run_case(bench.folder, "one")):  # fmt: skip
        with pytest.raises(FileFault, match=r"Keep 2, or let it settle for 5 or more"):
            start()
        assert desk.read()["settle"] == 2.0  # type: ignore[index]
    assert json.loads(kept)["travel"] == desk.read()["travel"] == 5.0  # type: ignore[index]


def test_a_run_that_ends_between_two_writings_says_where_it_stood(tmp_path: Path) -> None:
    desk = Desk(folder=tmp_path)
    desk.note(state="running")
    for travel in (1.0, 2.0):
        desk.watch(Progress(step=1, travel=travel, downforce_area=None, drag_area=None,
                            seconds=7.0 * travel, rate=1e6))  # fmt: skip
    desk.note(state="cancelled")
    told = Desk(folder=tmp_path).read()
    assert told is not None
    assert (told["travel"], told["seconds"]) == (2.0, 14.0)


def test_loads_of_another_settling_are_not_shown_as_those_of_now(tmp_path: Path) -> None:
    state = gone_on(tmp_path, settle=6.0).state
    assert (state["travel"], state["history"], state.get("downforce")) == (5.0, [], None)
    afresh = Desk(folder=tmp_path / "new").so_far(2.0)
    assert afresh == {"history": []}


@pytest.mark.parametrize(("counts", "told"), [("true", True), ("false", False)])
def test_a_generic_shape_that_counts_is_told_when_the_page_looks(
    counts: str, told: bool, tmp_path: Path
) -> None:
    """As ``flow prepare`` tells it: before the run, not after its loads have narrowed the car."""
    bench = bench_of(tmp_path / "car")
    path = bench.folder / "project.toml"
    text = path.read_text(encoding="utf-8")
    head = text[: text.index("[flow]")]
    heights = {"ride_height_front": 700, "ride_height_rear": 710, "nose_height": 1000,
               "bonnet_height": 1200, "deck_height": 1200, "tail_height": 1200}  # fmt: skip
    own = ", ".join(f'{name} = "{value} mm"' for name, value in heights.items())
    numbers = f"numbers = {{ {own} }}\n"
    path.write_text(head + GENERIC + numbers + WIDE + f"counts = {counts}\n", encoding="utf-8")
    answer, _ = Bench(bench.folder, runs_itself=False).live({"do": "flow_prepare", "case": "one"})
    assert answer["faults"] == []
    assert any("generic and counts" in text for text in answer["notices"]) == told


def flown(record: dict[str, Any], run: Any, name: str, **case: Any) -> Flown:
    found = record | {"case": record["case"] | case}
    evidence = Evidence(id=f"flow-{name}", title=name, kind="run", file=f"{name}.npz")
    return Flown(run=run.with_values({"name": name}), evidence=evidence, record=found, why_not="")


def test_another_shape_of_the_same_size_is_not_the_same_case_with_other_cells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A flap at another angle leaves the car as long, wide and high as it was."""
    bench = bench_of(tmp_path / "car")
    project = bench.opened.project
    run, record = run_named(project), read_flow_record(COARSE_LOOK, arrays=False)
    cell = record["case"]["cell"]
    own = flown(record, run, "own", shape="a")
    same = flown(record, run, "same", shape="a", cell=1.5 * cell)
    turned = flown(record, run, "turned", shape="b", cell=1.5 * cell)
    there = [own, same, turned]
    monkeypatch.setattr("tuftwork.study.flow.grid.flown_runs", lambda *_: tuple(there))
    assert runs_alike(project, bench.folder, "own") == (own, (same,))
    # records made before shapes were told apart: their parts must have the same names at least
    old = flown(record, run, "old", cell=1.5 * cell)
    fewer = replace(old, run=run.with_values({"name": "fewer"}),
                    record=old.record | {"parts": record["parts"][1:]})  # fmt: skip
    there[1:] = [old, fewer]
    assert runs_alike(project, bench.folder, "own") == (own, (old,))


def test_the_shape_is_the_same_with_other_cells_and_another_with_other_corners(
    tmp_path: Path,
) -> None:
    bench = bench_of(tmp_path / "car")
    project = bench.opened.project
    run = run_named(project)
    base = built_case(project, bench.folder, run)
    assert built_case(project, bench.folder, run.with_values({"cell": "150 mm"})).form == base.form
    lower = run.with_values({"ride_height_front": "360 mm", "ride_height_rear": "360 mm"})
    assert built_case(project, bench.folder, lower).form != base.form
