"""What the engine of a splitter's channels says, before it becomes loads at the axles."""

from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import Field
from tuftwork.floor.front_table import FrontLoads


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
