"""Where a car rides while it corners: springs, air and roll in one balance.

Sideways acceleration a leans the car by φ, and the air that pulls harder on its low side leans it
further. Ride heights and roll are found together,

    K φ = M a + q L(h_f, h_r, φ),   h_i = h_0i + r_i V² − z_i(q CzS_i(h_f, h_r, φ)),

with K the roll stiffness of springs, bars and tyres, M the moment of the weight about the roll axis
at 1 g, L the volume of the air's roll moment. Where q dL/dφ reaches K nothing holds the car up.
Springs are linear in roll: one side's stop or packer is not looked at.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from jaxtyping import Bool, Float

from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.aeromap.platform import STANDARD_GRAVITY, Suspension
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array, Draws

KIND = "corner"
STEP = 0.5  # [g] between the accelerations gone through
_ASIDE = np.array([2e-4, 2e-4, 3e-4])  # [m], [m], [rad] to take slopes over
_LONGEST = np.array([4e-3, 4e-3, 6e-3])  # [m], [m], [rad] of one Newton step
_DONE = np.array([2e-6, 2e-6, 2e-6])  # [m], [m], [rad]
_MOST = 40  # Newton steps
_FRESH = 4  # of them with slopes of their own; later ones keep the last
_FURTHEST = np.radians(4.0)  # [rad] beyond: not a small angle
_FEWEST = 0.5  # [-] of the draws that must be held for an answer


@dataclass(frozen=True, slots=True, kw_only=True)
class RollSpring:
    """What holds a car against roll; every array ``(n_draw,)``.

    Attributes
    ----------
    stiffness
        Of springs, bars and tyres of both axles. [N m/rad]
    per_g
        Moment of the weight about the roll axis at 1 g. [N m]
    """

    stiffness: Draws
    per_g: Draws


@dataclass(frozen=True, slots=True, kw_only=True)
class RolledLoads:
    """Loads of a car that rolls; every array ``(n_draw,)``.

    Attributes
    ----------
    front, rear, drag
        CzSf, CzSr, CxS. [m²]
    roll
        Volume of the roll moment, turning the low side down. [m³]
    """

    front: Draws
    rear: Draws
    drag: Draws
    roll: Draws


Loads = Callable[[Draws, Draws, Draws], RolledLoads]
"""Front and rear ride height [m] and roll [rad] → loads."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cornering:
    """A car along sideways acceleration at one speed; every array ``(n_step, n_draw)``.

    Attributes
    ----------
    acceleration : (n_step,)
        The first one straight ahead. [g]
    ride_height_front, ride_height_rear
        In the middle of the car. [m]
    roll
        The low side is the outer one. [rad]
    front, rear, drag
        CzSf, CzSr, CxS. [m²]
    by_air
        Share of the roll that the air makes. [-]
    margin
        1 − q (dL/dφ)/K: above 0 where springs hold the car up. [-]
    held
        Whether there is an answer; NaN stands where there is none.
    """

    acceleration: Float[np.ndarray, " n_step"]
    ride_height_front: Float[np.ndarray, "n_step n_draw"]
    ride_height_rear: Float[np.ndarray, "n_step n_draw"]
    roll: Float[np.ndarray, "n_step n_draw"]
    front: Float[np.ndarray, "n_step n_draw"]
    rear: Float[np.ndarray, "n_step n_draw"]
    drag: Float[np.ndarray, "n_step n_draw"]
    by_air: Float[np.ndarray, "n_step n_draw"]
    margin: Float[np.ndarray, "n_step n_draw"]
    held: Bool[np.ndarray, "n_step n_draw"]

    def sides(self, axle: str, offset: Draws | float) -> tuple[Array, Array]:
        """Return an axle line's low and high ride height so far from the middle of the car [m]."""
        middle = self.ride_height_front if axle == "front" else self.ride_height_rear
        arm = np.tan(self.roll) * offset
        return middle - arm, middle + arm


def corner_coefficients() -> Mapping[str, Coefficient]:
    """Return what cornering leaves open, by name."""
    return coefficients_of("aeromap", "corner")


def roll_spring(
    *,
    weight: Draws,
    height: Draws,
    arm: Draws,
    angle: Draws | None = None,
    axles: tuple[Draws, Draws] | None = None,
    bars: Draws | float = 0.0,
) -> RollSpring:
    """Return what holds a car against roll.

    Parameters
    ----------
    weight, height : (n_draw,)
        Of the car [N]; of its centre of gravity above the road [m].
    arm : (n_draw,)
        Height over the roll axis, over ``height``. [-]
    angle : (n_draw,)
        Measured roll at 1 g, without air. [rad]
    axles : (n_draw,), (n_draw,)
        Where no angle was measured: roll stiffness of each axle's springs. [N m/rad]
    bars
        What bars add to the springs, over these. [-]

    Raises
    ------
    InputError
        If nothing says how stiff the car is, or a number is not above zero.
    """
    per_g = weight * height * arm
    if angle is not None:
        stiffness = per_g / np.where(angle > 0, angle, np.nan)
    elif axles is not None:
        stiffness = (axles[0] + axles[1]) * (1 + bars)
    else:
        raise InputError("roll", "missing", "", "give the roll at 1 g or the axles' springs")
    for name, value in (("moment of the weight", per_g), ("roll stiffness", stiffness)):
        if not np.all(value > 0):
            raise InputError(name, float(np.min(value)), "N m", "must be above 0 in every draw")
    return RollSpring(stiffness=np.asarray(stiffness), per_g=np.asarray(per_g))


