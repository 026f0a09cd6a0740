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
_ALIKE = ("speed", "yaw", "road", "front", "rear", "left_out", "low", "high", "box", "density",
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
    ratio = max(a["cell"], b["cell"]) / min(a["cell"], b["cell"])
    if ratio < LEAST_RATIO or not all(_same(a.get(key), b.get(key)) for key in _ALIKE):
        return False
    if "shape" in a and "shape" in b:
        return bool(a["shape"] == b["shape"])
    # an older record does not say its shape: the names of its parts are all there is
    return [p["name"] for p in one["parts"]] == [p["name"] for p in two["parts"]]


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
    fine, coarse = sorted((own, other), key=_cell)

    def pair(one: Flown, key: str) -> tuple[float, float]:
        load = one.record["loads"][key]
        return load["mean"], load["error"]

    ratio = _cell(coarse) / _cell(fine)
    return {key: grid_change(pair(fine, key), pair(coarse, key), ratio) for key, _ in _LOADS}


def _words(own: Flown, other: Flown) -> str:
    found = changes(own, other)
    fine, coarse = sorted((own, other), key=_cell)
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


def _signed(value: float) -> str:
    return f"{value:+.3f}".replace("-", "\u2212")


def grid_tree(project: Project, folder: Path, name: str) -> list[str]:
    """Return what is known of a case's dependence on its cells; empty where nothing is."""
    try:
        own, others = runs_alike(project, folder, name)
    except NotCovered:
        return []
    return grid_words(own, others)
