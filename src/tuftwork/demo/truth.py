"""The invented truth behind the demo: what the car would do, known only to this module.

Nothing in the tool reads it to answer a question; it writes the demo's "measurements", and tests
compare what the tool finds with what was planted. Every number is made up.

Loads at the axles, with ride heights in mm and the wing's incidence in degrees::

    D     = 0.3217 / (1 + exp((hr − 57.786) / 0.781))            loss of the stalled diffuser
    CzSf  = 0.7254 + 0.0108 (53 − hf) − 0.2325 D − 0.1298 W
    CzSr  = 0.2579 + 0.0019 (60 − hr) −        D + 1.1298 W
    CxS   = 0.8971 + 0.0578 D + 0.0097 (α − 8)
    W     = 0.652 + 0.0315 (α − 8), levelling off past 13°
"""

from dataclasses import dataclass

import numpy as np

SEED = 20260
DENSITY = 1.18  # [kg/m³]
STATIC_FRONT, STATIC_REAR = 0.058, 0.071  # [m] with the driver on board
AXLE_RATE_FRONT, AXLE_RATE_REAR = 113.2e3, 120.5e3  # [N/m] both wheels, springs and tyres
PASS_SPEEDS_KMH = (100.0, 140.0, 170.0, 190.0, 205.0, 220.0, 232.0)
_LOSS, _EDGE, _WIDTH = 0.3217, 57.786, 0.781  # [m²], [mm], [mm]
_WING_AHEAD, _WING_ON_REAR = -0.1298, 1.1298  # [-] load 0.34 m behind the rear axle


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueLoads:
    """Loads at the axles and drag; CzSf, CzSr, CxS. [m²]"""

    front: float
    rear: float
    drag: float

    @property
    def total(self) -> float:
        """CzS. [m²]"""
        return self.front + self.rear

    @property
    def share(self) -> float:
        """Front share of the downforce. [-]"""
        return self.front / self.total


def wing_load(incidence: float) -> float:
    """Return the rear wing's CzS on the car. [m²]"""
    degrees = float(np.degrees(incidence))
    over = max(0.0, degrees - 13.0)
    return 0.652 + 0.0315 * (min(degrees, 13.0) - 8.0) - 0.03 * over


def true_loads(front: float, rear: float, incidence: float) -> TrueLoads:
    """Return what the car makes at given ride heights. [m], [m], [rad]"""
    hf, hr = 1e3 * front, 1e3 * rear
    loss = _LOSS / (1.0 + np.exp((hr - _EDGE) / _WIDTH))
    wing = wing_load(incidence)
    return TrueLoads(
        front=float(0.7254 + 0.0108 * (53.0 - hf) - 0.2325 * loss + _WING_AHEAD * wing),
        rear=float(0.2579 + 0.0019 * (60.0 - hr) - loss + _WING_ON_REAR * wing),
        drag=float(0.8971 + 0.0578 * loss + 0.0097 * (np.degrees(incidence) - 8.0)),
    )


def true_ride(
    speed: float,
    incidence: float,
    static_front: float = STATIC_FRONT,
    static_rear: float = STATIC_REAR,
) -> tuple[float, float, TrueLoads]:
    """Return ride heights and loads at a speed, reached from rest. [m/s], [rad], [m], [m]"""
    front, rear = static_front, static_rear
    loads = true_loads(front, rear, incidence)
    for step in np.linspace(0.0, speed, 400)[1:]:
        pressure = 0.5 * DENSITY * step**2
        for _ in range(60):
            loads = true_loads(front, rear, incidence)
            aim_front = static_front - pressure * loads.front / AXLE_RATE_FRONT
            aim_rear = static_rear - pressure * loads.rear / AXLE_RATE_REAR
            front, rear = front + 0.3 * (aim_front - front), rear + 0.3 * (aim_rear - rear)
    return front, rear, loads


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRow:
    """One constant-speed pass, both ways averaged, as a careful tester would report it. [SI]"""

    speed: float
    ride_height_front: float
    ride_height_rear: float
    front: float
    rear: float
    drag: float


def measured_passes(incidence_degrees: float = 8.0, seed: int = SEED) -> tuple[PassRow, ...]:
    """Return the passes of the invented test day, with the scatter of a good day on them."""
    noise = np.random.default_rng(seed)
    rows = []
    for kmh in PASS_SPEEDS_KMH:
        front, rear, loads = true_ride(kmh / 3.6, np.radians(incidence_degrees))
        # forces scatter with a fixed size in newtons, so slow passes scatter more in CzS
        pressure = 0.5 * DENSITY * (kmh / 3.6) ** 2
        rows.append(
            PassRow(
                speed=kmh / 3.6,
                ride_height_front=front + noise.normal(0.0, 0.2e-3),
                ride_height_rear=rear + noise.normal(0.0, 0.2e-3),
                front=loads.front + noise.normal(0.0, FORCE_SCATTER / pressure),
                rear=loads.rear + noise.normal(0.0, FORCE_SCATTER / pressure),
                drag=loads.drag + noise.normal(0.0, FORCE_SCATTER / 2 / pressure),
            )
        )
    return tuple(rows)


FORCE_SCATTER = 16.0  # [N] standard deviation of an axle load of one averaged pair of passes
