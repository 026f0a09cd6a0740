"""The demo car with the channels under its splitter solved: ramps, footplates, a plate that bends.

The sizes are those of the guide, drawn before anything was computed; the demo itself keeps the
closed form, since nothing about ramps was planted in it.
"""

from pathlib import Path
from typing import Any

import tomlkit

SPLITTER: dict[str, Any] = {
    "stiffness": "150 N/mm ± 20 %",
    "footplate_depth": "20 mm ± 2 mm",
    "channel": {
        "handover": "-0.35 m",
        "ramps": {
            "inner": "0.22 m", "outer": "0.84 m", "start": "-0.84 m", "end": "-0.36 m",
            "rise": "48 mm ± 3 mm", "into": "front wells",
        },
    },
}  # fmt: skip
_KEPT = ("form", "about", "car", "mass_states", "weather", "parts", "states", "cooling", "study")


def turned_front_car(folder: Path) -> Path:
    """Turn the demo into it, tied to nothing: parts, two states, air net; floor in closed form."""
    place = folder / "project.toml"
    tree = tomlkit.parse(place.read_text("utf-8")).unwrap()
    for part in tree["parts"]:
        if part["kind"] == "floor":
            part.pop("channel", None)
        if part["kind"] == "splitter":
            part |= SPLITTER
    tree = {key: tree[key] for key in _KEPT}
    tree["states"] = [tree["states"][0], tree["states"][-1]]
    tree["study"] |= {"draws": 64, "speeds": ["140 km/h", "180 km/h", "220 km/h"]}
    place.write_text(tomlkit.dumps(tree), encoding="utf-8")
    return folder


def turned_nose_alone(folder: Path) -> Path:
    """Turn the demo into a car of which nothing but a splitter with an open channel is told."""
    place = folder / "project.toml"
    tree = tomlkit.parse(place.read_text("utf-8")).unwrap()
    (own,) = (p for p in tree["parts"] if p["kind"] == "splitter")
    tree["parts"] = [own | {"channel": {"handover": "-0.60 m", "pressure": "-0.4 ± 0.1"}}]
    tree = {
        k: tree[k] for k in ("form", "about", "car", "mass_states", "weather", "parts", "study")
    }
    del tree["car"]["front"], tree["car"]["rear"]
    tree["study"] |= {"draws": 32, "speeds": ["140 km/h", "220 km/h"]}
    place.write_text(tomlkit.dumps(tree), encoding="utf-8")
    return folder
