"""Parts of a project behind their engines."""

from tuftwork.aeromap.part.air_net import NetCooling, quickened
from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.aeromap.part.floor_engine import ChannelFloor, floor_spec, floored
from tuftwork.aeromap.part.front_engine import ChannelSplitter, fronted
from tuftwork.aeromap.part.registry import (
    PART_MODELS,
    draws_of,
    inputs_of,
    part_models,
    project_inputs,
)
from tuftwork.aeromap.part.splitter import EstimatedSplitter
from tuftwork.aeromap.part.wing_engine import LatticeWing, equipped
from tuftwork.aeromap.part.wing_role import role_coefficients
from tuftwork.aeromap.part.wing_spec import spec_of

__all__ = [
    "PART_MODELS",
    "ChannelFloor",
    "ChannelSplitter",
    "Coefficient",
    "EstimatedSplitter",
    "LatticeWing",
    "NetCooling",
    "coefficients_of",
    "draws_of",
    "equipped",
    "floor_spec",
    "floored",
    "fronted",
    "inputs_of",
    "part_models",
    "project_inputs",
    "quickened",
    "role_coefficients",
    "spec_of",
]
