"""What the brakes do in a lap: of the lap as it is driven, else of the stops that were entered."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tuftwork.car.brake import Brakes
from tuftwork.cooling import BrakingCar, Stop, lap_energy, lap_trace, stop_energy
from tuftwork.cooling.case_loop import Of
from tuftwork.cooling.disc import BrakeTrace
from tuftwork.errors import NotCovered
from tuftwork.quantity import Array, Numeric
from tuftwork.study.lap_history import LapHistory

STEPS = 800  # [-]  times of a lap
_TOUCH = 0.02  # [-]  of the lap's greatest braking power: less is a trailing foot
_LEAST_DROP = 5.0 / 3.6  # [m/s]
_G = 9.80665  # [m/s²]
_DENSITY = 1.17  # [kg/m³]  air of a warm day; brakes feel it through drag alone


@dataclass(frozen=True, slots=True, kw_only=True)
class BrakingCase:
    """What the brakes stand on: the table, draws, mass [kg], CzS and CxS by state [m²], laps.

    Where the baseline was lapped, the lap says what the brakes get; else the entered stops do.
    """

    table: Brakes
    of: Of
    mass: float
    loads: Mapping[str, tuple[float, float]]
    laps: Mapping[str, LapHistory] = field(default_factory=dict)

    @property
    def lap(self) -> LapHistory | None:
        """The baseline's lap, None where the entered stops count."""
        return next(iter(self.laps.values()), None)

    @property
    def lap_time(self) -> float:
        """Of the lap the brakes do [s]."""
        return self.table.lap_time.best if self.lap is None else self.lap.lap_time

    @property
    def stops(self) -> tuple[Stop, ...]:
        """Stops of a lap, as driven or as entered."""
        if self.lap is not None:
            return tuple(Stop(fast=s.fast, slow=s.slow) for s in stops_of(self.lap))
        if not self.table.stops:
            raise NotCovered("The brakes need a lap that can be run, or 'stops' in [brakes].")
        return tuple(Stop(fast=s.fast.best, slow=s.slow.best) for s in self.table.stops)

    def car(self, state: str = "") -> BrakingCar:
        """Return what decides a stop in a state, the baseline unless named."""
        down, drag = (0.0, 0.0)
        if self.loads:
            down, drag = self.loads[state or next(iter(self.loads))]
        return BrakingCar(
            mass=self.mass, grip=self.of("brakes.grip"), downforce_area=down, drag_area=drag,
            front_share=self.of("brakes.front_share"), density=_DENSITY,
        )  # fmt: skip

    def trace(self, axle: str, state: str = "", n_step: int = STEPS) -> BrakeTrace:
        """Return one disc's power over a lap of a state, the baseline unless named."""
        lap = self.laps.get(state) if state else self.lap
        share = np.asarray(self.of("brakes.front_share"))
        if lap is not None:
            every = max(1, round((len(lap.time) - 1) / n_step))
            own = 0.5 * (share if axle == "front" else 1.0 - share)
            watt = _thinner(lap.brake, every)
            return BrakeTrace(
                time=lap.time[::every], speed=_thinner(lap.speed, every),
                power=watt[:, None] * np.atleast_1d(own * self.spread(own, lap)),
            )  # fmt: skip
        car, stops = self.car(state), self.stops
        if state:
            stops = tuple(faster_corner(s, self.car(), car) for s in stops)
        return lap_trace(
            car, stops, self.table.lap_time.best, is_front=axle == "front", n_step=n_step
        )

    def spread(self, like: Array, lap: LapHistory) -> Array:
        """Return the lap's spread over as many draws as the inputs are looked up for [-]."""
        return lap.spread[: like.size] if like.size > 1 else np.ones(1)


def of_chosen(case: BrakingCase, chosen: Array) -> BrakingCase:
    """Return a case with some of its draws, in that order (``standing.py``)."""

    def of(name: str) -> Numeric:
        value = case.of(name)
        return value[chosen] if isinstance(value, np.ndarray) and value.ndim else value

    laps = {name: replace(lap, spread=lap.spread[chosen]) for name, lap in case.laps.items()}
    return replace(case, of=of, laps=laps)


def _thinner(values: Array, every: int) -> Array:
    """Return the mean of each ``every`` steps; the first value stands for the time 0."""
    means = values[1:].reshape(-1, every).mean(axis=1)
    return np.asarray(np.r_[means[0], means])


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivenStop:
    """A stop of a lap: speeds [m/s], into the brakes [J], time [s] and length [m]."""

    fast: float
    slow: float
    energy: float
    duration: float
    distance: float


def stops_of(lap: LapHistory) -> tuple[DrivenStop, ...]:
    """Return the stops of a lap: what is braked in one go and takes off 5 km/h or more."""
    step = float(lap.time[1])
    braked = np.r_[False, lap.brake[1:] > _TOUCH * lap.brake.max(), False]
    begins = np.flatnonzero(braked[1:] & ~braked[:-1])
    ends = np.flatnonzero(braked[:-1] & ~braked[1:])
    found = []
    for begin, end in zip(begins, ends, strict=True):
        inside = slice(begin + 1, end + 1)
        fast, slow = float(lap.speed[begin]), float(lap.speed[inside].min())
        if fast - slow > _LEAST_DROP:
            found.append(DrivenStop(
                fast=fast, slow=slow, energy=float(lap.brake[inside].sum() * step),
                duration=(end - begin) * step, distance=float(lap.speed[inside].sum() * step),
            ))  # fmt: skip
    return tuple(found)


def braking_energy(case: BrakingCase, state: str = "") -> tuple[Array, Array]:
    """Return what the brakes get in a lap of a state [J], and its mean power [W]."""
    lap = case.laps.get(state) if state else case.lap
    if lap is not None:
        each = np.asarray(case.of("brakes.grip"))
        total = np.asarray(lap.brake[1:].sum() * lap.time[1] * case.spread(each, lap))
        return total, total / lap.lap_time
    car, stops = case.car(state), case.stops
    if state:
        stops = tuple(faster_corner(s, case.car(), car) for s in stops)
    found = lap_energy(car, stops, case.table.lap_time.best)
    return np.asarray(found.energy), np.asarray(found.mean_power)


def braking_time(case: BrakingCase, state: str) -> float:
    """Return how long a lap of a state is braked [s]."""
    lap = case.laps.get(state)
    if lap is not None:
        return sum(stop.duration for stop in stops_of(lap))
    car, before = case.car(state), case.car()
    stops = [faster_corner(s, before, car) for s in case.stops]
    return sum(float(np.mean(stop_energy(car, s).duration)) for s in stops)


def faster_corner(stop: Stop, before: BrakingCar, after: BrakingCar) -> Stop:
    """Return a stop of a car with other downforce: the same corner taken at its new limit.

    The corner's radius follows from the speed it is taken at now, m v²/R = μ (m g + ρ/2 CzS v²);
    the straight's end keeps its speed.
    """
    mu, mass, half = float(np.mean(before.grip)), float(np.mean(before.mass)), 0.5 * before.density
    v2 = stop.slow**2
    if v2 <= 0:
        return stop
    curve = mu * (mass * _G + half * float(np.mean(before.downforce_area)) * v2) / (mass * v2)
    left = mass * curve - mu * half * float(np.mean(after.downforce_area))
    now = (mu * mass * _G / left) ** 0.5 if left > 0 else stop.fast
    return Stop(fast=stop.fast, slow=min(now, 0.97 * stop.fast))
