"""Where finer cells are wanted, and an automatic choice of boxes round the parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tuftwork.errors import InputError

if TYPE_CHECKING:
    from tuftwork.flow.case import Box, FlowPart

MOST_LEVELS = 6
Point = tuple[float, float, float]
_NEAR = {"ahead": 0.10, "behind": 0.35, "beside": 0.10, "above": 0.10}
"""Margins of the finest box, in lengths of the parts: the near wake lies inside. [-]"""
_GROWTH = 2.5
"""Margins of each coarser box over those of the next finer one. [-]"""
_KEEP_OFF = 0.35
"""Share of the distance to the outer faces that boxes keep clear of: the sponge lies there. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A box of finer cells.

    Attributes
    ----------
    level
        Its cells are 2^level times as small as those of the case.
    low, high
        Corners in car axes; they are rounded outwards to whole cells of the level outside.
        Shape (3,). [m]
    """

    level: int
    low: Point
    high: Point

    def __post_init__(self) -> None:
        if not 1 <= self.level <= MOST_LEVELS:
            raise InputError("level", self.level, "", f"must be from 1 to {MOST_LEVELS}")
        if not all(a < b for a, b in zip(self.low, self.high, strict=True)):
            raise InputError("zone", str((self.low, self.high)), "m", "low must lie below high")


def zones_round(
    parts: Sequence["FlowPart"], box: "Box", *, levels: int, has_road: bool = True
) -> tuple[Zone, ...]:
    """Return boxes round the parts and their near wake, one a level, each inside the last.

    Parameters
    ----------
    parts
        Surfaces of the car.
    box
        Air round them.
    levels
        How often the cell is halved from the outer faces to the parts; 0 gives no box.
    has_road
        With a road every box stands on it.

    Returns
    -------
    zones
        From the coarsest to the finest.
    """
    if not 0 <= levels <= MOST_LEVELS:
        raise InputError("levels", levels, "", f"must be from 0 to {MOST_LEVELS}")
    corner = np.concatenate([p.vertices for p in parts])
    low, high = corner.min(axis=0), corner.max(axis=0)
    length = float((high - low).max())
    room = {
        "ahead": box.ahead, "behind": box.behind, "beside": box.beside, "above": box.above,
        "below": box.below,
    }  # fmt: skip
    out = []
    for level in range(1, levels + 1):
        grow = _GROWTH ** (levels - level) * length
        margin = {
            side: min(share * grow, (1.0 - _KEEP_OFF) * room[side]) for side, share in _NEAR.items()
        }
        below = min(_NEAR["above"] * grow, (1.0 - _KEEP_OFF) * room["below"])
        bottom = 0.0 if has_road else float(low[2]) - below
        wide = max(abs(float(low[1])), abs(float(high[1]))) + margin["beside"]
        out.append(
            Zone(
                level=level,
                low=(float(low[0]) - margin["ahead"], -wide, bottom),
                high=(float(high[0]) + margin["behind"], wide, float(high[2]) + margin["above"]),
            )
        )
    return tuple(out)
