"""Discharge, mixing and exit pressure tied to one measured or computed ride-height sweep."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.floor.sweep import ride_sweep
from tuftwork.quantity import Array

NAMES = ("discharge", "mixing", "exit_pressure")
PRIOR = {"discharge": (0.52, 0.094), "mixing": (0.5, 0.195), "exit_pressure": (-0.2, 0.06)}
"""Means and standard deviations before anything was measured (80 % ranges of ``engine.toml``)."""
_LEAST = {"discharge": 0.05, "mixing": 0.0, "exit_pressure": -1.5}
_STEP = {"discharge": 0.01, "mixing": 0.02, "exit_pressure": 0.01}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSweep:
    """Downforce areas at rear ride heights, rake kept; standard deviation of each. [m], [m²]"""

    height: Array
    downforce: Array
    deviation: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibratedFloor:
    """What a sweep says of the three closures.

    Attributes
    ----------
    closure
        At their means.
    mean, deviation : (3,)
        Of discharge, mixing, exit pressure. [-]
    correlation : (3, 3)
        [-]
    before, after : (n,)
        CzS of the engine at the sweep's heights with prior and found closures. [m²]
    miss
        Root mean square of after over measured, less 1. [-]
    """

    closure: FloorClosure
    mean: Array
    deviation: Array
    correlation: Array
    before: Array
    after: Array
    miss: float


def calibrate(
    sweep: MeasuredSweep,
    shape: FloorShape,
    stand: Stand,
    closure: FloorClosure,
    *,
    prior: dict[str, tuple[float, float]] | None = None,
    model_error: float = 0.05,
    in_plan: bool = False,
) -> CalibratedFloor:
    """Return the closures after a Gaussian update by one sweep of ride heights.

    Linearised about the present means and repeated until they rest: with slopes J, prior
    covariance P and errors R, the mean moves by P Jᵀ (J P Jᵀ + R)⁻¹ of what is left.

    Parameters
    ----------
    sweep
        At least two heights.
    shape, stand, closure
        The floor; rake as it stands.
    prior
        Mean and standard deviation of each of ``NAMES``.
    model_error
        Standard deviation of what the engine cannot follow, over the load. [-]
    in_plan
        Solve in plan; else averaged over the width.

    Raises
    ------
    InputError
        If the sweep has fewer than two heights, or a deviation is not above 0.
    NotConverged
        If the means do not come to rest.
    """
    if sweep.height.size < 2 or not np.all(sweep.deviation > 0):
        raise InputError(
            "sweep", f"{sweep.height.size} heights", "", "needs two or more, each with a deviation"
        )
    own = {**PRIOR, **(prior or {})}
    mean0 = np.array([own[n][0] for n in NAMES])
    spread = np.array([own[n][1] for n in NAMES])
    noise = np.diag(np.square(sweep.deviation) + np.square(model_error * sweep.downforce))

    def loads(values: Array) -> Array:
        named: dict[str, Any] = {
            n: float(max(v, _LEAST[n])) for n, v in zip(NAMES, values, strict=True)
        }
        found = ride_sweep(shape, stand, replace(closure, **named), sweep.height, in_plan=in_plan)
        if found.height.size < sweep.height.size:
            raise NotConverged("the sweep reaches below what the engine can answer")
        order = np.argsort(np.argsort(sweep.height))
        return np.asarray(found.downforce[order])

    mean, before = mean0.copy(), loads(mean0)
    now, slopes = before, np.zeros((sweep.height.size, 3))
    for _ in range(12):
        for k, name in enumerate(NAMES):
            there = mean.copy()
            there[k] += _STEP[name]
            slopes[:, k] = (loads(there) - now) / _STEP[name]
        cross = np.diag(spread**2) @ slopes.T
        gain = cross @ np.linalg.inv(slopes @ cross + noise)
        aim = mean0 + gain @ (sweep.downforce - now + slopes @ (mean - mean0))
        aim = np.array([max(v, _LEAST[n]) for n, v in zip(NAMES, aim, strict=True)])
        # a step of more than two deviations leaves the straight line it was taken from
        step = np.clip(aim - mean, -2 * spread, 2 * spread)
        mean = mean + step
        now = loads(mean)
        if np.all(np.abs(step) < 0.02 * spread):
            break
    else:
        raise NotConverged("the calibration did not come to rest in 12 steps")
    covariance = np.diag(spread**2) - gain @ cross.T
    deviation = np.sqrt(np.diag(covariance))
    named: dict[str, Any] = {n: float(v) for n, v in zip(NAMES, mean, strict=True)}
    return CalibratedFloor(
        closure=replace(closure, **named), mean=mean, deviation=deviation,
        correlation=covariance / np.outer(deviation, deviation), before=before, after=now,
        miss=float(np.sqrt(np.mean(np.square(now / sweep.downforce - 1)))),
    )  # fmt: skip
