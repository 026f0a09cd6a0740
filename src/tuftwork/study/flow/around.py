"""The air around the car of a case."""

from collections.abc import Sequence

import numpy as np

from tuftwork.car import FlowRun
from tuftwork.flow import Box, FlowPart

_AROUND = {"ahead": 0.75, "behind": 1.5, "beside": 0.75, "above": 0.75}
"""Air around the car where the project names none, in lengths of the car. [-]"""


def box_of(parts: Sequence[FlowPart], run: FlowRun) -> Box:
    """Return the air around the parts: as the case says, else by their length.

    Cells begin at its front, so air ahead that is longer by part of a cell lays them further ahead.

    Parameters
    ----------
    parts
        Where they stand. [m]
    run
        As the project has it.
    """
    corner = np.concatenate([p.vertices for p in parts])
    length = float(np.ptp(corner, axis=0).max())
    around: dict[str, float] = {}
    for name, share in _AROUND.items():
        own = getattr(run, name)
        around[name] = own.best if own is not None else share * length
    below = around["above"] if run.road == "none" else 0.0
    return Box(
        ahead=around["ahead"] + run.laid.best * run.cell.best,
        behind=around["behind"], beside=around["beside"],
        above=around["above"], below=below, has_walls=run.walls == "closed",
        belt=None if run.belt is None else (
            run.belt.start.best, run.belt.end.best, 0.5 * run.belt.width.best
        ),
    )  # fmt: skip
