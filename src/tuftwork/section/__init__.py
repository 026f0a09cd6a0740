"""Two-dimensional sections: shape, potential flow, boundary layers, stall, ground, increments."""

from tuftwork.section.condition import Condition, lag_constants
from tuftwork.section.design import (
    Design,
    Score,
    Tolerance,
    score,
    set_handle,
    slot_notices,
    sweep,
    tolerance_table,
)
from tuftwork.section.increment import (
    Increment,
    best_gurney,
    compare_devices,
    edge_layer,
    gurney,
    thick_edge,
    with_device,
)
from tuftwork.section.layer import GivenLayer, layer_along
from tuftwork.section.naca import naca
from tuftwork.section.point import LayerLine, SectionPoint, SlotState
from tuftwork.section.polar import Polar, analyse, over_height, polar
from tuftwork.section.potential import (
    PotentialFlow,
    build_mesh,
    build_system,
    mesh_from_points,
    solve_potential,
)
from tuftwork.section.search import Range, Search, optimise, search
from tuftwork.section.shape import (
    Contour,
    ShapeReport,
    check_contour,
    describe,
    mirror,
    thicken_edge,
)
from tuftwork.section.stack import Flap, Slot, Stack, assemble, measure_slot, over_ground, single

__all__ = [
    "Condition",
    "Contour",
    "Design",
    "Flap",
    "GivenLayer",
    "Increment",
    "LayerLine",
    "Polar",
    "PotentialFlow",
    "Range",
    "Score",
    "Search",
    "SectionPoint",
    "ShapeReport",
    "Slot",
    "SlotState",
    "Stack",
    "Tolerance",
    "analyse",
    "assemble",
    "best_gurney",
    "build_mesh",
    "build_system",
    "check_contour",
    "compare_devices",
    "describe",
    "edge_layer",
    "gurney",
    "lag_constants",
    "layer_along",
    "measure_slot",
    "mesh_from_points",
    "mirror",
    "naca",
    "optimise",
    "over_ground",
    "over_height",
    "polar",
    "score",
    "search",
    "set_handle",
    "single",
    "slot_notices",
    "solve_potential",
    "sweep",
    "thick_edge",
    "thicken_edge",
    "tolerance_table",
    "with_device",
]
