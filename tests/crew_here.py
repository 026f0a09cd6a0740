"""A crew of threads: what processes do for their slabs, done in this one.

On the CPU planes travel through pipes, with the likeness of CuPy in place through its messages; on
one real card, where NCCL would not let two meet, through copies that events hold in order.
"""

from collections import defaultdict
from collections.abc import Sequence
from multiprocessing import Pipe
from queue import Queue
from threading import Thread
from typing import Any

from tuftwork.flow.engine import Precision
from tuftwork.flow.slab import OTHER, SIDES, Side, Slab
from tuftwork.flow.slab_crew import Kind, Member
from tuftwork.flow.slab_cuda import NcclLink, load_cupy
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
        key = self.ask("key", [(kind, 0)] * count)[0]  # threads share a card
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


class OneCardLink(NcclLink):
    """What stands for NCCL between threads that share one card."""

    def __init__(self, key: Any, number: int, count: int) -> None:
        self._boxes, self._number = key, number
        self._cupy = load_cupy()
        self._stream = self._cupy.cuda.Stream(non_blocking=True, priority=-5)
        self._ready = self._cupy.cuda.Event(disable_timing=True)
        self._here = self._cupy.cuda.Event(disable_timing=True)
        # a copy must outlive what reads it on another stream
        self._kept: list[Any] = []

    @staticmethod
    def new_key() -> Any:
        """Return boxes for what goes from one slab to another."""
        return defaultdict(Queue)

    def _exchange(self, slab: Slab, out: dict[Side, Any], into: dict[Side, Any]) -> None:
        """Send up, take from below, send down, take from above."""
        for side in SIDES[::-1]:
            if side in out:
                rows, done = out[side].copy(), self._cupy.cuda.Event(disable_timing=True)
                done.record(self._stream)
                self._kept.append(rows)
                self._boxes[self._number, slab.next_to(side)].put((rows, done))
        for side in SIDES[::-1]:
            other = OTHER[side]
            if other in into:
                box = self._boxes[slab.next_to(other), self._number]
                rows, done = box.get(timeout=_PATIENCE)
                self._stream.wait_event(done)
                into[other][...] = rows
