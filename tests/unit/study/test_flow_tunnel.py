"""A case in a tunnel: still walls, a belt under the wheels, and what is made of it."""

from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.unit.study.flow_car import flow_car

from tuftwork.errors import FileFault, InputError
from tuftwork.files import read_project
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
    return {p.name for p in case.case.parts if p.spin is not None}


def test_the_wheels_on_the_belt_roll_and_those_on_the_floor_stand(tmp_path: Path) -> None:
    found = built(tmp_path, BELT)
    assert found.case.box.has_walls
    assert found.case.box.belt == pytest.approx((-0.6, 1.4, 1.0))
    assert rolling(found) == {"wheel front left", "wheel front right"}
    narrow = built(tmp_path, BELT.replace("2 m", "1 m"))  # between the wheels
    assert rolling(narrow) == set()
    assert len(rolling(built(tmp_path, ""))) == 4
    assert rolling(built(tmp_path, 'road = "fixed"')) == set()


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
        ("moving", {"has_walls": True}, "tunnel walls", "moving road, closed tunnel"),
    ],
)
def test_what_is_not_the_road_is_not_held_against_the_car(
    road: str, box: dict[str, object], why: str, words: str
) -> None:
    case = {"front": 0.05, "rear": 0.06, "yaw": 0.0, "road": road, "box": box}
    record = {"case": case, "loads": {"drag": {"mean": 0.8}}}
    said = _why_not(SimpleNamespace(counts=True), record)  # type: ignore[arg-type]
    assert (why in said) if why else not said
    assert spoken_road(case) == words
