"""The invented circuit, car and aero of the worked example; none of it is real."""

from math import pi

import numpy as np

from tuftwork.lap.build import Piece, circuit_from_radii
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.power import constant_power
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Brakes, Chassis, Suspension, Tyre, Vehicle

_LAYOUT = (
    # straight before [m], name, radius [m], turn [deg, left positive]
    (690.0, "Tannery", 42.0, -90.4),
    (82.0, "Weir", 75.0, 63.0),
    (192.0, "Long Acre", 190.0, -56.0),
    (123.0, "Mill", 55.0, -99.3),
    (121.0, "Kiln", 38.0, 65.9),
    (308.0, "Gallows", 215.0, -52.9),
    (167.0, "Ford", 95.0, -87.2),
    (168.0, "Thicket", 60.0, 53.6),
    (217.0, "Larkrise", 250.0, -36.7),
    (164.0, "Sawpit", 48.0, -95.0),
    (91.0, "Orchard", 110.0, 58.5),
    (206.0, "Lych Gate", 34.0, -83.5),
)


def brackenholt() -> Circuit:
    """Return the demo circuit: 4.160 km, 12 corners, longest straight 690 m. Invented.

    Returns
    -------
    circuit : ()
        Built from radii and closed. [-]
    """
    pieces = []
    for straight, name, radius, turn in _LAYOUT:
        pieces.append(Piece(length=straight, fixed=straight == 690.0))
        angle = turn * pi / 180.0
        ease = min(30.0, 0.45 * abs(angle) * radius)
        pieces.append(Piece(radius=radius, angle=angle, name=name, transition=ease))
    return circuit_from_radii("Brackenholt", pieces, length=4160.0)


def halyard(
    *, ride_height_front: float = 0.058, ride_height_rear: float = 0.071, margin_rear: float = 0.03
) -> Vehicle:
    """Return the demo car in race state. Invented.

    Parameters
    ----------
    ride_height_front, ride_height_rear : ()
        Static, with the driver. [m]
    margin_rear : ()
        Rear grip the driver leaves unused. [-]

    Returns
    -------
    vehicle : ()
        The car. [-]
    """
    per_wheel = 0.032e-3  # [1/N]  1.6 % per kN of axle load
    return Vehicle(
        name="Halyard GT",
        chassis=Chassis(
            mass=1285.0, weight_front=0.475, cg_height=0.47, wheelbase=2.620, track_front=1.64,
            track_rear=1.60, roll_share_front=0.52, rolling_resistance=0.013,
            rotating_inertia=0.026, roll_gradient=0.0015,
        ),
        tyre_front=Tyre(grip=1.430, load_loss=per_wheel, wheel_load=3000.0),
        tyre_rear=Tyre(grip=1.445, load_loss=per_wheel, wheel_load=3000.0, margin=margin_rear),
        suspension=Suspension(
            ride_height_front=ride_height_front, ride_height_rear=ride_height_rear,
            axle_rate_front=113e3, axle_rate_rear=121e3, anti_dive=0.35, anti_squat=0.2,
            anti_lift=0.2, bump_travel_front=0.026, bump_rate_front=450e3,
        ),
        power=constant_power(355e3),
        driveline_efficiency=0.89,
        brakes=Brakes(share_front=0.66),
    )  # fmt: skip


def halyard_aero(wing_degrees: float = 8.0) -> AeroTable:
    """Return the demo car's aero with the diffuser's force-reduction branch. Invented.

    Parameters
    ----------
    wing_degrees : ()
        Wing setting, 0 to 13, stalling beyond. [deg]

    Returns
    -------
    table : ()
        CzS and CxS over ride heights. [m²]

    Notes
    -----
    The demo scenario's truth on a grid, fine at the cliff: made up, not a prediction. A test holds
    it to the module the demo's measurements are made from.
    """
    hf = np.r_[16:36:4, 36:60:3, 60:81:5] * 1e-3
    hr = np.r_[34:52:3, 52:66:1, 66:115:4] * 1e-3
    f, r = np.meshgrid(hf * 1e3, hr * 1e3, indexing="ij")
    loss = 0.3217 / (1.0 + np.exp((r - 57.786) / 0.781))  # the stalled diffuser
    over = max(0.0, wing_degrees - 13.0)
    wing = 0.652 + 0.0315 * (min(wing_degrees, 13.0) - 8.0) - 0.03 * over
    front = 0.7254 + 0.0108 * (53.0 - f) - 0.2325 * loss - 0.1298 * wing
    rear = 0.2579 + 0.0019 * (60.0 - r) - loss + 1.1298 * wing
    drag = 0.8971 + 0.0578 * loss + 0.0097 * (wing_degrees - 8.0)
    return AeroTable(
        ride_height_front=hf,
        ride_height_rear=hr,
        downforce_front=front[None],
        downforce_rear=rear[None],
        drag=drag[None],
        roll_loss_front=60.0,
        roll_loss_rear=60.0,
    )
