"""What people write, read once: ``1.70 m ± 5 mm``, ``0.05..0.07 m^2``, ``60 mm``, ``160 mph``.

Forms, with any unit of the dimension:

====================  ======================================================
``1.70 m``            a value; its range is added by whoever reads the key
``1.70 m ± 5 mm``     even range (80 %); also ``+-``, ``+/-``, and ``± 3 %``
``1.70 m +8 −2 mm``   one-sided or uneven range
``0.05..0.07 m^2``    a range; the best value is its middle
``0.06 m^2 ×/ 1.3``   a range by a factor; also ``*/``
====================  ======================================================

A ratio may be written bare or in per cent, so a bare one with a range in per cent could be two
things: ``0.97 ± 4 %`` is 0.97, four per cent of it either way, because 0.97 % ± 4 % would reach
zero; ``8 ± 5 %`` could be either and is refused. Of a share above 1 it is per cent: ``5 ± 3 %``.
"""

import re
from dataclasses import replace
from math import inf, isfinite, sqrt

from tuftwork.errors import InputError
from tuftwork.quantity.quantity import Quantity, Spread
from tuftwork.quantity.source import Origin
from tuftwork.quantity.unit import dimension_named, scale_of, tidy_unit, to_si, unit_of

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_UNIT = r"[^\d±+×*.]*?(?:[²³]|\^[23]|\*\*[23])?(?:/[^\d±+×*.]*?(?:[²³]|\^[23])?)?"
_SPAN = re.compile(rf"^({_NUMBER})\s*(?:\.\.|…|–)\s*({_NUMBER})\s*(.*)$")
_EVEN = re.compile(rf"^({_NUMBER})\s*({_UNIT})\s*±\s*({_NUMBER})\s*(.*)$")
_UNEVEN = re.compile(
    rf"^({_NUMBER})\s*({_UNIT})\s*\+\s*({_NUMBER})\s*({_UNIT})\s*-\s*({_NUMBER})\s*(.*)$"
)
_FACTOR = re.compile(rf"^({_NUMBER})\s*({_UNIT})\s*×/\s*({_NUMBER})$")
_PLAIN = re.compile(rf"^({_NUMBER})\s*(.*)$")
_WIDE = 1.5
"""Ends further apart than this factor make a positive range one by a factor. [-]"""


def parse_quantity(
    text: str,
    dimension: str,
    *,
    origin: Origin = "assumed",
    place: str = "",
    positive: bool = False,
) -> Quantity:
    """Return what ``text`` says as a Quantity of the wanted dimension.

    Parameters
    ----------
    text
        As a person writes it; see the module's table of forms.
    dimension
        Key of ``DIMENSIONS``.
    origin, place
        Kept with the number.
    positive
        Refuse what is not above zero, and let a range that would reach zero be one by a factor.

    Returns
    -------
    quantity
        Best value and 80 % range in SI.

    Raises
    ------
    InputError
        If the text is no number of that dimension; the message says what was found and expected.

    Examples
    --------
    >>> q = parse_quantity("1.70 m ± 5 mm", "length")
    >>> round(q.best, 3), round(q.low, 3), round(q.high, 3)
    (1.7, 1.695, 1.705)
    """
    tidy = _tidy(text)
    shape = dimension_named(dimension)
    if re.search(r"\d,\d", tidy):
        cure = "Write a point before decimals, and nothing between thousands."
        raise InputError("value", f"'{text}'", "", "a comma stands in the number", cure)
    for pattern, reader in _READERS:
        found = pattern.match(tidy)
        if found:
            best, low, high, unit, spread = reader(found, dimension)
            break
    else:
        cure = f"Write it like '1.2 {shape.shown}' or '1.2 {shape.shown} ± 5 %'."
        raise InputError("value", f"'{text}'", "", f"not a {dimension}", cure)
    if not all(map(isfinite, (best, low, high))):
        raise InputError("value", f"'{text}'", "", "must be a finite number")
    if positive and not best > 0:
        raise InputError("value", f"'{text}'", "", "must be above zero")
    if positive and spread == "normal" and (not low > 0 or high > _WIDE * low):
        low = best * best / high if not low > 0 else low
        spread = "log"
    quantity = Quantity(
        best=best, low=low, high=high, unit=unit, dimension=dimension, spread=spread
    )
    return replace(quantity, origin=origin, place=place)


def with_default_range(quantity: Quantity, share: float) -> Quantity:
    """Return ``quantity`` with a range of ± ``share`` of its value where it was given none [-]."""
    if not quantity.is_exact or share == 0:
        return quantity
    arm = abs(quantity.best) * share
    ends = quantity.least, quantity.most
    free = replace(
        quantity, low=quantity.best - arm, high=quantity.best + arm, spread="normal",
        least=-inf, most=inf,
    )  # fmt: skip
    return free.within(*ends)


