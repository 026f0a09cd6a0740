"""Two who change one project at the same time, in the worst order: nothing is lost, nothing hidden.

A gate holds a function back until the other has acted; no clock decides.
"""

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
from tests.conftest import NewDemo
from tests.unit.study.small_car import write_small_car
from tests.unit.study.test_flow_sweep import TEXT

from tuftwork.errors import FileFault, InputError
from tuftwork.files import edit_project, read_project, save_changes
from tuftwork.study import Bench
from tuftwork.study.flow import desk as flow_desk
from tuftwork.study.flow import register as flow_register
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, start_process
from tuftwork.study.trial.roles import roles_live
from tuftwork.study.trial.take import cure_live

LONG = 60.0  # [s]  before a test gives up; none waits for it


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_small_car(tmp_path / "car", draws=32)


@pytest.fixture
def flowing(tmp_path: Path) -> Path:
    folder = tmp_path / "flowing"
    folder.mkdir()
    (folder / "project.toml").write_text(TEXT, encoding="utf-8")
    return folder


@pytest.fixture
def day(halyard: Bench, tmp_path: Path) -> Bench:
    """The demo as its study found it, open as a page has it: nothing runs by itself."""
    shutil.copytree(halyard.folder, tmp_path / "halyard")
    return Bench(tmp_path / "halyard", runs_itself=False)


def retitle(folder: Path, title: str) -> None:
    save_changes(read_project(folder), {"about.title": title})


