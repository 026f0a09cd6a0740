"""How the cooling's numbers are told: one address and chain each, and those without a range."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tuftwork.car.cooling import Cooling
from tuftwork.cooling.case import cooling_of
from tuftwork.cooling.cost import SOURCES as COST_SOURCES
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.system import SOURCES
from tuftwork.quantity import exact, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number, link_of_source, number_of_quantity


class Teller:
    """Numbers of the cooling, each with its chain."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers
        self.table: Cooling = cooling_of(answers.project)
        self.at = condition(self.table)
        self.among = {n for n in answers.job.quantities if n.startswith(("cooling.", "car.power"))}
        self.links: Sequence[Link] = [
            Link(what="Air net, circuits and heated air solved together, every draw",
                 origin="computed", place="docs/models/air-net.md"),
            *(link_of_source("Method", s) for s in (*SOURCES, *COST_SOURCES)),
        ]  # fmt: skip

    def number(
        self, address: str, draws: Any, dimension: str, title: str, unit: str | None = None
    ) -> Number:
        """Return a number of the cooling under ``cooling/<address>``."""
        size = self.answers.ensemble.size
        values = np.broadcast_to(np.asarray(draws, dtype=float), (size,))
        return self.answers.book.number(
            f"cooling/{address}", values, dimension, unit=unit, title=title, links=self.links,
            at=self.at, among=self.among, notices=(TEMPERATURE_CAUTION,),
            decision="Which opening to change first, and by how much.",
        )  # fmt: skip


def condition(table: Cooling) -> str:
    """Return the condition the cooling's numbers hold at, in words."""
    speed = format_plain(table.speed.best, "speed", "km/h", digits=1)
    return f"{speed}, {format_plain(table.temperature.best, 'temperature', digits=0)} air"


def certain(value: float, dimension: str) -> Number:
    """Return a number that has no range of its own: a chance, an area sized for a risk."""
    unit, digits = {
        "share": ("%", 2), "area": ("m²", 3), "temperature difference": ("K", 1),
    }[dimension]  # fmt: skip
    return number_of_quantity(exact(round(value, digits), dimension, unit=unit, origin="computed"))
