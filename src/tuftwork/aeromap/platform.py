"""How far an axle sinks under load: springs, bump stops, packers, tyres and their growth.

One axle is two wheels. At each wheel the wheel rate (with any stop beside it) stands on the tyre's
rate, so the body sinks by the travel of the spring plus that of the tyre:

    F = K_s(s) = 2 k_t t,   z = s + t,   K_s(s) = 2 k_w s + Σ k_i max(0, s − g_i).

K_s bends only where a stop touches, so F(z) is piecewise linear and rises everywhere. Ride height
at speed V is h = h_0 + r (V/V_r)² − z: a tyre grows with the square of speed.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from jaxtyping import Float

from tuftwork.car import Axle, Project, quantities_in
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Draws, Quantity

STANDARD_GRAVITY = 9.80665  # [m/s²]  by definition


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleSpring:
    """One axle's force against travel, for every draw.

    Piece ``j`` starts at ``travel[:, j]``; the first starts at rest and also holds in rebound.

    Attributes
    ----------
    ride_height : (n_draw,)
        Of the reference plane at this axle line, at rest. [m]
    travel, load, rate : (n_draw, n_piece)
        Where each piece starts, the load there and the slope from there on. [m], [N], [N/m]
    growth : (n_draw,)
        Rise of the axle by tyre growth over the square of speed. [s²/m]
    static_load : (n_draw,)
        Weight on this axle at rest; more lift than this and the tyres leave the ground. [N]
    """

    ride_height: Draws
    travel: Float[np.ndarray, "n_draw n_piece"]
    load: Float[np.ndarray, "n_draw n_piece"]
    rate: Float[np.ndarray, "n_draw n_piece"]
    growth: Draws
    static_load: Draws

    def force(self, travel: Array) -> Array:
        """Return the load that sinks the axle by ``travel`` ``(..., n_draw)`` [m] → [N]."""
        piece = self._piece(travel, self.travel)
        at = (np.arange(self.travel.shape[0]), piece)
        return np.asarray(self.load[at] + self.rate[at] * (travel - self.travel[at]))

    def sink(self, load: Array) -> Array:
        """Return the travel under an extra ``load`` ``(..., n_draw)`` [N] → [m]."""
        piece = self._piece(load, self.load)
        at = (np.arange(self.travel.shape[0]), piece)
        return np.asarray(self.travel[at] + (load - self.load[at]) / self.rate[at])

    def height(self, load: Array, speed: Array | float = 0.0) -> Array:
        """Return the ride height under a load [N] at a speed [m/s], ``(..., n_draw)`` [m]."""
        return np.asarray(self.ride_height + self.growth * np.square(speed) - self.sink(load))

    @staticmethod
    def _piece(value: Array, starts: Float[np.ndarray, "n_draw n_piece"]) -> np.ndarray:
        """Return the last piece that starts at or below ``value``; the first holds in rebound."""
        passed = np.asarray(value)[..., None] >= starts[:, 1:]
        return np.asarray(np.sum(passed, axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspension:
    """Both axles of a car in one mass state, for every draw.

    Attributes
    ----------
    front, rear
        The axles.
    mass_state, state
        Names of the mass state and of the car's state that gave the ride heights at rest.
    inputs
        Every number used, by its path in the project.
    """

    front: AxleSpring
    rear: AxleSpring
    mass_state: str = ""
    state: str = ""
    inputs: Mapping[str, Quantity]

    @property
    def n_draw(self) -> int:
        """Number of draws."""
        return int(self.front.ride_height.shape[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleRates:
    """One axle's springs as plain numbers per draw, wheel by wheel.

    Attributes
    ----------
    wheel_rate, tyre_rate : (n_draw,)
        Of one wheel and one tyre. [N/m]
    stop_gap, stop_rate : (n_draw, n_stop)
        Spring travel from rest at which a stop touches, and what both sides of the axle then
        add together. [m], [N/m]
    """

    wheel_rate: Draws
    tyre_rate: Draws
    stop_gap: Float[np.ndarray, "n_draw n_stop"]
    stop_rate: Float[np.ndarray, "n_draw n_stop"]


def axle_spring(
    rates: AxleRates, *, ride_height: Draws, growth: Draws, static_load: Draws
) -> AxleSpring:
    """Return an axle's force against travel, springs and tyres in series.

    Parameters
    ----------
    rates
        Springs, stops and tyres.
    ride_height : (n_draw,)
        At rest. [m]
    growth : (n_draw,)
        Tyre growth over the square of speed. [s²/m]
    static_load : (n_draw,)
        Weight on the axle at rest. [N]

    Returns
    -------
    spring
        Piecewise linear, one piece more than there are stops.

    Raises
    ------
    InputError
        If a rate is not above zero, a gap below zero or a ride height not above zero.
    """
    _check_positive("wheel_rate", rates.wheel_rate, "N/m")
    _check_positive("tyre_rate", rates.tyre_rate, "N/m")
    _check_positive("stop_rate", rates.stop_rate, "N/m")
    _check_positive("ride_height", ride_height, "m")
    if not np.all(rates.stop_gap >= 0):
        raise InputError("gap", float(np.min(rates.stop_gap)), "m", "must not be below 0")
    order = np.argsort(rates.stop_gap, axis=1)
    gap = np.take_along_axis(rates.stop_gap, order, axis=1)
    stop = np.take_along_axis(rates.stop_rate, order, axis=1)
    start = np.concatenate([np.zeros((ride_height.size, 1)), gap], axis=1)
    soft = 2 * rates.wheel_rate[:, None]
    spring = np.concatenate([soft, soft + np.cumsum(stop, axis=1)], axis=1)
    tyre = 2 * rates.tyre_rate[:, None]
    steps = spring[:, :-1] * np.diff(start, axis=1)
    load = np.concatenate([np.zeros_like(soft), np.cumsum(steps, axis=1)], axis=1)
    return AxleSpring(
        ride_height=ride_height, travel=start + load / tyre, load=load,
        rate=spring * tyre / (spring + tyre), growth=growth, static_load=static_load,
    )  # fmt: skip


def platform_quantities(
    project: Project, mass_state: str = "", state: str = ""
) -> dict[str, Quantity]:
    """Return every number the platform needs, by its path in the project.

    Draw these (with everything else) into one ensemble and hand the draws to
    :func:`suspension_of`.

    Raises
    ------
    InputError
        If the car's axles are not described.
    """
    for name, axle in (("front", project.car.front), ("rear", project.car.rear)):
        if axle is None:
            cure = "Give wheel_rate, tyre_rate, track and tyre_diameter."
            raise InputError(f"car.{name}", "missing", "", "the platform needs the axle", cure)
    masses = project.mass_state(mass_state)
    setting = project.state(state)
    unused = ("track", "tyre_diameter", "cg_height", "damping", "unsprung_mass", "pitch_inertia")
    found: dict[str, Quantity] = {}
    for table, prefix in (
        (project.car.front, "car.front."),
        (project.car.rear, "car.rear."),
        (masses, f"mass_states.{masses.name}."),
    ):
        assert table is not None
        for path, quantity in quantities_in(table, prefix):
            if path.rpartition(".")[2] not in unused:
                found[path] = quantity
    for key in ("ride_height_front", "ride_height_rear"):
        own = getattr(setting, key)
        if own is not None:
            del found[f"mass_states.{masses.name}.{key}"]
            found[f"states.{setting.name}.{key}"] = own
    return found


def suspension_of(
    project: Project, mass_state: str, state: str, draws: Mapping[str, Draws]
) -> Suspension:
    """Return the car's springs in a mass state and a state.

    Parameters
    ----------
    project
        The car.
    mass_state, state
        Names; empty ones stand for the study's mass state and the baseline.
    draws
        Path → draws ``(n_draw,)`` [SI] of all that :func:`platform_quantities` lists.

    Returns
    -------
    suspension
        Both axles, with the ride heights at rest: the state's own where it has them, else the
        mass state's.

    Raises
    ------
    InputError
        If an axle is not described, or a draw is impossible.
    UnknownName
        If a path is missing from the draws.
    """
    inputs = platform_quantities(project, mass_state, state)
    for path in inputs:
        if path not in draws:
            raise UnknownName("draws", path, draws)
    masses = project.mass_state(mass_state)
    own = f"mass_states.{masses.name}."
    share = draws[f"{own}front_weight"]
    weight = STANDARD_GRAVITY * draws[f"{own}mass"]
    heights = {path.rpartition(".")[2]: draws[path] for path in inputs if "ride_height" in path}
    assert project.car.front is not None
    assert project.car.rear is not None
    front, rear = (
        axle_spring(
            _rates(axle, f"car.{name}", draws),
            ride_height=heights[f"ride_height_{name}"],
            growth=_growth(axle, f"car.{name}", draws, weight.size),
            static_load=load,
        )
        for axle, name, load in (
            (project.car.front, "front", weight * share),
            (project.car.rear, "rear", weight * (1 - share)),
        )
    )
    return Suspension(
        front=front, rear=rear, inputs=inputs,
        mass_state=masses.name, state=project.state(state).name,
    )  # fmt: skip


def _rates(axle: Axle, path: str, draws: Mapping[str, Draws]) -> AxleRates:
    wheel = draws[f"{path}.wheel_rate"]
    empty = np.zeros((wheel.size, 0))
    gaps = [draws[f"{path}.stops.{i}.gap"][:, None] for i in range(len(axle.stops))]
    stops = [draws[f"{path}.stops.{i}.rate"][:, None] for i in range(len(axle.stops))]
    return AxleRates(
        wheel_rate=wheel,
        tyre_rate=draws[f"{path}.tyre_rate"],
        stop_gap=np.concatenate([empty, *gaps], axis=1),
        stop_rate=np.concatenate([empty, *stops], axis=1),
    )


def _growth(axle: Axle, path: str, draws: Mapping[str, Draws], n_draw: int) -> Draws:
    if axle.tyre_growth is None:
        return np.zeros(n_draw)
    if axle.growth_speed is None:
        cure = "Say at which speed the tyre has grown by that much."
        raise InputError(f"{path}.growth_speed", "missing", "", "tyre_growth needs it", cure)
    return np.asarray(draws[f"{path}.tyre_growth"] / np.square(draws[f"{path}.growth_speed"]))


def _check_positive(name: str, values: Array, unit: str) -> None:
    if not np.all(values > 0):
        raise InputError(name, float(np.min(values)), unit, "must be above 0 in every draw")
