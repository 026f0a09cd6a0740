"""The unknowns that claims and evidence share, and what they are before anything is read."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from jaxtyping import Float

from tuftwork.air import SEA_LEVEL_DENSITY
from tuftwork.car import Body, Floor, Part, Project, Splitter, WingPart
from tuftwork.claims.belief import At, Belief, Unknown, believe
from tuftwork.claims.finding import Computed, Lapped
from tuftwork.claims.table import bound, tolerance
from tuftwork.quantity import Z80, Origin, Quantity

KNOTS = np.arange(60.0, 361.0, 20.0) / 3.6
"""Speeds at which the axles' CzS are unknowns; straight lines between. [m/s]"""
_LEVEL = 0.9  # [m²]  how far an axle's CzS may lie from the middle of all cars
_MIDDLE = 0.8  # [m²]
_BEND = 0.2  # [m²]  how far it may move with speed
_REACH = 60 / 3.6  # [m/s]  over which it moves; a diffuser's cliff needs no less
_WIDE = {"power": (250e3, 1.8), "driveline": (0.88, 1.05), "rolling": (0.015, 1.25)}
_OPEN = 3.0  # [-]  factor of the range of an opening nobody measured

Curve = tuple["Predict", tuple[str, ...]]


class Predict:
    """A value between two knots, or a sum of such values."""

    def __init__(self, terms: Iterable[tuple[str, float]]) -> None:
        self.terms = tuple(terms)

    def __call__(self, at: At) -> float:
        """Return the value from the unknowns [m²]."""
        return sum(weight * at(name) for name, weight in self.terms)

    @property
    def uses(self) -> tuple[str, ...]:
        """Names of the unknowns."""
        return tuple(dict.fromkeys(name for name, _ in self.terms))


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The project, and what is believed of the shared unknowns before anything is read."""

    project: Project
    prior: Belief
    states: tuple[str, ...]
    notices: tuple[str, ...] = ()
    lapped: tuple[Lapped, ...] = ()

    def axle(self, axle: str, speed: float, state: str = "") -> Predict:
        """Return the CzS of the ``front`` or ``rear`` axle, or of the ``car``, at a speed."""
        if axle == "car":
            front, rear = (self.axle(a, speed, state) for a in ("front", "rear"))
            return Predict((*front.terms, *rear.terms))
        place = float(np.interp(speed, KNOTS, np.arange(KNOTS.size)))
        below = min(int(place), KNOTS.size - 2)
        share = place - below
        name = f"{axle}@{self.state(state)}"
        return Predict(((f"{name}@{below}", 1 - share), (f"{name}@{below + 1}", share)))

    def drag(self, state: str = "") -> str:
        """Return the name of a state's CxS."""
        return f"drag@{self.state(state)}"

    def state(self, name: str = "") -> str:
        """Return a state's name, the first where none is given."""
        return name or self.states[0]


def part_area(part: Part) -> Quantity | None:
    """Return the plan area of a part, where it has one; the product of two lengths [m²]."""
    if isinstance(part, WingPart):
        return product(((part.span, 1.0), (part.chord, 1.0)), unit="m²", dimension="area")
    if isinstance(part, Floor):
        length = part.exit_station.best - part.front_station.best
        if not length > 0:
            return None
        return product(((part.width, 1.0),), unit="m²", dimension="area", factor=length)
    return None


def part_bound(part: Part, frontal_area: float) -> tuple[float, float, float, float, str]:
    """Return least, usual, factor and most of a part's CzS, and their source [m²], [-]."""
    area = part_area(part)
    if isinstance(part, WingPart) and area is not None:
        section, span = bound(f"wing section {part.elements}"), bound("wing of span")
        aspect = part.span.best / part.chord.best
        most = min(section.most * span.usual, bound("wing per aspect ratio").most * aspect)
        usual = min(section.usual, 0.6 * most)
        return section.least, usual * area.best, section.factor, most * area.best, section.source
    if isinstance(part, Floor) and area is not None:
        line = bound("floor")
        return line.least * area.best, line.usual * area.best, line.factor, line.most * area.best, line.source  # noqa: E501  # fmt: skip
    if isinstance(part, Splitter):
        line = bound("splitter")
        return line.least, line.usual, line.factor, line.most, line.source
    line = bound("body")
    return line.least * frontal_area, line.usual * frontal_area, line.factor, line.most * frontal_area, line.source  # noqa: E501  # fmt: skip


