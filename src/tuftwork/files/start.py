"""A project folder made new, and evidence taken into one."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic
from tuftwork.files.edit import NEW, save_changes
from tuftwork.files.evidence import FOLDER, copy_in, digest_of, register_of
from tuftwork.files.project import FOLDERS, PROJECT_FILE, OpenProject, parse_project, read_project

_FIRST = """# Everything about this project. Comments and order are kept when the program saves.
# A number is written with its unit, and with its range where you know it: "1.70 m ± 5 mm",
# "0.05..0.07 m^2", "8 ° +1 -2 °". The longer form says where it came from:
# { value = "2.62 m", origin = "measured", from = "tape, 3 May" }
form = 1

[about]
title = TITLE
question = ""

[car]
name = NAME
wheelbase = WHEELBASE
frontal_area = AREA

[[mass_states]]
name = "with driver"
mass = MASS
front_weight = FRONT
ride_height_front = HEIGHT_F
ride_height_rear = HEIGHT_R

[weather]
temperature = "20 °C"
pressure = "1013 hPa"
humidity = "50 %"

[study]
speeds = ["120 km/h", "160 km/h", "200 km/h"]
"""
_ASSUMED = {
    "WHEELBASE": "2.60 m ± 5 %",
    "AREA": "2.0 m^2 ± 8 %",
    "MASS": "1200 kg ± 10 %",
    "FRONT": "50 % ± 4 %",
    "HEIGHT_F": "60 mm ± 15 mm",
    "HEIGHT_R": "70 mm ± 15 mm",
}


def new_project(folder: Path | str, *, title: str, car: str = "", text: str = "") -> OpenProject:
    """Make a project folder and return the project in it.

    The car's numbers start as assumptions with wide ranges, marked as such.

    Parameters
    ----------
    folder
        Made with its parents; may be there already if it holds no project.
    title, car
        Of the report and of the car.
    text
        A whole project file to start from instead of the first page.

    Raises
    ------
    FileFault
        If there is a project already, or the text is none. Nothing is written then.
    """
    folder = Path(folder)
    path = folder / PROJECT_FILE
    if path.exists() or path.is_symlink():
        fault = Fault(what="there is a project here already", file=str(path),
                      cure="Choose another folder.")  # fmt: skip
        raise FileFault([fault])
    data = (text or _first_page(title, car or title)).encode()
    parse_project(data, folder)
    try:
        for name in FOLDERS:
            (folder / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        fault = Fault(what="a project folder cannot be made here", file=str(folder),
                      found=error.strerror or str(error))  # fmt: skip
        raise FileFault([fault]) from error
    write_atomic(path, data)
    return read_project(folder)


def register_evidence(
    opened: OpenProject, source: Path | str, *, id: str, title: str, kind: str, note: str = ""
) -> OpenProject:
    """Copy a file into ``evidence/``, register it with its digest and save the project.

    Parameters
    ----------
    opened
        The project.
    source
        The original; it is only read.
    id, title, kind, note
        As in the project file.

    Raises
    ------
    FileFault
        If there is no such file, the id is taken, or the project cannot be saved.
    """
    if id in {item.id for item in opened.project.evidence}:
        fault = Fault(what="this id is taken", file=PROJECT_FILE, key=f"evidence.{id}", found=id)
        raise FileFault([fault])
    name, digest = copy_in(Path(source), opened.folder)
    line: Mapping[str, Any] = {"id": id, "title": title, "kind": kind, "file": name,
                               "digest": digest, **({"note": note} if note else {})}  # fmt: skip
    return save_changes(opened, {("evidence", NEW): line})


def record_digests(opened: OpenProject) -> OpenProject:
    """Register every evidence file that has no digest yet and save the project.

    Returns the project unchanged where there is nothing to register.
    """
    edits: dict[str | tuple[Any, ...], Any] = {}
    for line in register_of(opened.project, opened.folder):
        if line.standing == "not registered":
            digest = digest_of(opened.folder / FOLDER / line.evidence.file)
            edits["evidence", line.evidence.id, "digest"] = digest
    return save_changes(opened, edits) if edits else opened


def _first_page(title: str, car: str) -> str:
    text = _FIRST
    for mark, value in {"TITLE": title, "NAME": car, **_ASSUMED}.items():
        text = text.replace(f" {mark}\n", f" {tomlkit.item(value).as_string()}\n")
    return text
