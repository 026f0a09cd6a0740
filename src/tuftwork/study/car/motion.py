"""How the platform stands and moves: sensitivity, cliff in mm and g, divergence, bouncing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.aeromap.equilibrium import PlatformPath, follow_path
from tuftwork.aeromap.interpolate import Surface, evaluate_with_slopes
from tuftwork.aeromap.lean import Edges, Transfer, edges_of, lean, passes_at, transfer_of
from tuftwork.aeromap.oscillation import Bounce, Modes, Onset, car_oscillator, modes_of, onset_of
from tuftwork.aeromap.part.coefficient import coefficients_of
from tuftwork.aeromap.platform import AxleSpring, Suspension
from tuftwork.car import Floor, Project
from tuftwork.quantity import Array, Draws, Ensemble, Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.number import ChainBook

KIND = "motion"
MOST_G = 3.0  # [g] looked at, either way
_SEED = 4711
_STEP = 5.0 / 3.6  # [m/s] between the speeds at which the car is listened to
_SLOWEST = 60.0 / 3.6  # [m/s]
_TYRE_SWING = 2 * np.pi * 6.0  # [1/s] at which a tyre's loss factor is taken
_AS_IT_IS = (None, None)
_HELD = ("lap.anti_dive", "lap.anti_lift")


@dataclass(frozen=True, kw_only=True)
class Motion:
    """The platform of one state, draw by draw; draws that left the map are not in it.

    Attributes
    ----------
    speed : (n_speed,)
        At which the car was listened to. [m/s]
    path
        Where it rides.
    surface, suspension, edges
        Map, springs and cliffs of the same draws.
    modes
        The least damped oscillation, ``(n_speed, n_draw)``.
    onset
        Where it starts to grow.
    pressure
        Dynamic pressure, ``(n_speed, n_draw)``. [Pa]
    slopes : (3, 2, n_speed, n_draw)
        Of CzSf, CzSr, CxS over front and rear ride height. [m]
    transfer
        What braking moves; None where the height of the centre of gravity is not known.
    """

    speed: np.ndarray
    path: PlatformPath
    surface: Surface
    suspension: Suspension
    edges: Edges
    modes: Modes
    onset: Onset
    pressure: Array
    slopes: Array
    transfer: Transfer | None

    def at(self, speed: float) -> int:
        """Return the place of the nearest speed."""
        return int(np.argmin(np.abs(self.speed - speed)))

    def clearance(self, axle: str) -> Array:
        """Return an axle's height above its cliff ``(n_speed, n_draw)``, NaN where none. [m]"""
        path = self.path
        return self.edges.clearance(axle, path.ride_height_front, path.ride_height_rear)

    def divergence(self) -> Draws:
        """Return where springs could not hold the car, from the margin at the top speed [m/s].

        The air's stiffness grows with the square of speed, so the margin 1 − (V/V_d)² gives V_d;
        infinite where the air helps the springs.
        """
        margin = self.path.margin[-1]
        with np.errstate(invalid="ignore", divide="ignore"):
            found = self.speed[-1] / np.sqrt(1.0 - margin)
        return np.where(margin < 1.0, found, np.inf)

    def g_to_cliff(self, speed: float, axle: str) -> Draws | None:
        """Return the braking (front) or driving (rear) at which an axle passes its cliff [g].

        NaN where it lasts through 3 g; None where the centre of gravity's height is not known.
        """
        if self.transfer is None:
            return None
        at = self.at(speed)
        start = self.path.ride_height_front[at], self.path.ride_height_rear[at]
        most = MOST_G if axle == "front" else -MOST_G
        found = lean(
            self.surface, self.suspension, start, pressure=self.pressure[at],
            speed=float(self.speed[at]), transfer=self.transfer, most=most,
        )  # fmt: skip
        clear = self.edges.clearance(axle, found.ride_height_front, found.ride_height_rear)
        return passes_at(found, clear)


def motion_of(answers: Answers, state: str) -> Motion:
    """Return the motion of a state, worked out once."""
    key = f"{KIND} {state}"
    if key not in answers.worked_out:
        answers.worked_out[key] = motion_with(answers, state, np.flatnonzero(answers.kept(state)))
    kept: Motion = answers.worked_out[key]
    return kept


