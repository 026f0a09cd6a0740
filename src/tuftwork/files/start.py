"""A project folder made new, and evidence taken into one."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic
from tuftwork.files.edit import save_text
from tuftwork.files.evidence import copy_in, register_of
from tuftwork.files.project import FOLDERS, PROJECT_FILE, OpenProject, parse_project, read_project
from tuftwork.files.register import with_digests, with_row

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

# What follows is a usual car as comments: take the "# " away from what yours has, and put your
# numbers in. Stations run rearward from the front axle line. All keys stand on the page
# "Keys of the project file"; `tuftwork demo` writes a project that uses most of them.
COMMENTED"""
_USUAL_CAR = """[car.front]
track = "1.55 m"
wheel_rate = "60 N/mm ± 10 %"
tyre_rate = "230 N/mm ± 10 %"
tyre_diameter = "620 mm"

[car.rear]
track = "1.55 m"
wheel_rate = "65 N/mm ± 10 %"
tyre_rate = "240 N/mm ± 10 %"
tyre_diameter = "630 mm"

[[parts]]
name = "body"
kind = "body"
downforce = "-0.15 ± 0.10"
drag = "0.29 ± 0.04"
front_share = "45 % ± 10 %"

[[parts]]
name = "wheels"
kind = "wheels"
downforce = "-0.03 ± 0.02"
drag = "0.08 ± 0.02"
front_share = "50 % ± 5 %"

[[parts]]
name = "splitter"
kind = "splitter"
projection = "60 mm ± 5 mm"
width = "1.65 m ± 30 mm"
lip_radius = "10 mm ± 4 mm"
station = "-0.90 m ± 30 mm"

[[parts]]
name = "floor"
kind = "floor"
width = "1.45 m ± 30 mm"
front_station = "-0.30 m ± 30 mm"
kick_station = "2.50 m ± 30 mm"
exit_station = "3.30 m ± 30 mm"
diffuser_angle = "9 ° ± 1 °"

[[parts]]
name = "rear wing"
kind = "wing"
span = "1.60 m ± 10 mm"
chord = "280 mm ± 5 mm"
incidence = "6 ° ± 1 °"
station = "2.90 m ± 50 mm"
height = "1.15 m ± 30 mm"
gurney = "10 mm ± 1 mm"
end_plate_height = "220 mm ± 20 mm"

[[states]]
name = "as run"

[[states]]
name = "wing 10"
set = { "rear wing.incidence" = "10 ° ± 0.5 °" }

[[claims]]
id = "C1"
kind = "force"
said = "300 kg at 200 km/h"
by = "the seller"
force = "300 kgf"
speed = "200 km/h"
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
    return save_text(opened, with_row(opened, line))


def record_digests(opened: OpenProject) -> OpenProject:
    """Register every evidence file that has no digest yet and save the project.

    Returns the project unchanged where there is nothing to register.
    """
    lines = register_of(opened.project, opened.folder)
    if not any(line.standing == "not registered" for line in lines):
        return opened
    return save_text(opened, with_digests(opened))


def _first_page(title: str, car: str) -> str:
    text = _FIRST
    for mark, value in {"TITLE": title, "NAME": car, **_ASSUMED}.items():
        text = text.replace(f" {mark}\n", f" {tomlkit.item(value).as_string()}\n")
    usual = "".join(f"# {line}".rstrip() + "\n" for line in _USUAL_CAR.splitlines())
    return text.replace("COMMENTED", usual)
