"""Rows of the tables a study exports: one line a speed or a budget row, units in the columns."""

from collections.abc import Iterator

import numpy as np

from tuftwork.quantity import from_si, summarise
from tuftwork.study.answers import FIELDS, Answers

_KMH = 3.6
_NOTHING = 1e-12  # [m²]
_ENDS = ("best", "low", "high")
PATH_COLUMNS = (
    "state",
    "speed_kmh",
    *(
        f"{name}_{end}_{unit}"
        for name, unit in (
            ("CzSf", "m2"), ("CzSr", "m2"), ("CzS", "m2"), ("CxS", "m2"), ("front_share", "pct"),
            ("hf", "mm"), ("hr", "mm"),
        )
        for end in _ENDS
    ),
)  # fmt: skip
BUDGET_COLUMNS = (
    "state", "speed_kmh", "hf_mm", "hr_mm", "row", "kind",
    *(f"{name}_{end}_m2" for name in ("CzSf", "CzSr", "CzS", "CxS") for end in _ENDS),
)  # fmt: skip


def path_lines(answers: Answers, state: str) -> Iterator[tuple[object, ...]]:
    """Yield a state's platform path, one line a speed."""
    keep = answers.kept(state)
    for speed in answers.speeds:
        line: list[object] = [state, round(speed * _KMH, 3)]
        for name, (dimension, unit, _) in FIELDS.items():
            found = summarise(answers.draws(state, name, speed)[keep])
            line += [f"{from_si(getattr(found, end), unit, dimension):.6g}" for end in _ENDS]
        yield tuple(line)


def budget_lines(answers: Answers, state: str) -> Iterator[tuple[object, ...]]:
    """Yield a state's budget at every studied speed, one line a row."""
    keep = answers.kept(state)
    for speed in answers.speeds:
        platform = answers.platform(state, speed)
        heights = [
            f"{1e3 * summarise(np.broadcast_to(height, keep.shape)[keep]).best:.2f}"
            for height in (platform.ride_height_front, platform.ride_height_rear)
        ]
        for row in answers.budget(state, speed).rows:
            line: list[object] = [state, round(speed * _KMH, 3), *heights, row.name, row.kind]
            for draws in (row.front, row.rear, row.total, row.drag):
                found = summarise(draws[keep])
                line += [_number(getattr(found, end)) for end in _ENDS]
            yield tuple(line)


def _number(value: float) -> str:
    """Return an area with six figures; what rounding left of nothing is nothing. [m²]"""
    return f"{value if abs(value) > _NOTHING else 0.0:.6g}"
