"""The demo's test day as the loggers wrote it, made from the truth with the demo's one seed.

Two pairs of passes at each speed in each of three runs: with one pair the story holds in three days
of four, with two in 38 of 40, whatever the seed (``tests/unit/trial/test_recovery.py``).

Three things went wrong on the day, on purpose: the pots were zeroed before the driver sat in the
car, the rear left pot was entered with the wrong motion ratio, and the air-speed probe reads high.
"""

import io

import numpy as np

from tuftwork.demo.truth import (
    DENSITY,
    PASS_SPEEDS_KMH,
    SEED,
    STATIC_FRONT,
    STATIC_REAR,
    true_loads,
)
from tuftwork.trial.setup import MassLoads, Setup
from tuftwork.trial.synthetic import Day, MadeDay, Planted, make_day

INCIDENCE = {"as raced": 8.0, "more wing": 12.0}  # [°]
RACE = MassLoads.of("race, half fuel", 1285.0, 0.475)
EMPTY = MassLoads.of("on the sheet, no driver", 1203.0, 0.477)
REAR_LEFT_GAIN, AIR_SPEED_GAIN = 0.92, 1.03
_ROLLING, _ROTATING, _WIND = 0.0148, 0.03, 1.2  # [-], [-], [m/s]
_COAST_RATE = 10.0  # [Hz]
_PAIRS = 2  # at each speed in every run


def car() -> Setup:
    """Return what the car truly is on the day."""
    return Setup(
        wheel_rate_front=72e3, wheel_rate_rear=77.93e3, tyre_rate_front=265e3,
        tyre_rate_rear=265e3, pot_ratio_front=0.90, pot_ratio_rear=0.86, mass=1285.0,
        wheelbase=2.62, cg_height=0.47, rest_front=STATIC_FRONT, rest_rear=STATIC_REAR,
        density=DENSITY,
    )  # fmt: skip


def demo_day(seed: int = SEED) -> MadeDay:
    """Return the day: A-B-A of the wing over seven speeds, two pairs each; another seed, another.

    Tests ask for other seeds to see that the story does not hang on this one.
    """
    planted = Planted(
        zero_front=RACE.front - EMPTY.front, zero_rear=RACE.rear - EMPTY.rear,
        gains={"pot rear left": REAR_LEFT_GAIN, "air speed": AIR_SPEED_GAIN},
    )  # fmt: skip
    day = Day(
        truth=_truth, setup=car(), speeds=[kmh / 3.6 for kmh in PASS_SPEEDS_KMH],
        runs=("as raced", "more wing", "as raced"), planted=planted, wind=_WIND,
        repeats=_PAIRS,
    )  # fmt: skip
    return make_day(day, seed)


def _truth(front: float, rear: float, state: str) -> tuple[float, float, float]:
    loads = true_loads(front, rear, float(np.radians(INCIDENCE[state])))
    return loads.front, loads.rear, loads.drag


_COLUMNS = (
    ("t", "s", "time", 1.0, "%.2f"),
    ("V_gps", "km/h", "speed over ground", 3.6, "%.2f"),
    ("Course", "deg", "course", 180 / np.pi, "%.0f"),
    ("V_pitot", "km/h", "air speed", 3.6, "%.1f"),
    ("Damper FL", "mm", "pot front left", 1e3, "%.2f"),
    ("Damper FR", "mm", "pot front right", 1e3, "%.2f"),
    ("Damper RL", "mm", "pot rear left", 1e3, "%.2f"),
    ("Damper RR", "mm", "pot rear right", 1e3, "%.2f"),
    ("Laser front", "mm", "laser front", 1e3, "%.1f"),
    ("Laser rear", "mm", "laser rear", 1e3, "%.1f"),
    ("Acc long", "m/s2", "acceleration along", 1.0, "%.2f"),
)


def day_table(made: MadeDay) -> str:
    """Return the day's log as the logger exports it: every channel at 100 Hz, GPS at a fifth."""
    log = made.log
    time = log.of("pot front left").time
    columns = [[f"{t:.2f}" for t in time]]
    for _, _, role, factor, form in _COLUMNS[1:]:
        channel = log.of(role)
        texts = np.full(time.size, "", dtype=object)
        places = np.searchsorted(time, channel.time)
        texts[places] = [form % v for v in channel.values * factor]
        columns.append(list(texts))
    out = io.StringIO()
    out.write(",".join(f"{name} [{unit}]" for name, unit, *_ in _COLUMNS) + "\n")
    out.writelines(",".join(row) + "\n" for row in zip(*columns, strict=True))
    return out.getvalue()


def coast_table() -> str:
    """Return two coast-downs each way from another logger: semicolons, decimal comma, km/h."""
    noise = np.random.default_rng(SEED + 1)
    out = ["Zeit [s];Speed [km/h];Course [deg]"]
    clock = 5.0
    for way in (1, -1, 1, -1):
        speeds = _coasting(way)
        for i, v in enumerate(speeds):
            row = f"{clock + i / _COAST_RATE:.1f};{3.6 * (v + noise.normal(0, 0.04)):.2f};"
            out.append((row + f"{40 if way > 0 else 220}").replace(".", ","))
        clock += speeds.size / _COAST_RATE + 120
    return "\n".join(out) + "\n"


def _coasting(way: int) -> np.ndarray:
    """Return the speed while coasting from 225 to 70 km/h, the platform followed. [m/s]"""
    setup = car()
    mass, weight = 1285.0 * (1 + _ROTATING), 1285.0 * 9.80665
    front, rear = STATIC_FRONT, STATIC_REAR
    v, step = 225 / 3.6, 0.02
    found: list[float] = []
    while v > 70 / 3.6:
        q = 0.5 * DENSITY * (v + way * _WIND) ** 2
        for _ in range(8 if found else 400):
            loads = true_loads(front, rear, float(np.radians(8.0)))
            aim_front = STATIC_FRONT - q * loads.front / float(setup.axle_rate("front"))
            aim_rear = STATIC_REAR - q * loads.rear / float(setup.axle_rate("rear"))
            front, rear = front + 0.3 * (aim_front - front), rear + 0.3 * (aim_rear - rear)
        rolling = _ROLLING * (weight + q * loads.total)
        found.append(v)
        v -= step * (q * loads.drag + rolling) / mass
    return np.array(found[:: round(1 / (step * _COAST_RATE))])
