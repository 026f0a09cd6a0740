"""Errors that numbers share because one camera, or one reading, stands behind them."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.errors import FileFault, InputError, NotConverged, NotCovered
from tuftwork.quantity import Quantity
from tuftwork.reading import ask_of, correlations
from tuftwork.study.picture.desk import Desk

_CITED = re.compile(r"^reading (R[\w.-]*\d+): ")
_MOST = 0.995  # [-] two numbers of one reading; all but one, so that the draws stay regular
_LEAST = 0.02  # [-] weaker ties are left out
Pairs = dict[tuple[str, str], float]


def cited_readings(quantities: Mapping[str, Quantity], project: Project) -> dict[str, str]:
    """Return uncertain numbers that are one reading and nothing else: name → reading."""
    room = project.reading
    known = {r.id for r in room.readings} if room is not None else set()
    found = {}
    for name, quantity in quantities.items():
        cited = _CITED.match(quantity.place)
        if cited and ";" not in quantity.place and not quantity.is_exact and cited[1] in known:
            found[name] = cited[1]
    return found


def picture_inputs(quantities: Mapping[str, Quantity], project: Project) -> list[Any]:
    """Return what shared camera errors rest on, nothing where no two numbers share a picture."""
    cited = cited_readings(quantities, project)
    if len(cited) < 2 or project.reading is None:
        return []
    room = project.reading.model_dump(mode="json", fallback=str, exclude={"features", "seams"})
    evidence = [[e.id, e.digest] for e in project.evidence]
    return [sorted(cited.items()), room, project.car.model_dump_json(), evidence]


def shared_correlations(
    quantities: Mapping[str, Quantity], project: Project, folder: Path | None
) -> Pairs:
    """Return pairs of numbers whose errors hang together through camera, points and marks.

    Numbers from pictures that cannot be solved are left independent.
    """
    cited = cited_readings(quantities, project)
    if len(cited) < 2 or folder is None:
        return {}
    desk = Desk.of(project, folder)
    groups: dict[str, list[str]] = {}
    for name, reading in cited.items():
        try:
            group = desk.group(desk.asked(reading).picture)
        except (InputError, NotConverged, NotCovered, FileFault):
            continue
        groups.setdefault(group[0], []).append(name)
    found: Pairs = {}
    for names in groups.values():
        if len(names) > 1:
            found |= _pairs(desk, names, cited)
    return found


def _pairs(desk: Desk, names: list[str], cited: Mapping[str, str]) -> Pairs:
    tables = [desk.asked(cited[name]) for name in names]
    try:
        solution = desk.solution(tables[0].picture)
        matrix = correlations(solution, [ask_of(desk.project, one) for one in tables])
    except (InputError, NotConverged, NotCovered):
        return {}
    found = {}
    for i, first in enumerate(names):
        for j in range(i + 1, len(names)):
            tie = _MOST * float(np.clip(matrix[i, j], -1.0, 1.0))
            if abs(tie) > _LEAST:
                found[first, names[j]] = tie
    return found
