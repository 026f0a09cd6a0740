"""Traces for the Log page: any window of any channel as least and most, from a pyramid."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.study.answers import Answers
from tuftwork.study.trial.day import cures_of, read_day
from tuftwork.study.trial.shown import day_named
from tuftwork.trial.cure import with_cures
from tuftwork.trial.log import ROLES, Log
from tuftwork.trial.pyramid import Pyramid, build_pyramid

_SHOWN = {"speed": (3.6, "km/h"), "height": (1e3, "mm"), "angle": (180 / np.pi, "°"),
          "time": (1.0, "s"), "pressure": (1e-2, "hPa"), "temperature": (1.0, "K"),
          "": (1.0, "m/s²")}  # fmt: skip


def trace_page(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return a window of a channel: header, and time, least and most as arrays.

    The message says ``day``, ``role``, ``start``, ``end`` [s], ``pieces`` and whether ``cured``.
    """
    day = day_named(answers, str(message.get("day", "")))
    role = str(message.get("role", "speed over ground"))
    trace, unit = _trace(answers, day.name, role, cured=bool(message.get("cured", False)))
    start = _seconds(message, "start", float(trace.time[0]))
    end = _seconds(message, "end", float(trace.time[-1]))
    if not end > start:
        raise InputError("end", end, "s", "must be after the start")
    pieces = int(min(4000, max(50, _seconds(message, "pieces", 800))))
    time, least, most = trace.window(start, end, pieces)
    header = {"day": day.name, "role": role, "unit": unit, "start": start, "end": end,
              "samples": int(trace.time.size)}  # fmt: skip
    return header, {
        "time": (time - start).astype(np.float32), "least": least.astype(np.float32),
        "most": most.astype(np.float32),
    }  # fmt: skip


def _seconds(message: Mapping[str, Any], key: str, usual: float) -> float:
    given = message.get(key, usual)
    if isinstance(given, bool) or not isinstance(given, int | float) or not np.isfinite(given):
        raise InputError(key, f"{given}", "", "must be a number")
    return float(given)


def _log(answers: Answers, name: str, *, cured: bool) -> Log:
    key = f"log {name} {cured}"
    if key not in answers.worked_out:
        day = day_named(answers, name)
        log = read_day(answers.job, day).log
        answers.worked_out[key] = with_cures(log, cures_of(day)) if cured else log
    kept: Log = answers.worked_out[key]
    return kept


def _trace(answers: Answers, name: str, role: str, *, cured: bool) -> tuple[Pyramid, str]:
    key = f"trace {name} {role} {cured}"
    factor, unit = _SHOWN[ROLES[role].dimension] if role in ROLES else (1.0, "")
    if key not in answers.worked_out:
        channel = _log(answers, name, cured=cured).of(role)
        answers.worked_out[key] = build_pyramid(channel.time, channel.values * factor)
    kept: Pyramid = answers.worked_out[key]
    return kept, unit
