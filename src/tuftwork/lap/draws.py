"""Many laps at once: every draw of the ensemble, spread over threads."""

import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.lap.parameter import INDEX, N_PARAMETER, NAMES
from tuftwork.lap.solve import Case, gradient_of, run_kernel
from tuftwork.quantity import Array

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """What is uncertain about car, air and tyres: shifts of parameters, one number a draw.

    Attributes
    ----------
    n_draw
        Number of draws; an aero table's draw axis has to match or be absent.
    shifts : {name: (n_draw,)}
        Added to the parameter of that name [its SI unit]. The same draw of every case belongs
        together, so that what is common to two cases cancels in their difference.
    """

    n_draw: int = 1
    shifts: Mapping[str, Array] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.n_draw < 1:
            raise InputError("n_draw", self.n_draw, "", "must be at least 1")
        for name, values in self.shifts.items():
            if name not in INDEX:
                raise UnknownName("parameter", name, NAMES)
            if np.shape(values) != (self.n_draw,):
                raise InputError(name, str(np.shape(values)), "", f"must have {self.n_draw} draws")

    def parameters(self, case: Case) -> Array:
        """Return the parameters of every draw of a case, (n_draw, n_parameter)."""
        p = np.tile(case.parameters, (self.n_draw, 1))
        for name, values in self.shifts.items():
            p[:, INDEX[name]] += values
        return p


def check_draws(case: Case, draws: Draws) -> None:
    """Refuse an aero table whose draws do not belong to these."""
    if case.aero.n_draw not in (1, draws.n_draw):
        raise InputError(
            "draws", case.aero.n_draw, "", f"aero table has another number than {draws.n_draw}"
        )


def over_draws(work: Callable[[int], T], n_draw: int, workers: int | None = None) -> list[T]:
    """Return the results of work(draw) in order; compiled laps run beside each other."""
    if n_draw == 1:
        return [work(0)]
    with ThreadPoolExecutor(max_workers=workers or os.cpu_count() or 1) as pool:
        return list(pool.map(work, range(n_draw)))


def lap_times(
    case: Case, draws: Draws | None = None, *, offset: Array | None = None,
    workers: int | None = None,
) -> Array:  # fmt: skip
    """Return the lap time of every draw.

    Parameters
    ----------
    case : ()
        From :func:`tuftwork.lap.prepare`. [-]
    draws : ()
        What is uncertain; None for the best values alone. [-]
    offset : (n_parameter,) or (n_draw, n_parameter)
        Added to the parameters of every draw. [SI]
    workers : ()
        Threads; None for one a core. [-]

    Returns
    -------
    time : (n_draw,)
        Lap times. [s]
    """
    draws = draws or Draws()
    check_draws(case, draws)
    p = draws.parameters(case) + (np.zeros(N_PARAMETER) if offset is None else offset)

    def one(i: int) -> float:
        return float(run_kernel(case, p[i], case.aero.of_draw(i))[0])

    return np.array(over_draws(one, draws.n_draw, workers))


def lap_slopes(
    case: Case, draws: Draws | None = None, *, workers: int | None = None
) -> tuple[Array, Array]:
    """Return lap time and its exact gradient for every draw.

    Parameters
    ----------
    case, draws, workers : ()
        As :func:`lap_times`. [-]

    Returns
    -------
    time, gradient : (n_draw,), (n_draw, n_parameter)
        Lap time [s] and slopes [s per unit].
    """
    draws = draws or Draws()
    check_draws(case, draws)
    p = draws.parameters(case)

    def one(i: int) -> tuple[float, Array]:
        record = run_kernel(case, p[i], case.aero.of_draw(i))
        return float(record[0]), gradient_of(case, record, p[i], case.aero.of_draw(i), case.mix)

    found = over_draws(one, draws.n_draw, workers)
    return np.array([t for t, _ in found]), np.stack([g for _, g in found])
