"""What a device does, and how it fails, is no change that somebody chose."""

from types import SimpleNamespace
from typing import Any, cast

from tuftwork.car import Project
from tuftwork.study.answers import Answers
from tuftwork.study.choice import is_choice, proposed
from tuftwork.study.finding import _rest_without_driver

_PROJECT = {
    "form": 1,
    "about": {"title": "Choice"},
    "car": {"name": "Any", "wheelbase": "2.5 m", "frontal_area": "1.8 m^2"},
    "mass_states": [
        {"name": "race", "mass": "900 kg", "front_weight": "45 %",
         "ride_height_front": "60 mm", "ride_height_rear": "70 mm"},
    ],
    "weather": {"temperature": "20 °C"},
    "parts": [
        {"name": "wing", "kind": "wing", "span": "1.5 m", "chord": "250 mm", "incidence": "6 °",
         "station": "2.7 m", "height": "1.1 m"},
    ],
    "states": [
        {"name": "as run"},
        {"name": "wing 10", "set": {"wing.incidence": "10 °"}},
        {"name": "wing flat", "set": {"wing.incidence": "-2 °"}},
        {"name": "wing gone", "without": ["wing"]},
        {"name": "jammed", "set": {"wing.incidence": "3 °"}, "stuck": True},
    ],
    "devices": [
        {"name": "actuator", "positions": ["as run", "wing flat"], "failures": ["wing gone"]},
    ],
    "study": {"speeds": ["160 km/h"]},
}  # fmt: skip


def test_positions_failures_and_stuck_states_are_no_choices() -> None:
    project = Project.model_validate(_PROJECT)
    assert [s.name for s in project.states if is_choice(project, s.name)] == ["wing 10"]
    assert proposed(project) == {"wing 10"}


def test_without_a_device_a_part_taken_off_may_be_chosen() -> None:
    project = Project.model_validate({**_PROJECT, "devices": []})
    assert is_choice(project, "wing gone")
    assert not is_choice(project, "jammed")


def test_a_state_with_ballast_is_no_sheet_without_its_driver() -> None:
    race: dict[str, Any] = _PROJECT["mass_states"][0]  # type: ignore[index]
    ballast = {**race, "name": "ballast", "mass": "940 kg", "ride_height_front": "56 mm"}
    project = Project.model_validate({**_PROJECT, "mass_states": [race, ballast]})
    assert _rest_without_driver(cast("Answers", SimpleNamespace(project=project))) == []
