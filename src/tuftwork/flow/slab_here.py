"""Slabs on the CPU, all in this process, one after the other: to check the others."""

from collections.abc import Sequence
from typing import Any

from tuftwork.flow.setup import Setup
from tuftwork.flow.slab import OTHER, Slab, cut_slabs
from tuftwork.flow.slab_engine import Hand, SlabEngine
from tuftwork.flow.slab_part import CpuPart


class HereCrew:
    """All slabs in this process, one after the other: for the CPU, and to check the others.

    ``late`` hands planes over at the last moment allowed instead of the first.
    """

    def __init__(self, slabs: Sequence[Slab], *, overlap: bool = False, late: bool = False) -> None:
        self.parts = [CpuPart(slab, overlap=overlap) for slab in slabs]
        self._hands = [Hand(part, lambda n: None) for part in self.parts]
        self._overlap, self._late = overlap, late

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every slab do something."""
        if verb == "advance":
            self._advance(int(each[0][0]))
            return [None] * len(self.parts)
        return [hand.do(verb, own) for hand, own in zip(self._hands, each, strict=True)]

    def close(self) -> None:
        """Nothing to let go of."""

    def _advance(self, n_pair: int) -> None:
        for _ in range(n_pair):
            for even in (True, False):
                for part in self.parts:
                    (part.edge if self._overlap else part.whole)(even=even)
                if self._overlap and self._late:
                    self._inner(even)
                self._hand_over(even)
                if self._overlap and not self._late:
                    self._inner(even)

    def _inner(self, even: bool) -> None:
        for part in self.parts:
            part.inner(even=even)

    def _hand_over(self, even: bool) -> None:
        parts = self.parts
        planes = {
            (part.slab.number, side): part.give(side, even=even).copy()
            for part in parts
            for side in part.sides
        }
        for part in parts:
            for side in part.sides:
                part.take(side, planes[part.slab.next_to(side), OTHER[side]], even=even)


def slabs_here(
    setup: Setup, count: int, *, overlap: bool = False, late: bool = False
) -> SlabEngine:
    """Return an engine of slabs on the CPU, all in this process.

    Parameters
    ----------
    setup
        The whole box.
    count
        How many slabs.
    overlap, late
        Step edge and inner layers apart, and hand planes over before or after the inner ones.
    """
    slabs = cut_slabs(setup, count)
    return SlabEngine(setup, slabs, HereCrew(slabs, overlap=overlap, late=late))
