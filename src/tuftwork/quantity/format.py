"""Numbers written once, the same everywhere: ``1.44 m² (1.36 to 1.52)``."""

from collections.abc import Iterable
from math import floor, isfinite, log10

from tuftwork.quantity.ensemble import Summary
from tuftwork.quantity.quantity import Quantity
from tuftwork.quantity.unit import dimension_named, from_si, scale_of

MOST_DIGITS = {
    "area": 4,
    "height": 1,
    "angle": 2,
    "share": 1,
    "speed": 1,
    "density": 4,
    "temperature": 1,
}
"""Digits after the point beyond which nobody can act, by dimension."""
THIN = "\u202f"
MINUS = "\u2212"


def digits_after_point(half_range: float, best: float = 0.0) -> int:
    """Return how many digits to print: two figures of the half-range, or four of the value."""
    if half_range > 0 and isfinite(half_range):
        return max(0, min(6, 1 - floor(log10(half_range))))
    if best == 0 or not isfinite(best):
        return 2
    return max(0, min(6, 3 - floor(log10(abs(best)))))


def format_number(value: float, digits: int) -> str:
    """Return a number with a true minus and no minus zero."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def format_plain(
    value: float, dimension: str, unit: str | None = None, digits: int | None = None
) -> str:
    """Return an SI value in its shown unit, without a range."""
    shown = dimension_named(dimension).shown if unit is None else unit
    number = from_si(value, shown, dimension)
    text = format_number(number, digits_after_point(0.0, number) if digits is None else digits)
    return _with_unit(text, shown)


def format_summary(
    summary: Summary, dimension: str, unit: str | None = None, digits: int | None = None
) -> str:
    """Return ``best unit (low to high)``; digits follow the range unless they are given."""
    return _ranged(summary.best, summary.low, summary.high, dimension, unit, digits)


def column_digits(
    half_ranges: Iterable[float], dimension: str, unit: str | None = None
) -> int | None:
    """Return the digits a column shares: those of its middle half-range; None where none is.

    Parameters
    ----------
    half_ranges
        Of the column's numbers. [SI]
    dimension, unit
        Of the column, and as it is shown.
    """
    shown = dimension_named(dimension).shown if unit is None else unit
    wide = sorted(half for half in half_ranges if half > 0 and isfinite(half))
    if not wide:
        return None
    middle = wide[len(wide) // 2] / scale_of(shown, dimension)
    return min(digits_after_point(middle), MOST_DIGITS.get(dimension, 6))


def format_quantity(quantity: Quantity, unit: str | None = None) -> str:
    """Return a quantity as it is shown on pages, in its own unit."""
    return _ranged(
        quantity.best, quantity.low, quantity.high, quantity.dimension, unit or quantity.unit
    )


def _ranged(
    best: float, low: float, high: float, dimension: str, unit: str | None,
    digits: int | None = None,
) -> str:  # fmt: skip
    shown = dimension_named(dimension).shown if unit is None else unit
    centre, bottom, top = (from_si(v, shown, dimension) for v in (best, low, high))
    if not top - bottom > 1e-12 * max(1.0, abs(centre)):
        exact = _trimmed(centre) if digits is None else format_number(centre, digits)
        return _with_unit(exact, shown)
    if digits is None:
        digits = min(digits_after_point((top - bottom) / 2), MOST_DIGITS.get(dimension, 6))
    span = f"({format_number(bottom, digits)} to {format_number(top, digits)})"
    return f"{_with_unit(format_number(centre, digits), shown)} {span}"


def _trimmed(value: float) -> str:
    """Return an exact number with no more digits than it needs, at most six figures."""
    return f"{float(f'{value:.6g}'):.10g}".replace("-", MINUS)


def _with_unit(text: str, unit: str) -> str:
    if not unit:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text}{THIN}{unit}"
