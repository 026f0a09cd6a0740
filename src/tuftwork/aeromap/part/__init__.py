"""Parts of a project behind their engines."""

from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.aeromap.part.registry import (
    PART_MODELS,
    draws_of,
    inputs_of,
    part_models,
    project_inputs,
)

__all__ = [
    "PART_MODELS",
    "Coefficient",
    "coefficients_of",
    "draws_of",
    "inputs_of",
    "part_models",
    "project_inputs",
]
