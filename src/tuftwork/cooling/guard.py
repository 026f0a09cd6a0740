"""Refusals shared by the room: what cannot be is named before anything is computed."""

from collections import Counter
from collections.abc import Iterable

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

KELVIN_SLIP = "Add 273.15 to °C."


def positive(name: str, value: Numeric, unit: str, cure: str = "") -> Array:
    """Return ``value`` as an array, or refuse anything not finite and above 0."""
    array = np.asarray(value, dtype=float)
    if not (np.all(np.isfinite(array)) and np.all(array > 0)):
        raise InputError(name, _worst(array), unit, "must be above 0", cure)
    return array


def not_negative(name: str, value: Numeric, unit: str, cure: str = "") -> Array:
    """Return ``value`` as an array, or refuse anything not finite or below 0."""
    array = np.asarray(value, dtype=float)
    if not (np.all(np.isfinite(array)) and np.all(array >= 0)):
        raise InputError(name, _worst(array), unit, "must not be below 0", cure)
    return array


def within(name: str, value: Numeric, unit: str, limits: tuple[float, float]) -> Array:
    """Return ``value`` as an array, or refuse anything outside the closed ``limits``."""
    array = np.asarray(value, dtype=float)
    low, high = limits
    if not (np.all(array >= low) and np.all(array <= high)):
        bad = array[~((array >= low) & (array <= high))].flat[0]
        raise InputError(name, float(bad), unit, f"must lie between {low:g} and {high:g}")
    return array


def kelvin(name: str, value: Numeric) -> Array:
    """Return temperatures [K], or refuse values that look like °C or °F."""
    array = np.asarray(value, dtype=float)
    if not np.all(array > 200.0):
        bad = _worst(array)
        cure = KELVIN_SLIP if bad < 160 else "Looks like °F: use (F + 459.67)/1.8."
        raise InputError(name, bad, "K", "must be an absolute temperature above 200", cure)
    if not np.all(array < 3000.0):
        raise InputError(name, float(np.max(array)), "K", "must be below 3000")
    return array


def pascal(name: str, value: Numeric) -> Array:
    """Return absolute ambient pressures [Pa], or refuse values that look like kPa or mbar."""
    array = np.asarray(value, dtype=float)
    if not (np.all(array > 3.0e4) and np.all(array < 1.2e5)):
        bad = float(np.min(array))
        cure = "Multiply mbar by 100." if 300 < bad < 1200 else "Multiply kPa by 1000."
        raise InputError(name, bad, "Pa", "must be an absolute pressure of open air", cure)
    return array


def rising(name: str, values: Array, unit: str) -> Array:
    """Return a table column that must rise strictly, or name the row where it falls."""
    array = np.asarray(values, dtype=float)
    step = np.diff(array)
    if not np.all(step > 0):
        row = int(np.argmin(step > 0)) + 2
        raise InputError(
            f"{name}, row {row}", float(array[row - 1]), unit, "falls where it must rise",
            "Check the row for a slip or sort the table.",
        )  # fmt: skip
    return array


def different_names(what: str, names: Iterable[str]) -> None:
    """Refuse two things with the same name."""
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise InputError(what, ", ".join(sorted(twice)), "", "names must differ", "Rename one.")


def _worst(array: Array) -> float:
    flat = np.atleast_1d(array).ravel()
    bad = flat[~np.isfinite(flat)]
    return float(bad[0]) if bad.size else float(flat.min())
