"""The platform at any speed and any ride heights at rest, quick enough to sit behind a slider."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.equilibrium import follow_path
from tuftwork.errors import InputError
from tuftwork.quantity import Draws, from_si, summarise
from tuftwork.study.answers import FIELDS, Answers
from tuftwork.study.cliff import cliff_of
from tuftwork.study.number import Number, number_of_summary

_KMH = 3.6
_DRAWS = 64  # [-] of the ensemble: ends of ranges move by a tenth of the range or so
_PATH_STEPS = 14
_FASTEST = 400.0  # [km/h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """What the platform does at one speed, some draws, and its path up to there.

    Attributes
    ----------
    speed
        [m/s]
    height_front, height_rear : (n_draw,)
        [m]
    front, rear, drag : (n_draw,)
        CzSf, CzSr, CxS. [m²]
    path_speed, path_front, path_rear : (n_step,)
        Medians on the way there. [m/s], [m]
    """

    speed: float
    height_front: Draws
    height_rear: Draws
    front: Draws
    rear: Draws
    drag: Draws
    path_speed: np.ndarray
    path_front: np.ndarray
    path_rear: np.ndarray

    def field(self, name: str) -> Draws:
        """Return one field of ``FIELDS``."""
        total = self.front + self.rear
        found = {
            "front": self.front, "rear": self.rear, "total": total, "drag": self.drag,
            "share": self.front / total, "height_front": self.height_front,
            "height_rear": self.height_rear,
        }  # fmt: skip
        return np.asarray(found[name])


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a slider asks: speed [m/s], state, ride heights at rest [m] where they are moved."""

    speed: float
    state: str
    front: float | None = None
    rear: float | None = None

    @classmethod
    def of(cls, answers: Answers, message: Mapping[str, Any]) -> "Setting":
        """Return the setting a message describes, refusing what cannot be."""
        kmh = _number(message, "speed", 0.0, _FASTEST, "km/h")
        heights = [
            _number(message, key, 1.0, 400.0, "mm") / 1e3 if message.get(key) is not None else None
            for key in ("front_mm", "rear_mm")
        ]
        state = answers.state_named(str(message.get("state", "")))
        return cls(speed=kmh / _KMH, state=state, front=heights[0], rear=heights[1])


def solve_live(answers: Answers, setting: Setting) -> Live:
    """Return the platform at a setting.

    Raises
    ------
    NotCovered
        If a draw leaves the map on the way.
    """
    key = f"live {setting.state}"
    if key not in answers.worked_out:
        keep = np.flatnonzero(answers.kept(setting.state))[:_DRAWS]
        surface, suspension = answers.surface(setting.state), answers.suspension(setting.state)
        answers.worked_out[key] = (
            replace(surface, nodes=np.ascontiguousarray(surface.nodes[keep])),
            _axles(suspension, keep),
            np.broadcast_to(np.asarray(answers.air.density), answers.kept(setting.state).shape)[
                keep
            ],
        )
    surface, suspension, density = answers.worked_out[key]
    moved = replace(
        suspension,
        front=_rested(suspension.front, setting.front),
        rear=_rested(suspension.rear, setting.rear),
    )
    speeds = np.linspace(0.0, setting.speed, _PATH_STEPS)[1:]
    rising, _ = follow_path(surface, moved, speed=speeds, density=density)
    return Live(
        speed=setting.speed,
        height_front=rising.ride_height_front[-1], height_rear=rising.ride_height_rear[-1],
        front=rising.downforce_front[-1], rear=rising.downforce_rear[-1], drag=rising.drag[-1],
        path_speed=speeds,
        path_front=np.median(rising.ride_height_front, axis=1),
        path_rear=np.median(rising.ride_height_rear, axis=1),
    )  # fmt: skip


def live_page(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return header and arrays of a live answer."""
    setting = Setting.of(answers, message)
    found = solve_live(answers, setting)
    at = _at(found, setting.state)
    numbers = {
        {"height_front": "front_mm", "height_rear": "rear_mm"}.get(name, name): _number_of(
            found.field(name), name, at, _why(setting, name)
        )
        for name in FIELDS
    }
    clearance = cliff_of(answers, setting.state).clearance(found.height_front, found.height_rear)
    if clearance is not None:
        numbers["cliff_mm"] = _number_of(clearance, "height_rear", at, "")
    header = {
        "at": at,
        "kg_per_m2": answers.kilograms(setting.speed),
        "numbers": numbers,
        "draws": int(found.front.size),
    }
    arrays = {
        "cloud_front_mm": 1e3 * found.height_front,
        "cloud_rear_mm": 1e3 * found.height_rear,
        "cloud_front": found.front,
        "cloud_rear": found.rear,
        "path_speed_kmh": found.path_speed * _KMH,
        "path_front_mm": 1e3 * found.path_front,
        "path_rear_mm": 1e3 * found.path_rear,
    }
    return header, arrays


def live_chain(answers: Answers, address: str) -> None:
    """Keep the chain of a live number, worked out when it is asked for."""
    _, state, name, kmh, front, rear = address.split("/")
    message = {"speed": kmh, "state": state}
    message |= {k: v for k, v in (("front_mm", front), ("rear_mm", rear)) if v != "-"}
    setting = Setting.of(answers, message)
    found = solve_live(answers, setting)
    dimension, unit, words = FIELDS[name]
    answers.book.number(
        address, found.field(name), dimension, unit=unit,
        title=f"{words[:1].upper()}{words[1:]} at {float(kmh):.0f} km/h, {state}",
        links=answers.car_links(state), at=_at(found, state),
        notices=[*answers.notices(state), f"worked out live from {found.front.size} draws"],
    )  # fmt: skip


def _number_of(draws: Draws, name: str, at: str, why: str) -> Number:
    dimension, unit, _ = FIELDS[name]
    return number_of_summary(summarise(draws), dimension, unit=unit, at=at, why=why)


def _why(setting: Setting, name: str) -> str:
    heights = [
        "-" if h is None else f"{from_si(h, 'mm', 'height'):.1f}"
        for h in (setting.front, setting.rear)
    ]
    return f"live/{setting.state}/{name}/{setting.speed * _KMH:.1f}/{'/'.join(heights)}"


def _at(found: Live, state: str) -> str:
    return (
        f"hf {1e3 * np.median(found.height_front):.1f} mm, "
        f"hr {1e3 * np.median(found.height_rear):.1f} mm, {found.speed * _KMH:.0f} km/h, {state}"
    )


def _axles(suspension: Any, keep: np.ndarray) -> Any:
    def cut(axle: Any) -> Any:
        names = ("ride_height", "travel", "load", "rate", "growth", "static_load")
        return replace(axle, **{n: np.ascontiguousarray(getattr(axle, n)[keep]) for n in names})

    return replace(suspension, front=cut(suspension.front), rear=cut(suspension.rear))


def _rested(axle: Any, height: float | None) -> Any:
    """Return an axle whose median ride height at rest is the one asked for."""
    if height is None:
        return axle
    return replace(axle, ride_height=axle.ride_height + height - np.median(axle.ride_height))


def _number(message: Mapping[str, Any], key: str, low: float, high: float, unit: str) -> float:
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), unit, "must be a number") from None
    if not low < value < high:
        raise InputError(key, value, unit, f"must lie between {low:g} and {high:g}")
    return value
