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
    clearance, felt
        Under the lip with the plate unbent, and what its load follows of it. [m]
    response
        Of the one to the other. [-]
    onset, tolerance
        Angle of the air at the lip, bent, and what its rolled edge bears. [rad]
    gain
        On what the channels make: coverage and the table's own error. [-]
    """

    loads: FrontLoads
    upper: Field
    upper_centre: Field
    clearance: Field
    felt: Field
    response: Field
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

    def height_of(self, felt: float) -> float:
        """Return the lip's height at which its load is that of a felt one, medians [m]."""
        off = (felt - np.median(self.felt)) / max(float(np.median(self.response)), 0.05)
        return float(np.median(self.clearance) + off)

    @property
    def arm(self) -> Field:
        """Moment of the load about the lip. [m³]"""
        below = sum(s.under * s.centre for s in self.loads.strips)
        return np.asarray(self.upper * self.upper_centre + self.gain * below)
