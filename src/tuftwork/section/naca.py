"""NACA four- and five-digit sections."""

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section.shape import FEWEST_POINTS, Contour

_FIVE_DIGIT = {  # first three digits: position m and factor k1, memory of [jacobs1935]
    "210": (0.0580, 361.4),
    "220": (0.1260, 51.64),
    "230": (0.2025, 15.957),
    "240": (0.2900, 6.643),
    "250": (0.3910, 3.230),
}


def naca(code: str, *, n_point: int = 241, is_closed: bool = True) -> Contour:
    """Return a NACA four- or five-digit section of unit chord.

    Parameters
    ----------
    code
        ``"4412"`` or ``"23012"``: digits only.
    n_point
        Points round the contour, at least 21. [-]
    is_closed
        True: trailing edge closed by the fourth thickness coefficient; False: as published.

    Returns
    -------
    section : Contour

    Raises
    ------
    InputError
        If the digits name no section.

    References
    ----------
    [jacobs1933], [jacobs1935]; the five-digit constants from memory.

    Examples
    --------
    >>> naca("0012").name
    'NACA 0012'
    """
    digits = code.strip().upper().removeprefix("NACA").strip()
    if not digits.isdigit() or len(digits) not in (4, 5):
        raise InputError("code", code, "", "must be four or five digits", "Try '4412' or '23012'.")
    if len(digits) == 5 and digits[:3] not in _FIVE_DIGIT:
        known = ", ".join(_FIVE_DIGIT)
        raise InputError("code", code, "", f"the first three digits must be one of {known}")
    thick = int(digits[-2:]) / 100.0
    if not thick > 0.0:
        raise InputError("code", code, "", "the last two digits are the thickness, above 00")
    if n_point < FEWEST_POINTS:
        raise InputError("n_point", n_point, "", f"must be at least {FEWEST_POINTS}")
    half = (n_point + 1) // 2
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, half)))
    last = -0.1036 if is_closed else -0.1015
    half_thickness = (
        5.0
        * thick
        * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 + last * x**4)
    )
    camber, slope = _camber_line(digits, x)
    turn = np.arctan(slope)
    xu, yu = x - half_thickness * np.sin(turn), camber + half_thickness * np.cos(turn)
    xl, yl = x + half_thickness * np.sin(turn), camber - half_thickness * np.cos(turn)
    return Contour(
        x=np.concatenate([xu[::-1], xl[1:]]),
        y=np.concatenate([yu[::-1], yl[1:]]),
        name=f"NACA {digits}",
    )


def _camber_line(digits: str, x: Array) -> tuple[Array, Array]:
    """Camber line and its slope."""
    if len(digits) == 4:
        m, p = int(digits[0]) / 100.0, int(digits[1]) / 10.0
        if m == 0.0 or p == 0.0:
            return np.zeros_like(x), np.zeros_like(x)
        front = x < p
        y = np.where(
            front,
            m / p**2 * (2 * p * x - x**2),
            m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x**2),
        )
        return y, np.where(front, 2 * m / p**2 * (p - x), 2 * m / (1 - p) ** 2 * (p - x))
    m, k = _FIVE_DIGIT[digits[:3]]
    front = x < m
    y = np.where(front, k / 6 * (x**3 - 3 * m * x**2 + m**2 * (3 - m) * x), k * m**3 / 6 * (1 - x))
    return y, np.where(front, k / 6 * (3 * x**2 - 6 * m * x + m**2 * (3 - m)), -k * m**3 / 6)
