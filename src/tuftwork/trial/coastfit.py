"""Coast-downs to resistance: one fit of v(t) to all runs, wind and slope between the ways."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array
from tuftwork.trial.coastdown import STANDARD_GRAVITY, Resistance, coasting_curve, speed_after

_LEAST_SAMPLES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class CoastRun:
    """One run. ``way`` is +1 out and −1 back. [s], [m/s]"""

    time: Array
    speed: Array
    way: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CoastFit:
    """What a set of coast-downs says.

    Attributes
    ----------
    resistance
        In still air on the level; f1 is 0 where it was not fitted.
    covariance
        Of f0, f1, f2, along-wind and grade, ``(5, 5)``, zeros where a term was not fitted.
    wind
        Headwind on the way out. [m/s]
    grade
        Slope on the way out, rising. [-]
    scatter
        Standard deviation of the speed about the fit. [m/s]
    split
        Mean force out less mean force back, at the mean speed, as two fits of one way each say it;
        None where there is only one way. [N]
    dof
        Degrees of freedom after the samples' correlation is counted. [-]
    notices
        What a reader must be told.
    """

    resistance: Resistance
    covariance: Array
    wind: float
    grade: float
    scatter: float
    split: float | None
    dof: float
    notices: tuple[str, ...] = ()

    def force_and_doubt(self, speed: float) -> tuple[float, float]:
        """Return the force at a speed and its standard uncertainty. [N]"""
        row = np.array([1.0, speed, speed**2])
        return float(self.resistance.force(speed)), float(
            np.sqrt(row @ self.covariance[:3, :3] @ row)
        )

    def drag_area(self, density: float) -> tuple[float, float]:
        """Return CxS and its standard uncertainty from the fit alone. [m²]"""
        arm = 2.0 / density
        return float(arm * self.resistance.square), float(arm * np.sqrt(self.covariance[2, 2]))


def fit_coastdown(
    runs: Sequence[CoastRun],
    mass: float,
    *,
    linear: bool = False,
    drag_growth: float = 0.0,
) -> CoastFit:
    """Fit resistance, wind and slope to the speed of all runs at once.

    Parameters
    ----------
    runs
        At least one; with both ways wind and slope are found, else they are taken as nothing.
    mass
        Effective mass, wheels included. [kg]
    linear
        Whether f1 is fitted; it trades with f0 and f2, so only with many runs.
    drag_growth
        Relative change of the drag area from rest to the start speed, from the map. [-]

    Raises
    ------
    InputError
        If a run has too few samples or does not slow down.
    NotConverged
        If the fit does not settle.

    Notes
    -----
    Neighbouring samples share their errors; the covariance is widened by the lag-one correlation
    of the residuals. On one road a steady wind splits the ways through f2 and the speed, a slope
    through a constant, so both are found together only over a wide range of speed.

    References
    ----------
    [yasin1978]
    """
    from scipy.optimize import least_squares

    _check(runs, mass)
    both = {run.way for run in runs} == {1, -1}
    free = [0, 2] + ([1] if linear else []) + ([3, 4] if both else [])
    free.sort()
    starts = [float(np.mean(run.speed[:5])) for run in runs]
    guess = _guess(runs, mass)
    scale = np.array([guess[0], guess[0] / 30, guess[1], 1.0, 1e-3])
    first = np.concatenate([np.array([guess[0], 0, guess[1], 0, 0])[free] / scale[free], starts])

    def residual(x: Array) -> Array:
        terms = np.zeros(5)
        terms[free] = x[: len(free)] * scale[free]
        parts = [
            _model(run, terms, mass, float(v0), drag_growth) - run.speed
            for run, v0 in zip(runs, x[len(free) :], strict=True)
        ]
        return np.concatenate(parts)

    lower = np.full(first.size, -np.inf)
    lower[free.index(2)] = 1e-6
    found = least_squares(residual, first, bounds=(lower, np.inf), x_scale="jac")
    if not found.success:
        raise NotConverged(f"The coast-down fit did not settle: {found.message}")
    terms = np.zeros(5)
    terms[free] = found.x[: len(free)] * scale[free]
    covariance, scatter, dof = _covariance(np.asarray(found.jac), found.fun, runs, free, scale)
    return CoastFit(
        resistance=Resistance(
            constant=float(terms[0]), linear=float(terms[1]), square=float(terms[2])
        ),
        covariance=covariance,
        wind=float(terms[3]),
        grade=float(terms[4]),
        scatter=scatter,
        split=_split(runs, mass) if both else None,
        dof=dof,
        notices=()
        if both
        else ("Only one way was run: wind and slope are inside the resistance.",),
    )


def _model(run: CoastRun, terms: Array, mass: float, start: float, growth: float) -> Array:
    still = Resistance(constant=terms[0], linear=terms[1], square=terms[2])
    grade_force = mass * STANDARD_GRAVITY * terms[4] * run.way
    felt = still.felt(wind=terms[3] * run.way, grade_force=grade_force)
    clock = run.time - run.time[0]
    if growth:
        return coasting_curve(clock, start, mass, felt, growth)
    return speed_after(clock, start, mass, felt)


def _check(runs: Sequence[CoastRun], mass: float) -> None:
    if not runs:
        raise InputError("runs", 0, "", "at least one coast-down is needed")
    if not mass > 0:
        raise InputError("mass", mass, "kg", "must be above 0")
    for i, run in enumerate(runs, 1):
        if run.way not in (1, -1):
            raise InputError(f"way of run {i}", run.way, "", "must be +1 or -1")
        if run.time.size < _LEAST_SAMPLES:
            raise InputError(f"samples of run {i}", run.time.size, "", "at least 20 are needed")
        if not run.speed[0] > run.speed[-1] + 1.0:
            cure = "Is this the coasting part of the log?"
            raise InputError(f"run {i}", f"{run.speed[0]:.1f} to {run.speed[-1]:.1f}", "m/s",
                             "the car does not slow down", cure)  # fmt: skip


def _guess(runs: Sequence[CoastRun], mass: float) -> tuple[float, float]:
    """Return a first f0 and f2 from the slope of the fastest and slowest third of each run."""
    forces, squares = [], []
    for run in runs:
        for part in np.array_split(np.arange(run.time.size), 3):
            slope = np.polyfit(run.time[part], run.speed[part], 1)[0]
            forces.append(-mass * slope)
            squares.append(np.mean(run.speed[part]) ** 2)
    f2, f0 = np.polyfit(squares, forces, 1)
    return max(float(f0), 10.0), max(float(f2), 1e-3)


def _covariance(
    jacobian: Array, residual: Array, runs: Sequence[CoastRun], free: list[int], scale: Array
) -> tuple[Array, float, float]:
    ends = np.cumsum([run.time.size for run in runs])[:-1]
    pieces = np.split(residual, ends)
    ahead = sum(float(np.sum(p[1:] * p[:-1])) for p in pieces)
    power = float(np.sum(residual**2))
    along = min(0.98, max(0.0, ahead / power if power > 0 else 0.0))
    widening = (1 + along) / (1 - along)
    dof = max(1.0, residual.size / widening - jacobian.shape[1])
    variance = power / max(1, residual.size - jacobian.shape[1])
    inverse = np.linalg.pinv(jacobian.T @ jacobian)[: len(free), : len(free)]
    full = np.zeros((5, 5))
    full[np.ix_(free, free)] = (
        inverse * variance * widening * scale[free][:, None] * scale[free][None, :]
    )
    return full, float(np.sqrt(variance)), dof


def _split(runs: Sequence[CoastRun], mass: float) -> float:
    """Return the mean force out less the mean force back over the speeds both covered. [N]"""
    low = max(float(run.speed[-1]) for run in runs)
    high = min(float(run.speed[0]) for run in runs)
    forces: dict[int, list[float]] = {1: [], -1: []}
    for run in runs:
        times = np.interp([-high, -low], -run.speed, run.time)
        forces[run.way].append(mass * (high - low) / float(times[1] - times[0]))
    return float(np.mean(forces[1]) - np.mean(forces[-1]))
