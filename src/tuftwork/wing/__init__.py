"""Wings: closed-form estimate, vortex lattice with section polars, tables for the map."""

from tuftwork.wing.coupling import (
    WingResult,
    WingSystem,
    solve_wing,
    wing_system,
)
from tuftwork.wing.induced import EdgeAngle, angle_along_edge, induced_velocity
from tuftwork.wing.lattice import Lattice, build_lattice
from tuftwork.wing.planform import (
    EndPlate,
    Onset,
    Surface,
    Wing,
    pair_of_plates,
    straight_wing,
    uniform_onset,
)
from tuftwork.wing.section_table import SectionTable, linear_table, section_table
from tuftwork.wing.service import ServiceLoad, mount_factor, service_load
from tuftwork.wing.table import WingLoads, WingTable, evaluate, wing_table

__all__ = [
    "EdgeAngle",
    "EndPlate",
    "Lattice",
    "Onset",
    "SectionTable",
    "ServiceLoad",
    "Surface",
    "Wing",
    "WingLoads",
    "WingResult",
    "WingSystem",
    "WingTable",
    "angle_along_edge",
    "build_lattice",
    "evaluate",
    "induced_velocity",
    "linear_table",
    "mount_factor",
    "pair_of_plates",
    "section_table",
    "service_load",
    "solve_wing",
    "straight_wing",
    "uniform_onset",
    "wing_system",
    "wing_table",
]
