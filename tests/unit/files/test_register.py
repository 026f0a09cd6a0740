"""A file becomes evidence: faults at once, its digest kept, the project file one block longer."""

import hashlib
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import FileFault
from tuftwork.files import (
    Offered,
    add_evidence,
    loose_files,
    new_project,
    read_project,
    record_digests,
    register_of,
)
from tuftwork.study import Bench


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_project(tmp_path / "car", title="A car").folder


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "side.jpg"
    path.write_bytes(b"a photo")
    return path


def offered(file: Path | str, **more: str) -> Offered:
    return Offered(**{"file": str(file), "kind": "photo", "source": "owner, by mail", **more})


def block_added(old: bytes, new: bytes) -> bytes:
    """Return what was put in at one place; fails where anything else has changed."""
    same = next((k for k, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), len(old))
    tail = old[same:]
    assert new[: len(old) - len(tail)] == old[:same]
    assert new.endswith(tail)
    return new[same : len(new) - len(tail)]


def test_a_file_is_copied_in_with_kind_source_day_and_digest(folder: Path, photo: Path) -> None:
    opened, kept = add_evidence(read_project(folder), offered(photo, day="2026-05-03"))
    assert (kept.id, kept.kind, kept.source, str(kept.day)) == (
        "E1", "photo", "owner, by mail", "2026-05-03",
    )  # fmt: skip
    assert kept.file == "side.jpg"
    assert kept.digest == f"sha256:{hashlib.sha256(b'a photo').hexdigest()}"
    assert (folder / "evidence" / "side.jpg").read_bytes() == b"a photo"
    assert [line.standing for line in register_of(opened.project, folder)] == ["registered"]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("tail", ["", "# the last word", "\n\n# the last word\n"])
@pytest.mark.parametrize("rows", [0, 1, 2])
def test_the_project_file_is_otherwise_the_same_byte_for_byte(
    folder: Path, photo: Path, end: str, tail: str, rows: int
) -> None:
    path = folder / "project.toml"
    text = path.read_text("utf-8").rstrip("\n")
    late = '\n\n# below stands a state\n[[states]] # kept\nname = "as raced"\n'
    for n in range(rows):
        text += f'\n\n[[evidence]]\nid = "S{n}"  # said\ntitle = """two\nlines"""\n'
        text += 'kind = "statement"' + (late if n == 0 else "")
    old = (text + tail).replace("\n", end).encode()
    path.write_bytes(old)
    add_evidence(read_project(folder), offered(photo, note='says "no"'))
    new = path.read_bytes()
    made = block_added(old, new).decode()
    assert made.count("[[evidence]]") == 1
    assert "\n" not in made.replace(end, "")
    assert read_project(folder).project.evidence[-1].note == 'says "no"'
    if rows:  # comments belong to what follows them
        assert f"# below stands a state{end}[[states]]" in new.decode()


def test_digests_kept_later_change_nothing_else(folder: Path, photo: Path) -> None:
    path = folder / "project.toml"
    (folder / "evidence").mkdir(exist_ok=True)
    shutil.copy(photo, folder / "evidence" / "side.jpg")
    row = '\n[[evidence]]\nid = "P1"\ntitle = "Side"\nkind = "photo"\nfile = "side.jpg" # 1\n'
    old = path.read_bytes() + (row + "\n# a state\n[[states]]\nname = 'as raced'\n").encode()
    path.write_bytes(old)
    opened = record_digests(read_project(folder))
    assert [line.standing for line in register_of(opened.project, folder)] == ["registered"]
    assert block_added(old, path.read_bytes()).startswith(b'digest = "sha256:')


def test_a_file_on_the_shelf_stays_where_it_is(folder: Path) -> None:
    inner = folder / "evidence" / "photos" / "side.jpg"
    inner.parent.mkdir(parents=True)
    inner.write_bytes(b"a photo")
    opened = read_project(folder)
    assert loose_files(opened) == ("photos/side.jpg",)
    opened, kept = add_evidence(opened, offered("photos/side.jpg"))
    assert kept.file == "photos/side.jpg"
    assert loose_files(opened) == ()
    assert [p.name for p in (folder / "evidence").iterdir()] == ["photos"]


def test_everything_wrong_with_an_offer_is_told_at_once(folder: Path) -> None:
    before = (folder / "project.toml").read_bytes()
    bad = Offered(file="nowhere.jpg", kind="foto", source=" ", day="3 May", id="no good")
    with pytest.raises(FileFault) as told:
        add_evidence(read_project(folder), bad)
    faults = {fault.key: fault for fault in told.value.faults}
    assert set(faults) == {"file", "kind", "source", "day", "id"}
    assert faults["kind"].cure == "Did you mean 'photo'?"
    assert all(fault.found and fault.expected for fault in faults.values())
    assert (folder / "project.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"day": "2999-01-01"}, "lies in the future"),
        ({"id": "E1"}, "this id is taken"),
        ({"file": "side.jpg"}, "is on the register already"),
        ({"file": "project.toml"}, "is the project file itself"),
        ({"file": "empty.txt"}, "is empty"),
        ({"file": "evidence"}, "there is no such file"),
    ],
)
def test_what_cannot_be_evidence_is_refused_and_nothing_is_copied(
    folder: Path, photo: Path, how: dict[str, str], said: str
) -> None:
    opened, _ = add_evidence(read_project(folder), offered(photo))
    (folder / "empty.txt").touch()
    other = folder.parent / "rear.jpg"
    other.write_bytes(b"another photo")
    with pytest.raises(FileFault, match=said):
        add_evidence(opened, offered(**{"file": str(other), **how}))
    assert [p.name for p in (folder / "evidence").iterdir()] == ["side.jpg"]


def test_a_file_named_without_a_digest_is_told_how_it_gets_one(folder: Path, photo: Path) -> None:
    add_evidence(read_project(folder), offered(photo))
    path = folder / "project.toml"
    text = path.read_text("utf-8")
    path.write_text("".join(w for w in text.splitlines(True) if "digest" not in w), "utf-8")
    with pytest.raises(FileFault, match="evidence keep"):
        add_evidence(read_project(folder), offered("side.jpg"))


def test_the_commands_register_keep_and_show(folder: Path, photo: Path) -> None:
    run = CliRunner()
    what = ["evidence", "add", str(photo), str(folder), "--kind", "photo"]
    refused = run.invoke(program, what)
    assert refused.exit_code == 2
    assert "source: is missing" in refused.output
    done = run.invoke(program, [*what, "--source", "owner"])
    assert done.exit_code == 0, done.output
    assert "E1 is registered: evidence/side.jpg" in done.output
    shown = run.invoke(program, ["evidence", "show", str(folder)])
    assert shown.exit_code == 0
    assert "registered" in shown.output
    assert "owner" in shown.output
    kept = run.invoke(program, ["evidence", "keep", str(folder)])
    assert "No file was without a digest" in kept.output


def test_the_page_registers_a_file_and_refuses_a_bad_one(folder: Path, photo: Path) -> None:
    bench = Bench(folder, runs_itself=False)
    page = bench.page("evidence")
    assert (page["items"], page["next"]) == ([], "E1")
    with pytest.raises(FileFault, match="no such kind"):
        bench.live({"do": "evidence_add", "file": str(photo), "source": "owner"})
    told, _ = bench.live(
        {"id": 7, "do": "evidence_add", "file": str(photo), "kind": "photo", "source": "owner"}
    )
    assert told["added"] == "E1"
    (item,) = bench.page("evidence")["items"]
    assert (item["state"], item["source"]) == ("registered", "owner")
