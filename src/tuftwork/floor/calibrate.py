"""Discharge, mixing and exit pressure tied to one measured or computed ride-height sweep."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.floor.sweep import ride_sweep
from tuftwork.quantity import Array

NAMES = ("discharge", "mixing", "exit_pressure")
PRIOR = {"discharge": (0.52, 0.094), "mixing": (0.7, 0.195), "exit_pressure": (-0.2, 0.06)}
"""Means and standard deviations before anything was measured (80 % ranges of ``engine.toml``)."""
_LEAST = {"discharge": 0.05, "mixing": 0.0, "exit_pressure": -1.5}
_MOST_STEPS = 30
_REST = 1e-3  # [-] of the summed squares, in standard deviations
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

    floor = np.array([_LEAST[n] for n in NAMES])
    steps = np.array([_STEP[n] for n in NAMES])
    found = gaussian_update(
        lambda rows: np.stack([loads(row) for row in rows], axis=1),
        sweep.downforce,
        noise,
        mean=mean0,
        spread=spread,
        step=steps,
        least=floor,
    )
    deviation = np.sqrt(np.diag(found.covariance))
    named: dict[str, Any] = {n: float(v) for n, v in zip(NAMES, found.mean, strict=True)}
    return CalibratedFloor(
        closure=replace(closure, **named), mean=found.mean, deviation=deviation,
        correlation=found.covariance / np.outer(deviation, deviation), before=found.before,
        after=found.after, miss=root_mean_miss(found.after, sweep.downforce),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Updated:
    """Unknowns after a Gaussian update; what the engine says before and after.

    Attributes
    ----------
    mean, covariance : (n_unknown,), (n_unknown, n_unknown)
    before, after : (n,)
        Loads at the prior's and at the new means.
    """

    mean: Array
    covariance: Array
    before: Array
    after: Array


def gaussian_update(
    loads: Callable[[Array], Array], measured: Array, noise: Array, *,
    mean: Array, spread: Array, step: Array, least: Array | None = None,
) -> Updated:  # fmt: skip
    """Return unknowns moved by measurements, linearised again and again until they rest.

    Parameters
    ----------
    loads
        Unknowns ``(m, n_unknown)`` → what would be measured ``(n, m)``, m cases at once.
    measured, noise : (n,), (n, n)
        What was measured, and the covariance of all that the unknowns do not explain.
    mean, spread, step : (n_unknown,)
        Prior means and standard deviations, and the steps slopes are taken with.
    least : (n_unknown,)
        What an unknown cannot go below.

    Raises
    ------
    NotConverged
        If the means do not come to rest.
    """
    start, floor = mean, np.full(mean.size, -np.inf) if least is None else least
    weight, prior = np.linalg.inv(noise), np.diag(spread**2)

    def cost(place: Array, told: Array) -> float:
        left = measured - told
        return float(left @ weight @ left + np.sum(np.square((place - start) / spread)))

    before = now = loads(start[None, :])[:, 0]
    for _ in range(_MOST_STEPS):
        slopes = (loads(mean + np.diag(step)) - now[:, None]) / step
        cross = prior @ slopes.T
        gain = cross @ np.linalg.inv(slopes @ cross + noise)
        aim = start + gain @ (measured - now + slopes @ (mean - start))
        # a step of more than two deviations leaves the straight line it was taken from
        move = np.clip(np.maximum(aim, floor) - mean, -2 * spread, 2 * spread)
        stood = cost(mean, now)
        # over a cliff the straight line overshoots: shorten until it pays
        for share in (1.0, 0.5, 0.25, 0.12, 0.06):
            there = mean + share * move
            told = loads(there[None, :])[:, 0]
            if cost(there, told) <= stood:
                break
        rests = abs(cost(there, told) - stood) < _REST or cost(there, told) > stood
        if rests or np.all(np.abs(move) < 0.02 * spread):
            if cost(there, told) <= stood:
                mean, now = there, told
            return Updated(mean=mean, covariance=prior - gain @ cross.T, before=before, after=now)
        mean, now = there, told
    raise NotConverged("the calibration did not come to rest")


def root_mean_miss(found: Array, measured: Array) -> float:
    """Return the root mean square of found over measured, less 1 [-]."""
    return float(np.sqrt(np.mean(np.square(found / measured - 1))))