def axle_roll_stiffness(wheel_rate: Draws, tyre_rate: Draws, track: Draws | float) -> Draws:
    """Return an axle's roll stiffness, springs and tyres in series at both wheels [N m/rad]."""
    rate = wheel_rate * tyre_rate / (wheel_rate + tyre_rate)
    return np.asarray(0.5 * rate * np.square(track))


def corner(
    loads: Loads,
    suspension: Suspension,
    spring: RollSpring,
    start: tuple[Draws, Draws],
    *,
    air: tuple[Draws, float],
    most: float,
) -> Cornering:
    """Return ride heights, roll and loads from straight ahead to ``most`` g sideways.

    Parameters
    ----------
    loads
        Of the car with its roll.
    suspension, spring
        Springs in heave and in roll.
    start : (n_draw,), (n_draw,)
        Ride heights at steady speed; NaN leaves a draw out. [m]
    air : (n_draw,), ()
        Dynamic pressure [Pa] and speed [m/s].
    most
        Largest sideways acceleration. [g]

    Returns
    -------
    cornering
        In steps of at most 0.5 g, the first one straight.

    Raises
    ------
    InputError
        If ``most`` is not between 0 and 6 g.
    NotConverged
        If fewer than half of the draws are held at some step.
    """
    if not 0 < most <= 6:
        raise InputError("lateral", most, "g", "must lie between 0 and 6")
    ladder = np.linspace(0.0, most, int(np.ceil(most / STEP - 1e-9)) + 1)
    size = start[0].size
    state = np.stack([*start, np.zeros(size)])
    alive = np.isfinite(state).all(axis=0)
    begun = max(int(alive.sum()), 1)
    rows: list[tuple[Array, RolledLoads, Array, np.ndarray]] = []
    for g in ladder:
        state, found, margin, alive = _settle(
            loads, (suspension, spring), (state, alive), air, spring.per_g * g
        )
        if alive.sum() < _FEWEST * begun:
            raise NotConverged(
                f"Cornering at {g:.2f} g: {begun - int(alive.sum())} of {begun} draws find no "
                "ride heights and roll at which springs hold the car."
            )
        rows.append((np.where(alive, state, np.nan), found, margin, alive))
    states = np.stack([r[0] for r in rows])
    held = np.stack([r[3] for r in rows])

    def field(name: str) -> Array:
        return np.where(held, np.stack([getattr(r[1], name) for r in rows]), np.nan)

    with np.errstate(invalid="ignore", divide="ignore"):
        share = air[0] * field("roll") / (spring.stiffness * states[:, 2])
    return Cornering(
        acceleration=ladder, ride_height_front=states[:, 0], ride_height_rear=states[:, 1],
        roll=states[:, 2], front=field("front"), rear=field("rear"), drag=field("drag"),
        by_air=np.where(np.abs(states[:, 2]) > 1e-6, share, 0.0),
        margin=np.where(held, np.stack([r[2] for r in rows]), np.nan), held=held,
    )  # fmt: skip


_Way = tuple[np.ndarray, np.ndarray]


def _settle(
    loads: Loads, springs: tuple[Suspension, RollSpring], start: _Way, air: tuple[Draws, float],
    moment: Draws,
) -> tuple[Array, RolledLoads, Array, np.ndarray]:  # fmt: skip
    """Return heights and roll of every draw, loads there, margin in roll, and who has them."""
    state, alive = start[0].copy(), start[1].copy()
    state[:, ~alive] = np.nanmedian(start[0], axis=1)[:, None]
    suspension, spring = springs

    def miss(at: Array) -> tuple[Array, RolledLoads]:
        found = loads(at[0], at[1], at[2])
        want = np.stack([
            suspension.front.height(air[0] * found.front, air[1]),
            suspension.rear.height(air[0] * found.rear, air[1]),
            (moment + air[0] * found.roll) / spring.stiffness,
        ])  # fmt: skip
        return at - want, found

    off, found = miss(state)
    slopes = np.zeros((3, 3, state.shape[1]))
    done = np.zeros(state.shape[1], dtype=bool)
    for count in range(_MOST):
        if count < _FRESH:
            for k in range(3):
                aside = state.copy()
                aside[k] += _ASIDE[k]
                slopes[:, k] = (miss(aside)[0] - off) / _ASIDE[k]
        done = np.all(np.abs(off) < _DONE[:, None], axis=0)
        if np.all(done | ~alive):
            break
        matrix = np.moveaxis(slopes, 2, 0)
        singular = np.abs(np.linalg.det(matrix)) < 1e-3
        matrix = np.where(singular[:, None, None], np.eye(3), matrix)
        move = np.linalg.solve(matrix, off.T[..., None])[..., 0].T
        state = state - np.clip(move, -_LONGEST[:, None], _LONGEST[:, None])
        state[2] = np.clip(state[2], -1.05 * _FURTHEST, 1.05 * _FURTHEST)
        off, found = miss(state)
    margin = slopes[2, 2]
    good = alive & done & (np.abs(state[2]) <= _FURTHEST) & (margin > 0)
    return state, found, margin, good & (state[0] > 0) & (state[1] > 0)


def weight_of(mass: Draws) -> Draws:
    """Return a mass's weight [N]."""
    return np.asarray(mass * STANDARD_GRAVITY)


__all__ = [
    "KIND", "Cornering", "Loads", "RollSpring", "RolledLoads", "axle_roll_stiffness",
    "corner", "corner_coefficients", "roll_spring", "weight_of",
]  # fmt: skip
