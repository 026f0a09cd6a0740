"""Whether a car bounces by itself: springs, tyres and dampers against air that follows late.

Small motions about an equilibrium, x the heights of the body over the two axle lines and of the two
axles over the road, all upward:

    M ẍ + C ẋ + K x = y,   τ ẏ + y = A x,   A_ij = −q ∂CzS_i/∂h_j.

The load follows the ride heights with one lag τ = λ l / V: the car travels λ floor lengths until
the air under it has followed. Where the floor loses load on coming lower, A is negative and late
air pulls the body down while it still moves down: a growing eigenvalue is a car that bounces, and
the speed at which the first one starts to grow is the onset.
"""

from dataclasses import dataclass

import numpy as np
from jaxtyping import Float

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Draws, Source

SOURCES = (
    Source(key="jones1940", place="indicial lift of a wing: two lags", status="memory"),
    Source(key="leishman1989", place="lags of separation, 3 to 11 half chords", status="memory"),
)
SLOWEST = 0.3  # [Hz]  slower than this is drift, which static divergence speaks of


@dataclass(frozen=True, slots=True, kw_only=True)
class Oscillator:
    """Masses on springs and dampers in air that follows late; leading axes are cases.

    Attributes
    ----------
    mass, damping, stiffness : (..., n, n)
        M, C, K. [kg], [N s/m], [N/m]
    air : (..., m, m)
        A, acting on and felt by the first m heights. [N/m]
    lag : (...)
        τ; zero lets the load follow at once. [s]
    """

    mass: Float[np.ndarray, "... n n"]
    damping: Float[np.ndarray, "... n n"]
    stiffness: Float[np.ndarray, "... n n"]
    air: Float[np.ndarray, "... m m"]
    lag: Float[np.ndarray, "..."]


@dataclass(frozen=True, slots=True, kw_only=True)
class Modes:
    """How the least damped oscillation behaves, and whether anything runs away without one.

    Attributes
    ----------
    growth : (...)
        Real part of its eigenvalue; above zero it grows. [1/s]
    frequency : (...)
        [Hz]; zero where nothing oscillates.
    ratio : (...)
        Of critical damping, below zero where it grows. [-]
    drift : (...)
        Largest real part of eigenvalues that do not oscillate; above zero the body runs away. [1/s]
    """

    growth: Array
    frequency: Array
    ratio: Array
    drift: Array


def modes_of(oscillator: Oscillator) -> Modes:
    """Return the least damped oscillation of every case.

    Parameters
    ----------
    oscillator
        Any number of cases.

    Returns
    -------
    modes
        One value a case.

    Raises
    ------
    InputError
        If a lag is negative, or shapes do not fit.
    """
    values = np.linalg.eigvals(_system(oscillator))
    turns = np.abs(values.imag) / (2 * np.pi)
    swings = turns > SLOWEST
    growth = np.where(swings, values.real, -np.inf)
    worst = np.argmax(growth, axis=-1)[..., None]
    chosen = np.take_along_axis(values, worst, axis=-1)[..., 0]
    real, any_swing = chosen.real, np.any(swings, axis=-1)
    frequency = np.where(any_swing, np.abs(chosen.imag) / (2 * np.pi), 0.0)
    size = np.maximum(np.abs(chosen), 1e-12)
    drift = np.max(np.where(swings, -np.inf, values.real), axis=-1)
    return Modes(
        growth=np.asarray(np.where(any_swing, real, -np.inf)), frequency=np.asarray(frequency),
        ratio=np.asarray(np.where(any_swing, -real / size, 1.0)), drift=np.asarray(drift),
    )  # fmt: skip


def _system(given: Oscillator) -> Float[np.ndarray, "... s s"]:
    """Return the first-order system of heights, speeds and late loads."""
    lag = np.asarray(given.lag, dtype=float)
    if not np.all(lag >= 0):
        raise InputError("lag", float(np.min(lag)), "s", "must not be below 0")
    n, m = given.mass.shape[-1], given.air.shape[-1]
    if m > n:
        raise InputError("air", m, "heights", f"only {n} heights move")
    shape = np.broadcast_shapes(
        given.mass.shape[:-2], given.damping.shape[:-2], given.stiffness.shape[:-2],
        given.air.shape[:-2], lag.shape,
    )  # fmt: skip
    late = np.maximum(lag, 1e-5)  # a hundredth of a millisecond is at once for any car
    inverse = np.linalg.inv(given.mass)
    system = np.zeros((*shape, 2 * n + m, 2 * n + m))
    system[..., :n, n : 2 * n] = np.eye(n)
    system[..., n : 2 * n, :n] = -inverse @ given.stiffness
    system[..., n : 2 * n, n : 2 * n] = -inverse @ given.damping
    system[..., n : 2 * n, 2 * n :] = inverse[..., :, :m]
    system[..., 2 * n :, :m] = given.air / late[..., None, None]
    system[..., 2 * n :, 2 * n :] = -np.eye(m) / late[..., None, None]
    return system


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounce:
    """Masses, dampers and rates of a car, draw by draw; every array ``(n_draw,)``.

    Attributes
    ----------
    sprung_mass, pitch_inertia
        Of the body, about its own centre. [kg], [kg m²]
    ahead, behind
        Of the body's centre: to the front and to the rear axle line. [m]
    unsprung_front, unsprung_rear
        Of an axle's both sides. [kg]
    damper_front, damper_rear, tyre_damper_front, tyre_damper_rear
        Both sides of an axle together. [N s/m]
    tyre_front, tyre_rear
        Both tyres of an axle together. [N/m]
    """

    sprung_mass: Draws
    pitch_inertia: Draws
    ahead: Draws
    behind: Draws
    unsprung_front: Draws
    unsprung_rear: Draws
    damper_front: Draws
    damper_rear: Draws
    tyre_damper_front: Draws
    tyre_damper_rear: Draws
    tyre_front: Draws
    tyre_rear: Draws


