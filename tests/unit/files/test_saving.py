"""Saving keeps comments, order and the last good project, whatever happens meanwhile."""

import errno
import os
import signal
import time
import warnings
from pathlib import Path

import numpy as np
import pytest

from tuftwork.car.table import quantities_in
from tuftwork.errors import FileFault
from tuftwork.files import (
    NEW,
    REMOVE,
    new_project,
    read_project,
    record_digests,
    register_evidence,
    register_of,
    save_changes,
)
from tuftwork.files import atomic as atomic_module

N_KILL = 60
NEW_CLAIM = {
    "id": "C9", "kind": "top speed", "said": "272 km/h", "speed": "272 km/h",
}  # fmt: skip


def _text(folder: Path) -> str:
    return (folder / "project.toml").read_text(encoding="utf-8")


def test_only_the_changed_value_moves(folder: Path) -> None:
    before = _text(folder).splitlines()
    saved = save_changes(read_project(folder), {"car.power": "360 kW"})
    after = _text(folder).splitlines()
    moved = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    comment = "         # on the dynamometer"
    assert moved == [(f'power = "355 kW"{comment}', f'power = "360 kW"{comment}')]
    assert saved.project.car.power is not None
    assert saved.project.car.power.best == pytest.approx(360e3)
    assert saved == read_project(folder)


def test_the_version_before_is_kept(folder: Path, good: str) -> None:
    save_changes(read_project(folder), {"car.power": "360 kW"})
    assert (folder / "project.toml.previous").read_text(encoding="utf-8") == good


def test_a_plain_value_keeps_the_origin_of_a_longer_one(folder: Path) -> None:
    saved = save_changes(read_project(folder), {"car.frontal_area": "2.1 m^2"})
    area = saved.project.car.frontal_area
    assert (area.best, area.origin, area.place) == (2.1, "measured", "E1, front photo")


@pytest.mark.parametrize(
    "path",
    ["parts.rear wing.incidence", ("parts", "rear wing", "incidence"), ("parts", 0, "incidence"),
     "parts.0.incidence"],
)  # fmt: skip
def test_list_members_are_called_by_name_or_place(
    folder: Path, path: str | tuple[str | int, ...]
) -> None:
    saved = save_changes(read_project(folder), {path: "10 °"})
    assert saved.project.part("rear wing").incidence.best == pytest.approx(np.radians(10))  # type: ignore[union-attr]
    assert "# on the dynamometer" in _text(folder)


def test_a_state_gets_a_value_whose_key_has_a_dot(folder: Path) -> None:
    edits = {"states.more wing.set.rear wing.incidence": "11 °",
             "states.more wing.set.rear wing.gurney": "15 mm"}  # fmt: skip
    saved = save_changes(read_project(folder), edits)
    assert saved.project.state("more wing").values == {
        "rear wing.incidence": "11 °",
        "rear wing.gurney": "15 mm",
    }


def test_members_are_added_and_taken_away(folder: Path) -> None:
    opened = read_project(folder)
    opened = save_changes(opened, {("claims", NEW): NEW_CLAIM, ("claims", "C1"): REMOVE})
    assert [claim.id for claim in opened.project.claims] == ["C4", "C9"]
    opened = save_changes(opened, {"car.power": REMOVE})
    assert opened.project.car.power is None
    assert "# The coupe, as found." in _text(folder)


def test_a_table_that_was_not_there_is_made(folder: Path) -> None:
    edits = {"car.rear": {"track": "1.6 m", "wheel_rate": "78 N/mm", "tyre_rate": "265 N/mm",
                          "tyre_diameter": "650 mm"}}  # fmt: skip
    saved = save_changes(read_project(folder), edits)
    assert saved.project.car.rear is not None


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ({"car.power": "360 horses"}, "unknown unit"),
        ({"car.powr": "360 kW"}, "Did you mean 'power'"),
        ({"parts.raer wing.span": "1 m"}, "Did you mean 'rear wing'"),
        ({("claims", "C7"): REMOVE}, "leads to nothing"),
        ({"car.power": object()}, "cannot be written down"),
        ({"parts.rear wing.name": "shell"}, "used twice"),
        ({"": "1"}, "not a key"),
        ({"car.wheelbase": float("nan")}, "finite"),
        ({"evidence.E1.file": "../project.toml"}, "leads out"),
    ],
)  # fmt: skip
def test_a_change_that_breaks_the_project_is_not_saved(
    folder: Path, good: str, edits: dict[object, object], words: str
) -> None:
    with pytest.raises(FileFault, match=words):
        save_changes(read_project(folder), edits)  # type: ignore[arg-type]
    assert _text(folder) == good
    assert sorted(p.name for p in folder.iterdir()) == ["evidence", "project.toml"]


