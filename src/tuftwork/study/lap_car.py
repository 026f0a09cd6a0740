"""From the project's tables to the lap's car: best values, and draw by draw."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.platform import AxleSpring, suspension_of
from tuftwork.car import Lap, Project, Table, Tyres
from tuftwork.errors import InputError
from tuftwork.lap import (
    Brakes,
    Chassis,
    Draws,
    Gearbox,
    PowerCurve,
    Surroundings,
    Suspension,
    Tyre,
    Vehicle,
    constant_power,
    parameters_of,
    power_from_gears,
    power_over_speed,
    rig_grip,
    scaled_power,
)
from tuftwork.lap.parameter import INDEX
from tuftwork.lap.vehicle import LEAST_TRAVEL
from tuftwork.quantity import Array, Ensemble, Quantity
from tuftwork.study.names import GRIP

_PER_KN = 1e-3  # [1/N] in 1/kN
_G = 9.80665  # [m/s²]  by definition
_DRIVEN: dict[str, float | None] = {"rear": 0.0, "front": 1.0, "all": None}


@dataclass(frozen=True, slots=True, kw_only=True)
class LapCar:
    """A car in one state, ready to be lapped.

    Attributes
    ----------
    vehicle, air
        At the median of the draws.
    draws
        What every draw adds to the parameters.
    roll_loss
        ℓ in 1/(1 + ℓ φ²), what roll leaves of the downforce. [1/rad²]
    notices
        What the lap leaves out.
    """

    vehicle: Vehicle
    air: Surroundings
    draws: Draws
    roll_loss: float
    notices: tuple[str, ...]


def lap_of(project: Project) -> Lap:
    """Return the project's lap tables, refusing a project that has none."""
    if project.lap is None:
        raise InputError("lap", "missing", "", "this project says nothing of a lap",
                         "Add [lap] with a circuit and tyres.")  # fmt: skip
    return project.lap


def lap_quantities(project: Project) -> dict[str, Quantity]:
    """Return the numbers a lap adds to the ensemble, by name."""
    if project.lap is None:
        return {}
    found: dict[str, Quantity] = {}
    for axle in ("front", "rear"):
        tyres = getattr(project.lap, axle)
        idle = {"grip_loss"} if tyres.rig else {"rig_to_track"}
        numbers = _numbers(tyres, f"lap.{axle}.")
        found |= {n: q for n, q in numbers.items() if n.rpartition(".")[2] not in idle}
        for k, point in enumerate(tyres.rig):
            found |= _numbers(point, f"lap.{axle}.rig.{k}.")
    own = project.lap
    for key in _OWN:
        quantity = getattr(own, key)
        if isinstance(quantity, Quantity):
            found[f"lap.{key}"] = quantity
    mass = project.mass_state()
    if mass.cg_height is not None:
        found[f"mass_states.{mass.name}.cg_height"] = mass.cg_height
    return found


_OWN = (
    "track_grip", "brake_share", "roll_share", "roll_angle", "roll_loss", "rotating_inertia",
    "anti_dive", "anti_lift", "anti_squat",
)  # fmt: skip


def lap_labels(project: Project) -> dict[str, str]:
    """Return what a person calls the lap's numbers."""
    if project.lap is None:
        return {}
    found = {f"lap.{key}": f"lap: {key.replace('_', ' ')}" for key in _OWN}
    for axle in ("front", "rear"):
        for key in type(project.lap.front).model_fields:
            found[f"lap.{axle}.{key}"] = f"{axle} tyres: {key.replace('_', ' ')}"
        for k in range(len(getattr(project.lap, axle).rig)):
            for key in ("load", "force"):
                name = f"{axle} tyres: {key} at point {k + 1} of the rig"
                found[f"lap.{axle}.rig.{k}.{key}"] = name
    return found


def lap_names(project: Project) -> frozenset[str]:
    """Return the names of every input a lap can depend on besides its aero and its springs."""
    names = set(lap_quantities(project))
    names |= {f"car.{key}" for key in ("power", "driveline", "rolling_resistance")}
    return frozenset(names)


def _numbers(table: Table, prefix: str) -> dict[str, Quantity]:
    return {
        f"{prefix}{key}": value
        for key in type(table).model_fields
        if isinstance(value := getattr(table, key), Quantity)
    }


