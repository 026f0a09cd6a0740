"""Grip from tests: a tyre rig's peaks, a skid pad's times, corners of a lap."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.steady import corner_speed
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Surroundings, Tyre, Vehicle
from tuftwork.quantity import Array, Numeric


def magic_formula(slip: Numeric, b: float, c: float, d: float, e: float) -> Numeric:
    """Return tyre force over slip, y = D sin(C atan(Bx - E(Bx - atan Bx))).

    Parameters
    ----------
    slip : (...)
        Slip in the unit B was fitted to. [1/B]
    b, c, d, e : ()
        Stiffness, shape, peak and curvature factors. [-, -, N, -]

    Returns
    -------
    force : (...)
        In the unit of D. [N]

    References
    ----------
    [bakker1987].
    """
    bx = b * np.asarray(slip)
    return np.asarray(d * np.sin(c * np.arctan(bx - e * (bx - np.arctan(bx)))))


def fit_tyre(wheel_load: Array, peak_force: Array, *, at: float = 3000.0) -> Tyre:
    """Return the tyre whose straight-line friction best fits peaks from a tyre test.

    μ(N) = grip (1 - load_loss (N - at)), least squares over μ.

    Parameters
    ----------
    wheel_load, peak_force : (n,)
        Vertical load and lateral peak. [N]
    at : ()
        Load at which grip is stated. [N]

    Returns
    -------
    tyre : ()
        Fitted tyre. Rig grip is not track grip: scale it to a corner. [-]

    Raises
    ------
    InputError
        If loads are not above 0 or fewer than two.
    """
    load, force = np.asarray(wheel_load, float), np.asarray(peak_force, float)
    if load.size < 2 or not np.all(load > 0.0) or float(np.ptp(load)) == 0.0:
        raise InputError("wheel_load", "list", "N", "needs two or more different loads above 0")
    grip, loss = rig_grip(load, force, at=at)
    if not grip > 0.0:
        raise InputError("peak_force", float(force.min()), "N", "gives no grip", "Sign of the rig?")
    return Tyre(grip=float(grip), load_loss=float(loss), wheel_load=at)


def rig_grip(
    wheel_load: Numeric, peak_force: Numeric, *, at: Numeric = 3000.0
) -> tuple[Array, Array]:
    """Return grip and its loss over load of the line that best fits peaks from a tyre test.

    Parameters
    ----------
    wheel_load, peak_force : (n, ...)
        Vertical load and lateral peak; draws along the axes behind the first. [N]
    at : (...)
        Load at which grip is stated. [N]

    Returns
    -------
    grip : (...)
        Friction at ``at``. [-]
    load_loss : (...)
        Share of it lost for each newton more. [1/N]
    """
    load, force = np.broadcast_arrays(np.asarray(wheel_load, float), np.asarray(peak_force, float))
    mu, middle = force / load, load.mean(axis=0)
    arm = load - middle
    slope = np.sum(arm * mu, axis=0) / np.sum(np.square(arm), axis=0)
    grip = mu.mean(axis=0) + slope * (np.asarray(at) - middle)
    return np.asarray(grip), np.asarray(-slope / grip)


def skid_pad_grip(diameter: Numeric, time: Numeric, *, gravity: float = 9.80665) -> Numeric:
    """Return lateral acceleration over gravity from a skid pad, 2π² D/(T² g).

    Parameters
    ----------
    diameter : (...)
        Diameter of the driven line. [m]
    time : (...)
        Time of one round. [s]
    gravity : ()
        Gravity. [m/s²]

    Returns
    -------
    grip : (...)
        Mean lateral acceleration over gravity. [-]
    """
    return 2.0 * np.pi**2 * np.asarray(diameter) / (np.asarray(time) ** 2 * gravity)


def fit_grip_to_corners(
    vehicle: Vehicle, aero: AeroTable, corners: Sequence[tuple[float, float]],
    *, air: Surroundings | None = None,
) -> Vehicle:  # fmt: skip
    """Return the car with both axles' grip scaled so that steady corner speeds fit those driven.

    Parameters
    ----------
    vehicle, aero, air : ()
        Car with first-guess tyres, its aero, and the air of the day. [-]
    corners : (n, 2)
        Speed at the apex and radius of the line driven. [m/s, m]

    Returns
    -------
    vehicle : ()
        Car with scaled tyres; the front-to-rear ratio stays. [-]

    Raises
    ------
    InputError, NotConverged
        If there are no corners; if no scale between 0.3 and 3 fits.
    """
    from scipy.optimize import brentq

    if not corners:
        raise InputError("corners", 0, "", "needs at least one speed and radius")

    def scaled(scale: float) -> Vehicle:
        return replace(
            vehicle,
            tyre_front=replace(vehicle.tyre_front, grip=vehicle.tyre_front.grip * scale),
            tyre_rear=replace(vehicle.tyre_rear, grip=vehicle.tyre_rear.grip * scale),
        )

    def miss(scale: float) -> float:
        car = scaled(scale)
        speeds = [min(corner_speed(radius, car, aero, air=air), 120.0) for _, radius in corners]
        return float(np.sum([(v - s) / s for v, (s, _) in zip(speeds, corners, strict=True)]))

    if not miss(0.3) < 0.0 < miss(3.0):
        raise NotConverged("grip scale: no scale between 0.3 and 3 gives these corner speeds")
    return scaled(float(brentq(miss, 0.3, 3.0, xtol=1e-7)))
