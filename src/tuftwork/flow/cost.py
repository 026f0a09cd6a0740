"""Memory and time of a run before it starts: the steps, the means, the looks at the whole field."""

from dataclasses import dataclass

from tuftwork.flow.case import FlowCase
from tuftwork.flow.engine import PRECISIONS, Backend, Precision
from tuftwork.flow.nest import Nest
from tuftwork.flow.over_time import pairs_between
from tuftwork.flow.prepare import Prepared, steps_for
from tuftwork.flow.setup import WALL_ROWS

RATES: dict[tuple[Backend, Precision], float] = {
    ("cpu", "float32"): 3.6e7,
    ("cpu", "float64"): 2.4e7,
    ("cuda", "float32"): 1.0e10,
    ("cuda", "float16"): 1.5e10,
}
"""Cell updates per second: two CPU cores; one data-centre card. Recorded, not promised. [1/s]"""
AVERAGED: dict[Backend, float] = {"cpu": 0.8e-7, "cuda": 0.0}
"""Time per cell to add one sample to the means. On the CPU one thread does it: 0.5e-7 to 1.2e-7 on
boxes of 0.2 to 0.9 million cells, 0.82e-7 on average over a run of 0.45 million in two levels, up
to 1.4e-7 where other work shared the cores. Nothing was measured on a card. [s]"""
LOOKED: dict[Backend, float] = {"cpu": 1.2e-7, "cuda": 0.0}
"""Time per cell to look at the whole field once: 0.8e-7 to 1.4e-7 on the same boxes, up to 2.5e-7
beside other work. Nothing was measured on a card. [s]"""
SAMPLES_A_LOOK = 16
"""Load samples between two looks at the whole field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Memory and time before the start.

    Attributes
    ----------
    n_cell, n_step
        Cells in the box and steps for the asked time.
    memory
        [B]
    seconds
        At the rate given, averaging and looking included. [s]
    rate
        Cell updates per second assumed. [1/s]
    watching
        Share of ``seconds`` in time that goes into means and looks. [s]
    """

    n_cell: int
    n_step: int
    memory: float
    seconds: float
    rate: float
    watching: float = 0.0


def samples_and_looks(case: FlowCase, *, lengths: float, settle: float) -> tuple[int, int]:
    """Return how often a run adds to its means, and how often it looks at the whole field.

    Parameters
    ----------
    case
        What is run.
    lengths
        Travel to the end. [body lengths]
    settle
        Travel before anything is averaged. [body lengths]

    Returns
    -------
    n_sample, n_look
        Both at most; a run that is stopped by its error has fewer.
    """
    apart = 2 * pairs_between(case)
    every = -(-steps_for(case, lengths) // apart)  # it ends with the sample that passes the last
    before = int(settle * steps_for(case, 1.0) / apart)
    return max(0, every - before), every // SAMPLES_A_LOOK + 1  # the last look is at the end


def watching_time(
    case: FlowCase, n_cell: int, *, lengths: float, settle: float, backend: Backend
) -> float:
    """Return the time that goes into the means and the looks at the whole field. [s].

    Parameters
    ----------
    case
        What is run.
    n_cell
        Cells of all its boxes: each is gone through once, however often it steps.
    lengths, settle
        As for ``samples_and_looks``. [body lengths]
    backend
        As for ``run``.
    """
    n_sample, n_look = samples_and_looks(case, lengths=lengths, settle=settle)
    return n_cell * (n_sample * AVERAGED[backend] + n_look * LOOKED[backend])


def estimate_cost(
    prepared: Prepared,
    *,
    lengths: float,
    settle: float = 0.0,
    backend: Backend = "cpu",
    precision: Precision | None = None,
) -> Cost:
    """Return memory and time for a run of ``lengths`` body lengths of travel.

    Parameters
    ----------
    prepared
        The case.
    lengths
        Travel in lengths of the parts. [-]
    settle
        Travel before anything is averaged, as of ``StopRule``. [body lengths]
    backend, precision
        As for ``run``.

    Returns
    -------
    cost
        Memory and time at the recorded rate of the back end, means and looks included. Fields
        that are kept over time, surfaces of outputs and saving are not among it.
    """
    chosen: Precision = precision or PRECISIONS[backend][0]
    size = {"float64": 8, "float32": 4, "float16": 2}[chosen]
    mean = 4 * (8 if backend == "cpu" else 4)
    boxes = prepared.nests or (Nest(setup=prepared.setup),)
    n_cell = sum(box.setup.n_cell for box in boxes)
    n_wall = sum(box.setup.walls.cell.size for box in boxes)
    updates = sum(box.setup.n_cell * box.scale for box in boxes)
    memory = n_cell * (27 * size + 1 + mean) + n_wall * (26 * 9 + 16 + 8 * (15 + 2 * WALL_ROWS))
    rate = RATES[backend, chosen]
    n_step = steps_for(prepared.case, lengths)
    watching = watching_time(prepared.case, n_cell, lengths=lengths, settle=settle, backend=backend)
    return Cost(
        n_cell=n_cell,
        n_step=n_step,
        memory=float(memory),
        seconds=updates * n_step / rate + watching,
        rate=rate,
        watching=watching,
    )
