"""Road load by the standards: correction to reference air, and whether enough runs were made."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (
    Source(key="eec70220", place="Annex III, appendix 3", status="seen"),
    Source(key="gtr15", place="Annex 4, section 4.5", status="memory"),
)
_T_OVER_ROOT_N = {
    4: 1.6, 5: 1.25, 6: 1.06, 7: 0.94, 8: 0.85, 9: 0.77, 10: 0.73, 11: 0.66, 12: 0.64, 13: 0.61,
    14: 0.59, 15: 0.57,
}  # fmt: skip
"""The row t/√n of the directive; the rows t and t/√n disagree at n = 10, and t/√n is used."""

K0 = 8.6e-3  # [1/K] rolling resistance with temperature; gtr15, from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLimits:
    """How many runs a standard asks for, and in what weather; None where it says nothing. [SI]

    ``runs`` counts each way; ``from_speed`` and ``to_speed`` are what a run must span.
    """

    name: str
    runs: int
    mean_wind: float | None = None
    peak_wind: float | None = None
    cross_wind: float | None = None
    grade: float | None = None
    from_speed: float | None = None
    to_speed: float | None = None
    status: Literal["seen", "memory"] = "memory"


_MPH, _KMH = 0.44704, 1 / 3.6
LIMITS: dict[str, RunLimits] = {
    limit.name: limit
    for limit in (
        RunLimits(name="heavy vehicle, 40 CFR 1066.310", runs=8, mean_wind=6 * _MPH, grade=0.0002,
                  from_speed=70 * _MPH, to_speed=15 * _MPH, status="seen"),
        RunLimits(name="motorcycle, 40 CFR 86.529", runs=5, from_speed=70 * _KMH,
                  to_speed=60 * _KMH, status="seen"),
        RunLimits(name="SAE J1263", runs=5, mean_wind=16 * _KMH, cross_wind=8 * _KMH, grade=0.005),
        RunLimits(name="UN GTR 15, fixed mast", runs=3, mean_wind=5.0, peak_wind=8.0,
                  cross_wind=2.0),
        RunLimits(name="UN GTR 15, wind read on board", runs=3, mean_wind=7.0, peak_wind=10.0,
                  cross_wind=4.0),
    )
}  # fmt: skip
REFERENCE_AIR: dict[str, tuple[float, float]] = {
    "SAE J2263, 40 CFR 1066.310": (293.15, 98.21e3),
    "UN GTR 15": (293.15, 100.0e3),
}
"""Standard → temperature [K] and pressure [Pa] a road load is stated for."""
INSTRUMENTS = {"speed": 0.2 * _KMH, "wind": 1.0 * _KMH, "yaw": np.radians(3.0), "mast": 2.0}
"""Largest errors SAE J2263 allows, and how far ahead the wind is read. [m/s], [m/s], [rad], [m]"""
AUDIT_RUNS = (24, 100)
"""Fewest and most runs of an audit of drag area, as many each way; 40 CFR 1037.305. [-]"""
TUNNEL_PROOF = (3, 2)
"""Vehicles, and coast-downs of each, against which a tunnel method is proven; UN GTR 15. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Whether a day's coast-downs are what a standard asks for; ``short_of`` says where not."""

    name: str
    short_of: tuple[str, ...]

    @property
    def is_met(self) -> bool:
        """Whether nothing that was known is short of the standard."""
        return not self.short_of


