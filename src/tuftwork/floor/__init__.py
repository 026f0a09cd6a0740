"""The channel under the car: floor, diffuser and splitter."""

from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import (
    Block,
    FloorShape,
    Stand,
    Strake,
    Strip,
    check_shape,
    gap_at,
    plane_diffuser,
)

__all__ = [
    "Block",
    "FloorClosure",
    "FloorShape",
    "LineResult",
    "PlanResult",
    "Stand",
    "Strake",
    "Strip",
    "check_shape",
    "gap_at",
    "plane_diffuser",
    "solve_line",
    "solve_plan",
]
