"""Steady corner speed, terminal speed, and open runs."""

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.kernel import cap_energy, solve_point
from tuftwork.lap.parameter import INDEX
from tuftwork.lap.physics import DRIVE
from tuftwork.lap.solve import CEILING, Case, Lap, run_case
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Surroundings, Vehicle, parameters_of, with_changes


def solve_sprint(case: Case, *, start_speed: float, end_speed: float | None = None) -> Lap:
    """Solve an open run from one speed, to another if one is given.

    Parameters
    ----------
    case : ()
        Of an open circuit. [-]
    start_speed, end_speed : ()
        Speed at the first point; highest speed allowed at the last. [m/s]

    Returns
    -------
    lap : ()
        Time and trace. [s]

    Raises
    ------
    InputError
        If the circuit is closed.
    """
    if case.mesh.closed:
        raise InputError("circuit", case.circuit.name, "", "is a loop", "Use solve_lap.")
    last = CEILING if end_speed is None else 0.5 * end_speed**2
    return run_case(replace(case, first=0.5 * max(start_speed, 1e-4) ** 2, last=last))


def corner_speed(
    radius: float, vehicle: Vehicle, aero: AeroTable, *, bank: float = 0.0,
    air: Surroundings | None = None, hold: bool = True,
) -> float:  # fmt: skip
    """Return the steady speed at which the first axle runs out of grip.

    Parameters
    ----------
    radius : ()
        Corner radius in plan. [m]
    vehicle, aero, air : ()
        Car, aero, air. [-]
    bank : ()
        Bank, positive when it helps. [rad]
    hold : ()
        Whether the force that holds the speed counts against grip. [-]

    Returns
    -------
    speed : ()
        Limit speed; infinite where downforce outruns it. [m/s]

    References
    ----------
    [milliken1995].
    """
    p = with_changes(
        parameters_of(vehicle, air),
        {"roll_loss_front": aero.roll_loss_front, "roll_loss_rear": aero.roll_loss_rear},
    )
    if not hold:  # no drag, no rolling: nothing to hold
        p[INDEX["drag_scale"]] = p[INDEX["rolling_resistance"]] = 0.0
    road = (1.0 / radius, np.sin(bank), np.cos(bank), 0.0, 1.0, 0.0)
    energy, _, _, _, capped, ok = cap_energy(
        CEILING, p[INDEX["ride_height_front"]] - 0.01, p[INDEX["ride_height_rear"]] - 0.01,
        road, np.zeros(3), p, vehicle.flags,
        (aero.of_draw(0), aero.ride_height_front, aero.ride_height_rear),
    )  # fmt: skip
    if not ok:
        raise NotConverged("corner speed: ride heights find no balance; axle rates too soft")
    return float(np.sqrt(2.0 * energy)) if capped else float("inf")


def terminal_speed(
    vehicle: Vehicle, aero: AeroTable, *, air: Surroundings | None = None, grade: float = 0.0
) -> float:
    """Return the speed at which drag takes all the power, on a straight.

    Parameters
    ----------
    vehicle, aero, air : ()
        Car, aero, air. [-]
    grade : ()
        Slope of the road, uphill positive. [rad]

    Returns
    -------
    speed : ()
        Terminal speed, ride heights settled. [m/s]

    Raises
    ------
    NotConverged
        If no speed up to 120 m/s balances.
    """
    p = parameters_of(vehicle, air)
    road = (0.0, 0.0, 1.0, float(np.sin(grade)), float(np.cos(grade)), 0.0)
    coef = (aero.of_draw(0), aero.ride_height_front, aero.ride_height_rear)
    power = vehicle.power

    def acceleration(speed: float) -> float:
        front, rear = p[INDEX["ride_height_front"]] - 0.01, p[INDEX["ride_height_rear"]] - 0.01
        guess = (0.0, front, rear, 0.0)
        ax, _, _, _, ok, _ = solve_point(
            DRIVE, 0.5 * speed**2, guess, road, np.zeros(3), p, vehicle.flags, coef,
            power.table, power.step,
        )  # fmt: skip
        if not ok:
            raise NotConverged(f"ride heights find no balance at {speed:.0f} m/s")
        return float(ax)

    if not acceleration(1.0) > 0.0 > acceleration(119.0):
        raise NotConverged("terminal speed: forces do not balance between 1 and 119 m/s")
    top = float(brentq(acceleration, 1.0, 119.0, xtol=1e-10))
    if power.ends_at is not None and top > power.ends_at:
        raise InputError(
            "power", power.ends_at, "m/s", f"curve ends, but the car reaches {top:.1f} m/s",
            "Give power up to the limiter.",
        )  # fmt: skip
    return top