def car_oscillator(
    bounce: Bounce,
    *,
    series_front: Array,
    series_rear: Array,
    slopes: Float[np.ndarray, "2 2 ..."],
    lag: Array,
) -> Oscillator:
    """Return the car as an oscillator: body in heave and pitch, two axles.

    Parameters
    ----------
    bounce
        Masses, dampers, tyres.
    series_front, series_rear : (..., n_draw)
        Rate of an axle where it rides: springs, with the stops that touch, and tyres in series;
        below the tyres' own. [N/m]
    slopes : (2, 2, ..., n_draw)
        Change of axle load (first index) with ride height (second). [N/m]
    lag : (..., n_draw)
        [s]

    Raises
    ------
    InputError
        If an axle is stiffer than its tyres.
    """
    shape = np.broadcast_shapes(np.shape(series_front), np.shape(lag), slopes.shape[2:])
    span = bounce.ahead + bounce.behind
    body, turn = bounce.sprung_mass, bounce.pitch_inertia
    mass = np.zeros((*shape, 4, 4))
    mass[..., 0, 0] = (body * bounce.behind**2 + turn) / span**2
    mass[..., 1, 1] = (body * bounce.ahead**2 + turn) / span**2
    mass[..., 0, 1] = mass[..., 1, 0] = (body * bounce.ahead * bounce.behind - turn) / span**2
    mass[..., 2, 2], mass[..., 3, 3] = bounce.unsprung_front, bounce.unsprung_rear
    damping, stiffness = np.zeros((*shape, 4, 4)), np.zeros((*shape, 4, 4))
    for axle, series, tyre, damper, loss in (
        (0, series_front, bounce.tyre_front, bounce.damper_front, bounce.tyre_damper_front),
        (1, series_rear, bounce.tyre_rear, bounce.damper_rear, bounce.tyre_damper_rear),
    ):
        if not np.all(series < tyre):
            limit = "must be below the tyres' own rate"
            raise InputError("axle rate", float(np.max(series)), "N/m", limit)
        spring = series * tyre / (tyre - series)
        _between(stiffness, axle, axle + 2, spring)
        _between(damping, axle, axle + 2, damper)
        stiffness[..., axle + 2, axle + 2] += tyre
        damping[..., axle + 2, axle + 2] += loss
    air = -np.moveaxis(slopes, (0, 1), (-2, -1))
    return Oscillator(
        mass=mass, damping=damping, stiffness=stiffness,
        air=np.broadcast_to(air, (*shape, 2, 2)), lag=np.broadcast_to(lag, shape),
    )  # fmt: skip


def _between(matrix: Array, one: int, other: int, value: Array) -> None:
    """Add what joins two heights."""
    matrix[..., one, one] += value
    matrix[..., other, other] += value
    matrix[..., one, other] -= value
    matrix[..., other, one] -= value


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """Where the bounce starts, draw by draw.

    Attributes
    ----------
    speed : (n_draw,)
        Lowest speed from which the oscillation grows; NaN where it never does. [m/s]
    frequency : (n_draw,)
        There. [Hz]
    """

    speed: Draws
    frequency: Draws

    @property
    def share(self) -> float:
        """Share of the draws in which the car bounces at some speed looked at [-]."""
        return float(np.mean(np.isfinite(self.speed)))


def onset_of(speed: Float[np.ndarray, " n_speed"], modes: Modes) -> Onset:
    """Return where growth first rises through zero along rising speed, draw by draw.

    Parameters
    ----------
    speed : (n_speed,)
        Rising. [m/s]
    modes
        At every speed and draw, ``(n_speed, n_draw)``; draws that left the map hold NaN.
    """
    growth = np.where(np.isfinite(modes.growth), modes.growth, -1.0)
    grows = growth > 0
    first = np.argmax(grows, axis=0)
    some = np.any(grows, axis=0)
    before = np.maximum(first - 1, 0)
    low = np.take_along_axis(growth, before[None], axis=0)[0]
    high = np.take_along_axis(growth, first[None], axis=0)[0]
    share = np.where(first > 0, -low / np.where(high > low, high - low, 1.0), 0.0)
    share = np.clip(share, 0.0, 1.0)
    at = speed[before] + share * (speed[first] - speed[before])
    frequency = np.take_along_axis(modes.frequency, first[None], axis=0)[0]
    return Onset(speed=np.where(some, at, np.nan), frequency=np.where(some, frequency, np.nan))