def test_what_another_program_saved_meanwhile_is_not_written_over(folder: Path) -> None:
    opened = read_project(folder)
    (folder / "project.toml").write_text(opened.text + "# theirs\n", encoding="utf-8")
    with pytest.raises(FileFault, match="changed on the disk"):
        save_changes(opened, {"car.power": "360 kW"})
    assert _text(folder).endswith("# theirs\n")


@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
def test_a_full_disk_leaves_the_project_as_it_was(
    folder: Path, good: str, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    opened = read_project(folder)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    if step == "write":
        real = os.fdopen

        def fdopen(handle: int, mode: str) -> object:
            file = real(handle, mode)
            return _FullFile(file)

        monkeypatch.setattr(atomic_module.os, "fdopen", fdopen)
    elif step == "fsync":
        monkeypatch.setattr(atomic_module.os, "fsync", full)
    else:
        monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(FileFault, match="No space left"):
        save_changes(opened, {"car.power": "360 kW"})
    monkeypatch.undo()
    assert _text(folder) == good
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []
    assert read_project(folder).project == opened.project


class _FullFile:
    """A file on a disk that is full after ten bytes."""

    def __init__(self, file: object) -> None:
        self._file = file

    def __enter__(self) -> "_FullFile":
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()  # type: ignore[attr-defined]

    def write(self, data: bytes) -> None:
        self._file.write(data[:10])  # type: ignore[attr-defined]
        raise OSError(errno.ENOSPC, "No space left on device")


def _start_saving(folder: Path) -> tuple[int, int]:
    """Start a process that saves for ever; return it and a pipe that says each save is done."""
    told, tell = os.pipe()
    with warnings.catch_warnings():
        # newer Pythons warn that threads do not survive a fork; the child uses none
        warnings.simplefilter("ignore", DeprecationWarning)
        process = os.fork()
    if process == 0:
        try:
            opened = read_project(folder)
            for count in range(1_000_000):
                opened = save_changes(
                    opened, {"car.power": f"{300 + (os.getpid() + count) % 500} kW"}
                )
                os.write(tell, b".")
        finally:
            os._exit(1)
    os.close(tell)
    return process, told


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process")
def test_a_kill_at_any_moment_leaves_a_project_that_loads(folder: Path) -> None:
    moments = np.random.default_rng(7).uniform(0.0, 0.06, N_KILL)
    seen = set()
    for moment in moments:
        process, told = _start_saving(folder)
        assert os.read(told, 1) == b"."
        time.sleep(float(moment))
        os.kill(process, signal.SIGKILL)
        assert os.WTERMSIG(os.waitpid(process, 0)[1]) == signal.SIGKILL
        os.close(told)
        opened = read_project(folder)
        assert opened.project.car.power is not None
        seen.add(opened.project.car.power.best)
        assert "# on the dynamometer" in opened.text
        previous = folder / "project.toml.previous"
        assert previous.read_text(encoding="utf-8").endswith("draws = 256\n")
    assert len(seen) > 3  # saves did go through between the kills
    save_changes(read_project(folder), {"car.power": "355 kW"})
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process")
@pytest.mark.parametrize("step", range(7))
def test_a_kill_before_each_step_of_a_save_leaves_the_old_or_the_new(
    folder: Path, good: str, step: int
) -> None:
    opened = read_project(folder)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        process = os.fork()
    if process == 0:
        try:
            _die_at(step)
            save_changes(opened, {"car.power": "360 kW"})
        finally:
            os._exit(0)
    status = os.waitpid(process, 0)[1]
    # two files are written, each with a sync, a rename and a sync of the folder: six steps
    assert os.WIFSIGNALED(status) == (step < 6)
    power = read_project(folder).project.car.power
    assert power is not None
    assert power.best == pytest.approx(360e3 if step > 4 else 355e3)
    if step > 1:
        assert (folder / "project.toml.previous").read_text(encoding="utf-8") == good


def _die_at(step: int) -> None:
    """Make this process kill itself before its n-th sync or rename."""
    count = [0]

    def counted(real: object) -> object:
        def call(*args: object) -> object:
            if count[0] == step:
                os.kill(os.getpid(), signal.SIGKILL)
            count[0] += 1
            return real(*args)  # type: ignore[operator]

        return call

    os.fsync = counted(os.fsync)  # type: ignore[assignment]
    Path.replace = counted(Path.replace)  # type: ignore[method-assign, assignment]


def test_a_project_of_form_0_is_converted_and_saved_in_todays_form(folder: Path, good: str) -> None:
    old = (
        good.replace("form = 1", "form = 0  # the first")
        .replace("day = 2026", "date = 2026")
        .replace('speeds = ["140 km/h", "180 km/h", "220 km/h"]', "speeds_kmh = [140, 180, 220]")
    )
    (folder / "project.toml").write_text(old, encoding="utf-8")
    opened = read_project(folder)
    assert opened.form == 0
    assert opened.project == _read_good(folder, good)
    assert _text(folder) == old  # reading writes nothing
    assert "form 0" in opened.notices[0].what
    saved = save_changes(opened, {"about.client": "Somebody"})
    assert saved.form == 1
    assert "form = 1  # the first" in _text(folder)
    assert read_project(folder).form == 1


def _read_good(folder: Path, good: str) -> object:
    other = folder.parent / "other"
    (other / "evidence").mkdir(parents=True)
    (other / "evidence" / "front.jpg").write_bytes(b"a photo")
    (other / "project.toml").write_text(good, encoding="utf-8")
    return read_project(other).project


def test_a_new_project_has_its_folders_and_reads(tmp_path: Path) -> None:
    made = new_project(tmp_path / "a" / "b", title='The "blue" one')
    assert made.project.about.title == 'The "blue" one'
    assert sorted(p.name for p in made.folder.iterdir()) == [
        "evidence", "maps", "out", "project.toml", "results",
    ]  # fmt: skip
    with pytest.raises(FileFault, match="a project here already"):
        new_project(tmp_path / "a" / "b", title="again")


def test_the_usual_car_of_a_new_page_is_a_project_once_its_marks_are_taken_away(
    tmp_path: Path,
) -> None:
    made = new_project(tmp_path / "new", title="First")
    assert made.project.parts == ()
    head, _, usual = made.text.partition("most of them.\n")
    lines = [line.removeprefix("#").removeprefix(" ") for line in usual.splitlines()]
    full = new_project(tmp_path / "full", title="x", text=head + "most of them.\n"
                       + "\n".join(lines)).project  # fmt: skip
    assert [part.kind for part in full.parts] == ["body", "wheels", "splitter", "floor", "wing"]
    assert full.car.front is not None
    assert [state.name for state in full.states] == ["as run", "wing 10"]
    numbers = [q for part in full.parts for _, q in quantities_in(part)]
    assert {q.origin for q in numbers if not q.is_exact} == {"assumed"}


def test_a_new_project_from_a_broken_text_writes_nothing(tmp_path: Path) -> None:
    with pytest.raises(FileFault):
        new_project(tmp_path / "new", title="x", text="form = 1")
    assert not (tmp_path / "new").exists()


def test_evidence_is_copied_in_and_its_changes_are_seen(folder: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.txt"
    sheet.write_text("60 / 74 mm", encoding="utf-8")
    opened = register_evidence(
        read_project(folder), sheet, id="E2", title="Setup sheet", kind="sheet"
    )
    copy = folder / "evidence" / "sheet.txt"
    assert copy.read_text(encoding="utf-8") == "60 / 74 mm"
    opened = record_digests(opened)
    assert _standing(opened) == {"E1": "registered", "E2": "registered"}
    copy.chmod(0o644)
    copy.write_text("58 / 71 mm", encoding="utf-8")
    opened = read_project(folder)
    assert _standing(opened) == {"E1": "registered", "E2": "changed"}
    assert [n.key for n in opened.notices] == ["evidence.E2.file"]
    copy.unlink()
    opened = read_project(folder)
    assert _standing(opened)["E2"] == "missing"
    assert "not there" in opened.notices[0].what


def _standing(opened: object) -> dict[str, str]:
    lines = register_of(opened.project, opened.folder)  # type: ignore[attr-defined]
    return {line.evidence.id: line.standing for line in lines}


def test_an_original_of_the_same_name_is_never_written_over(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "front.jpg"
    other.write_bytes(b"another photo")
    opened = register_evidence(read_project(folder), other, id="E2", title="2", kind="photo")
    assert (folder / "evidence" / "front.jpg").read_bytes() == b"a photo"
    assert opened.project.evidence[1].file == "front-2.jpg"
    with pytest.raises(FileFault, match="id is taken"):
        register_evidence(opened, other, id="E2", title="2", kind="photo")


def test_the_register_says_what_rests_on_each(folder: Path) -> None:
    opened = read_project(folder)
    line = register_of(opened.project, opened.folder)[0]
    assert line.used_by == ("M1", "car.frontal_area")
