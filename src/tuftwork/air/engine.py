"""What an engine that breathes the air around it makes of its rated power."""

import numpy as np

from tuftwork.air.humid import vapour_share
from tuftwork.air.state import Air
from tuftwork.quantity import Array, Source

SOURCE = Source(
    key="saeJ1349", place="June 1990, correction of spark-ignition power; copied by a workshop",
    status="seen",
)  # fmt: skip
_PRESSURE = 99e3  # [Pa]  saeJ1349, dry air
_TEMPERATURE = 298.0  # [K]  saeJ1349
_GAIN, _FRICTION = 1.180, 0.180  # [-]  saeJ1349: friction at 85 % mechanical efficiency


def power_left(air: Air) -> Array:
    """Return the power an unblown engine makes in this air over the power it is rated at [-].

    1 / c with c = 1.180 (99 kPa / p_d) √(T / 298 K) − 0.180, p_d the pressure of the dry air. What
    burns follows the oxygen taken in; the engine's own friction does not, hence the 0.18.

    Parameters
    ----------
    air : (...)
        Around the car. Rated power is taken to be what a dynamometer sheet states: corrected to
        99 kPa of dry air at 25 °C.

    Returns
    -------
    share : (...)
        Of the rated power, same shape; above 1 in denser air.

    Notes
    -----
    Not for turbocharged engines, which hold their charge as long as the turbine has speed to
    spare, nor for Diesel engines, whose correction is another. The standard corrects by up to
    7 %; further, as on a mountain, it is carried by its physics alone.

    References
    ----------
    [saeJ1349] June 1990.
    """
    vapour = vapour_share(air.temperature, air.pressure, air.humidity)
    dry = np.asarray(air.pressure, dtype=float) * (1.0 - vapour)
    heat = np.sqrt(np.asarray(air.temperature, dtype=float) / _TEMPERATURE)
    return np.asarray(1.0 / (_GAIN * _PRESSURE / dry * heat - _FRICTION))
