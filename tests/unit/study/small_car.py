"""A small project that holds the demo's car, with a device, failures and a schedule, for the page
of the car: quick to compute, and nobody else's tables in it."""

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import tomlkit

COOLERS = {
    "name": "front coolers", "kind": "cooling", "core_area": "0.298 m^2 ± 2 %",
    "exit_area": "0.056 m^2 ± 6 %", "core_speed": "0.09..0.14", "exit_station": "0.35 m ± 50 mm",
    "exit_angle": "0 ° ± 10 °", "height": "0.35 m ± 50 mm", "leaves_by": "wheel-well",
    "fed_by": "nose",
}  # fmt: skip
STATES = [
    {"name": "as raced", "set": {"rear wing.incidence": "8 ° ± 0.3 °"}},
    {"name": "wing flat", "set": {"rear wing.incidence": "2 ° ± 0.3 °"}},
    {"name": "gurney lost", "stuck": True, "set": {"rear wing.gurney": "0 mm"}},
    {"name": "splitter stay broken", "stuck": True, "set": {"splitter.drop": "12 mm ± 3 mm"}},
]
DEVICE = {
    "name": "rear wing drive", "positions": ["as raced", "wing flat"],
    "failures": ["gurney lost", "splitter stay broken"], "travel": "0.4 s",
}  # fmt: skip
SCHEDULE = {
    "name": "straights", "device": "rear wing drive",
    "rules": [{"position": "wing flat", "speed_above": "190 km/h", "side_below": "0.4 g",
               "braking": False}],
}  # fmt: skip


def small_car(draws: int = 64, **changes: Any) -> dict[str, Any]:
    """Return the project's tables."""
    demo = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    tree = {key: demo[key] for key in ("form", "about", "car", "mass_states", "weather")}
    parts = [p for p in demo["parts"] if p["kind"] not in ("air net", "cooling")]
    tree |= {
        "parts": [{k: v for k, v in p.items() if k != "channel"} for p in parts] + [COOLERS],
        "states": STATES, "devices": [DEVICE], "schedules": [SCHEDULE],
        "study": {"speeds": [f"{v} km/h" for v in (140, 180, 200, 220, 240)], "draws": draws},
    }  # fmt: skip
    return tree | changes


def write_small_car(folder: Path, draws: int = 64, **changes: Any) -> Path:
    """Write it as a project folder."""
    folder.mkdir(parents=True, exist_ok=True)
    text = tomlkit.dumps(small_car(draws, **changes))
    (folder / "project.toml").write_text(text, encoding="utf-8")
    return folder