def frame_of(
    project: Project, *, computed: Sequence[Computed] = (), air: Quantity | None = None,
    lapped: Sequence[Lapped] = (),
) -> Frame:  # fmt: skip
    """Return the shared unknowns of a project.

    Parameters
    ----------
    project
        With its claims and evidence.
    computed
        Gives the parts' priors where it names them.
    air
        Density in which the claims are taken to have been made; the standard's unless given.
    """
    states = _states(project, computed)
    unknowns = [*_car(project), _air(air), *_parts(project, computed), *_openings(project)]
    unknowns += _laps(lapped)
    axles = [_axle(axle, state, index) for state in states for axle in ("front", "rear")
             for index in range(KNOTS.size)]  # fmt: skip
    drags = [_drag(state) for state in states]
    every = [*unknowns, *drags, *axles]
    matrix = np.eye(len(every))
    block = _along_speed()
    start = len(unknowns) + len(drags)
    for first in range(start, len(every), KNOTS.size):
        matrix[first : first + KNOTS.size, first : first + KNOTS.size] = block
    notices = []
    if air is None:
        notices.append("claims name no air: converted at 1.225 kg/m³, four times out of five "
                       "within 4 %")  # fmt: skip
    return Frame(
        project=project, prior=believe(every, matrix), states=states, notices=tuple(notices),
        lapped=tuple(lapped),
    )  # fmt: skip


def worth_name(circuit: str) -> str:
    """Return the name of the unknown that holds what an m² of CzS is worth at a circuit."""
    return f"worth@{circuit}"


def gained_name(circuit: str, state: str) -> str:
    """Return the name of the unknown that holds the seconds a state gains at a circuit."""
    return f"gained@{circuit}@{state}"


def _laps(lapped: Sequence[Lapped]) -> list[Unknown]:
    """Return what laps are asked for, as wide as it is before any lap was run."""
    line, found = bound("lap value"), []
    for lap in lapped:
        time = float(np.median(lap.lap_time))
        found.append(Unknown(name=worth_name(lap.circuit),
                             label=f"seconds for 1 m² of CzS at {lap.circuit}",
                             best=line.usual * time, sd=log(3.0 * line.factor) / Z80, is_log=True,
                             dimension="time", unit="s"))  # fmt: skip
        for state in lap.gained:
            found.append(Unknown(name=gained_name(lap.circuit, state),
                                 label=f"gain of '{state}' at {lap.circuit}", best=0.0,
                                 sd=0.03 * time, is_log=False, dimension="time",
                                 unit="s"))  # fmt: skip
    return found


def product(
    terms: Iterable[tuple[Quantity, float]], *, unit: str, dimension: str, factor: float = 1.0
) -> Quantity:
    """Return a product of powers of quantities, their ranges taken as independent [SI].

    Not for a difference, and not for values that may change their sign.
    """
    best, squared = factor, 0.0
    for quantity, power in terms:
        best *= quantity.best**power
        squared += (power * relative_sd(quantity)) ** 2
    arm = Z80 * sqrt(squared)
    low, high = sorted((best * exp(-arm), best * exp(arm)))
    return Quantity(
        best=best, low=low, high=high, unit=unit, dimension=dimension,
        spread="log" if arm > 0 else "exact", origin="claimed",
    )  # fmt: skip


def relative_sd(quantity: Quantity) -> float:
    """Return the standard deviation over the value of a quantity [-]."""
    return (quantity.high - quantity.low) / (2 * Z80 * abs(quantity.best))


def ranged(quantity: Quantity, name: str) -> Quantity:
    """Return a claimed figure with its tolerance where it was given without a range."""
    if not quantity.is_exact:
        return quantity
    arm = tolerance(name) * (1.0 if name == "share" else abs(quantity.best))
    return Quantity(
        best=quantity.best, low=quantity.best - arm, high=quantity.best + arm,
        unit=quantity.unit, dimension=quantity.dimension, origin=quantity.origin,
        place=quantity.place,
    )  # fmt: skip


def _states(project: Project, computed: Sequence[Computed]) -> tuple[str, ...]:
    first = project.states[0].name if project.states else "baseline"
    others = [m.state for m in project.measured] + [c.state for c in computed]
    others += [getattr(claim, "state", "") for claim in project.claims]
    others += [getattr(claim, "against", "") for claim in project.claims]
    return tuple(dict.fromkeys([first, *(o for o in others if o)]))


