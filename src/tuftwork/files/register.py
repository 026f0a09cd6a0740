"""Evidence put on the register: every fault told at once, one block added to the project file."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

import tomlkit

from tuftwork.car import FORM, Evidence
from tuftwork.errors import Fault, FileFault
from tuftwork.files.edit import NEW, changed_text, save_text
from tuftwork.files.evidence import FOLDER, copy_in, digest_of, register_of
from tuftwork.files.project import OpenProject
from tuftwork.files.text import read_bytes

EVIDENCE_KINDS: tuple[str, ...] = get_args(Evidence.model_fields["kind"].annotation)
"""Kinds of evidence."""
_ID = re.compile(r"[\w.\-]{1,24}")
_HEADER = re.compile(r"\s*\[")
_MOST_LOOSE = 200  # [-]  files listed; a folder with more is not a shelf of evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """A file offered as evidence, in the words of whoever offers it.

    Attributes
    ----------
    file
        Path of the original: anywhere, or below ``evidence/`` of the project.
    kind
        One of ``EVIDENCE_KINDS``.
    source
        Where it came from: who made or sent it.
    day
        When it was made, as 2026-05-03; empty where nobody knows.
    title
        What it is; the file's name unless given.
    note
        Anything worth remembering.
    id
        Short name; the next free ``E…`` unless given.
    """

    file: str
    kind: str
    source: str
    day: str = ""
    title: str = ""
    note: str = ""
    id: str = ""


def add_evidence(opened: OpenProject, offered: Offered) -> tuple[OpenProject, Evidence]:
    """Register a file as evidence and return the project as it now stands, and the new row.

    A file that lies below ``evidence/`` stays where it is; any other is copied there. The row
    keeps the file's digest and its path relative to that folder. The project file gains one block
    and is otherwise the same, byte for byte.

    Raises
    ------
    FileFault
        With every fault of the offer at once, or where the project cannot be saved; nothing is
        written or copied then.
    """
    path = _path_of(offered.file, opened.folder)
    faults = [*_faults(opened, offered, path)]
    if faults or path is None:
        raise FileFault(faults)
    name, digest, is_copied = _shelved(path, opened.folder)
    row: dict[str, Any] = {
        "id": offered.id.strip() or next_id(opened),
        "title": offered.title.strip() or Path(name).name,
        "kind": offered.kind, "file": name, "digest": digest, "source": offered.source.strip(),
    }  # fmt: skip
    if offered.day.strip():
        row["day"] = date.fromisoformat(offered.day.strip())
    if offered.note.strip():
        row["note"] = offered.note.strip()
    try:
        saved = save_text(opened, with_row(opened, row))
    except BaseException:
        if is_copied:
            (opened.folder / FOLDER / name).unlink(missing_ok=True)
        raise
    return saved, next(item for item in saved.project.evidence if item.id == row["id"])


def next_id(opened: OpenProject) -> str:
    """Return the next free id of evidence."""
    taken = {item.id for item in opened.project.evidence}
    return next(f"E{n}" for n in range(1, len(taken) + 2) if f"E{n}" not in taken)


def loose_files(opened: OpenProject) -> tuple[str, ...]:
    """Return the files below ``evidence/`` that no row of the register names."""
    shelf = opened.folder / FOLDER
    named = {item.file for item in opened.project.evidence}
    found = (p.relative_to(shelf).as_posix() for p in sorted(shelf.rglob("*")) if p.is_file())
    free = [name for name in found if name not in named and not Path(name).name.startswith(".")]
    return tuple(free[:_MOST_LOOSE])


def with_row(opened: OpenProject, row: Mapping[str, Any]) -> str:
    """Return the project file with one more row of evidence and nothing else changed.

    The block stands behind the last one of its kind, above comments that belong to what follows.
    A register written as one list in brackets is edited as such.
    """
    text, end = _as_it_lies(opened)
    block = end.join(["[[evidence]]", *(f"{k} = {_plain(v)}" for k, v in row.items())])
    items = [*_rows(text), dict(row)]
    for head, tail in _places(text, end):
        made = f"{head}{block}{end}{'' if not tail.split(end)[0].strip() else end}{tail}"
        if _says(text, made, items):
            return made
    return changed_text(opened, {("evidence", NEW): dict(row)})


def with_digests(opened: OpenProject) -> str:
    """Return the project file with the digest of every file that had none, and no other change."""
    text, end = _as_it_lies(opened)
    lines, items = text.splitlines(keepends=True), _rows(text)
    found = {line.evidence.id: line for line in register_of(opened.project, opened.folder)}
    edits: dict[str | tuple[Any, ...], Any] = {}
    added = 0
    for index, item in enumerate(items):
        standing = found.get(str(item.get("id")))
        if standing is None or standing.standing != "not registered":
            continue
        item["digest"] = digest_of(opened.folder / FOLDER / standing.evidence.file)
        edits["evidence", str(item["id"]), "digest"] = item["digest"]
        line = opened.line_of("evidence", index, "file")
        if line is not None:
            lines.insert(line + added, f"digest = {_plain(item['digest'])}{end}")
            added += 1
    made = "".join(lines)
    return made if _says(text, made, items) else changed_text(opened, edits)


def _as_it_lies(opened: OpenProject) -> tuple[str, str]:
    """Return the project file as on the disk, with its own line ends, and what ends its lines."""
    text = opened.text
    if opened.form == FORM:
        text = read_bytes(opened.path).decode("utf-8")
    return text, "\r\n" if "\r\n" in text else "\n"


def _rows(text: str) -> list[dict[str, Any]]:
    return [*tomllib.loads(text.removeprefix("\ufeff")).get("evidence", [])]


def _plain(value: Any) -> str:
    return str(tomlkit.item(value).as_string())


def _places(text: str, end: str) -> Iterator[tuple[str, str]]:
    """Yield the file in two, where a block may stand: behind the last one, then at its end."""
    lines = text.splitlines(keepends=True)
    heads = [k for k, line in enumerate(lines) if line.strip().startswith("[[evidence]]")]
    if heads:
        after = (k for k in range(heads[-1] + 1, len(lines)) if _HEADER.match(lines[k]))
        stop = next(after, len(lines))
        while stop > heads[-1] + 1 and lines[stop - 1].strip()[:1] in ("", "#"):
            stop -= 1
        head, tail = "".join(lines[:stop]), "".join(lines[stop:])
        yield f"{head}{'' if head.endswith(end) else end}{end}", tail
    yield f"{text}{'' if text.endswith(end) else end}{end}", ""


def _says(old: str, new: str, items: list[dict[str, Any]]) -> bool:
    """Whether a file says what it said, with these rows of evidence."""
    try:
        before, after = (tomllib.loads(t.removeprefix("\ufeff")) for t in (old, new))
    except tomllib.TOMLDecodeError:
        return False
    return after == {**before, "evidence": items}


def _path_of(given: str, folder: Path) -> Path | None:
    """Return the file that is meant: as given, else below the project's evidence or the project."""
    if not given.strip() or "\0" in given:
        return None
    asked = Path(given.strip()).expanduser()
    for path in (asked, folder / FOLDER / asked, folder / asked):
        if path.is_file():
            return path.resolve()
    return None


