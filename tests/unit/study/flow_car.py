"""A project of one car with nothing but a body, to which tests of the 3-D flow add their own."""

from pathlib import Path

from tuftwork.shape import block

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


BLUFF_CASE = """
[[flow.cases]]
name = "{name}"
speed = "{speed} km/h"
cell = "190 mm"
ahead = "1.2 m"
behind = "1.6 m"
beside = "1.2 m"
above = "1.2 m"
settle = 0.5
longest = {longest}
error = "1e-30 m^2"
lattice_speed = 0.2
"""
BLUFF = """
[flow]
[[flow.surfaces]]
file = "bluff.stl"
unit = "m"
front_axle = "0.5 m"
ride_height_front = "400 mm"
ride_height_rear = "400 mm"
"""


def bluff_project(folder: Path, cases: str) -> Path:
    """Write a bluff body of fifteen cells in a small box: a car length takes a moment."""
    body = block("body", (0.0, -0.5, 0.4), (2.8, 0.5, 1.1))
    (folder / "evidence").mkdir(parents=True)
    text = ["solid body"]
    for triangle in body.vertices[body.faces]:
        corners = "".join(f"vertex {x} {y} {z}\n" for x, y, z in triangle)
        text.append(f"facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet")
    (folder / "evidence" / "bluff.stl").write_text("\n".join([*text, "endsolid body\n"]), "utf-8")
    car = flow_car(front="400 mm", rear="400 mm", frontal_area="0.7 m^2")
    (folder / "project.toml").write_text(car + BLUFF + cases, encoding="utf-8")
    return folder