def lap_car(
    project: Project, state: str, quantities: Mapping[str, Quantity], ensemble: Ensemble,
    density: Array, engine: Array | float = 1.0,
) -> LapCar:  # fmt: skip
    """Return the car of a project in a state.

    Parameters
    ----------
    project, state
        The car; the state gives ride heights at rest.
    quantities, ensemble
        Every uncertain number of the study, and its draws.
    density : (n_draw,) or ()
        Of the air. [kg/m³]
    engine : (n_draw,) or ()
        Power the engine makes in this air over its rated power. [-]

    Raises
    ------
    InputError
        If the centre of gravity's height or the power is missing.
    """
    lap, size = lap_of(project), ensemble.size
    drawn = {name: np.broadcast_to(ensemble.of(name), (size,)) for name in quantities}
    values, notices = _parameters(project, lap, state, drawn)
    own = np.broadcast_to(np.asarray(engine, dtype=float).reshape(-1), (size,))
    usual = float(np.median(own))  # in the curve of the vehicle; draws differ from it
    values["power_scale"] = values.get("power_scale", 1.0) * own / usual
    values["density"] = np.broadcast_to(np.asarray(density, dtype=float).reshape(-1), (size,))
    middle = {name: float(np.median(v)) for name, v in values.items()}
    vehicle = _vehicle(project, lap, middle)
    vehicle = replace(vehicle, power=scaled_power(vehicle.power, usual))
    air = Surroundings(density=middle["density"])
    base = parameters_of(vehicle, air)
    shifts = {
        name: v - base[INDEX[name]] for name, v in values.items() if np.ptp(v) > 0.0
    }  # what no draw moves needs no column
    angle = lap.roll_angle.best
    loss = lap.roll_loss.best
    return LapCar(
        vehicle=vehicle, air=air, draws=Draws(n_draw=size, shifts=shifts), notices=notices,
        roll_loss=loss / (1.0 - loss) / angle**2 if angle > 0.0 else 0.0,
    )  # fmt: skip


def _parameters(
    project: Project, lap: Lap, state: str, drawn: Mapping[str, Array]
) -> tuple[dict[str, Array], tuple[str, ...]]:
    """Return the lap's parameters draw by draw, and what the lap leaves out."""
    mass = project.mass_state()
    own = f"mass_states.{mass.name}."
    if mass.cg_height is None:
        cure = f"Give cg_height in mass state '{mass.name}'."
        raise InputError("cg_height", "missing", "", "a lap needs it", cure)
    grip = drawn["lap.track_grip"]
    keys = (("mass", "mass"), ("weight_front", "front_weight"), ("cg_height", "cg_height"))
    values = {name: drawn[f"{own}{key}"] for name, key in keys}
    values |= tyre_values(lap, drawn)
    for axle in ("front", "rear"):
        values[f"grip_{axle}"] = grip * values[f"grip_{axle}"]
    for key in ("rotating_inertia", "anti_dive", "anti_lift", "anti_squat"):
        values[key] = drawn[f"lap.{key}"]
    values["roll_share_front"] = drawn["lap.roll_share"]
    values["roll_gradient"] = drawn["lap.roll_angle"] / _G
    if lap.brake_share is not None:
        values["brake_share_front"] = drawn["lap.brake_share"]
    for name in ("driveline", "rolling_resistance"):
        if f"car.{name}" in drawn:
            key = {"driveline": "driveline_efficiency"}.get(name, name)
            values[key] = drawn[f"car.{name}"]
    if project.car.power is not None and not lap.power and lap.gears is None:
        values["power_scale"] = drawn["car.power"] / project.car.power.best
    springs = suspension_of(project, "", state if project.states else "", drawn)
    notices: list[str] = []
    for axle, spring in (("front", springs.front), ("rear", springs.rear)):
        values |= _spring_values(axle, spring)
        if spring.travel.shape[1] > 3:
            notices.append(
                f"the lap knows two stops an axle: only the {axle}'s first two are in it"
            )
    return values, tuple(notices)


def tyre_values(lap: Lap, drawn: Mapping[str, Array]) -> dict[str, Array]:
    """Return the tyres' parameters draw by draw, on the road that ``track_grip`` is against."""
    found: dict[str, Array] = {}
    for axle in ("front", "rear"):
        grip, loss = _grip_of(getattr(lap, axle), axle, drawn)
        found |= {f"grip_{axle}": grip, f"load_loss_{axle}": loss}
        for key in ("wheel_load", "margin"):
            found[f"{key}_{axle}"] = drawn[f"lap.{axle}.{key}"]
    return found


