"""Test days with a known truth: what loggers would have written, faults planted on purpose.

The truth comes as a function of ride heights and dynamic pressure; everything measured is made from
it with the noise of a stated day, so that whatever reduces the log can be held against it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tuftwork.quantity import Array
from tuftwork.trial.log import Channel, Log
from tuftwork.trial.setup import Setup

_GRAVITY = 9.80665  # [m/s²]
Truth = Callable[[float, float, str], tuple[float, float, float]]
"""hf, hr [m] and the state → CzSf, CzSr, CxS [m²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How much everything scatters on this day; standard deviations. [SI]

    Attributes
    ----------
    pot, laser, air_speed, ground_speed, acceleration
        Of one sample.
    axle_load
        Of one pass: tyres, line, driver. [N]
    gust
        Along-wind of one pass about the mean. [m/s]
    speed_wander
        Amplitude of the driver's speed within a pass. [m/s]
    roll
        Of one pass: half the difference of left and right. [m]
    """

    pot: float = 0.2e-3
    laser: float = 0.5e-3
    air_speed: float = 0.25
    ground_speed: float = 0.03
    acceleration: float = 0.15
    axle_load: float = 22.0
    gust: float = 0.35
    speed_wander: float = 0.2
    roll: float = 0.1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """Faults put into the log; nothing planted unless given.

    Attributes
    ----------
    zero_front, zero_rear
        Axle load already on the pots when they were zeroed too early: the driver's. [N]
    gains
        Role → factor on what the channel should read.
    inverted, stuck
        Roles that read the wrong way round, or stop moving at times.
    swapped
        Pairs of roles that were plugged into each other's place.
    offset
        Role → seconds it is late.
    drift
        Role → SI units an hour.
    quantum, clip
        Role → step, or highest value. [SI]
    """

    zero_front: float = 0.0
    zero_rear: float = 0.0
    gains: dict[str, float] = field(default_factory=dict)
    inverted: tuple[str, ...] = ()
    stuck: tuple[str, ...] = ()
    swapped: tuple[tuple[str, str], ...] = ()
    offset: dict[str, float] = field(default_factory=dict)
    drift: dict[str, float] = field(default_factory=dict)
    quantum: dict[str, float] = field(default_factory=dict)
    clip: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """How the day went.

    Attributes
    ----------
    truth
        What the car makes.
    setup
        What the car truly is: springs, masses, air.
    speeds
        Of the passes, each driven both ways in every run. [m/s]
    runs
        States in the order they were driven.
    wind, grade
        Along the road out: headwind [m/s], rise [-].
    repeats
        Pairs of passes at each speed in every run.
    seconds
        Of one pass. [s]
    rest
        Seconds standing at the start of every run; 0 where the logger only records above a speed.
    rate
        Of the fast channels; GPS runs at a fifth of it. [Hz]
    tyre_growth
        Radius gained per speed squared. [m/(m/s)²]
    """

    truth: Truth
    setup: Setup
    speeds: Sequence[float]
    runs: Sequence[str]
    noise: Noise = Noise()
    planted: Planted = Planted()
    wind: float = 1.2
    grade: float = 0.0012
    repeats: int = 1
    seconds: float = 3.0
    rest: float = 0.0
    rate: float = 100.0
    tyre_growth: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueRun:
    """One run of a day: its state and when it was driven. [s]"""

    state: str
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeDay:
    """A log, its runs and the truth at every speed: state → (hf, hr, CzSf, CzSr, CxS)."""

    log: Log
    runs: tuple[TrueRun, ...]
    truth: dict[tuple[str, float], tuple[float, float, float, float, float]]


def make_day(day: Day, seed: int) -> MadeDay:
    """Return a day's log as loggers would have written it.

    Parameters
    ----------
    day
        Truth, car, conditions, planted faults.
    seed
        Of all noise; the same seed gives the same log.
    """
    noise = np.random.default_rng(seed)
    ride = {state: _ride_table(day, state) for state in dict.fromkeys(day.runs)}
    pieces: list[dict[str, Array]] = []
    runs: list[TrueRun] = []
    clock = 10.0
    for state in day.runs:
        begun = clock
        if day.rest > 0:
            pieces.append(_stretch(day, ride[state], 0.0, 1, clock, day.rest, noise))
            clock += day.rest + 30.0
        for speed in day.speeds:
            for way in (1, -1) * day.repeats:
                pieces.append(_stretch(day, ride[state], speed, way, clock, day.seconds, noise))
                clock += day.seconds + 60.0
        runs.append(TrueRun(state=state, start=begun, end=clock))
        clock += 600.0
    whole = {key: np.concatenate([p[key] for p in pieces]) for key in pieces[0]}
    truth = {
        (state, float(v)): tuple(
            float(np.interp(0.5 * float(day.setup.density) * v**2, table["q"], table[key]))
            for key in ("hf", "hr", "front", "rear", "drag")
        )
        for state, table in ride.items()
        for v in day.speeds
    }
    return MadeDay(log=_written(day, whole), runs=tuple(runs), truth=truth)  # type: ignore[arg-type]


def _ride_table(day: Day, state: str) -> dict[str, Array]:
    """Return ride heights and areas over dynamic pressure, followed up from rest."""
    setup = day.setup
    fastest = max(day.speeds) + 6.0
    table = np.linspace(0.0, 0.5 * float(setup.density) * fastest**2, 70)
    hf, hr = float(setup.rest_front), float(setup.rest_rear)
    rates = float(setup.axle_rate("front")), float(setup.axle_rate("rear"))
    rows = []
    for q in table:
        for _ in range(80):
            front, rear, drag = day.truth(hf, hr, state)
            step_f = float(setup.rest_front) - q * front / rates[0] - hf
            step_r = float(setup.rest_rear) - q * rear / rates[1] - hr
            hf, hr = hf + 0.3 * step_f, hr + 0.3 * step_r
            if abs(step_f) + abs(step_r) < 1e-8:
                break
        rows.append((hf, hr, front, rear, drag))
    columns = np.array(rows).T
    return {"q": table, **dict(zip(("hf", "hr", "front", "rear", "drag"), columns, strict=True))}


def _stretch(
    day: Day,
    ride: dict[str, Array],
    speed: float,
    way: int,
    start: float,
    seconds: float,
    noise: np.random.Generator,
) -> dict[str, Array]:
    """Return what is true during one stretch, sample by sample, and what each pot then reads."""
    setup, spread = day.setup, day.noise
    n = round(seconds * day.rate)
    t = np.arange(n) / day.rate
    phase = noise.uniform(0, 2 * np.pi)
    wander = spread.speed_wander * np.sin(2 * np.pi * t / 2.3 + phase) if speed > 0 else 0 * t
    v = speed + wander
    push = np.gradient(v, t) if speed > 0 else 0 * t
    gust = noise.normal(0, spread.gust) if speed > 0 else 0.0
    air = np.maximum(0.0, v + way * day.wind + gust) if speed > 0 else 0 * t
    q = 0.5 * float(setup.density) * air**2
    hf, hr, czf, czr = (np.interp(q, ride["q"], ride[k]) for k in ("hf", "hr", "front", "rear"))
    felt = push + way * _GRAVITY * day.grade  # what an accelerometer along the car reads
    transfer = float(setup.mass) * felt * float(setup.cg_height) / float(setup.wheelbase)
    scatter = noise.normal(0, spread.axle_load, 2) if speed > 0 else np.zeros(2)
    front, rear = q * czf - transfer + scatter[0], q * czr + transfer + scatter[1]
    growth = day.tyre_growth * v**2
    made = {"time": start + t, "v": v, "air": air, "felt": felt,
            "way": np.full(n, float(way)),
            "hf": hf + transfer / float(setup.axle_rate("front")) + growth,
            "hr": hr - transfer / float(setup.axle_rate("rear")) + growth}  # fmt: skip
    for axle, load, zero in (
        ("front", front, day.planted.zero_front), ("rear", rear, day.planted.zero_rear),
    ):  # fmt: skip
        travel = (load + zero) / float(setup.load_of_travel(axle))
        roll = noise.normal(0, spread.roll)
        made[f"pot {axle} left"], made[f"pot {axle} right"] = travel + roll, travel - roll
    return made


def _written(day: Day, whole: dict[str, Array]) -> Log:
    """Return the channels with noise and planted faults, each at its own rate."""
    spread, planted = day.noise, day.planted
    noise = np.random.default_rng(int(1e6 * abs(float(whole["pot front left"].sum()))) % 2**31)
    time = whole["time"]
    slow = np.arange(0, time.size, 5)

    def rough(values: Array, deviation: float) -> Array:
        return np.asarray(values + noise.normal(0, deviation, values.size))

    found: dict[str, tuple[Array, Array]] = {
        "speed over ground": (time[slow], rough(whole["v"][slow], spread.ground_speed)),
        "course": (time[slow], np.where(whole["way"][slow] > 0, 0.7, 0.7 + np.pi)),
        "air speed": (time, rough(whole["air"], spread.air_speed)),
        "acceleration along": (time, rough(whole["felt"], spread.acceleration)),
        "laser front": (time, rough(whole["hf"], spread.laser)),
        "laser rear": (time, rough(whole["hr"], spread.laser)),
    }
    for name in [key for key in whole if key.startswith("pot ")]:
        found[name] = (time, rough(whole[name], spread.pot))
    for role, (at, values) in found.items():
        found[role] = (at, _spoiled(role, at, values, planted))
    for first, second in planted.swapped:
        found[first], found[second] = found[second], found[first]
    late = planted.offset
    return Log(
        channels={
            role: Channel(name=role, time=at + late.get(role, 0.0), values=values)
            for role, (at, values) in found.items()
        }
    )


def _spoiled(role: str, time: Array, values: Array, planted: Planted) -> Array:
    """Return a channel with what was planted on it."""
    out = (
        values * planted.gains.get(role, 1.0)
        + planted.drift.get(role, 0.0) * (time - time[0]) / 3600.0
    )
    if role in planted.inverted:
        out = -out
    if role in planted.clip:
        out = np.minimum(out, planted.clip[role])
    if role in planted.quantum:
        out = np.round(out / planted.quantum[role]) * planted.quantum[role]
    if role in planted.stuck:
        block = 150
        for start in range(0, out.size, 3 * block):
            out[start : start + 2 * block] = out[start]
    return np.asarray(out)
