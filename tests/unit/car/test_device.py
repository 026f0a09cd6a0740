"""Devices, their positions, failures and schedules, as the project file says them."""

import tomllib
from importlib.resources import files
from typing import Any

import pytest

from tuftwork.aeromap.part import part_models
from tuftwork.car import Project, position_at
from tuftwork.car.crossed import CrossedNames

DEVICE = {"name": "wing", "positions": ["as raced", "more wing"], "travel": "0.4 s"}
RULE = {"position": "more wing", "speed_above": "160 km/h", "side_below": "0.3 g", "braking": False}


def demo() -> dict[str, Any]:
    """Return the demo's tables that stand for themselves."""
    tree = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    keep = ("form", "about", "car", "mass_states", "weather", "parts", "states", "study")
    parts = [part for part in tree["parts"] if part["kind"] != "air net"]
    return {key: tree[key] for key in keep} | {"parts": parts}


def project(**changes: object) -> Project:
    tree = demo()
    tree |= {"devices": [DEVICE], "schedules": [{"name": "s", "device": "wing", "rules": [RULE]}]}
    return Project.model_validate(tree | changes)


def test_a_schedule_says_which_position_is_taken_when() -> None:
    held = project()
    schedule, device = held.schedules[0], held.device("wing")
    assert position_at(schedule, device, speed=30.0) == "as raced"
    assert position_at(schedule, device, speed=50.0) == "more wing"
    assert position_at(schedule, device, speed=50.0, side=4.0) == "as raced"
    assert position_at(schedule, device, speed=50.0, side=-4.0) == "as raced"
    assert position_at(schedule, device, speed=50.0, braking=True) == "as raced"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"schedules": [{"name": "s", "device": "flap", "rules": [RULE]}]}, "no device of this"),
        ({"devices": [DEVICE | {"positions": ["as raced", "flat"]}]}, "no state of this name"),
        ({"devices": [DEVICE | {"failures": ["stay gone"]}]}, "no state of this name"),
        ({"devices": [DEVICE, DEVICE]}, "used twice"),
        ({"schedules": [{"name": "s", "device": "wing",
                         "rules": [{"position": "rear up, wing 9"}]}]}, "no position of this"),
        ({"states": [{"name": "as raced"}, {"name": "more wing"},
                     {"name": "bare", "without": ["winglet"]}]}, "no part of this name"),
    ],
)  # fmt: skip
def test_names_that_lead_nowhere_are_refused(changes: dict[str, object], words: str) -> None:
    with pytest.raises((CrossedNames, ValueError), match=words):
        project(**changes)


def test_a_part_that_is_gone_carries_nothing() -> None:
    states = [{"name": "as raced"}, {"name": "bare", "without": ["rear wing"]}]
    held = Project.model_validate(demo() | {"states": states})
    names = [m.name for m in part_models(held, "bare")]
    assert "rear wing" not in names
    assert "rear wing" in [m.name for m in part_models(held)]
    assert not any("rear wing" in name for name in names)
    assert any("→ rear wing" in m.name for m in part_models(held))
