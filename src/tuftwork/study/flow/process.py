"""Whether the process that a note names is still there: the same one, and not its number alone."""

import os
import sys
from pathlib import Path

_STATE, _BEGUN = 0, 19
"""Words of ``/proc/<pid>/stat`` behind the name: state, and when it began since the start."""


def born(pid: int) -> str:
    """Return when a process began, empty where the system does not say.

    A number is given away again, soon after a restart of the machine: the two together are not.

    Parameters
    ----------
    pid
        Its number.
    """
    words = _stat(pid)
    if not words:
        return ""
    try:
        start = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return ""
    return f"{start} {words[_BEGUN]}"


def is_alive(pid: int, mark: str = "") -> bool:
    """Return whether a process is there.

    Parameters
    ----------
    pid
        Its number.
    mark
        What ``born`` said of it; empty where nobody asked.
    """
    if pid <= 0:
        return False
    if sys.platform == "win32":  # signal 0 would stop it there
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OSError):
        pass
    words = _stat(pid)
    if words and words[_STATE] in ("Z", "X"):
        return False  # it has ended, and nobody has asked how
    now = born(pid) if mark else ""
    return not now or now == mark


def _stat(pid: int) -> list[str]:
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return []
    return text.rpartition(")")[2].split()
