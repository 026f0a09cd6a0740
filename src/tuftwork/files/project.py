"""The project folder read: a Project, or every fault that keeps the file from being one."""

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomlkit

from tuftwork.car import FORM, Project
from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import PREVIOUS
from tuftwork.files.convert import CONVERTERS, KNOWN_FORMS
from tuftwork.files.doubt import doubts
from tuftwork.files.evidence import check_evidence
from tuftwork.files.judge import judge
from tuftwork.files.text import decode, parse_toml, read_bytes
from tuftwork.files.where import Path as KeyPath
from tuftwork.files.where import Place, line_of, places

PROJECT_FILE = "project.toml"
FOLDERS = ("evidence", "maps", "results", "out")
"""What a project folder holds beside its file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenProject:
    """A project as it stood on the disk when it was read.

    Attributes
    ----------
    project
        What the file says.
    folder
        The project folder.
    text
        The file, in today's form; comments and order as the user left them.
    digest
        ``sha256:…`` of the file's bytes.
    form
        Form of the file on the disk; below today's where it was converted on reading.
    notices
        What does not keep the project from being read and must be said: evidence that has gone or
        changed, an older form, doubts.
    doubts
        Of these, the numbers that no car is known to have.
    """

    project: Project
    folder: Path
    text: str
    digest: str
    form: int = FORM
    notices: tuple[Fault, ...] = ()
    doubts: tuple[Fault, ...] = ()

    @property
    def document(self) -> tomlkit.TOMLDocument:
        """The file as an editable document that keeps comments and order; a fresh one each time."""
        return tomlkit.parse(self.text)

    @property
    def path(self) -> Path:
        """The project file."""
        return self.folder / PROJECT_FILE

    def line_of(self, *path: str | int) -> int | None:
        """Return the line on which a key stands, or its nearest table."""
        return line_of(places(self.text), path)


def read_project(folder: Path | str) -> OpenProject:
    """Return the project in a folder.

    Parameters
    ----------
    folder
        The project folder, or its ``project.toml``.

    Returns
    -------
    open_project
        With notices of what must be said and does not keep it from being read.

    Raises
    ------
    FileFault
        With every fault in the file at once; nothing is written.
    """
    folder = _folder_of(Path(folder))
    path = folder / PROJECT_FILE
    data = read_bytes(path)
    try:
        return parse_project(data, folder)
    except FileFault as refused:
        raise FileFault(_with_way_back(refused.faults, folder)) from None


def parse_project(data: bytes, folder: Path) -> OpenProject:
    """Return the project that the bytes of a project file describe, in a folder.

    Raises
    ------
    FileFault
        With every fault in them at once.
    """
    path = folder / PROJECT_FILE
    text = decode(data, path)
    if not text.strip():
        raise FileFault([Fault(what="is empty", file=PROJECT_FILE, line=1)])
    tables = parse_toml(text, path)
    found = places(text)
    form = _form_of(tables, found)
    notices: list[Fault] = []
    if form != FORM:
        text, tables, found = _brought_up(text, tables, form, path)
        say = f"this file has form {form}; it is written in form {FORM} when it is next saved"
        notices.append(Fault(what=say, file=PROJECT_FILE, line=line_of(found, ("form",))))
    project, faults = judge(tables, found, file=PROJECT_FILE)
    lost, said = check_evidence(tables, folder, found, file=PROJECT_FILE)
    refused, doubted = doubts(tables, found, file=PROJECT_FILE)
    faults = sorted([*faults, *lost, *refused], key=lambda fault: fault.line or 0)
    if faults or project is None:
        raise FileFault(faults)
    digest = f"sha256:{hashlib.sha256(data).hexdigest()}"
    return OpenProject(
        project=project, folder=folder, text=text, digest=digest, form=form,
        notices=(*notices, *said, *doubted), doubts=tuple(doubted),
    )  # fmt: skip


def _folder_of(given: Path) -> Path:
    folder = given.parent if given.name == PROJECT_FILE else given
    try:
        if folder.is_dir():
            return folder.resolve()
        what, there = "is not a project folder", folder.exists()
    except (OSError, RuntimeError, ValueError) as error:
        what, there = f"is not a folder that can be followed ({error})", True
    found = "a file" if there else "nothing"
    if folder.is_symlink():
        found = "a link that leads nowhere or back to itself"
    cure = "'tuftwork new' makes a project folder."
    fault = Fault(what=what, file=str(folder), found=found,
                  expected=f"a folder that holds {PROJECT_FILE}", cure=cure)  # fmt: skip
    raise FileFault([fault])


def _form_of(tables: dict[str, Any], found: dict[KeyPath, Place]) -> int:
    form = tables.get("form", FORM)
    if isinstance(form, bool) or not isinstance(form, int) or form not in KNOWN_FORMS:
        newer = isinstance(form, int) and not isinstance(form, bool) and form > FORM
        cure = "This file was written by a newer version; update the program." if newer else ""
        known = ", ".join(map(str, KNOWN_FORMS))
        fault = Fault(what="no such form of a project file", file=PROJECT_FILE,
                      line=line_of(found, ("form",)), key="form", found=repr(form),
                      expected=f"one of {known}", cure=cure)  # fmt: skip
        raise FileFault([fault])
    return form


def _brought_up(
    text: str, tables: dict[str, Any], form: int, path: Path
) -> tuple[str, dict[str, Any], dict[KeyPath, Place]]:
    while form in CONVERTERS:
        text = CONVERTERS[form](text, tables)
        tables = parse_toml(text, path)
        form += 1
    return text, tables, places(text)


def _with_way_back(faults: tuple[Fault, ...], folder: Path) -> list[Fault]:
    """Add to the last fault that the previous version can be put back, where it can be read."""
    previous = folder / (PROJECT_FILE + PREVIOUS)
    try:
        parse_project(read_bytes(previous), folder)
    except FileFault:
        return list(faults)
    last = faults[-1]
    cure = f"{last.cure} The version before the last save can be read: {previous.name}.".strip()
    return [*faults[:-1], replace(last, cure=cure)]