def _grip_of(tyres: Tyres, axle: str, drawn: Mapping[str, Array]) -> tuple[Array, Array]:
    """Return grip and its loss per newton, as given or from the points of a tyre test."""
    if not tyres.rig:
        return drawn[f"lap.{axle}.grip"], _PER_KN * drawn[f"lap.{axle}.grip_loss"]
    load, force = (
        np.stack([drawn[f"lap.{axle}.rig.{k}.{key}"] for k in range(len(tyres.rig))])
        for key in ("load", "force")
    )
    grip, loss = rig_grip(load, force, at=drawn[f"lap.{axle}.wheel_load"])
    if not (np.all(grip > 0) and np.all(loss > -1e-4)):
        raise InputError(f"lap.{axle}.rig", f"{len(tyres.rig)} points", "",
                         "give no grip that falls with load",
                         "Look at the signs and at the ranges.")  # fmt: skip
    return drawn[f"lap.{axle}.rig_to_track"] * grip, np.maximum(loss, 0.0)


def _spring_values(axle: str, spring: AxleSpring) -> dict[str, Array]:
    found = {
        f"ride_height_{axle}": spring.ride_height,
        f"axle_rate_{axle}": spring.rate[:, 0],
        f"tyre_growth_{axle}": spring.growth,
    }
    for piece, stop in ((1, "bump"), (2, "second")):
        last = spring.rate.shape[1] - 1
        if piece <= last:
            found[f"{stop}_travel_{axle}"] = np.maximum(spring.travel[:, piece], LEAST_TRAVEL)
        # where there is no such stop its rate follows the piece before, draw by draw
        found[f"{stop}_rate_{axle}"] = spring.rate[:, min(piece, last)]
    return found


def _vehicle(project: Project, lap: Lap, middle: Mapping[str, float]) -> Vehicle:
    car = project.car
    assert car.front is not None
    assert car.rear is not None
    tyres = [
        Tyre(
            grip=middle[f"grip_{axle}"], load_loss=middle[f"load_loss_{axle}"],
            wheel_load=middle[f"wheel_load_{axle}"], margin=middle[f"margin_{axle}"],
        )
        for axle in ("front", "rear")
    ]  # fmt: skip
    return Vehicle(
        name=car.name,
        chassis=Chassis(
            mass=middle["mass"], weight_front=middle["weight_front"],
            cg_height=middle["cg_height"], wheelbase=car.wheelbase.best,
            track_front=car.front.track.best, track_rear=car.rear.track.best,
            roll_share_front=middle["roll_share_front"],
            rolling_resistance=middle.get("rolling_resistance", 0.0),
            rotating_inertia=middle["rotating_inertia"], roll_gradient=middle["roll_gradient"],
            mass_state=project.mass_state().name,
        ),
        tyre_front=tyres[0], tyre_rear=tyres[1],
        suspension=Suspension(
            **{
                key: middle.get(key)  # type: ignore[arg-type]
                for key in Suspension.__dataclass_fields__
            }
        ),
        power=power_of(project, lap),
        brakes=Brakes(share_front=middle.get("brake_share_front")),
        drive_share_front=_DRIVEN[lap.driven],
        driveline_efficiency=middle.get("driveline_efficiency", 1.0),
        width=lap.width.best,
    )  # fmt: skip


def power_of(project: Project, lap: Lap) -> PowerCurve:
    """Return power over road speed, before the driveline, as the project says it."""
    if lap.power:
        speed = np.array([row.speed.best for row in lap.power])
        return power_over_speed(speed, np.array([row.power.best for row in lap.power]))
    if lap.gears is not None:
        return power_from_gears(
            np.array([row.turning for row in lap.gears.engine]) * np.pi / 30.0,
            np.array([row.power.best for row in lap.gears.engine]),
            Gearbox(
                ratios=lap.gears.ratios, rolling_radius=lap.gears.rolling_radius.best
            ),
        )  # fmt: skip
    if project.car.power is None:
        raise InputError(
            "power",
            "missing",
            "",
            "a lap needs it",
            "Give power in [car], [[lap.power]] or [lap.gears].",
        )
    return constant_power(project.car.power.best)


def few(ensemble: Ensemble, chosen: Array) -> Ensemble:
    """Return an ensemble of the chosen draws (``standing.py``), in that order."""
    return replace(ensemble, deviates=ensemble.deviates[chosen])


def grip_needs(project: Project) -> tuple[str, ...]:
    """Return the steps that the draws of a lap's car come from."""
    tied = project.lap is not None and project.lap.cornering is not None
    return ("tie", GRIP) if tied else ("tie",)
