"""What a channel probably is, from its name; what unit it is probably in, from its size.

A guess is a proposal: the user confirms it and the project remembers it.
"""

import re
from collections.abc import Mapping, Sequence

import numpy as np

from tuftwork.quantity import DIMENSIONS, Array, tidy_unit
from tuftwork.trial.log import ROLES

_CORNERS = {
    "front left": ("fl", "lf", "front left", "left front", "vl"),
    "front right": ("fr", "rf", "front right", "right front", "vr"),
    "rear left": ("rl", "lr", "rear left", "left rear", "hl"),
    "rear right": ("rr", "rear right", "right rear"),
}
_POT = ("pot", "damper", "susp", "suspension", "shock", "potentiometer", "strut", "travel",
        "daempfer", "dampfer", "dämpfer", "federweg")  # fmt: skip
_LASER = ("laser", "ride height", "rideheight", "rh", "height", "bodenfreiheit")
_SPEED = ("speed", "v", "vel", "velocity", "geschwindigkeit", "vitesse")
_NAMED: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "time": (("time", "t", "timestamp", "zeit", "temps", "elapsed", "seconds"),),
    "air speed": (("pitot", "airspeed", "tas", "air speed", "wind speed rel", "v air"),),
    "course": (("course", "heading", "bearing", "cog", "kurs"),),
    "air temperature": (("air temp", "ambient temp", "temp air", "temp ambient", "tamb",
                         "t amb", "outside temp", "air temperature", "ambient temperature"),),
    "air pressure": (("baro", "barometer", "air pressure", "ambient pressure", "pamb", "p amb"),),
    "acceleration along": (("acc long", "long acc", "acc x", "ax", "g long", "glong", "accel x",
                            "acceleration along", "longitudinal acceleration", "accel long",
                            "acc longitudinal", "a long", "acceleration x"),),
}  # fmt: skip
_UNIT_TAIL = re.compile(r"[\[(<]\s*([^\])>]*)\s*[\])>]\s*$")


def split_unit(header: str) -> tuple[str, str]:
    """Return name and unit of a header: ``Damper FL [mm]``, ``speed_kmh``, ``v (km/h)``."""
    text = header.strip().strip('"').strip()
    tail = _UNIT_TAIL.search(text)
    if tail:
        return text[: tail.start()].strip(), tail[1].strip()
    name, _, last = text.rpartition("_")
    spelled = {"mm": "mm", "kmh": "km/h", "kph": "km/h", "mph": "mph", "ms": "m/s", "s": "s",
               "degc": "°C", "c": "°C", "hpa": "hPa", "pa": "Pa", "deg": "°", "m": "m", "in": "in",
               "mbar": "mbar", "g": "g", "ms2": "m/s²", "k": "K"}  # fmt: skip
    if name and last.lower() in spelled:
        return name, spelled[last.lower()]
    return text, ""


def guess_roles(names: Sequence[str]) -> dict[str, int]:
    """Return the likely role of channels: role → place in ``names``; no channel has two roles."""
    plain = [_plain(name) for name in names]
    found: dict[str, int] = {}
    taken: set[int] = set()

    def take(role: str, place: int) -> None:
        if role not in found and place not in taken:
            found[role] = place
            taken.add(place)

    for role in ROLES:
        for i, text in enumerate(plain):
            if text == role or (role in text and role not in ("time",)):
                take(role, i)
    for i, text in enumerate(plain):
        for role, groups in _NAMED.items():
            if any(_holds(text, word) for word in groups[0]):
                take(role, i)
        if any(_holds(text, w) for w in _POT):
            for corner, words in _CORNERS.items():
                if any(_holds(text, w) for w in words):
                    take(f"pot {corner}", i)
        if any(_holds(text, w) for w in _LASER):
            for end, words in (("front", ("front", "f", "fr", "v")), ("rear", ("rear", "r", "h"))):
                if any(_holds(text, w) for w in words):
                    take(f"laser {end}", i)
    for i, text in enumerate(plain):
        if any(_holds(text, w) for w in ("gps", "gnss", "ground")) and _is_speed(text):
            take("speed over ground", i)
    for i, text in enumerate(plain):
        if _is_speed(text) and not any(_holds(text, w) for w in ("wheel", "engine", "rpm", "n")):
            take("speed over ground", i)
    return found


def _plain(name: str) -> str:
    """Return a name in small letters, words apart: ``SuspFL``, ``susp_fl`` → ``susp fl``."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    text = re.sub(r"[^0-9A-Za-zÀ-ÿ]+", " ", text).lower()
    return re.sub(r"\s+", " ", text).strip()


def _holds(text: str, word: str) -> bool:
    return f" {word} " in f" {text} "


def _is_speed(text: str) -> bool:
    return any(_holds(text, w) for w in _SPEED)


_EXTRA = {
    "": {"m/s²": 1.0, "m/s2": 1.0, "m/s^2": 1.0, "g": 9.80665, "G": 9.80665},
}
"""Units of dimensions that the project file has no need of."""


def to_role_si(values: Array, role: str, unit: str) -> Array:
    """Return a channel's values in SI.

    Raises
    ------
    InputError
        If the unit is not one of the role's.
    """
    from tuftwork.quantity import to_si, unit_of

    dimension = ROLES[role].dimension
    if dimension == "":
        return np.asarray(values * _EXTRA[""].get(unit.strip(), 1.0))
    spelled = unit_of(unit, dimension)
    one, two = to_si(0.0, spelled, dimension), to_si(1.0, spelled, dimension)
    return np.asarray(one + values * (two - one))


def unit_fits(unit: str, role: str) -> bool:
    """Return whether a unit can belong to a role."""
    dimension = ROLES[role].dimension
    if dimension == "":
        return unit.strip() in _EXTRA[""]
    return tidy_unit(unit) in DIMENSIONS[dimension].units and bool(tidy_unit(unit))


_LIKELY = {
    "time": ("s", "ms", "min"),
    "speed": ("km/h", "m/s", "mph"),
    "height": ("mm", "m", "in"),
    "angle": ("°", "rad"),
    "temperature": ("°C", "K", "°F"),
    "pressure": ("hPa", "Pa", "kPa"),
    "": ("m/s²", "g"),
}
_TYPICAL = {
    "time": (1.0, 2e5), "speed": (8.0, 110.0), "height": (2e-3, 0.2), "angle": (0.8, 6.4),
    "temperature": (263.0, 325.0), "pressure": (75e3, 108e3), "": (0.3, 30.0),
}  # fmt: skip


def guess_unit(values: Array, role: str) -> str:
    """Return the likeliest unit of a channel that states none: the first whose size is usual.

    The largest value is looked at: a speed of 232 is km/h, a damper travel of 12 is mm.
    """
    dimension = ROLES[role].dimension
    size = float(np.nanmax(np.abs(values))) if values.size else 0.0
    low, high = _TYPICAL[dimension]
    for unit in _LIKELY[dimension]:
        if low <= abs(float(to_role_si(np.array([size]), role, unit)[0])) <= high:
            return unit
    return _LIKELY[dimension][0]
