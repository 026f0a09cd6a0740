"""What the liquid in a loop is: density, heat capacity, viscosity, conductivity, boiling."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from tuftwork.cooling.guard import kelvin, positive
from tuftwork.errors import UnknownName
from tuftwork.quantity import Numeric

FLUIDS = ("water", "glycol-30", "glycol-50", "engine oil")
# IAPWS-IF97 region 4, backward equation for the saturation temperature (n1 to n10).
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5,
    -0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6,
    -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidState:
    """Properties of a coolant at one temperature, SI units."""

    density: Numeric
    specific_heat: Numeric
    viscosity: Numeric
    conductivity: Numeric


def liquid_state(fluid: str, temperature: Numeric) -> LiquidState:
    """Return the properties of a coolant at about 2 bar.

    Linear between tabulated temperatures (viscosity in its logarithm); held at the table's ends.

    Parameters
    ----------
    fluid
        One of ``FLUIDS``; glycol mixtures by mass of ethylene glycol in per cent.
    temperature : (...)
        [K]

    Raises
    ------
    UnknownName
        If the fluid is not on the list.

    References
    ----------
    [bell2014] for water and glycol; [incropera2007] Table A.5 for oil, from memory.
    """
    if fluid not in FLUIDS:
        raise UnknownName("fluid", fluid, FLUIDS)
    t = kelvin("temperature", temperature)
    grid, rho, cp, mu, k = (np.array(column) for column in _table()[fluid])
    return LiquidState(
        density=np.asarray(np.interp(t, grid, rho)),
        specific_heat=np.asarray(np.interp(t, grid, cp)),
        viscosity=np.asarray(np.exp(np.interp(t, grid, np.log(mu)))),
        conductivity=np.asarray(np.interp(t, grid, k)),
    )


def boiling_temperature(cap_pressure: Numeric, ambient_pressure: Numeric = 101325.0) -> Numeric:
    """Return the temperature at which water boils under a pressure cap [K].

    IAPWS-IF97 saturation line at p = p_ambient + p_cap. Glycol boils higher; water is the
    safe side.

    Parameters
    ----------
    cap_pressure : (...)
        Overpressure at which the cap opens. [Pa]
    ambient_pressure : (...)
        [Pa]

    References
    ----------
    [iapws1997] Eq. 31.
    """
    n = _N
    total = np.asarray(cap_pressure, dtype=float) + np.asarray(ambient_pressure, dtype=float)
    beta = (positive("pressure", total, "Pa") * 1e-6) ** 0.25
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2.0 * g / (-f - np.sqrt(f * f - 4.0 * e * g))
    return np.asarray(0.5 * (n[9] + d - np.sqrt((n[9] + d) ** 2 - 4.0 * (n[8] + n[9] * d))))


@lru_cache(maxsize=1)
def _table() -> dict[str, tuple[tuple[float, ...], ...]]:
    """Return fluid to columns of the packaged table."""
    text = files("tuftwork.cooling").joinpath("data/coolants.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows: dict[str, list[list[float]]] = {}
    for row in list(csv.reader(lines))[1:]:
        rows.setdefault(row[0], []).append([float(cell) for cell in row[1:]])
    return {fluid: tuple(zip(*cells, strict=True)) for fluid, cells in rows.items()}
