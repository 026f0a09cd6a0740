"""A case in a tunnel: still walls, a belt under the wheels, and what is made of it."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.unit.study.flow_car import flow_car

from tuftwork.errors import FileFault, InputError
from tuftwork.files import read_project
from tuftwork.flow import prepare
from tuftwork.flow.parts import part_faults
from tuftwork.study.flow.case import Built, built_case, run_named
from tuftwork.study.flow.moments import spoken_road
from tuftwork.study.flow.sighting import _why_not

FLOW = """
[flow]
generic = "coupe"
numbers = {{ ride_height_front = "300 mm", ride_height_rear = "310 mm", splitter_length = "0 m" }}
[[flow.cases]]
name = "tunnel"
speed = "150 km/h"
cell = "110 mm"
{more}
"""
BELT = 'road = "fixed"\nwalls = "closed"\nbelt = { start = "-0.6 m", end = "1.4 m", width = "2 m" }'


def built(folder: Path, more: str) -> Built:
    (folder / "project.toml").write_text(flow_car() + FLOW.format(more=more), encoding="utf-8")
    opened = read_project(folder)
    return built_case(opened.project, folder, run_named(opened.project))


def rolling(case: Built) -> set[str]:
    return {p.name for p in case.case.parts if p.spin and p.spin.rate}


def test_the_wheels_on_the_belt_roll_and_those_on_the_floor_stand(tmp_path: Path) -> None:
    found = built(tmp_path, BELT)
    assert found.case.box.has_walls
    assert found.case.box.belt == pytest.approx((-0.6, 1.4, 1.0))
    assert rolling(found) == {"wheel front left", "wheel front right"}
    narrow = built(tmp_path, BELT.replace("2 m", "1 m"))  # between the wheels
    assert rolling(narrow) == set()
    assert len(rolling(built(tmp_path, ""))) == 4
    assert rolling(built(tmp_path, 'road = "fixed"')) == set()


def test_wheels_stand_on_a_fixed_floor_that_they_are_pressed_into(tmp_path: Path) -> None:
    """Between the round of a wheel and the floor is a wedge, and no gap that is too narrow."""
    found = built(tmp_path, 'road = "fixed"')
    wheels = [p for p in found.case.parts if p.name.startswith("wheel")]
    assert min(float(p.vertices[:, 2].min()) for p in wheels) < 0.0
    case = replace(found.case, parts=tuple(wheels))
    assert prepare(case).gap_cells is None or prepare(case).gap_cells >= 2  # type: ignore[operator]
    assert not [f for f in part_faults(found.case) if "wheel" in f.name]


def test_a_belt_that_lies_under_no_part_is_refused(tmp_path: Path) -> None:
    found = built(tmp_path, BELT.replace("-0.6", "-60").replace("1.4", "-30"))
    (fault,) = (f for f in found.forecast().faults if f.name == "belt")
    assert str(fault).startswith("belt = −60 to −30 m: lies under no part: they stand at x")
    assert not [f for f in built(tmp_path, BELT).forecast().faults if f.name == "belt"]


def test_another_tunnel_is_another_case(tmp_path: Path) -> None:
    texts = ('road = "fixed"', 'road = "fixed"\nwalls = "closed"', BELT, BELT.replace("2 m", "1 m"))
    assert len({built(tmp_path, text).digest for text in texts}) == len(texts)


def test_a_belt_needs_a_fixed_floor_and_its_end_behind_its_start(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match='road = "fixed"'):
        built(tmp_path, BELT.replace("fixed", "moving"))
    with pytest.raises(FileFault, match="behind 'start'"):
        built(tmp_path, BELT.replace("-0.6 m", "1.6 m"))


def test_no_yaw_between_tunnel_walls(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="between tunnel walls"):
        built(tmp_path, BELT + '\nyaw = "5 °"')


@pytest.mark.parametrize(
    ("road", "box", "why", "words"),
    [
        ("moving", {}, "", "moving road"),
        ("fixed", {}, "No road moved", "fixed floor"),
        ("none", {}, "No road moved", "no road"),
        ("fixed", {"belt": (-0.6, 1.4, 1.0)}, "", "fixed floor with a belt 2 × 2 m"),
        (
            "fixed",
            {"belt": (-0.6, 1.4, 1.0), "wheelbase": 2.6},
            "both axles",
            "fixed floor with a belt 2 × 2 m",
        ),
        (
            "fixed",
            {"belt": (-0.6, 2.8, 1.0), "wheelbase": 2.6},
            "",
            "fixed floor with a belt 3.4 × 2 m",
        ),
        ("moving", {"has_walls": True}, "tunnel walls", "moving road, closed tunnel"),
    ],
)
def test_what_is_not_the_road_is_not_held_against_the_car(
    road: str, box: dict[str, object], why: str, words: str
) -> None:
    base = {key: value for key, value in box.items() if key == "wheelbase"}
    case = {"front": 0.05, "rear": 0.06, "yaw": 0.0, "road": road, "box": box} | base
    record = {"case": case, "loads": {"drag": {"mean": 0.8}}}
    said = _why_not(SimpleNamespace(counts=True), record)  # type: ignore[arg-type]
    assert (why in said) if why else not said
    assert spoken_road(case) == words
