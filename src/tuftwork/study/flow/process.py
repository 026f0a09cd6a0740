"""Whether the process that a note names is still there: the same one, and not its number alone.

Only the host that a process runs on can say so. A folder may be shared by several hosts: of what
another one does only the time of its last note is known here.
"""

import os
import platform
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

_STATE, _BEGUN = 0, 19
"""Words of ``/proc/<pid>/stat`` behind the name: state, and when it began since the start."""
FRESH = 300.0
"""Age up to which a note of another host counts for a process at work: one that cuts a large grid
or takes a long sample writes nothing meanwhile, and the hosts' clocks differ a little. [s]"""


def here() -> str:
    """Return the name of this host."""
    return platform.node()


def host_of(note: Mapping[str, Any]) -> str:
    """Return the other host that wrote a note, empty where it was this one or nobody said.

    Parameters
    ----------
    note
        What was written down of a process: ``host``, as ``here`` said there.
    """
    host = str(note.get("host") or "")
    return "" if host == here() else host


def age_of(when: object) -> float:
    """Return how long ago something was written down, by the clocks of both hosts. [s].

    Parameters
    ----------
    when
        ISO 8601 with its time zone; what cannot be read is as old as can be.
    """
    try:
        then = datetime.fromisoformat(str(when))
        return max(0.0, (datetime.now(UTC) - then).total_seconds())
    except (TypeError, ValueError):
        return float("inf")


def spoken_age(age: float) -> str:
    """Return an age as a person says it; ``age`` in seconds."""
    if age == float("inf"):
        return "at an unknown time"
    for size, name in ((86_400.0, "day"), (3600.0, "hour")):
        if age >= 2 * size:
            return f"{age / size:.0f} {name}s ago"
    count = max(1, round(age / 60))
    return f"{count} minute{'' if count == 1 else 's'} ago"


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


def seen_from_here(note: Mapping[str, Any], can_resume: bool) -> dict[str, str]:
    """Return what there is to say of a run that its note calls going.

    Parameters
    ----------
    note
        With ``pid``, ``born``, ``host`` and ``updated``; the last two are missing in old ones.
    can_resume
        Whether it has kept a checkpoint.

    Returns
    -------
    news
        Nothing of one that goes on here; of one on another host its name as ``elsewhere``; a
        ``state`` of ``"unheard"`` or ``"lost"`` with its ``text`` where it seems to have ended.
    """
    kept = "It goes on from its last checkpoint" if can_resume else (
        "Nothing was saved yet: it starts afresh")  # fmt: skip
    host, age = host_of(note), age_of(note.get("updated"))
    if host and age <= FRESH:
        return {"elsewhere": host}
    if host:
        text = f"Last heard of {spoken_age(age)} on {host}. Look there whether it still runs: two "
        text += f"at once spoil each other's files. {kept} when it is run here."
        return {"elsewhere": host, "state": "unheard", "text": text}
    if not is_alive(int(note.get("pid", 0)), str(note.get("born", ""))):
        text = f"The process of this run has gone. {kept} when it is run again."
        return {"state": "lost", "text": text}
    return {}


def already(note: Mapping[str, Any] | None) -> str:
    """Say that a run is going on, and where if that is another host."""
    where = (note or {}).get("elsewhere")
    return f"is running already on {where}" if where else "is running already"


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
