"""An exception as something a page can show: what happened, where, and the cure."""

from typing import Any

from tuftwork.errors import (
    Cancelled,
    FileFault,
    InputError,
    NotConverged,
    NotCovered,
    TuftworkError,
    UnknownName,
)

# Most particular first. `kind` picks the page's state; the number is the HTTP status.
_KINDS: tuple[tuple[type[BaseException], str, int], ...] = (
    (UnknownName, "unknown name", 404),
    (NotCovered, "empty", 409),
    (Cancelled, "cancelled", 409),
    (NotConverged, "not converged", 422),
    (FileFault, "refused", 422),
    (InputError, "refused", 422),
    (TuftworkError, "refused", 422),
)


def refusal(fault: BaseException) -> tuple[dict[str, Any], int]:
    """Return the tree a page shows for an exception, and its HTTP status."""
    for error, kind, status in _KINDS:
        if isinstance(fault, error):
            return {"kind": kind, "text": str(fault), "faults": _faults(fault)}, status
    text = f"{type(fault).__name__}: {fault}. This is a defect of the program, not of your project."
    return {"kind": "defect", "text": text, "faults": []}, 500


def _faults(fault: BaseException) -> list[dict[str, Any]]:
    if not isinstance(fault, FileFault):
        return []
    return [
        {
            "what": one.what,
            "file": one.file,
            "line": one.line,
            "key": one.key,
            "found": one.found,
            "expected": one.expected,
            "cure": one.cure,
        }
        for one in fault.faults
    ]
