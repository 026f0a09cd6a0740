"""What the laps of a study say: seconds of every state, draw by draw, and what a unit is worth."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.errors import NotCovered, UnknownName
from tuftwork.lap import DriverScatter, Lap
from tuftwork.lap.parameter import INDEX
from tuftwork.lap.record import LapTrace
from tuftwork.lap.value import UNITS, Footing, Worth, footing_of, worth_of
from tuftwork.quantity import Array
from tuftwork.study.answers import Answers
from tuftwork.study.job import GRIP
from tuftwork.study.lap import lap_of_draw, step_name
from tuftwork.study.lap_car import lap_names
from tuftwork.study.lap_tree import trace_back
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree

_ASSUMED = DriverScatter()


_PRINTED = 0.002  # [s] draws this near the middle are the middle as it is printed


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Laps of one draw by state, and which draw it is."""

    draw: int
    laps: Mapping[str, Lap]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laps:
    """The laps of one circuit.

    Attributes
    ----------
    answers, circuit
        The study, and where.
    """

    answers: Answers
    circuit: str

    @classmethod
    def of(cls, answers: Answers, circuit: str = "") -> "Laps":
        """Return the laps of a circuit, the first where none is named.

        Raises
        ------
        NotCovered
            If the project says nothing of a lap, or a lap could not be run.
        UnknownName
            If there is no such circuit.
        """
        names = circuits_of(answers)
        if not names:
            raise NotCovered(
                "No lap: it needs [lap] with a circuit and tyres, parts, and both axles."
            )
        if circuit and circuit not in names:
            raise UnknownName("circuit", circuit, names)
        return cls(answers=answers, circuit=circuit or names[0])

    def result(self, state: str) -> Tree:
        """Return the result of one state."""
        found = self.answers.results[step_name(self.circuit, state)]
        if "refused" in found:
            raise NotCovered(f"No lap of {self.circuit} in '{state}': {found['refused']}")
        return found

    @property
    def base(self) -> str:
        """The baseline's name."""
        return self.answers.states[0]

    @property
    def driver(self) -> DriverScatter:
        """The driver's scatter, as entered or assumed."""
        return driver_of(self.answers)

    def draws(self, state: str, name: str = "time") -> Array:
        """Return a result draw by draw, NaN where a draw has no lap."""
        return np.asarray(self.result(state)[name], dtype=float)

    def change(self, state: str, after: str = "", name: str = "time") -> Array:
        """Return a result less that of the baseline (or of ``after``), draw by draw."""
        return np.asarray(self.draws(state, name) - self.draws(after or self.base, name))

    def trace(self, state: str) -> LapTrace:
        """Return the trace of the car in the middle of the draws."""
        return trace_back(self.result(state)["trace"])

    def pair(self, state: str, beside: str) -> "Pair":
        """Return two states' laps in the draw whose change is the middle of all draws.

        The car in the middle of the draws gains something else than the middle of what the draws
        gain: laps laid over each other are of one draw, whose difference is the table's. Of the
        draws that come within what is printed, the one nearest to the middle lap time is taken.
        """
        key = f"pair {self.circuit}: {state}, {beside}"
        worked = self.answers.worked_out
        if key not in worked:
            time = self.draws(state)
            change = time if state == beside else self.change(state, beside)
            draw = _middle_draw(change, time)
            job, results = self.answers.job, self.answers.results
            assert self.answers.project.lap is not None
            table = next(c for c in self.answers.project.lap.circuits if c.name == self.circuit)
            worked[key] = Pair(draw=draw, laps={
                name: lap_of_draw(job, results, table, name, draw)
                for name in dict.fromkeys((state, beside))
            })  # fmt: skip
        found: Pair = worked[key]
        return found

    def footing(self, state: str) -> Footing:
        """Return downforce and front share in the fast corners of the middle car."""
        return footing_of(self.trace(state))

    def unit_draws(self, state: str) -> Iterator[tuple[str, Array]]:
        """Yield what every unit is worth, draw by draw. [s]"""
        slopes, stand = self.draws(state, "slopes"), self.footing(state)
        for name, make in UNITS.items():
            yield name, np.asarray(slopes @ make(stand))

    def exchange(self, state: str) -> Array:
        """Return the drag one point of downforce may cost at equal lap time, draw by draw. [-]"""
        slopes, stand = self.draws(state, "slopes"), self.footing(state)
        gained = slopes @ UNITS["one point of CzS"](stand) / 0.01
        return np.asarray(-gained / slopes[:, INDEX["drag_added"]])

    def worth(self, name: str, seconds: Array) -> Worth:
        """Return the worth of seconds drawn, against the driver's scatter."""
        return worth_of(name, seconds[np.isfinite(seconds)], self.driver)

    def number(
        self, what: str, state: str, draws: Array, dimension: str = "time", **more: Any
    ) -> Number:
        """Return a number of this circuit, its chain kept."""
        others = more.pop("others", ())
        answers = self.answers
        keep = np.isfinite(draws)
        links = [
            *answers.car_links(state),
            *_grip_links(answers),
            Link(
                what=f"Quasi-steady lap of {self.circuit}, every draw on its own aero map",
                origin="computed", source="brayshaw2005", place="forward and backward passes",
            ),
        ]  # fmt: skip
        return answers.book.number(
            f"lap/{self.circuit}/{state}/{what}", draws, dimension, links=links, keep=keep,
            among=answers.inputs_in(state, *others) | lap_names(answers.project),
            notices=self.notices(state), at=f"{self.circuit}, {state}", **more,
        )  # fmt: skip

    def notices(self, state: str) -> list[str]:
        """Return what a reader of this lap must be told."""
        found = self.result(state)
        return list(dict.fromkeys([*found["notices"], *self.answers.notices(state)]))


def _middle_draw(change: Array, time: Array) -> int:
    """Return the draw in the middle of the changes, of several the one in the middle of times."""
    off = np.abs(change - np.nanmedian(change))
    near = np.where(np.isfinite(off), off, np.inf) <= max(float(np.nanmin(off)), _PRINTED)
    return int(np.argmin(np.where(near, np.abs(time - np.nanmedian(time)), np.inf)))


def _grip_links(answers: Answers) -> list[Link]:
    """Return the step that circles make, where they tie the tyres."""
    rows = answers.results.get(GRIP, {}).get("rows", ())
    if not rows:
        return []
    return [Link(what=f"Tyres tied to circles {', '.join(row['id'] for row in rows)}",
                 origin="measured", source=", ".join(dict.fromkeys(
                     row["evidence"] for row in rows if row["evidence"])))]  # fmt: skip


def circuits_of(answers: Answers) -> tuple[str, ...]:
    """Return the names of the circuits that were lapped."""
    lap = answers.project.lap
    if lap is None:
        return ()
    base = answers.states[0]
    return tuple(c.name for c in lap.circuits if step_name(c.name, base) in answers.results)


def driver_of(answers: Answers) -> DriverScatter:
    """Return the driver's scatter as entered, else what is usual."""
    lap = answers.project.lap
    if lap is None or lap.driver is None:
        return _ASSUMED
    return DriverScatter(deviation=lap.driver.scatter.best, laps=lap.driver.laps)
