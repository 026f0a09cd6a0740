"""A folder that one process works in at a time; whatever ends the process lets it go."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


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
    handle = None
    is_mine = True
    with suppress(OSError, ImportError):  # a system or a disk without such locks
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            is_mine = False
    try:
        yield is_mine
    finally:
        if handle is not None:
            os.close(handle)