def test_a_project_changed_while_its_study_runs_is_stale_when_that_ends(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(folder, runs_itself=False)

    def meanwhile(*_: Any, **__: Any) -> dict[str, Any]:
        retitle(folder, "changed while it ran")
        bench.page("runs")  # a page is looked at: the change is known
        return {}

    monkeypatch.setattr("tuftwork.study.bench.run_steps", meanwhile)
    monkeypatch.setattr("tuftwork.study.bench.runs_page", lambda _: {"runs": [{}]})
    bench.run()
    assert bench.is_stale()
    assert bench.opened.project.about.title == "changed while it ran"


def test_a_reading_under_way_does_not_undo_what_was_saved_meanwhile(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(folder, runs_itself=False)
    held, free = Event(), Event()

    def slow(where: Path) -> Any:
        found = read_project(where)
        held.set()
        assert free.wait(LONG)
        return found

    def save() -> None:
        bench.opened = save_changes(read_project(folder), {"about.title": "saved"})

    monkeypatch.setattr("tuftwork.study.bench.read_project", slow)
    both = [Thread(target=bench.page, args=("runs",)), Thread(target=save)]
    both[0].start()
    assert held.wait(LONG)
    both[1].start()
    both[1].join(0.3)  # it may have to wait for the reading: either is right
    free.set()
    for one in both:
        one.join(LONG)
    assert bench.opened.project.about.title == "saved"


def test_a_file_that_moves_on_while_a_change_is_checked_is_not_written_over(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tuftwork.files import edit

    check = edit.parse_project

    def slow(data: bytes, where: Path) -> Any:
        monkeypatch.setattr(edit, "parse_project", check)
        retitle(folder, "theirs")
        return check(data, where)

    opened = read_project(folder)
    monkeypatch.setattr(edit, "parse_project", slow)
    with pytest.raises(FileFault, match="changed on the disk"):
        save_changes(opened, {"about.client": "mine"})
    assert read_project(folder).project.about.title == "theirs"


def test_of_two_who_write_at_once_the_later_looks_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tuftwork.files import edit

    write, held, free = edit.write_atomic, Event(), Event()

    def slow(*given: Any, **how: Any) -> None:
        if not held.is_set():
            held.set()
            assert free.wait(LONG)
        write(*given, **how)

    monkeypatch.setattr(edit, "write_atomic", slow)
    first, second = read_project(folder), read_project(folder)
    told: list[str] = []

    def late() -> None:
        try:
            save_changes(second, {"about.client": "theirs"})
        except FileFault as why:
            told.append(str(why))

    both = [Thread(target=save_changes, args=(first, {"about.title": "mine"})), Thread(target=late)]
    both[0].start()
    assert held.wait(LONG)
    both[1].start()
    both[1].join(0.5)  # it has looked and written by then, or waits
    free.set()
    for one in both:
        one.join(LONG)
    assert "changed on the disk" in " ".join(told)
    assert read_project(folder).project.about.title == "mine"


def test_a_change_is_made_again_where_the_file_has_moved_on(folder: Path) -> None:
    others = iter(("first", "second"))
    seen = []

    def edits(opened: Any) -> list[dict[Any, Any]]:
        seen.append(opened.project.about.title)
        title = next(others, None)
        if title is not None:
            retitle(folder, title)
        return [{"about.client": f"of {opened.project.about.title}"}]

    edit_project(folder, edits)
    about = read_project(folder).project.about
    assert (about.title, about.client) == ("second", "of second")
    assert seen[1:] == ["first", "second"]
    with pytest.raises(FileFault, match="changed on the disk"):
        edit_project(folder, lambda o: [retitle(folder, f"{o.digest}") or {"about.client": "x"}],
                     tries=3)  # fmt: skip


def test_a_run_registers_itself_while_a_page_saves(
    flowing: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = flowing / "flow-coarse.npz"
    record.write_bytes(b"any")
    copy_in: Callable[..., Any] = flow_register.copy_in
    from tuftwork.files import edit

    refuse = edit.refuse_if_moved_on

    def meanwhile(opened: Any) -> None:
        monkeypatch.setattr(edit, "refuse_if_moved_on", refuse)
        retitle(flowing, "saved by a page")
        refuse(opened)

    def copied(*args: Any) -> Any:
        monkeypatch.setattr(edit, "refuse_if_moved_on", meanwhile)
        return copy_in(*args)

    monkeypatch.setattr(flow_register, "copy_in", copied)
    assert flow_register.register_run(flowing, "coarse", record) == "flow-1"
    project = read_project(flowing).project
    assert project.about.title == "saved by a page"
    assert project.flow is not None
    assert project.flow.cases[0].evidence == "flow-1"


def test_a_run_that_was_refused_before_its_starter_could_note_it_stays_refused(
    flowing: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = read_project(flowing)
    built = built_case(opened.project, flowing, run_named(opened.project))

    class Quick:
        pid = 2**22 + 1  # no process has it

        def __init__(self, *_: Any, **__: Any) -> None:
            Desk.of(flowing, built.digest).note(state="refused", text="no room", pid=self.pid)

        def wait(self) -> int:
            return 1

    monkeypatch.setattr(flow_desk.subprocess, "Popen", Quick)
    start_process(flowing, built)
    state = Desk.of(flowing, built.digest).read()
    assert state is not None
    assert (state["state"], state["text"]) == ("refused", "no room")


def test_of_two_pages_that_start_a_run_at_once_one_is_refused(
    flowing: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(flowing, runs_itself=False)
    first, free, started = Event(), Event(), []

    class Slow:
        pid = os.getpid()

        def __init__(self, *_: Any, **__: Any) -> None:
            started.append(1)
            first.set()
            assert free.wait(LONG)

        def wait(self) -> int:
            return 0

    monkeypatch.setattr(flow_desk.subprocess, "Popen", Slow)
    refused: list[BaseException] = []

    def start() -> None:
        try:
            bench.live({"do": "flow_start", "case": "coarse"})
        except InputError as error:
            refused.append(error)

    pages = [Thread(target=start), Thread(target=start)]
    pages[0].start()
    assert first.wait(LONG)
    pages[1].start()
    pages[1].join(0.5)  # without a lock the second has started its own by now
    free.set()
    for page in pages:
        page.join(LONG)
    assert len(started) == 1
    assert len(refused) == 1
    assert "running already" in str(refused[0])


def test_two_cures_accepted_before_the_study_ran_again_both_stand(day: Bench) -> None:
    cards = [c for c in day.page("log")["faults"] if not c["cure"].startswith("no cure")]
    counts = []
    for card in cards[:2]:
        cure_live(day, {"take": card["n"], "words": card["title"]})
        counts.append(len(day.opened.project.days[0].cures))
        assert day.is_stale()
    assert counts[1] > counts[0] > 0
    cure_live(day, {"take": cards[0]["n"]})  # a second click on the same card
    assert len(day.opened.project.days[0].cures) == counts[1]


def test_a_number_that_means_something_else_by_now_is_refused(day: Bench) -> None:
    before = (day.folder / "project.toml").read_bytes()
    card = day.page("log")["faults"][0]
    with pytest.raises(InputError, match="another one by now"):
        cure_live(day, {"take": card["n"], "words": "what stood there before"})
    assert (day.folder / "project.toml").read_bytes() == before


def test_two_columns_told_before_the_study_ran_again_are_both_remembered(day: Bench) -> None:
    names = [c["name"] for c in day.page("log")["columns"] if c["role"]][-2:]
    for name in names:
        roles_live(day, {"roles": {name: ""}})
    roles = read_project(day.folder).project.days[0].roles
    assert {name: roles[name] for name in names} == dict.fromkeys(names, "")


def test_marks_that_another_page_saved_are_not_taken_back(
    new_demo: NewDemo, tmp_path: Path
) -> None:
    bench = Bench(new_demo("road", tmp_path / "road"), runs_itself=False)
    photo = bench.page("pictures")["picture"]
    name, was = photo["id"], {key: json.loads(json.dumps(photo[key])) for key in ("marks", "on")}
    mine, theirs, gone, *_ = was["marks"]
    for mark, others in ((theirs, [gone]), (mine, [])):
        moved = json.loads(json.dumps(was))
        moved["marks"][mark][0][0] += 3.0
        for other in others:
            del moved["marks"][other]
            moved["on"].pop(other, None)
        bench.live({"do": "picture_save", "picture": name, **moved, "was": was})
    now = bench.page("pictures")["picture"]["marks"]
    for mark in (mine, theirs):
        assert now[mark][0][0] == pytest.approx(was["marks"][mark][0][0] + 3.0, abs=0.01)
    assert gone not in now
    assert len(now) == len(was["marks"]) - 1
