"""What the app asks of the study: one object, eight methods.

The app holds no physics and no project; everything it shows comes through this protocol. Calls
arrive from worker threads, several at a time, so an implementation must be safe to call that way.
"""

from collections.abc import Callable, Mapping
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray


@runtime_checkable
class Progress(Protocol):
    """Called by a run whenever it has news."""

    def __call__(self, share: float, step: str, left_s: float | None) -> None:
        """Report the share done (0 to 1), the step under way and the seconds left, if known."""
        ...


@runtime_checkable
class Workbench(Protocol):
    """One open project: its pages, its chains of evidence, its live answers, its runs."""

    def page(self, name: str, **query: str) -> dict[str, Any]:
        """Return one page as a tree of plain values (see ``contract``).

        Raises
        ------
        UnknownName
            If there is no such page; the message lists the pages.
        NotCovered
            If the page has nothing to show yet; the message says what to do first.
        """
        ...

    def why(self, name: str) -> dict[str, Any]:
        """Return the chain of evidence behind one number.

        Raises
        ------
        UnknownName
            If no number has this chain.
        """
        ...

    def live(
        self, message: Mapping[str, Any]
    ) -> tuple[dict[str, Any], dict[str, NDArray[np.float64]]]:
        """Answer one live request (``message["do"]`` names it) with a header and arrays."""
        ...

    def run(self, progress: Progress, cancelled: Callable[[], bool]) -> dict[str, Any]:
        """Run the study; return its line of the run log.

        Raises
        ------
        Cancelled
            When ``cancelled()`` turned true; everything finished so far is kept.
        """
        ...

    def digest(self) -> str:
        """Return the digest of the project's inputs as they are now."""
        ...

    def is_stale(self) -> bool:
        """Return whether the inputs changed since the shown results were computed."""
        ...

    def is_readable(self) -> bool:
        """Return whether the inputs can be read as they are now; where not, pages refuse."""
        ...

    def close(self) -> None:
        """Let go of the project; called once, when the server stops."""
        ...
