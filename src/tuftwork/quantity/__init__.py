"""Numbers that remember their unit, their range and their origin."""

from tuftwork.quantity.ensemble import (
    DEFAULT_SEED,
    DEFAULT_SIZE,
    Draws,
    Ensemble,
    Influence,
    Summary,
    draw_ensemble,
    halved_width,
    influences,
    pairs_of,
    probability,
    summarise,
    values_at,
)
from tuftwork.quantity.format import (
    column_digits,
    format_number,
    format_plain,
    format_quantity,
    format_summary,
)
from tuftwork.quantity.parse import parse_quantity, with_default_range
from tuftwork.quantity.quantity import Z80, Quantity, Spread, exact
from tuftwork.quantity.source import ORIGINS, Origin, Source
from tuftwork.quantity.types import Array, Numeric
from tuftwork.quantity.unit import DIMENSIONS, Dimension, from_si, tidy_unit, to_si, unit_of

__all__ = [
    "DEFAULT_SEED",
    "DEFAULT_SIZE",
    "DIMENSIONS",
    "ORIGINS",
    "Z80",
    "Array",
    "Dimension",
    "Draws",
    "Ensemble",
    "Influence",
    "Numeric",
    "Origin",
    "Quantity",
    "Source",
    "Spread",
    "Summary",
    "column_digits",
    "draw_ensemble",
    "exact",
    "format_number",
    "format_plain",
    "format_quantity",
    "format_summary",
    "from_si",
    "halved_width",
    "influences",
    "pairs_of",
    "parse_quantity",
    "probability",
    "summarise",
    "tidy_unit",
    "to_si",
    "unit_of",
    "values_at",
    "with_default_range",
]
