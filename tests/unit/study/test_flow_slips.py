"""Slips in the tables of the 3-D flow: each is told before anything runs, with what it is about."""

import json
import re
from contextlib import suppress
from pathlib import Path

import pytest
from tests.unit.study.flow_car import BLUFF, BLUFF_CASE, bluff_project, flow_car
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import FileFault, InputError
from tuftwork.files import read_project
from tuftwork.study import Bench
from tuftwork.study.flow.case import Built, built_case, run_named

CASE = BLUFF_CASE.format(name="one", speed=150, longest=2.0)


def built(folder: Path, cases: str = CASE) -> Built:
    bluff_project(folder, cases)
    opened = read_project(folder)
    return built_case(opened.project, folder, run_named(opened.project))


def said(case: Built) -> str:
    return "\n".join(str(fault) for fault in case.forecast().faults)


def test_the_plain_case_has_no_fault(tmp_path: Path) -> None:
    assert said(built(tmp_path / "plain")) == ""


def test_a_part_that_is_left_out_by_a_name_that_no_part_has_is_a_fault(tmp_path: Path) -> None:
    found = said(built(tmp_path / "typo", CASE + 'leave_out = ["bodi"]\n'))
    assert found == "part in leave_out = 'bodi': not known. Known: body."
    stars = said(built(tmp_path / "stars", CASE + 'leave_out = ["wing*"]\n'))
    assert "'wing*': not known" in stars


@pytest.mark.parametrize("key", ["leave_out", "plates", "wheels"])
def test_so_it_is_in_a_file_of_surfaces(key: str, tmp_path: Path) -> None:
    bluff_project(tmp_path / "file", CASE)
    text = flow_car(front="400 mm", rear="400 mm") + BLUFF + f'{key} = ["end plate*"]\n' + CASE
    (tmp_path / "file" / "project.toml").write_text(text, encoding="utf-8")
    opened = read_project(tmp_path / "file")
    with pytest.raises(InputError, match=rf"part in {key} = 'end plate\*': not known"):
        built_case(opened.project, tmp_path / "file", run_named(opened.project))


def test_a_storage_that_the_back_end_has_not_is_a_fault_and_no_crash(tmp_path: Path) -> None:
    found = said(built(tmp_path / "storage", CASE + 'precision = "float16"\n'))
    assert found == (
        "precision = float16: the cpu back end offers float32, float64. "
        "Take it away: the back end's first is used then."
    )


def test_settling_longer_than_the_run_is_told_before_it_runs(tmp_path: Path) -> None:
    found = said(built(tmp_path / "settle", CASE.replace("settle = 0.5", "settle = 3.0")))
    assert found == (
        "Runs at most (longest) = 2 car lengths: must be at least 1 car length more than "
        "Settles for (settle) = 3 car lengths, to average over. "
        "Let it run 4 or more, or settle for 1 or less."
    )


@pytest.mark.parametrize(
    ("number", "told"),
    [
        ('wing_chord = "0.30 kg"', "'0.30 kg': 'kg' is a unit of mass"),
        ("wing_chord = 300", "'300': a length needs a unit"),
        ('wing_angle = "8 mm"', "'8 mm': 'mm' is a unit of length"),
        ('dive_planes = "2 mm"', "'2 mm': 'mm' is a unit of length"),
    ],
)
def test_a_number_of_the_generic_car_is_named_where_its_unit_is_wrong(
    number: str, told: str, tmp_path: Path
) -> None:
    text = flow_car() + f'[flow]\ngeneric = "coupe"\nnumbers = {{ {number} }}\n' + CASE
    (tmp_path / "project.toml").write_text(text, encoding="utf-8")
    opened = read_project(tmp_path)
    with pytest.raises(InputError) as fault:
        built_case(opened.project, tmp_path, run_named(opened.project))
    name = number.split(" ")[0]
    assert str(fault.value).startswith(f"number {name} of [flow] = {told}")


def test_all_that_is_wrong_with_the_generic_car_is_told_at_once(tmp_path: Path) -> None:
    numbers = 'wing_chrod = "0.3 m", body_width = "0 m", wing_angle = "8 mm", wing_gurney = "-1 mm"'
    text = flow_car() + f'[flow]\ngeneric = "coupe"\nnumbers = {{ {numbers} }}\n' + CASE
    (tmp_path / "project.toml").write_text(text, encoding="utf-8")
    opened = read_project(tmp_path)
    with pytest.raises(FileFault) as told:
        built_case(opened.project, tmp_path, run_named(opened.project))
    found = [str(fault) for fault in told.value.faults]
    assert len(found) == 4
    for words in ("'wing_chrod': not known. Known: wing_chord", "'8 mm': 'mm' is a unit of length",
                  "body_width = 0 m: must be above 0", "wing_gurney = -0.001 m"):  # fmt: skip
        assert any(words in fault for fault in found), words


def test_pictures_or_files_of_a_run_that_is_not_there_are_not_given_as_done(tmp_path: Path) -> None:
    folder = bluff_project(tmp_path / "none", CASE)
    plain = CliRunner().invoke(program, ["flow", "show", str(folder)])
    assert (plain.exit_code, "has not been run" in plain.output) == (0, True)
    asked = CliRunner().invoke(program, ["flow", "show", str(folder), "--export", str(tmp_path)])
    assert (asked.exit_code, "has not been run" in asked.output) == (1, True)


