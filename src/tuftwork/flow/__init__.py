"""The whole car in three dimensions: lattice flow on the CPU or on one graphics card."""

from tuftwork.flow.case import Box, FlowCase, FlowPart, Spin, car_parts
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
from tuftwork.flow.prepare import Cost, Prepared, estimate_cost, prepare
from tuftwork.flow.run import FlowResult, Progress, StopRule, run
from tuftwork.flow.statistics import SeriesMean, series_mean

__all__ = [
    "PRECISIONS",
    "Backend",
    "Box",
    "Cost",
    "FlowCase",
    "FlowPart",
    "FlowResult",
    "PartLoad",
    "Precision",
    "Prepared",
    "Progress",
    "SeriesMean",
    "Spin",
    "StopRule",
    "bands",
    "car_parts",
    "dataset",
    "estimate_cost",
    "fields",
    "glb_bytes",
    "prepare",
    "run",
    "series_mean",
    "surface_values",
    "vortex_strength",
    "vti_bytes",
    "vtp_bytes",
]