def judge_runs(
    runs: int, *, wind: float, grade: float, from_speed: float, to_speed: float
) -> list[Judged]:
    """Return what each standard would say of a day's coast-downs.

    Only what the runs themselves tell is judged; cross wind and gusts need an anemometer.

    Parameters
    ----------
    runs
        The fewer of both ways.
    wind, grade
        Along the road, as found with the fit. [m/s], [-]
    from_speed, to_speed
        What all runs span. [m/s]
    """
    found = []
    for limit in LIMITS.values():
        short = []
        if runs < limit.runs:
            short.append(f"{runs} of {limit.runs} runs each way")
        if limit.mean_wind is not None and abs(wind) > limit.mean_wind:
            short.append(f"wind {abs(wind):.1f} of {limit.mean_wind:.1f} m/s")
        if limit.grade is not None and abs(grade) > limit.grade:
            short.append(f"grade {100 * abs(grade):.2f} of {100 * limit.grade:.2f} %, corrected")
        if limit.from_speed is not None and from_speed < limit.from_speed:
            short.append(f"begins below {limit.from_speed * 3.6:.0f} km/h")
        if limit.to_speed is not None and to_speed > limit.to_speed:
            short.append(f"ends above {limit.to_speed * 3.6:.0f} km/h")
        found.append(Judged(name=limit.name, short_of=tuple(short)))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Mean and scatter of repeated times, and the statistical accuracy p = t s/(√n mean). [-]"""

    mean: float
    deviation: float
    accuracy: float
    limit: float

    @property
    def is_enough(self) -> bool:
        """Whether the accuracy is within the limit."""
        return self.accuracy <= self.limit


def statistical_accuracy(
    times: Sequence[float] | Array, *, limit: float = 0.02, exact: bool = False
) -> Accuracy:
    """Return the statistical accuracy of repeated coast-down times.

    Parameters
    ----------
    times : (n,)
        Of one speed interval, at least four. [s]
    limit
        2 % in the directive, 3 % in GTR 15. [-]
    exact
        Student's t instead of the directive's rounded table.

    References
    ----------
    [eec70220] Annex III, appendix 3.
    """
    values = np.asarray(times, dtype=float)
    if values.size < 4:
        raise InputError("times", int(values.size), "runs", "at least 4 are asked for")
    mean, deviation = float(np.mean(values)), float(np.std(values, ddof=1))
    if exact or values.size not in _T_OVER_ROOT_N:
        from scipy.stats import t as student

        factor = float(student.ppf(0.975, values.size - 1)) / np.sqrt(values.size)
    else:
        factor = _T_OVER_ROOT_N[int(values.size)]
    return Accuracy(mean=mean, deviation=deviation, accuracy=factor * deviation / mean, limit=limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadDay:
    """Conditions of a coast-down day.

    Attributes
    ----------
    temperature
        Of the air. [°C]
    pressure
        [Pa]
    wind
        Along the road, mean. [m/s]
    reference_mass, mean_mass
        Mass the result is for, and the mean mass over the runs. [kg]
    """

    temperature: float
    pressure: float
    wind: float
    reference_mass: float
    mean_mass: float


def reference_force(speed_kmh: Numeric, terms: tuple[float, float, float], day: RoadDay) -> Array:
    """Return the road load corrected to reference air, F* of GTR 15.

    F* = (f0 − w1 − K1 + f1 v)(1 + K0 (T − 20)) + K2 f2 v², with K1 = f0 (1 − TM/m_av),
    K2 = (T/293)(100 kPa/P), w1 = 3.6² f2 w².

    Parameters
    ----------
    speed_kmh : (...)
        v, in the standard's unit. [km/h]
    terms
        f0 [N], f1 [N h/km], f2 [N h²/km²].
    day
        Conditions.

    Notes
    -----
    The clause was written down from memory: check it against the standard before a certificate
    rests on it.

    References
    ----------
    [gtr15] Annex 4, section 4.5.
    """
    f0, f1, f2 = terms
    v = np.asarray(speed_kmh, dtype=float)
    wind = 3.6**2 * f2 * day.wind**2
    mass = f0 * (1 - day.reference_mass / day.mean_mass)
    air = (day.temperature + 273.15) / 293.0 * (100e3 / day.pressure)
    rolling = (f0 - wind - mass + f1 * v) * (1 + K0 * (day.temperature - 20))
    return np.asarray(rolling + air * f2 * v**2)
