"""A car with measured passes, about which anything can be claimed."""

from collections.abc import Callable
from typing import Any

import pytest

from tuftwork.car import Project

SPEEDS = (100.0, 140.0, 180.0, 220.0)
FRONT = {100.0: 0.60, 140.0: 0.64, 180.0: 0.67, 220.0: 0.68}
REAR = {100.0: 0.99, 140.0: 0.98, 180.0: 0.95, 220.0: 0.77}


def _project(claims: list[dict[str, Any]], **changes: Any) -> Project:
    tables: dict[str, Any] = {
        "form": 1,
        "about": {"title": "A car"},
        "car": {"name": "A car", "wheelbase": "2.62 m", "frontal_area": "2.04 m^2 ± 1.5 %",
                "power": "355 kW ± 2 %", "driveline": "0.89 ± 0.015"},
        "mass_states": [{"name": "race", "mass": "1285 kg", "front_weight": "47.5 %",
                         "ride_height_front": "58 mm", "ride_height_rear": "71 mm"}],
        "weather": {"temperature": "24 °C"},
        "parts": [
            {"kind": "wing", "name": "rear wing", "span": "1.70 m", "chord": "300 mm",
             "incidence": "8 °", "station": "2.96 m", "height": "1.2 m"},
            {"kind": "splitter", "name": "splitter", "projection": "85 mm", "width": "1.7 m",
             "lip_radius": "16 mm", "station": "-0.98 m"},
        ],
        "openings": [{"name": "exit", "role": "out", "area": "0.056 m^2 ± 6 %",
                      "gross_area": "0.090 m^2 ± 4 %"}],
        "measured": [
            {"id": f"M{i}", "speed": f"{v} km/h ± 0.5 %", "ride_height_front": "50 mm",
             "ride_height_rear": "60 mm", "downforce_front": f"{FRONT[v]} m^2 ± 0.02 m^2",
             "downforce_rear": f"{REAR[v]} m^2 ± 0.02 m^2", "drag": "0.90 m^2 ± 0.03 m^2"}
            for i, v in enumerate(SPEEDS, 1)
        ],
        "claims": claims,
        "study": {"speeds": [f"{v} km/h" for v in SPEEDS]},
        **changes,
    }  # fmt: skip
    return Project.model_validate(tables)


@pytest.fixture
def project() -> Callable[..., Project]:
    """Return the function that makes the car with claims of one's own."""
    return _project
