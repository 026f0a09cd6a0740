"""A day's results kept as measured rows of the project, so that the study stands on them."""

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.files import NEW, REMOVE, OpenProject, edit_project
from tuftwork.quantity import Z80
from tuftwork.study.bench import Bench
from tuftwork.study.store import Tree
from tuftwork.study.trial.shown import (
    KMH,
    day_named,
    needs_cures,
    simple_range,
    tree_of,
    usual_version,
)

_AXLES = ("front", "rear")
_SPEED_DOUBT = 0.5  # [%]  of the air speed after its cure, 80 %; common practice, no source


def keep_results(bench: Bench, day: str = "", version: str = "") -> list[str]:
    """Write a day's results into the project as ``[[measured]]`` rows; return their ids.

    Rows of the same day that were kept before are replaced. What springs, motion ratios and zeros
    leave open is common to all rows of a day, and the tie takes rows as independent: ranges are
    widened until the mean of the rows is no surer than it is.

    Parameters
    ----------
    bench
        The workbench.
    day
        Name of the day; the last where empty.
    version
        Of the results; needed where faults are left that nobody accepted.

    Raises
    ------
    InputError
        If faults are left and no version is named, or nothing can be kept.
    """
    answers = bench.answers
    one = day_named(answers, day)
    tree = tree_of(answers, one)
    if "refused" in tree:
        raise InputError("day", f"'{one.name}'", "", "could not be reduced", tree["refused"][0])
    if not version and needs_cures(tree):
        raise InputError(
            "keep", f"'{one.name}'", "", "faults of its log are left that nobody accepted",
            "Accept them (tuftwork log --take-all), or name the version to keep.",
        )  # fmt: skip
    rows = [
        row for row in tree["results"][version or usual_version(tree)]
        if row["both_ways"] and (row["state"] in answers.states or not answers.project.states)
    ]  # fmt: skip
    if not rows:
        raise InputError("keep", f"'{one.name}'", "", "no result was driven both ways alike")
    wide = {axle: common_widening([np.asarray(row[axle]) for row in rows]) for axle in _AXLES}
    stem = re.sub(r"[^\w.\-]+", "-", one.name)[:18].strip("-")
    said = version or usual_version(tree)
    new = [
        {
            "id": f"{stem}.{number}",
            "origin": "measured",
            "from": f"day '{one.name}', {said}: {len(row['passes'])} passes both ways",
            "evidence": one.logs[0],
            **({"state": row["state"]} if answers.project.states else {}),
            **_numbers(row, wide),
        }
        for number, row in enumerate(rows, 1)
    ]  # fmt: skip

    def edits(opened: OpenProject) -> list[dict[Any, Any]]:
        before = f"day '{one.name}', "
        old = [{("measured", m.id): REMOVE} for m in opened.project.measured
               if m.place.startswith(before)]  # fmt: skip
        return old + [{("measured", NEW): row} for row in new]

    edit_project(bench.folder, edits)
    return [row["id"] for row in new]


def common_widening(rows: Sequence[np.ndarray]) -> float:
    """Return by what to widen rows so that their mean, taken as independent, is as unsure as it is.

    The square root of (variance of the mean) over (that of as many independent rows): 1 where
    nothing is common to them, √n where everything is. [-]
    """
    draws = np.stack(rows)
    alone = float(np.mean(np.var(draws, axis=1))) / len(rows)
    together = float(np.var(np.mean(draws, axis=0)))
    return float(np.sqrt(max(1.0, together / alone))) if alone > 0.0 else 1.0


def _numbers(row: Tree, wide: dict[str, float]) -> dict[str, str]:
    found = {"speed": f"{KMH * row['speed']:.1f} km/h ± {_SPEED_DOUBT:g} %"}
    for axle in _AXLES:
        best, doubt = simple_range(row[f"height_{axle}"])
        arm = max(1e3 * doubt * Z80, 0.1)
        found[f"ride_height_{axle}"] = f"{1e3 * best:.1f} mm ± {arm:.1f} mm"
    for axle in _AXLES:
        best, doubt = simple_range(row[axle])
        arm = max(doubt * Z80 * wide[axle], 0.0005)
        found[f"downforce_{axle}"] = f"{best:.4f} m^2 ± {arm:.4f} m^2"
    return found
