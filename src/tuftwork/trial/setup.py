"""What reduction must know of the car: springs, pots, masses, air; one value each or all draws."""

from dataclasses import dataclass, fields

import numpy as np

from tuftwork.quantity import Numeric

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
    zero_front, zero_rear
        Error of each axle's zero, as a load. [N]
    jacking_rear
        Slope of the driven rear suspension in side view: share of the traction that the springs
        do not see as load. [-]
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
    zero_front: Numeric = 0.0
    zero_rear: Numeric = 0.0
    jacking_rear: Numeric = 0.0

    def best(self) -> "Setup":
        """Return the setup at the median of its draws."""
        return Setup(**{f.name: float(np.median(getattr(self, f.name))) for f in fields(self)})

    def load_of_travel(self, axle: str) -> Numeric:
        """Return newtons of axle load per metre of mean pot travel of its two sides. [N/m]"""
        rate, ratio = (
            (self.wheel_rate_front, self.pot_ratio_front)
            if axle == "front"
            else (self.wheel_rate_rear, self.pot_ratio_rear)
        )
        return 2.0 * rate / ratio

    def axle_rate(self, axle: str) -> Numeric:
        """Return an axle's rate, springs and tyres in series, both sides. [N/m]"""
        wheel, tyre = (
            (self.wheel_rate_front, self.tyre_rate_front)
            if axle == "front"
            else (self.wheel_rate_rear, self.tyre_rate_rear)
        )
        return 2.0 * wheel * tyre / (wheel + tyre)


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
