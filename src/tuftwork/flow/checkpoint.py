"""Save a run so that it can go on after a kill: written whole or not at all."""

import hashlib
import os
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tuftwork.errors import Fault, FileFault
from tuftwork.flow.engine import AbstractEngine
from tuftwork.flow.setup import Setup

FORM = 1
"""Version of the file's form."""


def setup_digest(setup: Setup, precision: str) -> str:
    """Return a digest of everything that must be alike for a run to go on."""
    h = hashlib.sha256()
    h.update(repr((setup.shape, setup.viscosity, setup.force, setup.stream, precision)).encode())
    for array in (setup.mark, setup.walls.cell, setup.walls.cut, setup.walls.table()):
        h.update(np.ascontiguousarray(array).tobytes())
    return h.hexdigest()


def write_checkpoint(path: Path, engine: AbstractEngine, series: npt.NDArray[np.float64]) -> None:
    """Write the state of a run: temporary file, flush to disk, rename.

    Parameters
    ----------
    path
        Where to write; an older file is replaced only once the new one is complete.
    engine
        The running engine.
    series : (n, n_surface, 6)
        Loads so far.
    """
    partial = path.with_suffix(path.suffix + ".part")
    with partial.open("wb") as file:
        np.savez(
            file,
            form=np.array(FORM),
            digest=np.array(setup_digest(engine.setup, engine.precision)),
            series=series,
            **engine.state(),  # type: ignore[arg-type]
        )
        file.flush()
        os.fsync(file.fileno())
    partial.replace(path)


def read_checkpoint(path: Path, engine: AbstractEngine) -> npt.NDArray[np.float64]:
    """Put an engine back to a saved state and return the loads so far.

    Parameters
    ----------
    path
        The file.
    engine
        An engine of the same setup and precision.

    Returns
    -------
    series : (n, n_surface, 6)
        Loads up to the saved step.

    Raises
    ------
    FileFault
        If the file is damaged or belongs to another setup.
    """
    try:
        with np.load(path, allow_pickle=False) as saved:
            held = {key: saved[key] for key in saved.files}
    except (OSError, ValueError, EOFError, KeyError) as error:
        fault = Fault(what="cannot be read as a checkpoint", file=str(path), found=str(error))
        raise FileFault([fault]) from error
    expected = setup_digest(engine.setup, engine.precision)
    if int(held.get("form", -1)) != FORM or str(held.get("digest")) != expected:
        fault = Fault(
            what="belongs to another run",
            file=str(path),
            found=str(held.get("digest"))[:12],
            expected=expected[:12],
            cure="Start afresh, or go back to the case it was written for.",
        )
        raise FileFault([fault])
    engine.restore(held)
    return np.asarray(held["series"], dtype=float)
