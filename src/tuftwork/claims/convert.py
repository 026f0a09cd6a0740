"""Figures as people quote them, turned into areas and shares: one line of arithmetic each."""

from math import sqrt

from tuftwork.errors import InputError
from tuftwork.quantity import Source

SOURCE = Source(
    key="saeJ1594", place="axes, resolving centre and axle coefficients", status="memory"
)
GRAVITY = 9.80665  # [m/s²]


def area_of_force(force: float, speed: float, density: float) -> float:
    """Return the downforce or drag area F / (½ ρ V²) [m²].

    Parameters
    ----------
    force, speed, density
        [N], [m/s], [kg/m³]

    Raises
    ------
    InputError
        If the speed or density is not above zero.

    Examples
    --------
    >>> round(area_of_force(1050 * 9.80665, 155 * 0.44704, 1.225), 2)
    3.5
    """
    for name, value, unit in (("speed", speed, "m/s"), ("density", density, "kg/m³")):
        if not value > 0:
            raise InputError(name, value, unit, "must be above 0")
    return force / (0.5 * density * speed**2)


def force_of_area(area: float, speed: float, density: float) -> float:
    """Return the force ½ ρ V² S of a downforce or drag area [N]."""
    return 0.5 * density * speed**2 * area


def drag_power(drag_area: float, speed: float, density: float) -> float:
    """Return the power ½ ρ V³ CxS that drag takes [W]."""
    return force_of_area(drag_area, speed, density) * speed


def axle_coefficients(lift: float, pitching: float) -> tuple[float, float]:
    """Return front and rear coefficients from lift and pitching moment about mid wheelbase.

    C_Lf = C_L/2 + C_PM and C_Lr = C_L/2 − C_PM, the moment taken at the ground and made
    dimensionless by the wheelbase.

    Parameters
    ----------
    lift, pitching
        Coefficients on one area; signs as given. [-]

    References
    ----------
    [saeJ1594]
    """
    return lift / 2 + pitching, lift / 2 - pitching


def front_share(front: float, rear: float) -> float:
    """Return the front axle's share of the downforce [-].

    Raises
    ------
    InputError
        If there is no downforce to share.
    """
    if front + rear == 0:
        raise InputError("downforce", 0.0, "", "a car without downforce has no balance")
    return front / (front + rear)


def share_of_gain(gain: float) -> float:
    """Return the share of the load that a part with a relative gain carries, g / (1 + g) [-].

    Raises
    ------
    InputError
        If the gain is a loss of everything or more.
    """
    if not gain > -1:
        raise InputError("gain", gain, "", "must be above −1")
    return gain / (1 + gain)


def top_speed(
    power: float, drag_area: float, rolling_area: float, rolling_force: float, density: float
) -> float:
    """Return the speed at which power at the wheels meets drag and rolling.

    P = ½ ρ (CxS + c CzS) V³ + c m g V has one root above zero.

    Parameters
    ----------
    power
        At the wheels. [W]
    drag_area, rolling_area
        CxS, and rolling resistance times CzS. [m²]
    rolling_force
        Rolling resistance times weight. [N]
    density
        [kg/m³]
    """
    cubic = 0.5 * density * max(drag_area + rolling_area, 1e-3)
    half = power / (2 * cubic)
    third = rolling_force / (3 * cubic)
    root = sqrt(half**2 + third**3)
    # Cardano; the difference of cube roots is written so that it does not cancel
    large: float = (root + half) ** (1 / 3)
    return large - third / large


def drag_area_for(
    power: float, speed: float, rolling_area: float, rolling_force: float, density: float
) -> float:
    """Return the drag area at which a power reaches a speed; the inverse of ``top_speed`` [m²]."""
    return area_of_force(power / speed - rolling_force, speed, density) - rolling_area
