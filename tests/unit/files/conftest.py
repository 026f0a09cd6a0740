"""One small project that is right, to be broken in many ways."""

from pathlib import Path

import pytest

GOOD = """# The coupe, as found.
form = 1

[about]
title = "Coupe study"    # goes on the report
day = 2026-05-03

[car]
name = "Coupe"
wheelbase = "2.620 m"
frontal_area = { value = "2.04 m^2 ± 2 %", origin = "measured", from = "E1, front photo" }
power = "355 kW"         # on the dynamometer

[car.front]
track = "1.64 m"
wheel_rate = "72 N/mm"
tyre_rate = "265 N/mm"
tyre_diameter = "650 mm"

[[mass_states]]
name = "race"
mass = "1285 kg"
front_weight = "47.5 %"
ride_height_front = "58 mm"
ride_height_rear = "71 mm"

[weather]
temperature = "24 °C"
humidity = "40 %"

[[parts]]
kind = "wing"
name = "rear wing"
span = "1.70 m ± 5 mm"
chord = "300 mm"
incidence = "8 °"
station = "2.96 m"
height = "1.2 m"
[parts.model]
slope = "0.9"

[[parts]]
kind = "body"
name = "shell"
downforce = "-0.10 ± 0.05"
front_share = "50 %"
drag = "0.36 ± 0.03"

[[states]]
name = "as raced"

[[states]]
name = "more wing"
set = { "rear wing.incidence" = "12 °" }

[[openings]]
name = "front cooler exit"
role = "out"
area = "0.056 m^2 ± 6 %"

[[claims]]
id = "C1"
kind = "force"
said = "260 kg at 160 km/h"
force = "260 kgf"
speed = "160 km/h"
on = "part"
part = "rear wing"

[[claims]]
id = "C4"
kind = "balance"
said = "43 % front, constant"
front = "43 %"
constant = true

[[evidence]]
id = "E1"
title = "Photo from ahead"
kind = "photo"
file = "front.jpg"

[[measured]]
id = "M1"
speed = "180 km/h"
ride_height_front = "49.2 mm"
ride_height_rear = "59.3 mm"
downforce_front = "0.673 m^2"
downforce_rear = "0.956 m^2"
drag = "0.900 m^2"
state = "as raced"
evidence = "E1"

[study]
speeds = ["140 km/h", "180 km/h", "220 km/h"]
draws = 256
"""


@pytest.fixture
def good() -> str:
    """Return the text of a project file without a fault."""
    return GOOD


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a project folder without a fault."""
    made = tmp_path / "coupe"
    (made / "evidence").mkdir(parents=True)
    (made / "evidence" / "front.jpg").write_bytes(b"a photo")
    (made / "project.toml").write_text(GOOD, encoding="utf-8")
    return made
