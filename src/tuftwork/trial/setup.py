"""What reduction must know of the car: springs, pots, masses, air; one value each or all draws."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from tuftwork.quantity import Numeric
from tuftwork.trial.cure import Cure

_GRAVITY = 9.80665  # [m/s²]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """The car on the day; every field is one number or ``(n_draw,)``. [SI]

    Attributes
    ----------
    wheel_rate_front, wheel_rate_rear
        Per wheel. [N/m]
    tyre_rate_front, tyre_rate_rear
        Per tyre. [N/m]
    pot_ratio_front, pot_ratio_rear
        Travel of the pot over travel of the wheel. [-]
    mass, wheelbase, cg_height
        As the passes were driven. [kg], [m], [m]
    rest_front, rest_rear
        Ride heights at rest in that mass state. [m]
    density
        Of the air. [kg/m³]
    pressure_scale
        True over read dynamic pressure of the air-speed channel, as calibrated. [-]
    pot_scale_front, pot_scale_rear
        True over read travel of an axle, both sides together. [-]
    zero_front, zero_rear
        Error of each axle's zero, as a load. [N]
    laser_front, laser_rear
        Error of each laser's zero. [m]
    """

    wheel_rate_front: Numeric
    wheel_rate_rear: Numeric
    tyre_rate_front: Numeric
    tyre_rate_rear: Numeric
    pot_ratio_front: Numeric
    pot_ratio_rear: Numeric
    mass: Numeric
    wheelbase: Numeric
    cg_height: Numeric
    rest_front: Numeric
    rest_rear: Numeric
    density: Numeric
    pressure_scale: Numeric = 1.0
    pot_scale_front: Numeric = 1.0
    pot_scale_rear: Numeric = 1.0
    zero_front: Numeric = 0.0
    zero_rear: Numeric = 0.0
    laser_front: Numeric = 0.0
    laser_rear: Numeric = 0.0

    def best(self) -> "Setup":
        """Return the setup at the median of its draws."""
        return Setup(**{f.name: float(np.median(getattr(self, f.name))) for f in fields(self)})

    def load_of_travel(self, axle: str) -> Numeric:
        """Return newtons of axle load per metre of mean pot travel of its two sides. [N/m]"""
        rate, ratio, scale = (
            (self.wheel_rate_front, self.pot_ratio_front, self.pot_scale_front)
            if axle == "front"
            else (self.wheel_rate_rear, self.pot_ratio_rear, self.pot_scale_rear)
        )
        return 2.0 * rate * scale / ratio

    def axle_rate(self, axle: str) -> Numeric:
        """Return an axle's rate, springs and tyres in series, both sides. [N/m]"""
        wheel, tyre = (
            (self.wheel_rate_front, self.tyre_rate_front)
            if axle == "front"
            else (self.wheel_rate_rear, self.tyre_rate_rear)
        )
        return 2.0 * wheel * tyre / (wheel + tyre)


AIR_SPEED_SCALE = 0.004
"""Standard uncertainty of a good air-speed probe's own scale, for what no pair corrected; common
practice, no source. [-]"""
LASER_ZERO = 0.25e-3  # [m] setting a laser to a tape on one floor; common practice, no source
ZERO_LEFT_OPEN = 8.0  # [N] repeatability of zeroing an axle's pots; common practice, no source


def with_cured_doubt(setup: Setup, cures: Sequence[Cure], *, size: int, seed: int) -> Setup:
    """Return a setup whose scales and zeros carry what instruments and cures leave open.

    Parameters
    ----------
    setup
        Springs, masses, air: draws or best values.
    cures
        Those already in the log.
    size
        Number of draws.
    seed
        Of these draws; they are the log's own and shared with nothing else.
    """
    noise = np.random.default_rng(seed)
    air = next((c.doubt for c in cures if c.role == "air speed" and c.kind == "gain"), None)
    changes: dict[str, np.ndarray] = {
        "pressure_scale": 1 + 2 * (AIR_SPEED_SCALE if air is None else air)
        * noise.standard_normal(size)
    }  # fmt: skip
    for axle in ("front", "rear"):
        own = [c for c in cures if f"pot {axle}" in c.role]
        # half, because each pot is half of its axle
        gain = 0.5 * sum(c.doubt**2 for c in own if c.kind == "gain") ** 0.5
        zero = max((c.doubt for c in own if c.kind == "zero"), default=0.0)
        load = float(np.median(setup.load_of_travel(axle)))
        newtons = float(np.hypot(ZERO_LEFT_OPEN, zero * load))
        changes[f"pot_scale_{axle}"] = 1 + gain * noise.standard_normal(size)
        moved = 0.5 * sum(c.size for c in own if c.kind == "zero" and c.known_load)
        changes[f"laser_{axle}"] = LASER_ZERO * noise.standard_normal(size)
        stiffer = np.asarray(setup.load_of_travel(axle)) - load
        changes[f"zero_{axle}"] = newtons * noise.standard_normal(size) + moved * stiffer
    widened = {f.name: np.broadcast_to(np.asarray(getattr(setup, f.name), dtype=float), size)
               for f in fields(setup)}  # fmt: skip
    return Setup(**{**widened, **changes})


@dataclass(frozen=True, slots=True, kw_only=True)
class MassLoads:
    """Axle loads at rest in one mass state. [N]"""

    name: str
    front: float
    rear: float

    @classmethod
    def of(cls, name: str, mass: float, front_share: float) -> "MassLoads":
        """Return the axle loads of a mass and its front share. [kg], [-]"""
        weight = mass * _GRAVITY
        return cls(name=name, front=weight * front_share, rear=weight * (1 - front_share))