def _car(project: Project) -> list[Unknown]:
    car, mass = project.car, project.mass_state().mass
    given = (
        ("area", "frontal area", car.frontal_area, "area", "m²"),
        ("power", "power at the crankshaft", car.power, "power", "kW"),
        ("driveline", "driveline", car.driveline, "ratio", ""),
        ("rolling", "rolling resistance", car.rolling_resistance, "ratio", ""),
        ("mass", "mass", mass, "mass", "kg"),
    )
    unknowns = []
    for name, label, quantity, dimension, unit in given:
        if quantity is None:
            best, factor = _WIDE[name]
            sd = log(factor) / Z80
            unknowns.append(Unknown(name=name, label=label, best=best, sd=sd, is_log=True,
                                    dimension=dimension, unit=unit))  # fmt: skip
        else:
            sd = max(relative_sd(quantity), 1e-4)
            unknowns.append(Unknown(name=name, label=label, best=quantity.best, sd=sd, is_log=True,
                                    dimension=dimension, unit=quantity.unit,
                                    origin=quantity.origin))  # fmt: skip
    return unknowns


def _air(air: Quantity | None) -> Unknown:
    best = SEA_LEVEL_DENSITY if air is None else air.best
    sd = tolerance("air density") / Z80 if air is None else max(relative_sd(air), 1e-4)
    return Unknown(name="air", label="density of the claims' air", best=best, sd=sd, is_log=True,
                   dimension="density", unit="kg/m³")  # fmt: skip


def _parts(project: Project, computed: Sequence[Computed]) -> list[Unknown]:
    found: dict[str, list[Float[np.ndarray, " n"]]] = {}
    for row in computed:
        for name, draws in row.parts:
            found.setdefault(name, []).append(np.asarray(draws, dtype=float))
    unknowns = []
    for part in project.parts:
        least, usual, factor, most, _ = part_bound(part, project.car.frontal_area.best)
        best, sd = usual, usual * (factor - 1 / factor) / (2 * Z80)
        if isinstance(part, Body):
            area = part.area or project.car.frontal_area
            arm = max(part.downforce.high - part.downforce.low, 0.04)
            best, sd = part.downforce.best * area.best, arm * area.best / (2 * Z80)
        if part.name in found:
            together = np.concatenate(found[part.name])
            best, sd = (
                float(np.median(together)),
                max(float(np.std(together)), 0.02 * (most - least)),
            )
        known: Origin = "computed" if part.name in found else "assumed"
        unknowns.append(Unknown(name=f"part@{part.name}", label=f"CzS of the {part.name}",
                                best=best, sd=sd, is_log=False, dimension="area", unit="m²",
                                origin=known))  # fmt: skip
    return unknowns


def _openings(project: Project) -> list[Unknown]:
    names = [o.name for o in project.openings]
    names += [c.opening for c in project.claims if c.kind == "opening area"]
    usual = bound("opening").usual
    return [
        Unknown(name=f"{what}@{name}", label=f"{what} area of the {name}", best=usual,
                sd=log(_OPEN) / Z80, is_log=True, dimension="area", unit="m²")
        for name in dict.fromkeys(names) for what in ("net", "gross")
    ]  # fmt: skip


def _drag(state: str) -> Unknown:
    line = bound("car drag")
    return Unknown(name=f"drag@{state}", label=f"CxS, {state}", best=line.usual,
                   sd=log(line.factor) / Z80, is_log=True, dimension="area", unit="m²")  # fmt: skip


def _axle(axle: str, state: str, index: int) -> Unknown:
    speed = f"{3.6 * KNOTS[index]:.0f} km/h"
    return Unknown(name=f"{axle}@{state}@{index}", label=f"CzS {axle}, {state}, {speed}",
                   best=_MIDDLE, sd=sqrt(_LEVEL**2 + _BEND**2), is_log=False, dimension="area",
                   unit="m²")  # fmt: skip


def _along_speed() -> Float[np.ndarray, "k k"]:
    """Correlation of an axle's CzS at two speeds: a common level and a bend that fades."""
    apart = sqrt(3) * np.abs(KNOTS[:, None] - KNOTS[None, :]) / _REACH
    bend = (1 + apart) * np.exp(-apart)
    return np.asarray((_LEVEL**2 + _BEND**2 * bend) / (_LEVEL**2 + _BEND**2))
