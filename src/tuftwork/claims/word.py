"""Numbers in sentences: no more figures than a claim deserves."""

from tuftwork.quantity import Quantity, format_number, from_si

_THIN = "\u202f"


def plain(value: float, dimension: str, unit: str) -> str:
    """Return an SI value in a unit with at most four figures and no idle zeros."""
    number = from_si(value, unit, dimension)
    text = f"{float(f'{number:.4g}'):.10g}".replace("-", "\u2212")
    return _with_unit(text, unit)


def short(quantity: Quantity) -> str:
    """Return a quantity's best value with three figures or so, without its range."""
    return figure(quantity.best, quantity.dimension, quantity.unit)


def figure(value: float, dimension: str, unit: str) -> str:
    """Return an SI value in a unit with three figures or so."""
    number = from_si(value, unit, dimension)
    size = abs(number)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
    return _with_unit(format_number(number, digits), unit)


def _with_unit(text: str, unit: str) -> str:
    if not unit:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text}{_THIN}{unit}"
