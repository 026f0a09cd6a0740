"""A project of one car with nothing but a body, to which tests of the 3-D flow add their own."""

from pathlib import Path

COARSE_LOOK = Path(__file__).parents[2] / "recorded" / "data" / "flow_coarse_look.npz"
"""A run of some 70 cells over a car, with doubts: what a record holds, in a small file."""


def flow_car(
    *, front: str = "300 mm", rear: str = "310 mm", frontal_area: str = "1.9 m^2"
) -> str:  # fmt: skip
    """Return the project file's text for these ride heights and this area."""
    return f"""
form = 1
[about]
title = "A small car"
[car]
name = "Small"
wheelbase = "2.6 m"
frontal_area = "{frontal_area}"
[[mass_states]]
name = "race"
mass = "900 kg"
front_weight = "48 %"
ride_height_front = "{front}"
ride_height_rear = "{rear}"
[weather]
temperature = "15 °C"
pressure = "1013 hPa"
[[parts]]
name = "body"
kind = "body"
downforce = "-0.1 ± 0.15"
drag = "0.37 ± 0.15"
front_share = "50 % ± 10 %"
[study]
speeds = ["150 km/h"]
draws = 64
"""
