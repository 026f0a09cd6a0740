"""Files that are either the old one or the new one, never half of each.

The new text goes into a temporary file beside the old one, is forced to the disk, and takes the
old one's name in one step. Before that the old one is kept under ``….previous`` in the same way,
so a crash at any moment leaves a whole file under the right name.
"""

import os
import platform
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any
from zlib import crc32

from tuftwork.errors import Fault, FileFault

PREVIOUS = ".previous"
_SAVING = ".saving-"
_DEAD = 86_400.0
"""Age from which a temporary file of another host is left over. [s]"""


def write_atomic(path: Path, data: bytes, *, keep_previous: bool = False) -> None:
    """Put ``data`` into a file in one step.

    Parameters
    ----------
    path
        The file; its folder must be there.
    data
        All of its new content.
    keep_previous
        Keep what the file held before beside it, with ``.previous`` after its name.

    Raises
    ------
    FileFault
        If the disk is full or the folder may not be written; the file is then as it was.
    """
    write_atomic_by(path, lambda file: _put(file, data), keep_previous=keep_previous)


def _put(file: Any, data: bytes) -> None:
    file.write(data)


def write_atomic_by(
    path: Path, write: Callable[[Any], None], *, keep_previous: bool = False
) -> None:
    """Put what a function writes into a file in one step.

    Parameters
    ----------
    path
        The file; its folder must be there.
    write
        Given the open binary file, writes all of the new content into it.
    keep_previous
        Keep what the file held before beside it, with ``.previous`` after its name.

    Raises
    ------
    FileFault
        If the disk is full or the folder may not be written; the file is then as it was.
    """
    target = path.resolve() if path.is_symlink() else path
    try:
        clear_leftovers(target)
        if keep_previous and target.is_file():
            old = target.read_bytes()
            _replace(target.with_name(target.name + PREVIOUS), lambda file: _put(file, old))
        _replace(target, write)
    except OSError as error:
        fault = Fault(
            what="could not be saved; it is still as it was before",
            file=path.name,
            found=error.strerror or str(error),
            cure="Make room on the disk or give the folder the right to write, then save again.",
        )
        raise FileFault([fault]) from error


def clear_leftovers(path: Path) -> None:
    """Remove temporary files that a save of ``path`` left behind when it was killed.

    What a process that still runs on this host writes is left alone. Of another host that shares
    the folder nobody knows here what runs: its files go when they have lain untouched for a day.
    """
    for left in path.parent.glob(f".{path.name}*{_SAVING}*"):
        with suppress(OSError):
            if not _is_in_use(left):
                left.unlink()


def _is_in_use(left: Path) -> bool:
    host, _, rest = left.name.rpartition(_SAVING)[2].partition("-")
    if not rest.partition("-")[1]:  # of before hosts were told apart: the process comes first
        host, rest = _here(), f"{host}-{rest}"
    process = rest.partition("-")[0]
    if host != _here() or not process.isdecimal():
        return time.time() - left.stat().st_mtime < _DEAD
    return _is_running(int(process))


def _here() -> str:
    """Return a mark of this host that can stand in the name of a file."""
    return f"{crc32(platform.node().encode()):08x}"


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return process != os.getpid()


def _replace(path: Path, write: Callable[[Any], None]) -> None:
    prefix = f".{path.name}{_SAVING}{_here()}-{os.getpid()}-"
    handle, name = tempfile.mkstemp(prefix=prefix, dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            temporary.chmod(path.stat().st_mode & 0o777)
        else:
            temporary.chmod(0o644)
        temporary.replace(path)
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Force the new name to the disk, where the system lets a folder be opened."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
