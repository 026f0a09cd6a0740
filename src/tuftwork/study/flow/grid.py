"""The same case with other cells: finished runs that are alike but for them, and what they say."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tuftwork.car import FlowRun, Project
from tuftwork.errors import InputError, NotCovered
from tuftwork.flow.grid_change import LEAST_RATIO, GridChange, grid_change
from tuftwork.quantity import Z80
from tuftwork.study.flow.sighting import Flown, flown_runs

COARSER = 1.4
"""Cells of a rerun over those of the case: a third of their number, a quarter of the time. [-]"""
_LOADS = (("front", "CzSf"), ("rear", "CzSr"), ("drag", "CxS"))
_NEAREST = 0.1
"""Cells laid nearer to each other than this share of a cell say nothing. [-]"""
_ALIKE = ("speed", "yaw", "road", "front", "rear", "left_out", "low", "high", "density",
          "viscosity")  # fmt: skip
_NEAR = 1e-6


def coarser_cell(run: FlowRun, by: float) -> str:
    """Return the cell of a case, so many times as large, as the project writes it.

    Raises
    ------
    InputError
        If it would say nothing.
    """
    if not LEAST_RATIO <= by <= 4.0:
        limit = f"must lie between {LEAST_RATIO:g} and 4 times the cells of the case"
        raise InputError("--coarser", by, "times", limit, f"{COARSER:g} is a good start.")
    return f"{1e3 * run.cell.best * by:.4g} mm"


def laid_share(run: FlowRun, share: float) -> str:
    """Return how the cells of a case are laid that much further ahead, as the project writes it.

    Raises
    ------
    InputError
        If it would say nothing.
    """
    if not _NEAREST <= share <= 1 - _NEAREST:
        limit = f"must lie between {_NEAREST:g} and {1 - _NEAREST:g} of a cell"
        raise InputError("--laid", share, "", limit, "0.5 is a good start.")
    return f"{100 * ((run.laid.best + share) % 1.0):.4g} %"


def runs_alike(project: Project, folder: Path, name: str) -> tuple[Flown, tuple[Flown, ...]]:
    """Return the finished run of a case, and those that differ from it only in their cells.

    Parameters
    ----------
    project, folder
        The project.
    name
        Of the case.

    Raises
    ------
    NotCovered
        If the case has not been run to its end.
    """
    flown = flown_runs(project, folder)
    own = next((one for one in flown if one.run.name == name), None)
    if own is None:
        raise NotCovered(f"The case '{name}' has not been run to its end yet.")
    others = [one for one in flown if one.run.name != name and _is_alike(own.record, one.record)]
    return own, tuple(sorted(others, key=lambda one: _cell(one)))


def _cell(one: Flown) -> float:
    return float(one.record["case"]["cell"])


def _is_alike(one: dict[str, Any], two: dict[str, Any]) -> bool:
    a, b = one["case"], two["case"]
    if not (_is_larger(a, b) or _is_elsewhere(a, b)):
        return False
    if not all(_same(a.get(key), b.get(key)) for key in _ALIKE) or not _same(_box(a), _box(b)):
        return False
    if "shape" in a and "shape" in b:
        return bool(a["shape"] == b["shape"])
    # an older record does not say its shape: the names of its parts are all there is
    return [p["name"] for p in one["parts"]] == [p["name"] for p in two["parts"]]


def _is_larger(a: dict[str, Any], b: dict[str, Any]) -> bool:
    """Whether two cases have cells of other sizes, laid alike."""
    ratio = max(a["cell"], b["cell"]) / min(a["cell"], b["cell"])
    return bool(ratio >= LEAST_RATIO and _same(_laid(a), _laid(b)))


def _is_elsewhere(a: dict[str, Any], b: dict[str, Any]) -> bool:
    """Whether two cases have cells of one size, laid elsewhere."""
    apart = abs(_laid(a) - _laid(b))
    near = min(apart, 1.0 - apart)  # a whole cell further they lie as before
    return bool(_same(a["cell"], b["cell"]) and near + _NEAR >= _NEAREST)


def _laid(case: dict[str, Any]) -> float:
    return float(case.get("laid", 0.0))  # a record of before has them at the front of the air


def _box(case: dict[str, Any]) -> Any:
    """Return the air around the car without what lays the cells."""
    box = case.get("box")
    if not isinstance(box, dict) or "ahead" not in box:
        return box
    return box | {"ahead": box["ahead"] - _laid(case) * case["cell"]}


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(a[key], b[key]) for key in a)
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        return len(a) == len(b) and all(_same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, float | int) and isinstance(b, float | int):
        return abs(a - b) <= _NEAR * max(1.0, abs(a))
    return bool(a == b)


def grid_words(own: Flown, others: Sequence[Flown]) -> list[str]:
    """Return what runs with other cells say of this one, a sentence for each.

    Parameters
    ----------
    own
        The run.
    others
        Those that differ from it only in their cells.
    """
    return [_words(own, other) for other in others]


def changes(own: Flown, other: Flown) -> dict[str, GridChange]:
    """Return the change of every load from the smaller to the larger cells of two runs."""
    fine, coarse = sorted((own, other), key=_order)

    def pair(one: Flown, key: str) -> tuple[float, float]:
        load = one.record["loads"][key]
        return load["mean"], load["error"]

    # with cells laid elsewhere there is no order of their size: only the change is told
    ratio = max(_cell(coarse) / _cell(fine), LEAST_RATIO)
    return {key: grid_change(pair(fine, key), pair(coarse, key), ratio) for key, _ in _LOADS}


def _order(one: Flown) -> tuple[float, float]:
    return _cell(one), _laid(one.record["case"])


def _words(own: Flown, other: Flown) -> str:
    found = changes(own, other)
    fine, coarse = sorted((own, other), key=_order)
    if _is_elsewhere(own.record["case"], other.record["case"]):
        return _said_of_place(fine, coarse, found)
    parts, still, beyond = [], [], []
    for key, label in _LOADS:
        one = found[key]
        parts.append(f"{label} {_signed(one.change)} ± {Z80 * one.noise:.3f}")
        if one.is_noise:
            continue
        low, high = sorted((abs(one.second), abs(one.first)))
        still.append(f"{label} {low:.3f} to {high:.3f}")
        if high > 0.5 * (fine.area(key).high - fine.area(key).low):
            beyond.append(label)
    text = (
        f"Cells of {1e3 * _cell(coarse):.4g} mm instead of {1e3 * _cell(fine):.4g} mm "
        f"('{coarse.run.name}' against '{fine.run.name}') change {', '.join(parts)} m²"
    )
    if not still:
        return f"{text}: no more than the noise."
    text += (
        ". If the error goes with the square of the cells' size, or with the size itself, the run "
        f"with the smaller ones is still off by {', '.join(still)} m²"
    )
    if beyond:
        return f"{text}: more than the stated range for {' and '.join(beyond)}. Use smaller cells."
    return f"{text}: within the stated range."


def _said_of_place(one: Flown, other: Flown, found: dict[str, GridChange]) -> str:
    """Return what laying the same cells elsewhere changes: what one run alone does not know."""
    at = [f"{100 * _laid(run.record['case']):.4g} %" for run in (other, one)]
    parts = ", ".join(f"{label} {_signed(found[key].change)} ± {Z80 * found[key].noise:.3f}"
                      for key, label in _LOADS)  # fmt: skip
    text = (
        f"The same cells laid {at[0]} of a cell further ahead instead of {at[1]} "
        f"('{other.run.name}' against '{one.run.name}') change {parts} m²"
    )
    if all(change.is_noise for change in found.values()):
        return f"{text}: no more than the noise."
    half = {key: 0.5 * (one.area(key).high - one.area(key).low) for key, _ in _LOADS}
    beyond = [
        label
        for key, label in _LOADS
        if not found[key].is_noise and abs(found[key].change) > half[key]
    ]
    if beyond:
        return f"{text}: more than the stated range for {' and '.join(beyond)}. Use smaller cells."
    return f"{text}: within the stated range."


def _signed(value: float) -> str:
    return f"{value:+.3f}".replace("-", "\u2212")


def grid_tree(project: Project, folder: Path, name: str) -> list[str]:
    """Return what is known of a case's dependence on its cells; empty where nothing is."""
    try:
        own, others = runs_alike(project, folder, name)
    except NotCovered:
        return []
    return grid_words(own, others)
