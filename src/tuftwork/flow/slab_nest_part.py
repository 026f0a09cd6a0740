"""What one process does for its slabs of all boxes: step them and let levels meet.

A box's step and the two steps of the finer boxes in it do not need each other: the finer ones take
the air round them from before it, and give theirs back after it. On a card each box has a stream of
its own, so where a slab waits for its neighbour at one level, another level goes on; without that
every step of every box would take as long as on the card that has most of it.
"""

from collections.abc import Callable, Sequence
from typing import Any

from tuftwork.flow.nest_engine import CpuLink, CudaLink
from tuftwork.flow.slab_engine import Hand
from tuftwork.flow.slab_nest import Joint, Stack
from tuftwork.flow.slab_part import CpuPart, Link, Part


class Seam:
    """Exchange between two levels in one slab, and with the slabs below and above."""

    def __init__(
        self, joint: Joint, exchange: CpuLink | CudaLink, child: Part, parent: Part
    ) -> None:
        self.joint, self._exchange = joint, exchange
        self._child, self._parent = child, parent
        width = 1 if isinstance(exchange, CpuLink) else 12
        self._out, self._into = (
            {side: exchange.ten[width * a : width * b] for side, (a, b) in rows.items()}
            for rows in (joint.sent, joint.told)
        )

    def fill(self, even: bool, link: Link) -> None:
        """Fill the finer box's ghosts."""
        self._parent.use()
        self._exchange.read(even)
        link.swap(self._parent, self._child, self._out, self._into)
        self._child.use()
        self._exchange.spread()

    def give(self, even: bool, link: Link) -> None:
        """Write the finer box's moments into its parent."""
        link.swap(self._child, self._parent, {}, {})
        self._parent.use()
        self._exchange.give(even)


class StackHand:
    """Answers for the slabs of all boxes.

    Parameters
    ----------
    stack
        Which they are.
    parts
        What steps each; None where there is none.
    link
        Carries planes and moments to the neighbours.
    overlap
        Tells whether planes travel while inner layers step.
    """

    def __init__(
        self,
        stack: Stack,
        parts: Sequence[Part | None],
        link: Link,
        overlap: Callable[[], bool],
    ) -> None:
        self._parts, self._link, self._overlap = parts, link, overlap
        self._hands = [None if part is None else Hand(part, _refuse) for part in parts]
        make = _joiner(parts)
        self._seams: list[list[Seam]] = [[] for _ in parts]
        for joint in stack.joints:
            child, parent = parts[joint.child], parts[joint.parent]
            if child is not None and parent is not None:
                seam = Seam(joint, make(joint, child, parent), child, parent)
                self._seams[joint.parent].append(seam)
        self.do("wait", ())

    def do(self, verb: str, arguments: tuple[Any, ...]) -> Any:
        """Do what is asked and return the answer."""
        if verb == "advance":
            return self._advance(*arguments)
        if verb == "wait":
            return next(hand.do("wait", ()) for hand in self._hands if hand is not None)
        assert verb == "box"
        number, asked, own = arguments
        hand = self._hands[number]
        return None if hand is None else hand.do(asked, own)

    def _advance(self, n_pair: int) -> None:
        for _ in range(n_pair):
            self._step(0, True)
            self._step(0, False)

    def _step(self, number: int, even: bool) -> None:
        """One step of a box, two of the boxes in it."""
        part, seams = self._parts[number], self._seams[number]
        assert part is not None
        for seam in seams:
            seam.fill(even, self._link)
        part.step(self._link, even=even, overlap=self._overlap())
        for seam in seams:
            self._step(seam.joint.child, True)
            self._step(seam.joint.child, False)
            seam.give(not even, self._link)


def _refuse(n_pair: int) -> None:
    raise NotImplementedError("boxes that hold one another step together")


def _joiner(
    parts: Sequence[Part | None],
) -> Callable[[Joint, Part, Part], CpuLink | CudaLink]:
    """Return what makes the exchange of an interface on the back end of the parts."""
    first: Any = next(part for part in parts if part is not None)
    if isinstance(first, CpuPart):
        return lambda joint, child, parent: CpuLink(joint.lists, child.engine, parent.engine)  # type: ignore[arg-type]
    import cupy

    from tuftwork.flow.nest_text import cuda_source

    text = cuda_source(half=first.engine.precision == "float16")
    module = cupy.RawModule(code=text, options=("-std=c++17", "--fmad=true"))
    return lambda joint, child, parent: CudaLink(joint.lists, child.engine, parent.engine, module)
