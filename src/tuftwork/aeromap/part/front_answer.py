"""What the engine of a splitter's channels says, before it becomes loads at the axles."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field
from tuftwork.floor.front_spec import FrontStrip
from tuftwork.floor.front_table import FrontLoads, StripTable


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontAnswer:
    """What the engine says of a splitter, draw by draw.

    Attributes
    ----------
    loads
        Channels, droop, edge.
    upper, upper_centre
        CzS on top [m²] and its place behind the lip [m].
    clearance, gap
        Under the lip and under the bodywork's edge, with the plate unbent. [m]
    onset, tolerance
        Angle of the air at the lip, bent, and what its rolled edge bears. [rad]
    gain
        On what the channels make: coverage and the table's own error. [-]
    """

    loads: FrontLoads
    upper: Field
    upper_centre: Field
    clearance: Field
    gap: Field
    onset: Field
    tolerance: Field
    gain: Field

    @property
    def under(self) -> Field:
        """CzS from below. [m²]"""
        return np.asarray(self.gain * sum(s.under for s in self.loads.strips))

    @property
    def downforce(self) -> Field:
        """CzS. [m²]"""
        return np.asarray(self.upper + self.under)

    def lip_at(self, gap: float) -> float:
        """Return the lip's height where a gap stands under the bodywork's edge, medians [m]."""
        return gap + float(np.median(self.clearance) - np.median(self.gap))

    @property
    def arm(self) -> Field:
        """Moment of the load about the lip. [m³]"""
        below = sum(s.under * s.centre for s in self.loads.strips)
        return np.asarray(self.upper * self.upper_centre + self.gain * below)


def front_notices(
    name: str, strips: Sequence[FrontStrip], tables: Sequence[StripTable], found: FrontAnswer
) -> tuple[str, ...]:
    """Return what a reader of a splitter's load must be told of its draws."""
    notices, loads = [], found.loads
    for table, strip, own in zip(tables, strips, loads.strips, strict=True):
        low = float(np.mean(found.gap < table.peak))
        if np.isfinite(table.peak) and low > 0.1:
            notices.append(
                f"{name}, {strip.name}: chokes in {100 * low:.0f} % of draws; lower it carries "
                f"less (greatest near {1e3 * found.lip_at(table.peak):.0f} mm)."
            )
        apart = float(np.mean(own.shape_factor > 3))
        if apart > 0.1:
            notices.append(
                f"{name}, {strip.name}: its layer has separated in {100 * apart:.0f} % of draws."
            )
    drawn = float(np.mean(loads.is_drawn))
    if drawn > 0:
        notices.append(
            f"{name}: in {100 * drawn:.0f} % of draws load and bending find no balance: the lip "
            "is drawn to the road. Stiffen it before it runs."
        )
    gone = float(np.mean(loads.separated))
    if gone > 0.25:
        notices.append(f"{name}: its rolled edge lets go in {100 * gone:.0f} % of draws.")
    beyond = float(np.mean(loads.is_outside))
    if beyond > 0.05:
        notices.append(
            f"{name}: {100 * beyond:.0f} % of draws lie outside its tables in clearance, "
            "rake, droop or pressure; their edge is held."
        )
    return tuple(notices)
