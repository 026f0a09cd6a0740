"""The platform's motion at other ride heights, quick enough to sit behind a slider."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.quantity import Draws, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.car.motion import MOST_G, Motion, motion_with
from tuftwork.study.live import Setting
from tuftwork.study.number import Number, number_of_summary

_KMH = 3.6
_DRAWS = 48  # ends of ranges move by an eighth of the range or so
_SEEN = 0.5


def motion_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return cliffs, damping and onset at the speed and ride heights of a message."""
    setting = Setting.of(answers, message)
    keep = np.flatnonzero(answers.kept(setting.state))[:_DRAWS]
    motion = motion_with(answers, setting.state, keep, (setting.front, setting.rear))
    speed = min(setting.speed, float(motion.speed[-1]))
    at = motion.at(speed)
    numbers: dict[str, Number] = {
        "damping": _number(motion.modes.ratio[at], "share", "%"),
        "frequency": _number(motion.modes.frequency[at], "frequency", "Hz"),
    }
    for axle in ("front", "rear"):
        clear = motion.clearance(axle)[at]
        if np.mean(np.isfinite(clear)) >= _SEEN:
            numbers[f"{axle}_mm"] = _number(clear, "height", "mm")
        g = motion.g_to_cliff(speed, axle)
        if g is not None and np.mean(np.isfinite(g)) >= _SEEN:
            capped = np.where(np.isnan(g), MOST_G, g)
            numbers[f"{axle}_g"] = _number(STANDARD_GRAVITY * capped, "acceleration", "g")
    onset = motion.onset
    if np.sum(np.isfinite(onset.speed)) >= 8:
        numbers["onset"] = _number(onset.speed, "speed", "km/h")
    front, rear = (
        1e3 * float(np.nanmedian(h[at]))
        for h in (motion.path.ride_height_front, motion.path.ride_height_rear)
    )
    header = {
        "at": f"hf {front:.1f} mm, hr {rear:.1f} mm, {_KMH * speed:.0f} km/h, {setting.state}",
        "numbers": numbers,
        "share": onset.share,
        "draws": int(keep.size),
    }
    return header, _curves(motion)


def _curves(motion: Motion) -> dict[str, np.ndarray]:
    low, best, high = np.nanquantile(motion.modes.ratio, (0.1, 0.5, 0.9), axis=1)
    return {
        "speed_kmh": _KMH * motion.speed,
        "damping_low": 100 * low,
        "damping_best": 100 * best,
        "damping_high": 100 * high,
    }


def _number(draws: Draws, dimension: str, unit: str) -> Number:
    return number_of_summary(summarise(draws[np.isfinite(draws)]), dimension, unit=unit)
