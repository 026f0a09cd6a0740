"""A computed number of the floor with its range, as pages show it."""

from tuftwork.quantity import Quantity
from tuftwork.study.number import Number, number_of_quantity


def computed(best: float, low: float, high: float, dimension: str, unit: str, place: str) -> Number:
    """Return a number with its ends; an end that the best value passes is moved to it."""
    a, b = sorted((low, high))
    # the best value of draws may lie at an end of a narrow range
    a, b = min(a, best), max(b, best)
    return number_of_quantity(
        Quantity(best=best, low=a, high=b, unit=unit, dimension=dimension, origin="computed",
                 place=place)
    ) | {"at": place}  # fmt: skip


def ranged_number(value: float, share: float, dimension: str, unit: str, place: str) -> Number:
    """Return a number with a range of a share of it either way."""
    arm = share * abs(value)
    return computed(value, value - arm, value + arm, dimension, unit, place)
