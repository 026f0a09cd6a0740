"""Conditions of a section: Reynolds number, turbulence of the air, trips, roughness, constants."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array

ConstantSet = Literal["default", "pessimistic"]
# x-fraction of the last possible transition: the wake is turbulent, and a layer laminar up to the
# sharp pressure rise at the very edge has several solutions, most of them false
LAST = 0.93


@dataclass(frozen=True, slots=True, kw_only=True)
class LagConstants:
    """Constants of the turbulent lag relation; see ``constants.toml``."""

    lag: float
    locus_a: float
    locus_b: float
    drift: float
    separated: float


@cache
def lag_constants(name: ConstantSet = "default") -> LagConstants:
    """Return a published set of lag constants by name."""
    if name not in get_args(ConstantSet):
        raise UnknownName("constants", name, get_args(ConstantSet))
    table = tomllib.loads((Path(__file__).parent / "constants.toml").read_text())
    return LagConstants(**table[name])


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What the air and the surface are like.

    Attributes
    ----------
    reynolds
        On the total chord. [-]
    turbulence
        Turbulence level of the oncoming air; 0.02 is track air behind nothing. Below 0.7 %
        natural transition rules, above it bypass transition. [-]
    trips
        x-fraction of each element at which the layer is made turbulent, upper and lower, or one
        pair per element; None: transition is left to the turbulence. [-]
    roughness
        Relative increase of wall friction by rough paint or rubber pick-up; rough surfaces are
        also tripped at 1 % of the chord. [-]
    constants
        ``"default"`` or ``"pessimistic"`` lag constants.
    """

    reynolds: float = 1e6
    turbulence: float = 0.02
    trips: tuple[tuple[float, float], ...] | None = None
    roughness: float = 0.0
    constants: ConstantSet = "default"

    def __post_init__(self) -> None:
        """Refuse what is impossible."""
        if not 1e4 <= self.reynolds <= 1e9:
            raise InputError("reynolds", self.reynolds, "", "must be from 1e4 to 1e9")
        if not 1e-5 <= self.turbulence <= 0.2:
            raise InputError(
                "turbulence", self.turbulence, "", "must be from 0.00001 to 0.2",
                "Give a share, 0.02 for 2 %.",
            )  # fmt: skip
        if not 0.0 <= self.roughness <= 1.0:
            raise InputError("roughness", self.roughness, "", "must be from 0 to 1")


def critical_amplification(turbulence: float) -> float:
    """Return n at which waves turn turbulent, n = -8.43 - 2.4 ln Tu [mack1977], at least 0.5."""
    return max(-8.43 - 2.4 * float(np.log(turbulence)), 0.5)


def bypass_re_theta(turbulence: float) -> float:
    """Return Re_theta of bypass transition, 400 Tu%^(-5/8) [mayle1991]; none below 0.7 %."""
    percent = 100.0 * turbulence
    return 400.0 * percent**-0.625 if percent > 0.7 else 1e9


def parameters(condition: Condition) -> Array:
    """Constants in the order the kernels expect."""
    k = lag_constants(condition.constants)
    return np.array(
        [
            condition.reynolds,
            k.lag,
            k.locus_a,
            k.locus_b,
            k.drift,
            critical_amplification(condition.turbulence),
            max(bypass_re_theta(condition.turbulence), 180.0),
            k.separated,
            1.0 + condition.roughness,
        ]
    )


def trip_table(condition: Condition, n_element: int) -> Array:
    """Trips as (n_element, 2)."""
    if condition.trips is None:
        table = np.full((n_element, 2), LAST)
    elif len(condition.trips) == 1:
        table = np.tile(np.array(condition.trips[0], float), (n_element, 1))
    elif len(condition.trips) == n_element:
        table = np.array(condition.trips, float)
    else:
        raise InputError(
            "trips", len(condition.trips), "pairs", f"must be 1 or {n_element}, one per element"
        )
    if not (table >= 0.0).all():
        raise InputError("trips", float(table.min()), "chord", "must not be below 0")
    return np.asarray(np.minimum(table, 0.01 if condition.roughness > 0.0 else LAST))
