"""Numbers that remember their unit, their range and their origin."""

from tuftwork.quantity.source import ORIGINS, Origin, Source
from tuftwork.quantity.types import Array, Numeric

__all__ = ["ORIGINS", "Array", "Numeric", "Origin", "Source"]