def motion_with(
    answers: Answers,
    state: str,
    keep: np.ndarray,
    rest: tuple[float | None, float | None] = _AS_IT_IS,
) -> Motion:
    """Return the motion of some draws, perhaps with other ride heights at rest.

    Parameters
    ----------
    answers, state
        The study and one of its states.
    keep
        Places of the draws.
    rest
        Front and rear ride height at rest that the medians are moved to; None leaves them. [m]
    """
    surface = answers.surface(state)
    surface = replace(surface, nodes=np.ascontiguousarray(surface.nodes[keep]))
    suspension = some_draws(answers.suspension(state), keep)
    suspension = replace(
        suspension, front=_rested(suspension.front, rest[0]), rear=_rested(suspension.rear, rest[1])
    )
    size = answers.ensemble.size
    density = np.broadcast_to(np.asarray(answers.air.density).reshape(-1), (size,))[keep]
    top = answers.speeds[-1]
    count = max(2, int(np.ceil((top - _SLOWEST) / _STEP)) + 1) if top > _SLOWEST else 2
    speed = np.linspace(min(_SLOWEST, 0.5 * top), top, count)
    path, _ = follow_path(surface, suspension, speed=speed, density=density, partial=True)
    pressure = 0.5 * density * np.square(speed)[:, None]
    hf, hr = path.ride_height_front, path.ride_height_rear
    safe = [
        np.where(np.isfinite(h), h, axis[-1])
        for h, axis in ((hf, surface.front), (hr, surface.rear))
    ]
    _, by_front, by_rear = evaluate_with_slopes(surface, *safe)
    slopes = np.stack([by_front, by_rear], axis=1)
    draws = {n: v[keep] for n, v in motion_draws(answers).items()}
    bounce, floor_length = bounce_of(answers.project, draws)
    system = car_oscillator(
        bounce,
        series_front=_rate(suspension.front, pressure * path.downforce_front),
        series_rear=_rate(suspension.rear, pressure * path.downforce_rear),
        slopes=slopes[:2] * pressure,
        lag=draws["motion.lag"] * floor_length / speed[:, None],
    )
    modes = modes_of(system)
    return Motion(
        speed=speed, path=path, surface=surface, suspension=suspension, edges=edges_of(surface),
        modes=modes, onset=onset_of(speed, modes), pressure=pressure, slopes=slopes,
        transfer=_transfer(answers.project, draws),
    )  # fmt: skip


def motion_inputs(project: Project) -> dict[str, Quantity]:
    """Return every uncertain number that only the motion needs, by name."""
    found = {
        f"{KIND}.{name}": c.quantity for name, c in coefficients_of("aeromap", "motion").items()
    }
    for axle, table in (("front", project.car.front), ("rear", project.car.rear)):
        for key in ("damping", "unsprung_mass"):
            own = getattr(table, key) if table is not None else None
            if own is not None:
                found[f"car.{axle}.{key}"] = own
    mass = project.mass_state()
    for key in ("pitch_inertia", "cg_height"):
        own = getattr(mass, key)
        if own is not None:
            found[f"mass_states.{mass.name}.{key}"] = own
    return found


def motion_labels(project: Project) -> dict[str, str]:
    """Return what a person calls them."""
    table = coefficients_of("aeromap", "motion")
    return {
        f"{KIND}.{n}": f"motion: {c.meaning[0].lower()}{c.meaning[1:]}" for n, c in table.items()
    }


def motion_draws(answers: Answers) -> dict[str, Draws]:
    """Return the draws of all inputs, the motion's own among them, ``(n_draw,)``."""
    key = f"{KIND} draws"
    if key not in answers.worked_out:
        ensemble = motion_ensemble(answers)
        answers.worked_out[key] = {
            n: np.broadcast_to(ensemble.of(n), (ensemble.size,)) for n in ensemble.quantities
        }
    kept: dict[str, Draws] = answers.worked_out[key]
    return kept


def motion_ensemble(answers: Answers) -> Ensemble:
    """Return the study's ensemble with the motion's own inputs beside it.

    They are drawn by themselves, so that nothing else in the study moves because of them.
    """
    key = f"{KIND} ensemble"
    if key not in answers.worked_out:
        main = answers.ensemble
        own = {n: q for n, q in motion_inputs(answers.project).items() if n not in main.quantities}
        answers.worked_out[key] = main.beside(own, seed=_SEED)
    kept: Ensemble = answers.worked_out[key]
    return kept


