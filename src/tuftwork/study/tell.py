"""How a room's numbers are told: one address, one condition and one chain for all of them."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number


class RoomTeller:
    """Numbers of one room, each with its chain.

    Attributes
    ----------
    at
        Condition they hold at, in words.
    among
        Inputs they can depend on.
    """

    def __init__(
        self, answers: Answers, room: str, *, at: str, among: tuple[str, ...],
        links: Sequence[Link], caution: str, decision: str,
    ) -> None:  # fmt: skip
        self.answers = answers
        self.at = at
        self.among = {n for n in answers.job.quantities if n.startswith(among)}
        self._room, self._links = room, links
        self._caution, self._decision = caution, decision

    def number(
        self, address: str, draws: Any, dimension: str, title: str, unit: str | None = None
    ) -> Number:
        """Return a number of the room under ``<room>/<address>``."""
        values = np.broadcast_to(np.asarray(draws, dtype=float), (self.answers.ensemble.size,))
        return self.answers.book.number(
            f"{self._room}/{address}", values, dimension, unit=unit, title=title,
            links=self._links, at=self.at, among=self.among, notices=(self._caution,),
            decision=self._decision,
        )  # fmt: skip
