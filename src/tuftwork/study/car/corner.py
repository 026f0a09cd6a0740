"""What a corner does to the platform: roll, low and high ride heights, and what is lost there."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.attitude import attitude_inputs
from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.corner import (
    KIND,
    Cornering,
    RolledLoads,
    RollSpring,
    axle_roll_stiffness,
    corner,
    corner_coefficients,
    roll_spring,
    weight_of,
)
from tuftwork.aeromap.interface import Field, PlatformState
from tuftwork.aeromap.part import draws_of
from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.aeromap.settle import stilled
from tuftwork.car import Floor, Project
from tuftwork.errors import InputError, NotConverged, TuftworkError
from tuftwork.quantity import Draws, Ensemble, Quantity, exact, to_si
from tuftwork.study.answers import Answers
from tuftwork.study.car.motion import Motion, full_size, motion_ensemble
from tuftwork.study.number import ChainBook, Link, Number, number_of_quantity

_SEED = 4712
_KMH = 3.6
_NEAR = 0.06  # [-] of the speed within which a lap's cells count
_USUAL = 1.0  # [g] where neither the user nor a lap says how hard it corners
_NEEDS = "Cornering needs cg_height in the mass state."
Page = dict[str, Any]


def corner_inputs() -> dict[str, Quantity]:
    """Return every uncertain number that only cornering needs, by name."""
    own = {f"{KIND}.{name}": c.quantity for name, c in corner_coefficients().items()}
    return own | attitude_inputs()


def corner_labels() -> dict[str, str]:
    """Return what a person calls them."""
    from tuftwork.aeromap.attitude import attitude_coefficients

    tables = ((KIND, corner_coefficients()), ("attitude", attitude_coefficients()))
    return {
        f"{head}.{n}": f"cornering: {c.meaning[0].lower()}{c.meaning[1:]}"
        for head, table in tables for n, c in table.items()
    }  # fmt: skip


def corner_ensemble(answers: Answers) -> Ensemble:
    """Return the study's ensemble with what cornering adds, drawn by itself."""
    key = f"{KIND} ensemble"
    if key not in answers.worked_out:
        answers.worked_out[key] = motion_ensemble(answers).beside(corner_inputs(), seed=_SEED)
    kept: Ensemble = answers.worked_out[key]
    return kept


def lateral_of(answers: Answers, state: str, speed: float, text: str = "") -> tuple[float, str]:
    """Return a sideways acceleration [g] and where it comes from.

    Entered, or the most a lap of this state takes near that speed, or 1 g.

    Raises
    ------
    InputError
        If what was entered is no acceleration.
    """
    if text:
        number, _, unit = text.strip().partition(" ")
        try:
            value = to_si(float(number), unit or "g", "acceleration") / STANDARD_GRAVITY
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            cure = "Write it like '1.6 g'."
            raise InputError("lateral", f"'{text}'", "", "no acceleration", cure) from None
        if not 0 < value <= 6:
            raise InputError("lateral", value, "g", "must lie between 0 and 6")
        return value, "entered"
    for name, tree in answers.results.items():
        if not (name.startswith("lap ") and name.endswith(f": {state}") and "trace" in tree):
            continue
        trace = tree["trace"]
        near = np.abs(np.asarray(trace["speed"]) / speed - 1) < _NEAR
        if np.any(near):
            most = float(np.max(np.abs(np.asarray(trace["ay"])[near]))) / STANDARD_GRAVITY
            if most > 0.05:
                place = name.removeprefix("lap ").rpartition(":")[0]
                return round(most, 2), f"the most near this speed on a lap of {place}"
    return _USUAL, "nothing entered and no lap corners at this speed: 1 g taken"


def cornering_of(
    answers: Answers, motion: Motion, state: str, speed: float, lateral: float
) -> Cornering:
    """Return a state's cornering at a speed, its kept draws; worked out once.

    Raises
    ------
    InputError
        If the mass state has no cg_height.
    NotConverged
        If springs do not hold the car.
    """
    key = f"{KIND} {state} {speed:.3f} {lateral:.3f}"
    if key not in answers.worked_out:
        keep = np.flatnonzero(answers.kept(state))
        ensemble, at = corner_ensemble(answers), motion.at(speed)
        draws = {n: ensemble.of(n)[keep] for n in ensemble.quantities}
        answers.worked_out[key] = corner(
            _loads(answers, state, motion, at, draws), motion.suspension,
            _spring(answers.project, draws),
            (motion.path.ride_height_front[at], motion.path.ride_height_rear[at]),
            air=(motion.pressure[at], float(motion.speed[at])), most=lateral,
        )  # fmt: skip
    kept: Cornering = answers.worked_out[key]
    return kept


def _loads(answers: Answers, state: str, motion: Motion, at: int, draws: dict[str, Draws]) -> Any:
    """Return loads of a state at one speed over ride heights and roll, the kept draws."""
    models = answers.models(state)
    keep = np.flatnonzero(answers.kept(state))

    def cut(values: Any) -> np.ndarray:
        flat = np.asarray(values).reshape(-1)
        return flat[keep] if flat.size > 1 else flat

    inputs = {n: cut(v) for n, v in draws_of(models, answers.ensemble).items()}
    inputs |= {n: v for n, v in draws.items() if n.startswith("attitude.")}
    straight = PlatformState(
        ride_height_front=motion.path.ride_height_front[at],
        ride_height_rear=motion.path.ride_height_rear[at], speed=motion.speed[at : at + 1],
        density=cut(answers.air.density), viscosity=cut(answers.air.viscosity),
    )  # fmt: skip
    parts = stilled(models, straight, inputs)

    def loads(front: Draws, rear: Draws, roll: Draws) -> RolledLoads:
        here = replace(straight, ride_height_front=front, ride_height_rear=rear, roll=roll)
        car = car_loads(parts, here, inputs)
        none = np.zeros(front.shape)

        def full(values: Field) -> np.ndarray:
            return np.asarray(np.broadcast_to(values, front.shape))

        return RolledLoads(
            front=full(car.downforce_front),
            rear=full(car.downforce_rear),
            drag=full(car.drag),
            roll=full(none if car.roll_moment is None else car.roll_moment),
        )

    return loads


