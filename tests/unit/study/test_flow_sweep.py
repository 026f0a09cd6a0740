"""A sweep of the 3-D flow: spread, run, stopped, gone on with, registered; on Dask too."""

import os
import re
import signal
from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import COARSE_LOOK, flow_car

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.files import read_project
from tuftwork.quantity import format_quantity
from tuftwork.study import Bench
from tuftwork.study.flow import sweep as module
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk
from tuftwork.study.flow.sighting import flown_runs, sighted_rows
from tuftwork.study.flow.sweep import run_sweep, spread_cases, swept_rows
from tuftwork.study.flow.sweep_desk import built_cases, is_sweeping, stop_sweep, sweep_tree

TEXT = (
    flow_car()
    + """
[flow]
generic = "coupe"
numbers = { ride_height_front = "300 mm", ride_height_rear = "310 mm", splitter_length = "0 m", \
wing_span = "0 m" }
# what was run first
[[flow.cases]]
name = "coarse"
speed = "150 km/h"
cell = "110 mm"
longest = 6.0
"""
)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "car"
    folder.mkdir()
    (folder / "project.toml").write_text(TEXT, encoding="utf-8")
    return folder


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the cases that were run; a run here leaves the record that comes with the demo."""
    names: list[str] = []

    def run_case(folder: Path, name: str, *, register: bool, cards: int) -> dict[str, Any]:
        names.append(name)
        opened = read_project(folder)
        built = built_case(opened.project, folder, run_named(opened.project, name))
        desk = Desk.of(folder, built.digest)
        if "yaw 6" in name and names.count(name) == 1:
            desk.note(state="failed", text="diverged")
            raise NotConverged("the flow diverged at step 12")
        desk.note(state="done", record="flow.npz")
        data = COARSE_LOOK.read_bytes()
        (desk.folder / "flow.npz").write_bytes(data)
        return desk.state

    monkeypatch.setattr(module, "run_case", run_case)
    return names


def test_heights_and_yaw_are_spread_into_cases_like_the_base(project: Path) -> None:
    opened = read_project(project)
    opened, names = spread_cases(
        opened, "", {"front": ["290", "300 mm", "290 mm"], "yaw": ["0", "3"]}
    )
    assert names == (
        "coarse, front 290 mm yaw 0 °", "coarse, front 290 mm yaw 3 °",
        "coarse, front 300 mm yaw 0 °", "coarse, front 300 mm yaw 3 °",
    )  # fmt: skip
    case = run_named(opened.project, "coarse, front 290 mm yaw 3 °")
    assert case.ride_height_front.best == pytest.approx(0.29)
    assert case.longest == 6.0
    assert "# what was run first" in opened.text
    # asked for again, nothing is added
    again, same = spread_cases(opened, "coarse", {"front": ["290", "300"], "yaw": ["0", "3"]})
    assert same == names
    assert again.text == opened.text
    with pytest.raises(InputError):
        spread_cases(opened, "", {"yaw": ["3 mm"]})
    with pytest.raises(UnknownName, match="coarse"):
        spread_cases(opened, "fine", {"yaw": ["3"]})


def test_a_sweep_goes_on_past_a_failure_and_runs_only_what_is_left(
    project: Path, ran: list[str]
) -> None:
    _, names = spread_cases(read_project(project), "", {"yaw": ["0", "3", "6"]})
    told: list[tuple[str, int, int]] = []
    found = run_sweep(project, names, tell=lambda one, n, of: told.append((one.state, n, of)))
    assert [one.state for one in found] == ["done", "done", "failed"]
    assert "diverged at step 12" in found[2].text
    assert told == [("done", 1, 3), ("done", 2, 3), ("failed", 3, 3)]
    again = run_sweep(project, names)
    assert [one.state for one in again] == ["was done", "was done", "done"]
    assert ran == [*names, names[2]]
    kept = {case.name: case.evidence for case in read_project(project).project.flow.cases}
    assert [kept[name] for name in names] == [one.evidence for one in again]
    assert len(read_project(project).project.evidence) == len({one.evidence for one in again})


def test_what_a_sweep_gave_feeds_the_models_with_its_bias(project: Path, ran: list[str]) -> None:
    _, names = spread_cases(read_project(project), "", {"front": ["290", "300"]})
    found = run_sweep(project, names)
    rows = swept_rows(project, found)
    assert all(" to " in row["drag"] for row in rows)
    opened = read_project(project)
    for run, row in zip(flown_runs(opened.project, project), rows, strict=True):
        area = run.area("front")
        assert area.high - area.low > 2.0  # two figures of the half-range: one digit
        assert not re.search(r"\.\d\d", row["front"])
        assert format_quantity(area) == row["front"].replace(" ", "\u202fm² ", 1)
    held = sighted_rows(opened.project, project)
    assert {row.evidence for row in held} <= {one.evidence for one in found}
    assert all(row.drag.origin == "computed" for row in held)


def test_a_scheduler_whose_workers_do_not_see_the_folder_is_told(tmp_path: Path) -> None:
    task = module._Task(folder=str(tmp_path / "gone"), name="x", cards=1, place=0, threads=0)
    assert "on a disk that all share" in module.run_one(task)["text"]


def test_a_sweep_told_to_stop_ends_and_goes_on_when_started_again(
    project: Path, ran: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, names = spread_cases(read_project(project), "", {"yaw": ["0", "3", "4"]})
    bench = Bench(project, runs_itself=False)
    seen: list[dict[str, Any]] = []
    inner = module.run_case

    def run_case(*args: Any, **more: Any) -> dict[str, Any]:
        seen.append(sweep_tree(bench))
        assert stop_sweep(project, built_cases(bench))
        return inner(*args, **more)

    monkeypatch.setattr(module, "run_case", run_case)
    found = run_sweep(project, names)
    assert [one.state for one in found] == ["done", "cancelled", "cancelled"]
    assert "stopped before it began" in found[1].text
    (during,) = seen
    assert during["is_going"]
    assert (during["done"], during["count"], during["left"]) == (0, 3, 1)  # the base is not in it
    assert [row["state"] for row in during["rows"]] == ["not run", *["waiting"] * 3]
    monkeypatch.setattr(module, "run_case", inner)
    assert [one.state for one in run_sweep(project, names)] == ["was done", "done", "done"]
    assert not is_sweeping(project)


def test_the_page_has_a_row_for_every_case_with_its_loads(project: Path, ran: list[str]) -> None:
    bench = Bench(project, runs_itself=False)
    answer, _ = bench.live({"do": "flow_spread", "front": "290, 300 mm", "yaw": "0, 6"})
    assert len(answer["names"]) == 4
    run_sweep(project, answer["names"])
    tree = bench.live({"do": "flow_sweep"})[0]["sweep"]
    rows = {row["name"]: row for row in tree["rows"]}
    states = [row["state"] for row in tree["rows"]]
    assert states == ["not run", "done", "failed", "done", "failed"]
    done = rows["coarse, front 290 mm yaw 0 °"]
    assert "290.0" in done["at"]
    assert done["drag"]["low"] < done["drag"]["best"] < done["drag"]["high"]
    assert bench.why(done["drag"]["why"])["steps"]
    assert "diverged" in rows["coarse, front 290 mm yaw 6 °"]["text"]
    assert tree["left"] == 3
    later = bench.page("flow")["sweep"]
    assert later.pop("as_of") > tree.pop("as_of")
    assert later == tree
    with pytest.raises(InputError, match="needs front or rear"):
        bench.live({"do": "flow_spread"})


def test_a_sweep_is_started_once_and_told_to_stop_from_the_page(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(project, runs_itself=False)
    asked: list[list[str]] = []

    class Popen:
        pid = os.getpid()

        def __init__(self, command: list[str], **_: Any) -> None:
            asked.append(command)

        def wait(self) -> int:
            return 0

    monkeypatch.setattr("tuftwork.study.flow.sweep_desk.subprocess.Popen", Popen)
    tree = bench.live({"do": "flow_sweep_start"})[0]["sweep"]
    assert tree["is_going"]
    assert asked[0][-3:] == ["--case", "coarse", "--json"]
    with pytest.raises(InputError, match="is running already"):
        bench.live({"do": "flow_sweep_start"})
    answer, _ = bench.live({"do": "flow_sweep_stop"})
    assert answer["asked"]
    assert answer["sweep"]["is_stopping"]


@pytest.mark.filterwarnings("ignore")
def test_cases_run_on_a_dask_scheduler(project: Path) -> None:
    """Two cases that cells too coarse for the gap refuse: the refusal comes back in words."""
    distributed = pytest.importorskip("distributed")
    path = project / "project.toml"
    path.write_text(TEXT.replace('"110 mm"', '"400 mm"'), encoding="utf-8")
    _, names = spread_cases(read_project(project), "", {"yaw": ["0", "3"]})
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        found = run_sweep(project, names, scheduler=cluster.scheduler_address)
    assert [one.state for one in found] == ["refused", "refused"]
    assert all("needs at least 2 cells" in one.text for one in found)


def test_ctrl_c_keeps_a_checkpoint_and_ends_the_sweep(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = project / "project.toml"
    path.write_text(TEXT.replace('"110 mm"', '"130 mm"'), encoding="utf-8")
    _, names = spread_cases(read_project(project), "", {"yaw": ["0", "3"]})
    real = Desk.watch

    def watch(self: Desk, progress: Any) -> bool:
        if progress.step < 40:
            signal.raise_signal(signal.SIGINT)
        return real(self, progress)

    monkeypatch.setattr(Desk, "watch", watch)
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt, match="goes on from there"):
        run_sweep(project, names)
    assert signal.getsignal(signal.SIGINT) is before
    opened = read_project(project)
    first, second = (
        Desk.of(project, built_case(opened.project, project, run_named(opened.project, n)).digest)
        for n in names
    )
    assert first.read()["state"] == "cancelled"
    assert first.read()["can_resume"]
    assert second.read() is None
