"""Two-dimensional sections: shape, potential flow, boundary layers, stall, ground, increments."""

from tuftwork.section.condition import Condition, lag_constants
from tuftwork.section.point import LayerLine, SectionPoint, SlotState
from tuftwork.section.polar import Polar, analyse, over_height, polar
from tuftwork.section.potential import (
    PotentialFlow,
    build_mesh,
    build_system,
    mesh_from_points,
    solve_potential,
)
from tuftwork.section.shape import (
    Contour,
    ShapeReport,
    check_contour,
    describe,
    mirror,
    naca,
    thicken_edge,
)
from tuftwork.section.stack import Flap, Slot, Stack, assemble, measure_slot, over_ground, single

__all__ = [
    "Condition",
    "Contour",
    "Flap",
    "LayerLine",
    "Polar",
    "PotentialFlow",
    "SectionPoint",
    "ShapeReport",
    "Slot",
    "SlotState",
    "Stack",
    "analyse",
    "assemble",
    "build_mesh",
    "build_system",
    "check_contour",
    "describe",
    "lag_constants",
    "measure_slot",
    "mesh_from_points",
    "mirror",
    "naca",
    "over_ground",
    "over_height",
    "polar",
    "single",
    "solve_potential",
    "thicken_edge",
]