def _spring(project: Project, draws: Mapping[str, Draws]) -> RollSpring:
    """Return what holds the car against roll: a measured angle, else springs and bars."""
    own = f"mass_states.{project.mass_state().name}."
    if project.mass_state().cg_height is None:
        raise InputError("cg_height", "missing", "", _NEEDS)
    weight, height = weight_of(draws[f"{own}mass"]), draws[f"{own}cg_height"]
    arm = draws[f"{KIND}.roll_arm"]
    lap = project.lap
    if lap is not None and lap.roll_angle.best > 0:
        angle = draws.get("lap.roll_angle", np.full(weight.size, lap.roll_angle.best))
        return roll_spring(weight=weight, height=height, arm=arm, angle=angle)
    assert project.car.front is not None
    assert project.car.rear is not None
    front, rear = (
        axle_roll_stiffness(
            draws[f"car.{name}.wheel_rate"], draws[f"car.{name}.tyre_rate"], axle.track.best
        )
        for name, axle in (("front", project.car.front), ("rear", project.car.rear))
    )
    return roll_spring(
        weight=weight, height=height, arm=arm, axles=(front, rear), bars=draws[f"{KIND}.bars"]
    )


def corner_of(answers: Answers, motion: Motion, state: str, speed: float, text: str = "") -> Page:
    """Return what the page says of a corner, or why it says nothing."""
    lateral, source = lateral_of(answers, state, speed, text)
    page: Page = {
        "lateral": number_of_quantity(exact(lateral * STANDARD_GRAVITY, "acceleration", unit="g")),
        "from": f"{source}; heights at the floor's edge, or the tyre's where there is no floor",
        "refused": "", "numbers": [],
    }  # fmt: skip
    try:
        found = cornering_of(answers, motion, state, speed, lateral)
    except (NotConverged, InputError) as error:
        return page | {"refused": str(error)}
    except TuftworkError as error:
        return page | {"refused": f"Roll: {error}"}
    return page | {"numbers": _numbers(answers, state, speed, lateral, found)}


def _numbers(
    answers: Answers, state: str, speed: float, lateral: float, found: Cornering
) -> list[Page]:
    ensemble = corner_ensemble(answers)
    book = ChainBook(
        ensemble=ensemble, labels={**answers.book.labels, **corner_labels()},
        chains=answers.book.chains,
    )  # fmt: skip
    floor = next((p for p in answers.project.parts if isinstance(p, Floor)), None)
    assert answers.project.car.front is not None
    wide = floor.width.best if floor is not None else answers.project.car.front.track.best
    total = found.front + found.rear
    low_front, _ = found.sides("front", wide / 2)
    low_rear, high_rear = found.sides("rear", wide / 2)
    rows = (
        ("roll", "roll", found.roll[-1], "angle", "°"),
        ("by air", "roll by the air", found.by_air[-1], "share", "%"),
        ("low front", "low side, front", low_front[-1], "height", "mm"),
        ("low rear", "low side, rear", low_rear[-1], "height", "mm"),
        ("high rear", "high side, rear", high_rear[-1], "height", "mm"),
        ("total", "CzS, less straight", total[-1] - total[0], "area", "m²"),
        ("share", "%F, less straight",
         found.front[-1] / total[-1] - found.front[0] / total[0], "share", "%"),
        ("margin", "roll stiffness the air leaves", found.margin[-1], "share", "%"),
    )  # fmt: skip
    among = answers.inputs_in(state) | frozenset(corner_inputs()) | frozenset(
        n for n in ensemble.quantities if n.startswith(("mass_states.", "lap.roll_angle"))
    )  # fmt: skip
    where = f"{speed * _KMH:.0f} km/h, {lateral:.2f} g sideways, {state}"

    def number(name: str, words: str, draws: Draws, dimension: str, unit: str) -> Number:
        full = full_size(answers, state, draws)
        return book.number(
            f"car/corner/{state}/{speed * _KMH:.0f}/{lateral:.3f}/{name}", full, dimension,
            unit=unit, title=f"{words[:1].upper()}{words[1:]} in a corner, {state}",
            links=[*answers.car_links(state), _LINK], at=where, keep=np.isfinite(full),
            among=among, decision=_DECISIONS.get(name, ""),
        )  # fmt: skip

    return [{"name": r[0], "words": r[1], "number": number(*r)} for r in rows]


_LINK = Link(
    what="Heights and roll at which springs carry weight and air, floor and splitter in strips",
    origin="computed", place="platform loop with roll",
)  # fmt: skip
_DECISIONS = {
    "low front": "How close the low side comes to the road.",
    "low rear": "How near the low side of the diffuser comes to its force reduction.",
    "total": "What a straight-line number is worth in a corner.",
}
