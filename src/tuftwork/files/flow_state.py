"""The state of a 3-D flow run as a file: written whole or not at all, so that a run can go on."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
import numpy.typing as npt

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic_by

_LOST = ".lost"
Saved = dict[str, npt.NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class FlowStateFile:
    """A shelf of the 3-D flow in a file; what a diverged run left lies in ``.lost`` beside it.

    Attributes
    ----------
    path
        The file; it need not be there yet, its folder must.
    """

    path: Path

    @property
    def name(self) -> str:
        """Name of the file."""
        return self.path.name

    def read(self) -> Saved | None:
        """Return what was kept, None where there is no file.

        Raises
        ------
        FileFault
            If the file is damaged.
        """
        if not self.path.is_file():
            return None
        try:
            with np.load(self.path, allow_pickle=False) as held:
                return {key: held[key] for key in held.files}
        except (OSError, ValueError, EOFError, KeyError, BadZipFile) as error:
            fault = Fault(
                what="cannot be read as a checkpoint", file=str(self.path), found=str(error),
                cure="Take the file away: the run then starts afresh.",
            )  # fmt: skip
            raise FileFault([fault]) from error

    def write(self, saved: Saved) -> None:
        """Keep a state; the file is the old one until the new one is complete."""
        _write(self.path, saved)

    def write_lost(self, saved: Saved) -> str:
        """Keep the state of a diverged run and return the name of its file."""
        lost = self.path.with_suffix(self.path.suffix + _LOST)
        _write(lost, saved)
        return lost.name


def _write(path: Path, saved: Saved) -> None:
    """Write arrays straight into the file: a large run's state is not held twice in memory."""

    def arrays(file: Any) -> None:
        np.savez(file, **saved)  # type: ignore[arg-type]

    write_atomic_by(path, arrays)
