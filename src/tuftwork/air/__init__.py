"""The air: density and viscosity from the weather, pressure at a speed."""

from tuftwork.air.engine import power_left
from tuftwork.air.humid import air_density, saturation_pressure, vapour_share
from tuftwork.air.standard import (
    SEA_LEVEL_DENSITY,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    StandardAir,
    standard_air,
)
from tuftwork.air.state import Air, air_of, dynamic_pressure, speed_of
from tuftwork.air.viscosity import dynamic_viscosity

__all__ = [
    "SEA_LEVEL_DENSITY",
    "SEA_LEVEL_PRESSURE",
    "SEA_LEVEL_TEMPERATURE",
    "Air",
    "StandardAir",
    "air_density",
    "air_of",
    "dynamic_pressure",
    "dynamic_viscosity",
    "power_left",
    "saturation_pressure",
    "speed_of",
    "standard_air",
    "vapour_share",
]
