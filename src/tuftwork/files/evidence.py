"""The evidence register: originals in ``evidence/``, never changed, each known by its digest."""

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal

from tuftwork.car import Evidence, Floor, Project, quantities_in
from tuftwork.errors import Fault, FileFault
from tuftwork.files import where

FOLDER = "evidence"
Standing = Literal["registered", "not registered", "changed", "missing", "not a file"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterLine:
    """How one piece of evidence stands.

    Attributes
    ----------
    evidence
        As the project has it.
    standing
        ``registered``: its digest is the one on record; ``not registered``: there, without a
        digest; ``changed``, ``missing``; ``not a file``: a statement without one.
    size
        Of the file, where there is one. [byte]
    used_by
        What rests on it: ids of measured rows and paths of numbers.
    """

    evidence: Evidence
    standing: Standing
    size: int | None
    used_by: tuple[str, ...]


def digest_of(path: Path) -> str:
    """Return ``sha256:…`` of a file, reading it piece by piece."""
    with path.open("rb") as file:
        return f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"


def register_of(project: Project, folder: Path) -> tuple[RegisterLine, ...]:
    """Return how every piece of evidence stands now."""
    lines = []
    for item in project.evidence:
        path = folder / FOLDER / item.file
        there = bool(item.file) and path.is_file()
        standing: Standing = "registered"
        if not item.file:
            standing = "not a file"
        elif not there:
            standing = "missing"
        elif not item.digest:
            standing = "not registered"
        elif digest_of(path) != item.digest:
            standing = "changed"
        size = path.stat().st_size if there else None
        used = used_by(project, item.id)
        lines.append(RegisterLine(evidence=item, standing=standing, size=size, used_by=used))
    return tuple(lines)


def used_by(project: Project, evidence: str) -> tuple[str, ...]:
    """Return what rests on a piece of evidence: rows that name it, numbers whose place does."""
    word = re.compile(rf"(?<![\w.-]){re.escape(evidence)}(?![\w-])")
    found = [row.id for row in project.measured if row.evidence == evidence]
    found += [f"day {day.name}" for day in project.days
              if evidence in (*day.logs, *day.coast_downs)]  # fmt: skip
    if project.flow is not None:
        found += [f"3-D flow {c.name}" for c in project.flow.cases if c.evidence == evidence]
    if project.lap is not None:
        own = {item.file for item in project.evidence if item.id == evidence and item.file}
        found += [f"circuit {c.name}" for c in project.lap.circuits if own & {*c.files}]
    if project.flow is not None:
        found += [f"3-D flow {c.name}" for c in project.flow.cases if c.evidence == evidence]
    found += [
        f"sweep of {p.name}"
        for p in project.parts
        if isinstance(p, Floor) and p.channel is not None and p.channel.sweep == evidence
    ]
    for path, quantity in quantities_in(project):
        if word.search(quantity.place):
            found.append(path)
    return tuple(dict.fromkeys(found))


def check_evidence(
    tables: Mapping[str, Any],
    folder: Path,
    found: dict[where.Path, where.Place],
    *,
    file: str,
) -> tuple[list[Fault], list[Fault]]:
    """Return what is wrong with the evidence: what refuses the project, and what it must say.

    A path that leads out of the folder, and a file that was never there, are faults. A registered
    file that has gone or changed since is a notice: the project can still be read.
    """
    faults: list[Fault] = []
    notices: list[Fault] = []
    items = tables.get("evidence")
    for index, item in enumerate(items if isinstance(items, list) else ()):
        name = item.get("file") if isinstance(item, Mapping) else None
        if not isinstance(name, str) or not name:
            continue
        line = where.line_of(found, ("evidence", index, "file"))
        key = f"evidence.{item.get('id', index)}.file"
        fault = _path_fault(name, folder)
        registered = bool(item.get("digest"))
        if fault is None and registered and digest_of(folder / FOLDER / name) != item["digest"]:
            fault = Fault(what="this file has changed since it was registered", found=name,
                          expected="the file as it was registered",
                          cure="Put it back, or register the new one beside it.")  # fmt: skip
        if fault is None:
            continue
        placed = Fault(what=fault.what, file=file, line=line, key=key, found=fault.found,
                       expected=fault.expected, cure=fault.cure)  # fmt: skip
        passable = registered and ("changed" in fault.what or "not there" in fault.what)
        (notices if passable else faults).append(placed)
    return faults, notices


def copy_in(source: Path, folder: Path) -> tuple[str, str]:
    """Copy a file into ``evidence/`` and return its path there and its digest.

    A file of the same content is not copied twice; one of the same name and other content gets a
    number after its name, because an original is never changed.

    Raises
    ------
    FileFault
        If there is no such file, or it cannot be copied.
    """
    if not source.is_file():
        raise FileFault([Fault(what="is not a file", file=source.name, found=str(source))])
    shelf = folder / FOLDER
    digest = digest_of(source)
    target, count = shelf / source.name, 1
    while target.exists():
        if target.is_file() and digest_of(target) == digest:
            return target.name, digest
        count += 1
        target = shelf / f"{source.stem}-{count}{source.suffix}"
    try:
        shelf.mkdir(parents=True, exist_ok=True)
        _copy(source, target)
    except OSError as error:
        fault = Fault(what="could not be copied into the project", file=source.name,
                      found=error.strerror or str(error))  # fmt: skip
        raise FileFault([fault]) from error
    return target.name, digest


def _copy(source: Path, target: Path) -> None:
    handle, name = tempfile.mkstemp(prefix=".copying-", dir=target.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as out, source.open("rb") as read:
            shutil.copyfileobj(read, out)
            out.flush()
            os.fsync(out.fileno())
        temporary.chmod(0o444)
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)


def _path_fault(name: str, folder: Path) -> Fault | None:
    shelf = folder / FOLDER
    inside = f"a path below {FOLDER}/"
    if "\0" in name or Path(name).is_absolute() or ".." in Path(name).parts or ":" in name[:3]:
        return Fault(what="this path leads out of the project folder", found=name, expected=inside)
    path = shelf / name
    try:
        real = path.resolve(strict=True)
    except FileNotFoundError:
        there = [p.name for p in shelf.iterdir()] if shelf.is_dir() else []
        near = get_close_matches(Path(name).name, there, n=1, cutoff=0.5)
        cure = f"Did you mean '{near[0]}'?" if near else f"Copy the file into {FOLDER}/."
        return Fault(what="this file is not there", found=name, expected=inside, cure=cure)
    except (RuntimeError, OSError) as error:
        said = "links that lead back to themselves"
        loop = isinstance(error, RuntimeError) or "symbolic links" in str(error)
        return Fault(what="this path cannot be followed", found=said if loop else str(error),
                     expected=inside)  # fmt: skip
    if not real.is_relative_to(shelf.resolve()):
        what = "this path leads out of the project folder"
        return Fault(what=what, found=f"{name} → a link to elsewhere", expected=inside)
    if not real.is_file():
        return Fault(what="this is a folder, not a file", found=name, expected=inside)
    return None
