"""Claims as equations in shared unknowns: checked alone, and together with the evidence."""

from tuftwork.claims.check import check_claims
from tuftwork.claims.convert import (
    area_of_force,
    axle_coefficients,
    drag_area_for,
    drag_power,
    force_of_area,
    front_share,
    share_of_gain,
    top_speed,
)
from tuftwork.claims.finding import (
    BoundCheck,
    Changed,
    ClaimFinding,
    ClaimsReport,
    Computed,
    Figure,
    Lapped,
    Slip,
    Together,
    UnknownFinding,
    Verdict,
)
from tuftwork.claims.table import Band, Bound, bands, bounds

__all__ = [
    "Band",
    "Bound",
    "BoundCheck",
    "Changed",
    "ClaimFinding",
    "ClaimsReport",
    "Computed",
    "Figure",
    "Lapped",
    "Slip",
    "Together",
    "UnknownFinding",
    "Verdict",
    "area_of_force",
    "axle_coefficients",
    "bands",
    "bounds",
    "check_claims",
    "drag_area_for",
    "drag_power",
    "force_of_area",
    "front_share",
    "share_of_gain",
    "top_speed",
]
