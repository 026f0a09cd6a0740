"""The car as the lap sees it: masses, tyres, engine, brakes, springs."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.lap.parameter import INDEX, N_PARAMETER, NAMES
from tuftwork.lap.power import PowerCurve
from tuftwork.quantity import Array

NO_STOP = 1.0  # [m]  travel no car has
LEAST_TRAVEL = 1e-4  # [m]  a stop that touches at rest: its force comes in over 2 % of this


@dataclass(frozen=True, slots=True, kw_only=True)
class Chassis:
    """Masses and lengths in one mass state.

    Attributes
    ----------
    mass [kg], weight_front [-], cg_height [m], wheelbase [m], track_front [m], track_rear [m]
        With driver and fuel as in ``mass_state``.
    roll_share_front
        Share of the lateral load transfer taken by the front axle. [-]
    rolling_resistance, rotating_inertia
        Rolling force over load [-]; extra inertia of turning parts over mass [-].
    roll_gradient
        Roll angle over lateral acceleration. [rad s²/m]
    mass_state
        Which driver and fuel these numbers hold for.
    """

    mass: float
    weight_front: float
    cg_height: float
    wheelbase: float
    track_front: float
    track_rear: float
    roll_share_front: float = 0.5
    rolling_resistance: float = 0.0
    rotating_inertia: float = 0.0
    roll_gradient: float = 0.0
    mass_state: str = "driver, half fuel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tyre:
    """Grip of one wheel: μ(N) = grip (1 - load_loss (N - wheel_load)).

    Attributes
    ----------
    grip [-], load_loss [1/N], wheel_load [N]
        Lateral peak at the stated wheel load and its fall with load.
    margin
        Share the driver leaves unused. [-]
    """

    grip: float
    load_loss: float = 0.0
    wheel_load: float = 3000.0
    margin: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspension:
    """Static ride heights and axle rates; rates include the tyres, bump stops come after a travel.

    Attributes
    ----------
    ride_height_front, ride_height_rear [m]
        At the axle lines, in race state (with the driver), standing.
    axle_rate_front, axle_rate_rear [N/m]
        Both wheels of an axle: for one axle rate per wheel in series with its tyre, twice that.
    anti_dive, anti_lift, anti_squat [-]
        Share of the transferred load carried by the links instead of the springs.
    bump_travel_*, bump_rate_*, second_travel_*, second_rate_*
        Travel to the first and second stop [m] and axle rate beyond each [N/m]; no travel given,
        no stop.
    tyre_growth_front, tyre_growth_rear
        Rise of the axle by tyre growth over the square of speed. [s²/m]
    """

    ride_height_front: float
    ride_height_rear: float
    axle_rate_front: float
    axle_rate_rear: float
    anti_dive: float = 0.0
    anti_lift: float = 0.0
    anti_squat: float = 0.0
    bump_travel_front: float | None = None
    bump_rate_front: float | None = None
    bump_travel_rear: float | None = None
    bump_rate_rear: float | None = None
    second_travel_front: float | None = None
    second_rate_front: float | None = None
    second_travel_rear: float | None = None
    second_rate_rear: float | None = None
    tyre_growth_front: float = 0.0
    tyre_growth_rear: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Brakes:
    """Front share of brake force (None: shares follow grip) and the largest total force. [-, N]"""

    share_front: float | None = None
    force: float = 1.0e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """Everything about the car but its aero.

    Attributes
    ----------
    drive_share_front
        Share of drive on the front axle: 0 rear drive, 1 front drive, None follows grip.
    longitudinal_ratio
        Longitudinal over lateral grip. [-]
    driveline_efficiency
        Power at the wheels over power at the engine. [-]
    width
        Over all; a path must leave room for it. [m]
    """

    name: str
    chassis: Chassis
    tyre_front: Tyre
    tyre_rear: Tyre
    suspension: Suspension
    power: PowerCurve
    brakes: Brakes = field(default_factory=Brakes)
    drive_share_front: float | None = 0.0
    longitudinal_ratio: float = 1.0
    driveline_efficiency: float = 1.0
    width: float = 1.9

    def __post_init__(self) -> None:
        p = parameters_of(self)
        above = (
            "mass", "wheelbase", "track_front", "track_rear", "grip_front", "grip_rear",
            "longitudinal_ratio", "driveline_efficiency", "axle_rate_front", "axle_rate_rear",
            "brake_force",
        )  # fmt: skip
        for name in above:
            if not p[INDEX[name]] > 0.0:
                raise InputError(name, float(p[INDEX[name]]), "", "must be above 0")
        shares = ("weight_front", "roll_share_front", "brake_share_front", "drive_share_front")
        for name in (*shares, "margin_front", "margin_rear", "anti_dive", "anti_lift"):
            if not 0.0 <= p[INDEX[name]] <= 1.0:
                raise InputError(
                    name, float(p[INDEX[name]]), "", "must be 0 to 1", "Divide a percentage by 100."
                )
        for name in ("ride_height_front", "ride_height_rear", "cg_height"):
            if not -0.05 <= p[INDEX[name]] < 2.0:
                raise InputError(
                    name, float(p[INDEX[name]]), "m", "must be metres", "Divide mm by 1000."
                )
        if not np.all(np.isfinite(p)):
            raise InputError(NAMES[int(np.argmax(~np.isfinite(p)))], "nan", "", "must be a number")

    @property
    def flags(self) -> tuple[bool, bool]:
        """Whether shares of drive and of brakes follow the axles' grip."""
        return self.drive_share_front is None, self.brakes.share_front is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Air density [kg/m³] and gravity [m/s²]."""

    density: float = 1.18
    gravity: float = 9.80665


def parameters_of(vehicle: Vehicle, air: Surroundings | None = None) -> Array:
    """Return the parameter vector of a car in the order of ``PARAMETERS``.

    Parameters
    ----------
    vehicle : ()
        The car. [-]
    air : ()
        Density and gravity. [-]

    Returns
    -------
    p : (n_parameter,)
        SI values. [mixed]
    """
    air = air or Surroundings()
    c, s, b = vehicle.chassis, vehicle.suspension, vehicle.brakes
    front, rear = vehicle.tyre_front, vehicle.tyre_rear
    drive = vehicle.drive_share_front
    values = {
        "mass": c.mass,
        "weight_front": c.weight_front,
        "cg_height": c.cg_height,
        "wheelbase": c.wheelbase,
        "track_front": c.track_front,
        "track_rear": c.track_rear,
        "roll_share_front": c.roll_share_front,
        "grip_front": front.grip,
        "grip_rear": rear.grip,
        "load_loss_front": front.load_loss,
        "load_loss_rear": rear.load_loss,
        "wheel_load_front": front.wheel_load,
        "wheel_load_rear": rear.wheel_load,
        "longitudinal_ratio": vehicle.longitudinal_ratio,
        "power_scale": 1.0,
        "driveline_efficiency": vehicle.driveline_efficiency,
        "rolling_resistance": c.rolling_resistance,
        "rotating_inertia": c.rotating_inertia,
        "brake_share_front": 0.5 if b.share_front is None else b.share_front,
        "brake_force": b.force,
        "drive_share_front": 0.5 if drive is None else drive,
        "margin_front": front.margin,
        "margin_rear": rear.margin,
        "ride_height_front": s.ride_height_front,
        "ride_height_rear": s.ride_height_rear,
        "axle_rate_front": s.axle_rate_front,
        "axle_rate_rear": s.axle_rate_rear,
        "anti_dive": s.anti_dive,
        "anti_lift": s.anti_lift,
        "anti_squat": s.anti_squat,
        **_stops(s, "front"),
        **_stops(s, "rear"),
        "tyre_growth_front": s.tyre_growth_front,
        "tyre_growth_rear": s.tyre_growth_rear,
        "roll_gradient": c.roll_gradient,
        "density": air.density,
        "gravity": air.gravity,
        **dict.fromkeys(("downforce_scale_front", "downforce_scale_rear", "drag_scale"), 1.0),
    }
    p = np.zeros(N_PARAMETER)
    for name, value in values.items():
        p[INDEX[name]] = value
    return p


def _stops(springs: Suspension, axle: str) -> dict[str, float]:
    """Return travel and rate of an axle's two stops; a stop it lacks is never met."""
    found: dict[str, float] = {}
    rate = float(getattr(springs, f"axle_rate_{axle}"))
    for stop in ("bump", "second"):
        travel = getattr(springs, f"{stop}_travel_{axle}")
        own = getattr(springs, f"{stop}_rate_{axle}")
        rate = rate if travel is None or own is None else own
        found[f"{stop}_travel_{axle}"] = NO_STOP if travel is None else max(travel, LEAST_TRAVEL)
        found[f"{stop}_rate_{axle}"] = rate
    return found


