"""What is saved of a run so that it can go on after a kill, and whether it belongs to it.

Where it is kept is not this room's business: whoever starts a run hands it a ``Shelf``.
"""

import hashlib
from math import ceil
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.flow.engine import AbstractEngine
from tuftwork.flow.setup import Setup

FORM = 4
"""Version of what is saved."""
Saved = dict[str, npt.NDArray[np.generic]]


@runtime_checkable
class Shelf(Protocol):
    """Where the state of a run is kept, whole or not at all."""

    @property
    def name(self) -> str:
        """What a reader knows it by."""
        ...

    def read(self) -> Saved | None:
        """Return what was kept, None where nothing was."""
        ...

    def write(self, saved: Saved) -> None:
        """Keep a state; an older one is given up only once the new one is complete."""
        ...

    def write_lost(self, saved: Saved) -> str:
        """Keep the state of a diverged run beside it and return the name of that."""
        ...


def setup_digest(setup: Setup, precision: str) -> str:
    """Return a digest of everything that must be alike for a run to go on."""
    h = hashlib.sha256()
    h.update(repr((setup.shape, setup.viscosity, setup.force, setup.stream, precision)).encode())
    for array in (setup.mark, setup.walls.cell, setup.walls.cut, setup.walls.table()):
        h.update(np.ascontiguousarray(array).tobytes())
    return h.hexdigest()


def _digest(engine: AbstractEngine) -> str:
    """Return the digest of all boxes of an engine."""
    found = [setup_digest(setup, engine.precision) for setup in engine.setups]
    return found[0] if len(found) == 1 else hashlib.sha256("".join(found).encode()).hexdigest()


def to_save(
    engine: AbstractEngine, series: npt.NDArray[np.float64], *, seconds: float, settle: float
) -> Saved:
    """Return everything a run needs to go on.

    Parameters
    ----------
    engine
        The running engine.
    series : (n, n_surface, 6)
        Loads so far.
    seconds
        Time spent so far, by all processes. [s]
    settle
        Travel after which its means began. [body lengths]
    """
    return {
        "form": np.array(FORM),
        "digest": np.array(_digest(engine)),
        "series": series,
        "seconds": np.array(seconds),
        "settle": np.array(settle),
        **engine.state(),
    }


def put_back(engine: AbstractEngine, saved: Saved, name: str) -> npt.NDArray[np.float64]:
    """Put an engine back to a saved state and return the loads so far.

    Parameters
    ----------
    engine
        An engine of the same setup and precision; how many slabs it has does not matter.
    saved
        What was kept.
    name
        Where it was kept, for the reader.

    Returns
    -------
    series : (n, n_surface, 6)
        Loads up to the saved step.

    Raises
    ------
    FileFault
        If it belongs to another setup.
    """
    expected = _digest(engine)
    if int(saved.get("form", np.array(-1))) != FORM or str(saved.get("digest")) != expected:
        fault = Fault(
            what="belongs to another run",
            file=name,
            found=str(saved.get("digest"))[:12],
            expected=expected[:12],
            cure="Start afresh, or go back to the case it was written for.",
        )
        raise FileFault([fault])
    engine.restore(saved)
    return np.asarray(saved["series"], dtype=float)


def seconds_of(saved: Saved) -> float:
    """Return the time that was spent on a saved state; 0 where an older version kept none. [s]."""
    return float(saved.get("seconds", np.array(0.0)))


def settled_again(engine: AbstractEngine, saved: Saved, *, settle: float, travel: float) -> bool:
    """Begin the means of a run that goes on anew where it shall settle for longer now.

    Parameters
    ----------
    engine
        Put back to the saved state.
    saved
        What was kept.
    settle
        Travel before anything is averaged, as it is asked now. [body lengths]
    travel
        Of the saved state. [body lengths]

    Returns
    -------
    is_anew
        Whether what was averaged before is forgotten.

    Raises
    ------
    InputError
        If the means that were asked now would have to leave out some samples of what is kept, or
        need some that were not taken: only the loads are kept one by one.
    """
    began = float(saved.get("settle", np.array(settle)))
    fault = settling_fault(began, settle, travel)
    if fault is not None:
        raise fault
    is_anew = travel > min(began, settle) and began != settle
    if is_anew:
        engine.clear()
    return is_anew


def settling_fault(began: float, settle: float, travel: float) -> InputError | None:
    """Return why a run cannot go on with another settling; None where it can.

    Parameters
    ----------
    began, settle
        Travel after which its means began, and after which they shall begin. [body lengths]
    travel
        Of its checkpoint. [body lengths]
    """
    if began == settle or travel <= min(began, settle) or settle >= travel:
        return None
    limit = f"the checkpoint at {travel:.2f} holds means of the fields from {began:g} on"
    cure = f"Keep {began:g}, or let it settle for {ceil(travel)} or more."
    return InputError("settle", settle, "body lengths", limit, cure)
