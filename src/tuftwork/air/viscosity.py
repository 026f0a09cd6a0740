"""Viscosity of air: needed wherever a Reynolds number is formed."""

import warnings

import numpy as np

from tuftwork.errors import InputError, OutsideCheckedRange
from tuftwork.quantity import Numeric, Source

SOURCE = Source(key="coesa1976", place="Eq. 51")
CHECKED_RANGE = (186.0, 500.0)
"""Temperatures at which the model was compared with printed or tabulated values. [K]"""

_B = 1.458e-6  # [kg m⁻¹ s⁻¹ K⁻½]  coesa1976
_S = 110.4  # [K]  coesa1976


def dynamic_viscosity(temperature: Numeric) -> Numeric:
    """Return the dynamic viscosity of dry air (Sutherland's law).

    μ = b T^1.5 / (T + S).

    Parameters
    ----------
    temperature : (...)
        Static temperature, any shape. [K]

    Returns
    -------
    mu : (...)
        Dynamic viscosity, same shape. [Pa s]

    Raises
    ------
    InputError
        If any temperature is not above 0 K; usual cause: degrees Celsius were given.

    Warns
    -----
    OutsideCheckedRange
        If any temperature lies outside ``CHECKED_RANGE``.

    Notes
    -----
    Not for steam; the moisture of weather changes it by less than 1 %, as does the law itself
    against real air.

    References
    ----------
    [coesa1976] Eq. 51.

    Examples
    --------
    >>> print(f"{dynamic_viscosity(288.15):.4e} Pa s")
    1.7894e-05 Pa s
    """
    coldest, hottest = float(np.min(temperature)), float(np.max(temperature))
    if not coldest > 0:
        raise InputError("temperature", coldest, "K", "must be above 0", "Add 273.15 to °C.")
    if coldest < CHECKED_RANGE[0] or not hottest <= CHECKED_RANGE[1]:
        low, high = CHECKED_RANGE
        text = f"viscosity at {coldest:.0f} to {hottest:.0f} K; "
        text += f"checked only at {low:.0f} to {high:.0f} K"
        warnings.warn(text, OutsideCheckedRange, stacklevel=2)
    mu: Numeric = _B * temperature**1.5 / (temperature + _S)
    return mu