def with_changes(parameters: Array, changes: Mapping[str, float | Array]) -> Array:
    """Return parameters with some set to new values; arrays of draws broadcast.

    Parameters
    ----------
    parameters : (..., n_parameter)
        As from :func:`parameters_of`. [mixed]
    changes : (n_change,)
        New SI values by name, each a number or an array of draws. [mixed]

    Returns
    -------
    p : (..., n_parameter)
        Changed copy. [mixed]
    """
    shape = np.broadcast_shapes(parameters.shape[:-1], *(np.shape(v) for v in changes.values()))
    p = np.array(np.broadcast_to(parameters, (*shape, N_PARAMETER)))
    for name, value in changes.items():
        if name not in INDEX:
            raise UnknownName("parameter", name, NAMES)
        p[..., INDEX[name]] = value
    return p


def in_mass_state(vehicle: Vehicle, *, added: float, at_front: float, name: str) -> Vehicle:
    """Return the car with mass added (or taken off), ride heights and balance following.

    Parameters
    ----------
    vehicle : ()
        The car. [-]
    added : ()
        Mass added; negative when fuel burns. [kg]
    at_front : ()
        Share of it on the front axle. [-]
    name : ()
        Name of the new mass state. [-]

    Returns
    -------
    vehicle : ()
        Changed car; CG height is kept. [-]
    """
    c, s = vehicle.chassis, vehicle.suspension
    mass = c.mass + added
    front = c.mass * c.weight_front + added * at_front
    g = Surroundings().gravity
    return replace(
        vehicle,
        chassis=replace(c, mass=mass, weight_front=front / mass, mass_state=name),
        suspension=replace(
            s,
            ride_height_front=s.ride_height_front - added * at_front * g / s.axle_rate_front,
            ride_height_rear=s.ride_height_rear - added * (1 - at_front) * g / s.axle_rate_rear,
        ),
    )
