"""A crew of threads: what processes do for their slabs, done in this one.

On the CPU planes travel through pipes, with the likeness of CuPy in place through its messages.
"""

from collections.abc import Sequence
from multiprocessing import Pipe
from queue import Queue
from threading import Thread
from typing import Any

from tuftwork.flow.engine import Precision
from tuftwork.flow.slab import Slab
from tuftwork.flow.slab_crew import Kind, Member
from tuftwork.flow.slab_nest import Stack

_PATIENCE = 120.0
"""Longest that an answer may take. [s]"""


class ThreadCrew:
    """One thread a share."""

    def __init__(
        self, shares: Sequence[Slab | Stack], kind: Kind, precision: Precision = "float64"
    ) -> None:
        count = len(shares)
        ends: list[dict[str, Any]] = [{} for _ in shares]
        for k in range(count):
            ends[k]["above"], ends[(k + 1) % count]["below"] = Pipe()
        self._asked: list[Queue[Any]] = [Queue() for _ in shares]
        self._told: list[Queue[Any]] = [Queue() for _ in shares]
        for k in range(count):
            Thread(target=self._serve, args=(k,), daemon=True).start()
        key = self.ask("key", [(kind, k) for k in range(count)])[0]
        rows = zip(shares, ends, strict=True)
        self.ask("build", [(share, kind, precision, key, own) for share, own in rows])

    def _serve(self, number: int) -> None:
        member = Member(number)
        while (asked := self._asked[number].get()) is not None:
            try:
                self._told[number].put((True, member.do(*asked)))
            except Exception as error:  # noqa: BLE001 - raised again where it was asked
                self._told[number].put((False, error))

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every share do something."""
        for queue, arguments in zip(self._asked, each, strict=True):
            queue.put((verb, arguments))
        found = [queue.get(timeout=_PATIENCE) for queue in self._told]
        for good, answer in found:
            if not good:
                raise answer
        return [answer for _, answer in found]

    def close(self) -> None:
        """End the threads."""
        for queue in self._asked:
            queue.put(None)