def _shelved(path: Path, folder: Path) -> tuple[str, str, bool]:
    """Return the file's path below ``evidence/``, its digest, and whether it was copied there."""
    shelf = (folder / FOLDER).resolve()
    if path.is_relative_to(shelf):
        return path.relative_to(shelf).as_posix(), digest_of(path), False
    before = {p.name for p in shelf.iterdir()} if shelf.is_dir() else set()
    name, digest = copy_in(path, folder)
    return name, digest, name not in before


def _faults(opened: OpenProject, offered: Offered, path: Path | None) -> Iterator[Fault]:
    """Yield everything that is wrong with an offer."""
    items = opened.project.evidence
    if path is None:
        yield Fault(what="there is no such file", key="file", found=offered.file or "nothing",
                    expected=f"a file, as a path from here or below {FOLDER}/",
                    cure=_near(offered.file, opened))  # fmt: skip
    elif path.stat().st_size == 0:
        yield Fault(what="is empty", key="file", found=f"{path.name}, 0 bytes",
                    expected="a file with something in it")  # fmt: skip
    elif path == opened.path:
        yield Fault(what="is the project file itself", key="file", found=path.name,
                    expected="a file that the project rests on")  # fmt: skip
    else:
        yield from _twice(opened, path)
    if offered.kind not in EVIDENCE_KINDS:
        near = get_close_matches(offered.kind, EVIDENCE_KINDS, n=1, cutoff=0.5)
        yield Fault(what="no such kind", key="kind", found=offered.kind or "nothing",
                    expected=f"one of {', '.join(EVIDENCE_KINDS)}",
                    cure=f"Did you mean '{near[0]}'?" if near else "")  # fmt: skip
    if not offered.source.strip():
        yield Fault(what="is missing", key="source", found="nothing",
                    expected="who made or sent it, as 'owner, by mail'")  # fmt: skip
    if offered.day.strip():
        yield from _day_faults(offered.day.strip())
    name = offered.id.strip()
    if name and not _ID.fullmatch(name):
        yield Fault(what="cannot be an id", key="id", found=name,
                    expected="1 to 24 letters, digits, '.', '-' or '_', as E1")  # fmt: skip
    elif name in {item.id for item in items}:
        yield Fault(what="this id is taken", key="id", found=name,
                    expected="an id of its own", cure=f"{next_id(opened)} is free.")  # fmt: skip


def _twice(opened: OpenProject, path: Path) -> Iterator[Fault]:
    """Yield that a file, or one of the same content, is on the register already."""
    shelf = (opened.folder / FOLDER).resolve()
    own = path.relative_to(shelf).as_posix() if path.is_relative_to(shelf) else None
    digest = digest_of(path)
    for item in opened.project.evidence:
        if own is not None and item.file == own and not item.digest:
            yield Fault(what="is named by the project already, without a digest", key="file",
                        found=f"{item.id}, {item.file}", expected="a file that no row names",
                        cure="'tuftwork evidence keep' writes its digest.")  # fmt: skip
            return
        if item.file and (item.digest == digest or item.file == own):
            yield Fault(what="is on the register already", key="file",
                        found=f"{item.id}, {item.file}",
                        expected="a file that no row names")  # fmt: skip
            return


def _day_faults(given: str) -> Iterator[Fault]:
    try:
        day = date.fromisoformat(given)
    except ValueError:
        yield Fault(what="is no date", key="day", found=given, expected="a day as 2026-05-03")
        return
    if day > datetime.now(UTC).astimezone().date():
        yield Fault(what="lies in the future", key="day", found=given,
                    expected="the day on which it was made")  # fmt: skip


def _near(given: str, opened: OpenProject) -> str:
    free = loose_files(opened)
    near = get_close_matches(Path(given or "?").name, free, n=1, cutoff=0.5)
    if near:
        return f"Did you mean '{near[0]}'?"
    return f"Below {FOLDER}/ lie, named by no row: {', '.join(free[:6])}." if free else ""


def offered_of(given: Mapping[str, Any]) -> Offered:
    """Return the offer a message describes; a message's own ``id`` is its number, not the row's."""
    keys = ("file", "kind", "source", "day", "title", "note")
    return Offered(**{key: str(given.get(key) or "") for key in keys})