OPENING = """
[[flow.openings]]
name = "nose"
part = "bodi"
kind = "inlet"
station = "-0.4 m"
height = "0.7 m"
faces = "ahead"
width = "400 mm"
tall = "300 mm"
mass_flow = "0.5 kg/s"
"""
PLANES = """
[flow.cases.over_time]
every = 0.05
planes = [{ axis = "y", at = "40 m" }, { axis = "x", at = "-30 m" }]
"""
END = "lattice_speed = 0.2"
"""Last line of the case's own table."""
TWICE = BLUFF.replace("[flow]\n", "")
TABLE: dict[str, tuple[list[tuple[str, str]], list[str]]] = {
    "a speed beyond what a car does": (
        [('"150 km/h"', '"1500 km/h"')], [r"speed: must be at most 540 km/h"],
    ),
    "a yaw of half a right angle": (
        [("settle = 0.5", 'settle = 0.5\nyaw = "50 °"')], [r"yaw: must be at most 34\.38 °"],
    ),
    "a comma before decimals": (
        [('"150 km/h"', '"120,5 km/h"')],
        [r"speed: a comma stands in the number.*'120,5 km/h'.*Write a point before decimals"],
    ),
    "too many doublings, a word for a number": (
        [("settle = 0.5", 'settle = "long"\nlevels = 9')],
        [r"settle: wrong type\. Found: 'long'\. Expected: a number, without quotes",
         r"levels: .*Found: 9\. Expected: at most 6"],
    ),
    "planes that are no tables": (
        [(END, END + PLANES.replace(
            '{ axis = "y", at = "40 m" }', '"y = 0 m"'))],
        [r"planes\.0: wrong type.*such as \{ axis = …, at = … \}"],
    ),
    "two files that are not there": (
        [('file = "bluff.stl"', 'file = "blof.stl"'),
         ("[[flow.cases]]", TWICE.replace("bluff.stl", "gone.obj") + "[[flow.cases]]")],
        [r"blof\.stl: no such file\. Expected: one of bluff\.stl\. Copy it there, or mend",
         r"gone\.obj: no such file"],
    ),
    "one file twice": (
        [("[[flow.cases]]", TWICE + "[[flow.cases]]")],
        [r"part = 'body': is read twice: bluff\.stl .*Take one of them away"],
    ),
    "names that no part has, under three keys": (
        [('unit = "m"', 'unit = "m"\nplates = ["w"]\nwheels = ["r*"]\nleave_out = ["x"]')],
        [r"part in leave_out = 'x': not known\. Known: body", r"part in plates = 'w'",
         r"part in wheels = 'r\*'"],
    ),
    "a car tipped over": (
        [("settle = 0.5", 'settle = 0.5\nride_height_front = "900 mm"\n'
          'ride_height_rear = "10 mm"')],
        [r"pitch = -0\.3423 rad: .*500 mm in front and by −390 mm behind: look at their units"],
    ),
    "an opening on a part that is not there, and more besides": (
        [("settle = 0.5", 'settle = 5\nleave_out = ["bodi"]\nback_end = "cuda"\n'
          'precision = "float64"'), (END, END + PLANES + OPENING)],
        [r"part of opening 'nose' = 'bodi': not known\. Known: body", r"precision = float64",
         r"Runs at most \(longest\) = 2 car lengths", r"part in leave_out = 'bodi'",
         r"y = 40 m: must lie in the box, .* m\. Move it in", r"x = -30 m: must lie in the box"],
    ),
    "a box too small says nothing of planes outside it": (
        [('ahead = "1.2 m"', 'ahead = "0.3 m"'), (END, END + PLANES)],
        [r"ahead = 0\.3 m: the air ahead must hold at least 4 cells"],
    ),
    "an inlet without an outlet": (
        [(END, END + OPENING.replace("bodi", "body"))],
        [r"flow through the inlets = 0\.5 kg/s: .*an outlet for what the inlets take"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(TABLE))
def test_every_slip_is_told_with_its_place_and_cure_and_all_of_them_at_once(
    name: str, tmp_path: Path
) -> None:
    changes, wanted = TABLE[name]
    folder = bluff_project(tmp_path / "car", CASE)
    path = folder / "project.toml"
    text = path.read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new) if old != '"150 km/h"' else new.join(text.rsplit(old, 1))
    path.write_text(text, "utf-8")
    for verb in ("prepare", "run"):
        told = CliRunner().invoke(program, ["flow", verb, str(folder), "--json"])
        assert told.exit_code in (1, 2), told.output
        tree = json.loads(told.stdout)
        faults = tree.get("faults") or tree["error"]["faults"] or [tree["error"]["text"]]
        said = [f if isinstance(f, str) else json.dumps(f, ensure_ascii=False) for f in faults]
        assert len(said) == len(wanted), said
        if verb == "prepare":
            for pattern in wanted:
                assert any(re.search(pattern, s) for s in said), said
    assert not list((folder / "results").rglob("*.npz"))
    with suppress(FileFault):  # what the file's tables cannot hold, no page is asked for
        cost = Bench(folder, runs_itself=False).page("flow")["cost"]
        assert (len(cost["faults"]), cost["can_run"]) == (len(wanted), False), cost["faults"]
