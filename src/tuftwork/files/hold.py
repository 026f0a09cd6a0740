"""A folder that one process works in at a time; whatever ends the process lets it go."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_FILE = "held"


@contextmanager
def holding(folder: Path) -> Iterator[bool]:
    """Hold a folder for this process alone and say whether it could be had.

    The system keeps the hold, so that a kill ends it too; where it knows none everybody may have
    the folder.

    Parameters
    ----------
    folder
        Made if it is not there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    handle = os.open(folder / _FILE, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        yield _had(handle)
    finally:
        os.close(handle)


def _had(handle: int) -> bool:
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True