def motion_book(answers: Answers) -> ChainBook:
    """Return the study's book, whose chains may blame the motion's inputs too."""
    book = answers.book
    labels = {**book.labels, **motion_labels(answers.project)}
    return ChainBook(ensemble=motion_ensemble(answers), labels=labels, chains=book.chains)


def bounce_of(project: Project, draws: Mapping[str, Draws]) -> tuple[Bounce, Draws]:
    """Return masses, dampers and tyres of a car, and the length of its floor [m].

    What the project does not say comes from ``motion.toml``.
    """
    mass = project.mass_state()
    own = f"mass_states.{mass.name}."
    whole, share = draws[f"{own}mass"], draws[f"{own}front_weight"]
    span = draws.get("car.wheelbase", project.car.wheelbase.best)
    unsprung = [
        draws.get(f"car.{axle}.unsprung_mass", draws["motion.unsprung"] * whole)
        for axle in ("front", "rear")
    ]
    corner = [whole * share - unsprung[0], whole * (1 - share) - unsprung[1]]
    body = corner[0] + corner[1]
    behind = span * corner[0] / body
    ahead = span - behind
    inertia = draws.get(f"{own}pitch_inertia", draws["motion.pitch"] * body * ahead * behind)
    rates = {}
    for axle, load in zip(("front", "rear"), corner, strict=True):
        wheel, tyre = draws[f"car.{axle}.wheel_rate"], draws[f"car.{axle}.tyre_rate"]
        assumed = 2 * draws["motion.damper"] * np.sqrt(wheel * load / 2)
        rates[f"damper_{axle}"] = 2 * draws.get(f"car.{axle}.damping", assumed)
        rates[f"tyre_{axle}"] = 2 * tyre
        rates[f"tyre_damper_{axle}"] = 2 * tyre * draws["motion.tyre_loss"] / _TYRE_SWING
    floor = next((p for p in project.parts if isinstance(p, Floor)), None)
    length = np.broadcast_to(np.asarray(span, dtype=float), whole.shape)
    if floor is not None:
        length = np.full(whole.shape, floor.exit_station.best - floor.front_station.best)
    bounce = Bounce(
        sprung_mass=body, pitch_inertia=inertia, ahead=np.asarray(ahead),
        behind=np.asarray(behind), unsprung_front=unsprung[0], unsprung_rear=unsprung[1], **rates,
    )  # fmt: skip
    return bounce, length


def _transfer(project: Project, draws: Mapping[str, Draws]) -> Transfer | None:
    mass = project.mass_state()
    own = f"mass_states.{mass.name}."
    if mass.cg_height is None:
        return None
    whole = draws[f"{own}mass"]
    none = np.zeros(whole.size)
    held = tuple(draws.get(name, none) for name in _HELD)
    span = draws.get("car.wheelbase", np.full(whole.size, project.car.wheelbase.best))
    return transfer_of(whole, draws[f"{own}cg_height"], span, (held[0], held[1]))


def some_draws(suspension: Suspension, keep: np.ndarray) -> Suspension:
    """Return the springs of some draws."""

    def cut(axle: AxleSpring) -> AxleSpring:
        names = ("ride_height", "travel", "load", "rate", "growth", "static_load")
        return replace(axle, **{n: np.ascontiguousarray(getattr(axle, n)[keep]) for n in names})

    return replace(suspension, front=cut(suspension.front), rear=cut(suspension.rear))


def _rested(axle: AxleSpring, height: float | None) -> AxleSpring:
    """Return an axle whose median ride height at rest is the one asked for."""
    if height is None:
        return axle
    return replace(axle, ride_height=axle.ride_height + height - np.median(axle.ride_height))


def _rate(spring: AxleSpring, load: Array) -> Array:
    """Return an axle's rate under loads ``(n_speed, n_draw)`` [N/m]."""
    load = np.nan_to_num(load)
    piece = np.sum(load[..., None] >= spring.load[:, 1:], axis=-1)
    return np.asarray(spring.rate[np.arange(spring.rate.shape[0]), piece])


def full_size(answers: Answers, state: str, values: Any) -> Draws:
    """Return values of the kept draws at the places of all draws, NaN elsewhere."""
    keep = answers.kept(state)
    found = np.full(keep.size, np.nan)
    found[keep] = values
    return found
