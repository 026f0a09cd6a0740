"""The whole car in three dimensions: lattice flow on the CPU or on one graphics card."""

from tuftwork.flow.case import Box, FlowCase, FlowPart, Spin, car_parts
from tuftwork.flow.core_flow import CoreFlow
from tuftwork.flow.cost import Cost, estimate_cost
from tuftwork.flow.doubt import Doubt
from tuftwork.flow.engine import PRECISIONS, Backend, Precision
from tuftwork.flow.output import (
    dataset,
    fields,
    glb_bytes,
    surface_values,
    vortex_strength,
    vti_bytes,
    vtp_bytes,
)
from tuftwork.flow.part_load import PartLoad, bands
from tuftwork.flow.porous import Porous, cooler_core, fan_disc, slab_of
from tuftwork.flow.prepare import Prepared, prepare
from tuftwork.flow.result import FlowResult
from tuftwork.flow.run import run
from tuftwork.flow.statistics import SeriesMean, series_mean
from tuftwork.flow.stop import Progress, StopRule
from tuftwork.flow.through import NetTie, Opening, OpeningFlow

__all__ = [
    "PRECISIONS",
    "Backend",
    "Box",
    "CoreFlow",
    "Cost",
    "Doubt",
    "FlowCase",
    "FlowPart",
    "FlowResult",
    "NetTie",
    "Opening",
    "OpeningFlow",
    "PartLoad",
    "Porous",
    "Precision",
    "Prepared",
    "Progress",
    "SeriesMean",
    "Spin",
    "StopRule",
    "bands",
    "car_parts",
    "cooler_core",
    "dataset",
    "estimate_cost",
    "fan_disc",
    "fields",
    "glb_bytes",
    "prepare",
    "run",
    "series_mean",
    "slab_of",
    "surface_values",
    "vortex_strength",
    "vti_bytes",
    "vtp_bytes",
]
