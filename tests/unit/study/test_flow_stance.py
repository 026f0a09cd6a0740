"""Files of surfaces that stand otherwise than the car does: told before anything runs."""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.flow_car import BLUFF_CASE, flow_car
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.flow import Box, FlowCase, car_parts
from tuftwork.flow.near import near_notices
from tuftwork.flow.parts import part_faults
from tuftwork.shape import Mesh, block, mend

BODY = block("body", (-0.5, -0.5, 0.4), (3.2, 0.5, 1.1))
CASE = BLUFF_CASE.format(name="look", speed=120, longest=1.6)


def wheel(name: str, x: float, y: float, *, radius: float = 0.3, lowest: float = 0.0) -> Mesh:
    """A drum about an axle along y, at x and y, standing on the road."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = np.stack([x + radius * np.cos(turn), radius * np.sin(turn) + lowest + radius], axis=1)
    ends = [np.column_stack([rim[:, 0], np.full(24, s), rim[:, 1]]) for s in (y - 0.1, y + 0.1)]
    hubs = [[x, y - 0.1, lowest + radius], [x, y + 0.1, lowest + radius]]
    faces = []
    for k in range(24):
        n = (k + 1) % 24
        faces += [[k, n, 24 + n], [k, 24 + n, 24 + k], [48, n, k], [49, 24 + k, 24 + n]]
    mesh = Mesh(name=name, vertices=np.concatenate([*ends, hubs]), faces=np.array(faces))
    return mend(mesh)[0]


WHEELS = [wheel(f"wheel {x}{y}", 2.6 * (x == "r"), 0.8 if y == "r" else -0.8)
          for x in "fr" for y in "lr"]  # fmt: skip


def joined(name: str, parts: Sequence[Mesh]) -> Mesh:
    starts = np.cumsum([0, *(len(p.vertices) for p in parts)])
    faces = [p.faces + s for p, s in zip(parts, starts[:-1], strict=True)]
    vertices = np.concatenate([p.vertices for p in parts])
    return Mesh(name=name, vertices=vertices, faces=np.concatenate(faces))


def told(folder: Path, *files: tuple[Sequence[Mesh], str]) -> dict[str, Any]:
    """Return what ``flow prepare`` says of files of parts, each with what the project adds."""
    (folder / "evidence").mkdir(parents=True)
    tables = ""
    for n, (parts, more) in enumerate(files):
        text = []
        for part in parts:
            text.append(f"solid {part.name}")
            for triangle in part.triangles:
                corners = "".join(f"vertex {x} {y} {z}\n" for x, y, z in triangle)
                text.append(f"facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet")
            text.append("endsolid")
        (folder / "evidence" / f"{n}.stl").write_text("\n".join(text), "utf-8")
        unit, axle = ("", "") if "unit" in more else ('unit = "m"\n', 'front_axle = "0 m"\n')
        tables += f'[[flow.surfaces]]\nfile = "{n}.stl"\n{unit}{axle}{more}\n'
    car = flow_car(front="400 mm", rear="400 mm")
    (folder / "project.toml").write_text(f"{car}\n[flow]\n{tables}{CASE}", "utf-8")
    out = CliRunner().invoke(program, ["flow", "prepare", str(folder), "--quick", "--json"])
    found: dict[str, Any] = json.loads(out.stdout)
    assert bool(out.exit_code) == bool(found["faults"])
    return found


def test_a_car_on_its_wheels_has_no_fault(tmp_path: Path) -> None:
    found = told(tmp_path / "car", ([BODY, *WHEELS], ""))
    assert found["faults"] == []
    assert sum(part["rolls"] for part in found["parts"]) == 4


MILLI = 'unit = "mm"\nfront_axle = "0 mm"'
BAD: dict[str, tuple[list[tuple[Sequence[Mesh], str]], list[str]]] = {
    "four wheels in one part": (
        [([BODY, joined("wheels", WHEELS)], "")],
        [r"part 'wheels' = 3200 × 600 mm: .*not round .*Give every wheel a part of its own"],
    ),
    "a wheel arch that would roll": (
        [([BODY, block("wheel arch", (-0.4, -0.9, 0.5), (0.4, -0.7, 0.9))], "")],
        [r"part 'wheel arch' = 800 × 400 mm: .*only what rolls"],
    ),
    "a spare wheel": (
        [([BODY, *WHEELS, wheel("wheel spare", 1.2, 0.0, lowest=1.2)], "")],
        [r"part 'wheel spare' = 1200 mm: .*about x 1\.20 m.* axle lines lie at x 0 and 2\.60"],
    ),
    "one file of two in millimetres": (
        [([BODY], ""), (WHEELS, MILLI)],
        [r"1\.stl = 3\.2 mm: .*longer than 26 mm\. In 'm' they would be 3\.2 m"],
    ),
    "one file of two in metres that is in millimetres": (
        [([BODY], ""),
         ([replace(w, vertices=1e3 * w.vertices) for w in WHEELS], "")],
        [r"length of the parts = 3200 m.* In 'mm' it would fit: look at 'unit' of 1\.stl"],
    ),
    "the nose points the other way": (
        [([BODY, *WHEELS], 'nose = "+x"')],
        [r"axles = x 0 and 2\.60 m: the parts lie from x −3\.20 to 0\.50 m"],
    ),
    "the front axle is elsewhere": (
        [([BODY, *WHEELS], 'unit = "m"\nfront_axle = "26 m"')],
        [r"axles = .*the parts lie from x −26\.50 to −22\.80 m.*'front_axle'"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BAD))
def test_it_is_told_with_place_and_cure_before_anything_is_cut(name: str, tmp_path: Path) -> None:
    files, wanted = BAD[name]
    faults = told(tmp_path / "car", *files)["faults"]
    assert len(faults) == len(wanted), faults
    for pattern, fault in zip(wanted, faults, strict=True):
        assert re.search(pattern, fault), fault


def test_a_name_that_stands_in_two_files_is_told_with_both(tmp_path: Path) -> None:
    (fault,) = told(tmp_path / "car", ([BODY, *WHEELS], ""), ([BODY], ""))["faults"]
    assert fault.startswith("part = 'body': stands in 0.stl and in 1.stl. Rename one")


def case_of(*meshes: Mesh) -> FlowCase:
    box = Box(ahead=1.5, behind=2.0, beside=1.5, above=1.5)
    return FlowCase(parts=car_parts(meshes, speed=30.0), speed=30.0, cell=0.1, box=box)


def test_all_that_is_wrong_with_one_part_is_told() -> None:
    low = replace(BODY, vertices=BODY.vertices - [0, 0, 0.6], faces=BODY.faces[1:])
    found = [str(fault) for fault in part_faults(case_of(low))]
    assert len(found) == 2
    assert "not closed" in found[0]
    assert "lies below the road" in found[1]


def test_a_part_that_lies_on_another_is_refused_by_name() -> None:
    again = replace(BODY, name="body again", faces=BODY.faces[::-1])
    (fault,) = part_faults(case_of(BODY, *WHEELS, again))
    assert str(fault).startswith("part 'body again' = 16 triangles: lies on 'body', face on face")
    beside = replace(BODY, name="beside", vertices=BODY.vertices + 0.001)
    assert not list(part_faults(case_of(BODY, beside)))


def test_a_wheel_above_the_road_is_told_and_a_rim_in_its_tyre_is_not() -> None:
    high = wheel("wheel high", 0.0, -0.8, lowest=0.05)
    rim = wheel("wheel rim", 2.6, -0.8, radius=0.2, lowest=0.1)
    case = case_of(BODY, high, rim, *WHEELS[2:])
    said = [text for text in near_notices(case, (), ()) if "above the road" in text]
    assert len(said) == 1
    assert said[0].startswith("'wheel high' is a wheel and hangs 50 mm above the road")


def test_corners_of_dropped_faces_do_not_bound_a_part() -> None:
    far = len(BODY.vertices)
    needle = replace(BODY, vertices=np.vstack([BODY.vertices, [0.0, 0.0, -3.0]]),
                     faces=np.vstack([BODY.faces, [far, far, far]]))  # fmt: skip
    mended, done = mend(needle)
    assert mended.vertices[:, 2].min() == pytest.approx(0.4)
    assert any("needle" in text for text in done)