_Read = tuple[float, float, float, str, Spread]


def _tidy(text: str) -> str:
    plain = text.strip().replace("−", "-").replace("\u202f", " ").replace("\u00a0", " ")
    for typed in ("+/-", "+-"):
        plain = plain.replace(typed, "±")
    return plain.replace("*/", "×/").replace("×÷", "×/")


def _plain(found: re.Match[str], dimension: str) -> _Read:
    unit = unit_of(found[2], dimension)
    best = to_si(float(found[1]), unit, dimension)
    return best, best, best, unit, "exact"


def _span(found: re.Match[str], dimension: str) -> _Read:
    unit = unit_of(found[3], dimension)
    low, high = (to_si(float(found[i]), unit, dimension) for i in (1, 2))
    if not low < high:
        limit = "the first end of a range must be the smaller"
        raise InputError("range", f"'{found[0]}'", "", limit)
    if low > 0 and high > _WIDE * low:
        return sqrt(low * high), low, high, unit, "log"
    return (low + high) / 2, low, high, unit, "normal"


def _even(found: re.Match[str], dimension: str) -> _Read:
    shared = tidy_unit(found[4])
    if shared == "%" and "%" not in dimension_named(dimension).units:
        shared = ""
    if not found[2]:
        shared = _bare(found, shared, float(found[3]), dimension)
    unit = unit_of(found[2] or shared, dimension)
    best = to_si(float(found[1]), unit, dimension)
    arm = _arm(found[3], found[4], unit, best, dimension)
    return best, best - arm, best + arm, unit, "normal"


def _uneven(found: re.Match[str], dimension: str) -> _Read:
    shared = tidy_unit(found[6])
    if not found[2]:
        inward = found[5] if float(found[1]) > 0 else found[3]
        shared = _bare(found, shared, float(inward), dimension)
    unit = unit_of(found[2] or shared, dimension)
    best = to_si(float(found[1]), unit, dimension)
    up = _arm(found[3], found[4] or found[6], unit, best, dimension)
    down = _arm(found[5], found[6], unit, best, dimension)
    return best, best - down, best + up, unit, "normal"


def _factor(found: re.Match[str], dimension: str) -> _Read:
    unit = unit_of(found[2], dimension)
    best, factor = to_si(float(found[1]), unit, dimension), float(found[3])
    if not factor > 1:
        raise InputError("factor", factor, "", "a range by a factor needs one above 1")
    low, high = sorted((best / factor, best * factor))
    return best, low, high, unit, "log"


def _bare(found: re.Match[str], unit: str, inward: float, dimension: str) -> str:
    """Return the unit of a bare value whose range is in ``unit``, refusing what could be two.

    A bare ratio is a plain number unless its range in per cent, taken for points, stays clear of
    zero: then per cent could be meant of both.
    """
    value = abs(float(found[1]))
    kind = dimension_named(dimension)
    if unit != "%" or "" not in kind.units or value == 0:
        return unit
    if kind.shown == "%" and value > 1:
        return unit  # nobody says a share of 500 %
    if kind.shown != "%" and inward >= value:
        return ""
    said, size = found[1], found[0][len(found[1]) :].strip()
    points = f"{said} % {size}"
    plain = re.sub(_NUMBER, lambda arm: f"{float(arm[0]) * value / 100:+.3g}", size)
    plain = re.sub(r"±\s*\+", "± ", plain).removesuffix(found[found.lastindex or 0]).strip()
    cure = f"Write '{points}' for per cent, '{said} {plain}' for the plain number."
    raise InputError("value", f"'{found[0]}'", "", f"could be {said} % or {said}", cure)


def _arm(size: str, unit: str, own: str, best: float, dimension: str) -> float:
    """Return the length of one arm of a range in SI."""
    if not float(size) >= 0:
        raise InputError("range", size, unit, "must not be negative")
    if tidy_unit(unit) == "%" and own != "%":
        if dimension == "temperature":
            cure = "Write it in K."
            raise InputError("range", f"{size} %", "", "a temperature has no percentage", cure)
        return abs(best) * float(size) / 100
    written = unit_of(unit, dimension) if unit.strip() else own
    return float(size) * scale_of(written, dimension)


_READERS = (
    (_FACTOR, _factor),
    (_EVEN, _even),
    (_UNEVEN, _uneven),
    (_SPAN, _span),
    (_PLAIN, _plain),
)
