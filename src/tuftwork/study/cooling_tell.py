"""How the cooling's numbers are told: one address and chain each, and those without a range."""

from tuftwork.car.cooling import Cooling
from tuftwork.cooling.case import cooling_of
from tuftwork.cooling.cost import SOURCES as COST_SOURCES
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.system import SOURCES
from tuftwork.quantity import exact, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number, link_of_source, number_of_quantity
from tuftwork.study.tell import RoomTeller


class Teller(RoomTeller):
    """Numbers of the cooling, each with its chain."""

    def __init__(self, answers: Answers) -> None:
        self.table: Cooling = cooling_of(answers.project)
        super().__init__(
            answers, "cooling", at=condition(self.table),
            among=("cooling.", "car.power"),
            links=[
                Link(what="Air net, circuits and heated air solved together, every draw",
                     origin="computed", place="docs/models/air-net.md"),
                *(link_of_source("Method", s) for s in (*SOURCES, *COST_SOURCES)),
            ],
            caution=TEMPERATURE_CAUTION,
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
    shown = round(value, digits)
    number = number_of_quantity(exact(shown, dimension, unit=unit, origin="computed"))
    if dimension == "area":  # 0.100 m² says how well it is known, 0.1 m² does not
        number["text"] = format_plain(shown, dimension, unit, digits)
    return number
