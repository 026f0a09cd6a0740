"""Size and cost of a case in words, before it runs."""

from typing import Any

from tuftwork.car import FlowRun
from tuftwork.flow import FlowCase
from tuftwork.flow.judge import Forecast
from tuftwork.study.flow.over_time import keeping_row

Page = dict[str, Any]


def cost_tree(seen: Forecast, run: FlowRun, case: FlowCase) -> Page:
    """Return size and cost in words, and everything that speaks against the case."""
    grid = " × ".join(f"{n}" for n in seen.shape)
    free = "" if seen.free is None else f" of {seen.free / 1e9:.1f} GB free"
    where = "on this machine's cores" if run.back_end == "cpu" else "on a graphics card"
    each = ""
    if seen.cards > 1:
        where, each = f"on {seen.cards} graphics cards", f" on each of {seen.cards} cards"
    if not seen.n_cell:
        return {
            "rows": [{"label": "cells", "text": "no grid can be laid: see what is wrong"}],
            "faults": [str(fault) for fault in seen.faults], "can_run": False,
        }  # fmt: skip
    rows = [
        ("cells", f"{seen.n_cell / 1e6:.2f} million ({grid}{' outside' if run.levels else ''})"),
        *_level_rows(seen),
        ("over the car's length", f"{seen.cells_per_length:.0f} cells"),
        ("memory", f"{_spoken_memory(seen.memory)}{each}{free}"),
        ("time at most", f"{spoken_time(seen.seconds)} {where}, {seen.n_step} steps{_of_it(seen)}"),
        ("averaged over", _averaged(run)),
        ("blockage of the box", f"{100 * seen.blockage:.1f} %"),
    ]
    if seen.cards > 1:
        told = f"{100 * seen.efficiency:.0f} % of {seen.cards} times one card's rate"
        rows.append(("cards together", told))
    if seen.road_cells is not None:
        rows.append(("between road and car", f"{seen.road_cells:.1f} cells at the lowest part"))
    rows += keeping_row(case, run)
    return {
        "rows": [{"label": label, "text": text} for label, text in rows],
        "faults": [str(fault) for fault in seen.faults],
        "can_run": not seen.faults,
    }


def _spoken_memory(size: float) -> str:
    """Return a memory as a person says it; ``size`` in bytes."""
    return f"{size / 1e9:.2f} GB" if size >= 1e8 else f"{max(size / 1e6, 1.0):.0f} MB"


def _of_it(seen: Forecast) -> str:
    """Say what the means and the looks at the whole field take, where that is known."""
    if seen.watching < 1.0:
        return ""
    return f"; {spoken_time(seen.watching)} of it for averages and looks at the whole field"


def _averaged(run: FlowRun) -> str:
    left = run.longest - run.settle
    if left <= 0:
        return f"nothing: it settles for {run.settle:g} car lengths"
    lengths = "car length" if left == 1 else "car lengths"
    return f"at most {left:.4g} {lengths}, after {run.settle:g} of settling"


def _level_rows(seen: Forecast) -> list[tuple[str, str]]:
    """Cost by cell size, where there is more than one."""
    if len(seen.levels) < 2:
        return []
    return [
        (
            f"cells of {1e3 * cost.cell:.3g} mm",
            f"{cost.n_cell / 1e6:.2f} million, {cost.memory / 1e9:.2f} GB, "
            f"{spoken_time(cost.seconds)}",
        )
        for cost in seen.levels
    ]


def spoken_time(seconds: float) -> str:
    """Return a time as a person says it."""
    if seconds < 90:
        return f"{seconds:.0f}\u202fs"
    if seconds < 5400:
        return f"{seconds / 60:.0f}\u202fmin"
    return f"{seconds / 3600:.1f}\u202fh" if seconds < 172_800 else f"{seconds / 86_400:.1f} days"
