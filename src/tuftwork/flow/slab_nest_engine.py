"""Boxes of several levels shared out among cards, seen from outside as one engine."""

from collections.abc import Callable, Sequence
from typing import Any

from tuftwork.flow.engine import AbstractEngine, Backend, Precision
from tuftwork.flow.nest import Nest
from tuftwork.flow.nest_engine import Link, NestedEngine
from tuftwork.flow.setup import Setup
from tuftwork.flow.slab_engine import Crew, SlabEngine, crew_on_cards
from tuftwork.flow.slab_nest import Stack, cut_stacks


class BoxCrew:
    """Those of a crew who have a slab of one box, asked about that box alone."""

    def __init__(self, crew: Crew, number: int, has: Sequence[bool]) -> None:
        self._crew, self._number, self._has = crew, number, has

    def ask(self, verb: str, each: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Have every slab of the box do something."""
        own = iter(each)
        asked = [(self._number, verb, next(own) if has else ()) for has in self._has]
        found = self._crew.ask("box", asked)
        return [answer for answer, has in zip(found, self._has, strict=True) if has]

    def close(self) -> None:
        """Let go of nothing: the crew belongs to all boxes."""


class SlabNestedEngine(NestedEngine):
    """Boxes of several levels cut by common planes, one stack of slabs for each of a crew.

    Parameters
    ----------
    nests
        The boxes, parents before children, number 0 the outermost.
    cards
        How many stacks.
    gather
        Makes the crew that does their work.
    backend, precision
        As for ``build_engine``.

    Raises
    ------
    InputError
        If planes have no place between the boxes.
    """

    def __init__(
        self,
        nests: Sequence[Nest],
        cards: int,
        gather: Callable[[Sequence[Stack]], Crew],
        *,
        backend: Backend = "cpu",
        precision: Precision = "float64",
    ) -> None:
        self.cards, self._gather = cards, gather
        super().__init__(nests, backend, precision)

    def _engines(
        self, setups: Sequence[Setup], backend: Any, precision: Any
    ) -> list[AbstractEngine]:
        """Return an engine of slabs for every box."""
        stacks = cut_stacks(self.nests, self.cards)
        self.crew = self._gather(stacks)
        out: list[AbstractEngine] = []
        for n, setup in enumerate(setups):
            slabs = [stack.slabs[n] for stack in stacks]
            crew = BoxCrew(self.crew, n, [slab is not None for slab in slabs])
            own = [slab for slab in slabs if slab is not None]
            out.append(SlabEngine(setup, own, crew, backend=backend, precision=precision))
        return out

    def _linked(self, sons: Sequence[Sequence[int]]) -> list[list[tuple[int, Link]]]:
        """Return nothing: levels meet where the slabs are."""
        return [[] for _ in sons]

    def half_pair(self, even: bool) -> None:
        """Not for slabs: planes are handed over in pairs."""
        raise NotImplementedError("slabs step in pairs")

    def advance(self, n_pair: int) -> None:
        """Advance by ``2 n_pair`` steps of the outermost box."""
        self.crew.ask("advance", [(n_pair,)] * self.cards)
        self.step += 2 * n_pair
        for nest, engine in zip(self.nests, self.engines, strict=True):
            engine.step += 2 * n_pair * nest.scale

    def wait(self) -> None:
        """Wait until every card has done what it was given."""
        self.crew.ask("wait", [()] * self.cards)

    def close(self) -> None:
        """Let go of the slabs."""
        self.crew.close()


def boxes_on_cards(
    nests: Sequence[Nest], cards: int, precision: Precision = "float32"
) -> SlabNestedEngine:
    """Return an engine of boxes of several levels, shared out among graphics cards.

    Parameters
    ----------
    nests
        The boxes.
    cards
        How many cards.
    precision
        Storage of the populations.

    Raises
    ------
    InputError
        As for ``slabs_on_cards``, or if planes have no place between the boxes.
    """
    return SlabNestedEngine(
        nests,
        cards,
        lambda stacks: crew_on_cards(stacks, precision),
        backend="cuda",
        precision=precision,
    )
