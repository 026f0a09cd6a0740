"""The fastest the car goes: what loads and proof loads are stated at."""

from dataclasses import dataclass

import numpy as np

from tuftwork.quantity import Array
from tuftwork.study.answers import Answers

GRAVITY = 9.80665  # [m/s²]
PROOF = 1.5  # [-]  proof load over the greatest load; common practice, no source
CARE = (
    "Go up in small steps of speed on a closed course; look at every mount after each.",
    "Scrutineers, road law and, where people depend on it, a licensed engineer have the last word.",
)
"""What stands beside every load that something has to hold."""
_SURE = 90.0  # [%]  of the draws go no faster: the upper end of the 80 % range
_ROLLING = 0.015  # [-]  where the project gives none; common practice, no source
_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Fastest:
    """A speed [m/s], what sets it, and what to heed about it."""

    speed: float
    what: str
    notice: str = ""


def fastest(answers: Answers, state: str) -> Fastest:
    """Return the fastest this car goes: on its power along a level road, or as studied.

    A wing is proven for the fastest it is ever driven, not for the fastest speed that somebody
    chose to study; load grows with the square of speed.

    Parameters
    ----------
    answers
        Of a study.
    state
        Whose drag holds it back.

    Notes
    -----
    The upper end of the 80 % range is taken. A slope, a tow or the wind behind are not in it.
    """
    studied = answers.job.top_speed
    known = answers.project.car
    if known.power is None or not answers.has_platform:
        return Fastest(
            speed=studied,
            what="the fastest studied speed",
            notice=f"The car's top speed is not known: {3.6 * studied:.0f}\u202fkm/h is only the "
            "fastest speed studied. Give [car] power, or study the fastest it is driven; the load "
            "grows with the square of speed.",
        )
    draws, keep = answers.ensemble, answers.kept(state)
    efficiency = draws.of("car.driveline") if known.driveline is not None else 1.0
    rolling = (
        draws.of("car.rolling_resistance") if known.rolling_resistance is not None else _ROLLING
    )
    speeds = level_speed(
        np.asarray(draws.of("car.power") * efficiency * answers.job.engine(draws))[keep],
        answers.draws(state, "drag", studied)[keep],
        (rolling * np.ones(draws.size))[keep] * answers.project.mass_state().mass.best * GRAVITY,
        float(np.median(answers.air.density)),
    )
    top = float(np.percentile(speeds, _SURE))
    if top <= studied:
        return Fastest(speed=studied, what="the fastest studied speed")
    return Fastest(speed=top, what="the fastest its power drives it on the level")


def level_speed(power: Array, drag_area: Array, rolling: Array, density: float) -> Array:
    """Return the speed at which power at the wheels is used up on a level road. [m/s].

    P = ½ρ CxS V³ + R V, solved by halving; R is the rolling force without downforce, which errs
    to the fast side.

    Parameters
    ----------
    power, drag_area, rolling : (...)
        At the wheels [W], CxS [m²], rolling force [N].
    density : ()
        Of the air. [kg/m³]
    """
    low, high = np.zeros(np.shape(power)), np.full(np.shape(power), 300.0)
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        used = 0.5 * density * drag_area * middle**3 + rolling * middle
        low, high = np.where(used < power, middle, low), np.where(used < power, high, middle)
    return np.asarray(0.5 * (low + high))
