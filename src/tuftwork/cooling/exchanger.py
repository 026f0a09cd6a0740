"""Effectiveness of a heat exchanger against transfer units, exactly."""

from collections.abc import Callable
from typing import Literal, get_args, no_type_check

import numpy as np
from numba import njit

from tuftwork.cooling.guard import not_negative, within
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric

Arrangement = Literal[
    "crossflow", "counterflow", "parallel", "crossflow, Cmin mixed", "crossflow, Cmax mixed"
]
ARRANGEMENTS: tuple[Arrangement, ...] = get_args(Arrangement)


@njit(cache=True)
@no_type_check
def _crossflow_series(ntu: Array, ratio: Array, out: Array) -> None:
    """Mason's double Poisson series; every term is positive, so nothing cancels."""
    for k in range(ntu.size):
        x, y = ntu[k], ratio[k] * ntu[k]
        if y < 1e-9:  # the series' limit; its first neglected term is below 1e-9
            out[k] = -np.expm1(-x)
            continue
        tx, ty = np.exp(-x), np.exp(-y)
        px, py = -np.expm1(-x), -np.expm1(-y)
        total = px * py
        for n in range(1, 2000):
            tx *= x / n
            ty *= y / n
            px -= tx
            py -= ty
            step = px * py
            total += step
            if n > y and step < 1e-15 * total:
                break
        out[k] = total / y


def _crossflow(ntu: Array, ratio: Array) -> Array:
    out = np.empty(ntu.size)
    _crossflow_series(ntu.ravel(), ratio.ravel(), out)
    return out.reshape(ntu.shape)


def _counterflow(ntu: Array, ratio: Array) -> Array:
    e = np.exp(-ntu * (1.0 - ratio))
    equal = ntu / (1.0 + ntu)
    with np.errstate(invalid="ignore"):
        general = (1.0 - e) / (1.0 - ratio * e)
    return np.asarray(np.where(1.0 - ratio < 1e-9, equal, general))


def _parallel(ntu: Array, ratio: Array) -> Array:
    return np.asarray(-np.expm1(-ntu * (1.0 + ratio)) / (1.0 + ratio))


def _cmin_mixed(ntu: Array, ratio: Array) -> Array:
    safe = np.maximum(ratio, 1e-12)
    return np.asarray(-np.expm1(np.expm1(-ntu * safe) / safe))


def _cmax_mixed(ntu: Array, ratio: Array) -> Array:
    safe = np.maximum(ratio, 1e-12)
    return np.asarray(-np.expm1(safe * np.expm1(-ntu)) / safe)


_RELATIONS: dict[str, Callable[[Array, Array], Array]] = {
    "crossflow": _crossflow,
    "counterflow": _counterflow,
    "parallel": _parallel,
    "crossflow, Cmin mixed": _cmin_mixed,
    "crossflow, Cmax mixed": _cmax_mixed,
}


def effectiveness(
    transfer_units: Numeric, capacity_ratio: Numeric, arrangement: Arrangement = "crossflow"
) -> Array:
    """Return the effectiveness of a heat exchanger. [-].

    ε = Q/(C_min (T_h,in - T_c,in)). Crossflow with both streams unmixed is the exact series
    ε = 1/(Cr N) Σ P(n+1, N) P(n+1, Cr N), with P the regularised lower gamma function; the
    common closed approximation is up to 4 % off and is not offered.

    Parameters
    ----------
    transfer_units : (...)
        N = UA/C_min. [-]
    capacity_ratio : (...)
        Cr = C_min/C_max, 0 to 1. [-]
    arrangement
        One of ``ARRANGEMENTS``.

    Raises
    ------
    InputError
        If N is below 0 or Cr outside 0 to 1.

    References
    ----------
    [mason1955]; [kays1984] ch. 2.

    Examples
    --------
    >>> print(f"{effectiveness(2.0, 0.5):.5f}")
    0.73241
    """
    if arrangement not in _RELATIONS:
        raise UnknownName("arrangement", arrangement, ARRANGEMENTS)
    ntu = not_negative("transfer_units", transfer_units, "")
    ratio = within("capacity_ratio", capacity_ratio, "", (0.0, 1.0))
    ntu, ratio = (np.array(part, order="C") for part in np.broadcast_arrays(ntu, ratio))
    return np.asarray(_RELATIONS[arrangement](ntu, ratio))


def transfer_units(
    effectiveness_wanted: Numeric, capacity_ratio: Numeric, arrangement: Arrangement = "crossflow"
) -> Array:
    """Return the transfer units that give a wanted effectiveness. [-].

    Bisection on the exact relation, to 1e-13 of the bracket.

    Raises
    ------
    InputError
        If no size of exchanger of this arrangement reaches it.
    """
    wanted, ratio = np.broadcast_arrays(
        within("effectiveness", effectiveness_wanted, "", (0.0, 1.0)),
        np.asarray(capacity_ratio, dtype=float),
    )
    low, high = np.zeros(wanted.shape), np.full(wanted.shape, 200.0)
    top = effectiveness(high, ratio, arrangement)
    if not np.all(wanted < top):
        raise InputError(
            "effectiveness", float(np.max(wanted)), "", "no exchanger of this kind reaches it"
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = effectiveness(middle, ratio, arrangement) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high))


def log_mean_difference(first: Numeric, second: Numeric) -> Array:
    """Return the log-mean of the temperature differences at the two ends. [K].

    Raises
    ------
    InputError
        If the differences are not both above 0: the temperatures cross.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if not (np.all(a > 0) and np.all(b > 0)):
        raise InputError("difference", float(min(a.min(), b.min())), "K", "temperatures cross")
    near = np.abs(a - b) < 1e-9 * a
    with np.errstate(divide="ignore", invalid="ignore"):
        general = (a - b) / np.log(a / b)
    return np.asarray(np.where(near, a, general))


def fouled_coefficient(clean: Numeric, resistance: Numeric) -> Array:
    """Return a coefficient with a fouling layer: 1/h = 1/h_clean + R_f. [W/(m² K)].

    References
    ----------
    [holman1986] Ex. 10-3.
    """
    h = positive_coefficient(clean)
    return np.asarray(1.0 / (1.0 / h + not_negative("resistance", resistance, "m² K/W")))


def positive_coefficient(value: Numeric) -> Array:
    """Return a heat transfer coefficient, refused unless above 0."""
    array = np.asarray(value, dtype=float)
    if not np.all(array > 0):
        raise InputError("coefficient", float(np.min(array)), "W/(m² K)", "must be above 0")
    return array


def passes_in_series(single: Numeric, capacity_ratio: Numeric, n_pass: int) -> Array:
    """Return the effectiveness of like exchangers in overall counterflow. [-].

    ε_n = (Z^n - 1)/(Z^n - Cr), Z = (1 - ε1 Cr)/(1 - ε1); n ε1/(1 + (n-1) ε1) when Cr = 1.

    References
    ----------
    [kays1984] ch. 2.
    """
    one, ratio = np.broadcast_arrays(
        within("single", single, "", (0.0, 0.999999)), np.asarray(capacity_ratio, dtype=float)
    )
    z = ((1.0 - one * ratio) / (1.0 - one)) ** n_pass
    with np.errstate(invalid="ignore", divide="ignore"):
        general = (z - 1.0) / (z - ratio)
    return np.where(1.0 - ratio < 1e-9, n_pass * one / (1.0 + (n_pass - 1) * one), general)
