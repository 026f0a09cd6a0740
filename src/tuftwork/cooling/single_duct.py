"""One straight duct in closed form: the hand check of every net, and what heat does to it."""

from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.guard import not_negative, positive, within
from tuftwork.errors import InputError
from tuftwork.quantity import Numeric

_CP = 1006.0  # [J/(kg K)]
_GAMMA = 1.4  # [-]
_R = 287.053  # [J/(kg K)]


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleDuct:
    """An inlet, a core of constant K and an exit in line.

    Attributes
    ----------
    speed, density, temperature
        Free stream. [m/s], [kg/m³], [K]
    recovery
        η. [-]
    exit_pressure
        Cp at the exit. [-]
    core_loss
        K on the head of the face velocity at the inlet's density. [-]
    core_area, exit_area
        [m²]
    heat
        Given to the air. [W]
    """

    speed: float
    density: float
    recovery: float
    exit_pressure: float
    core_loss: float
    core_area: float
    exit_area: float
    temperature: float = 288.15
    heat: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleDuctFlow:
    """Flow and drag of one duct.

    Attributes
    ----------
    face_velocity, exit_velocity, wake_velocity
        [m/s]
    mass_flow
        [kg/s]
    core_drop
        [Pa]
    rise
        Of the air's temperature. [K]
    exit_total
        Total pressure of the jet above ambient. [Pa]
    drag
        Far-wake form ṁ(V - V_w). [N]
    exit_plane_drag
        ṁ(V - v_e) - Cp q A_e; equal to ``drag`` when Cp_e = 0. [N]
    ram_drag
        ṁ V, the upper limit. [N]
    """

    face_velocity: float
    exit_velocity: float
    wake_velocity: float
    mass_flow: float
    core_drop: float
    rise: float
    exit_total: float
    drag: float
    exit_plane_drag: float
    ram_drag: float


def single_duct_flow(duct: SingleDuct) -> SingleDuctFlow:
    """Return flow and drag of a straight duct, heated or not.

    u/V = sqrt[(η - Cp_e)/(K + (A_c/A_e)² T_e/T_1)], ΔT = Q/(ρ u A_c cp), repeated until it
    agrees. Drag: momentum far behind, D = ṁ (V - V_w), V_w = sqrt(2 p_te/ρ_e), 0 below ambient.

    Raises
    ------
    InputError
        If the exit's pressure is not below the recovered head: no air passes.

    References
    ----------
    [kuchemann1953] ch. 9; [barnard2000]; [meredith1935].
    """
    speed = float(positive("speed", duct.speed, "m/s"))
    rho = float(positive("density", duct.density, "kg/m³"))
    drive = duct.recovery - duct.exit_pressure
    if not drive > 0:
        raise InputError("recovery - exit_pressure", drive, "", "must be above 0: no air passes")
    ratio2 = (positive("core_area", duct.core_area, "m²") / duct.exit_area) ** 2
    u, hot = 0.0, 1.0
    for _ in range(200):
        new = speed * float(np.sqrt(drive / (duct.core_loss + ratio2 * hot)))
        rise = duct.heat / (rho * new * duct.core_area * _CP)
        hot = 1.0 + rise / duct.temperature
        if abs(new - u) < 1e-13 * speed:
            break
        u = new
    mass = rho * new * duct.core_area
    rho_e = rho / hot
    v_e = mass / (rho_e * duct.exit_area)
    q = 0.5 * rho * speed**2
    p_te = duct.exit_pressure * q + 0.5 * rho_e * v_e**2
    wake = float(np.sqrt(max(2.0 * p_te / rho_e, 0.0)))
    plane = mass * (speed - v_e) - duct.exit_pressure * q * duct.exit_area
    return SingleDuctFlow(
        face_velocity=new, exit_velocity=v_e, wake_velocity=wake, mass_flow=mass,
        core_drop=duct.core_loss * 0.5 * rho * new**2, rise=rise, exit_total=p_te,
        drag=mass * (speed - wake), exit_plane_drag=plane, ram_drag=mass * speed,
    )  # fmt: skip


def heated_duct_velocity_ratio(
    loss_share: Numeric, temperature_rise: Numeric, temperature: Numeric
) -> Numeric:
    """Return jet over flight velocity of a heated duct at ambient exit pressure [-].

    v_e/V = sqrt[(1 - Δp/q)(1 + ΔT/T)], incompressible. Above 1 the duct pushes.

    References
    ----------
    [meredith1935].
    """
    share = within("loss_share", loss_share, "", (0.0, 1.0))
    rise = not_negative("temperature_rise", temperature_rise, "K")
    return np.asarray(np.sqrt((1.0 - share) * (1.0 + rise / positive("T", temperature, "K"))))


def heated_nozzle_velocity_ratio(
    speed: float, loss_share: float, temperature_rise: float, temperature: float, pressure: float
) -> float:
    """Return jet over flight velocity with compressible, isentropic ram and nozzle [-].

    The heat is added to the total temperature, the loss taken off the total pressure.

    References
    ----------
    [meredith1935] for the idea; isentropic relations.
    """
    cp = _GAMMA * _R / (_GAMMA - 1.0)
    power = _GAMMA / (_GAMMA - 1.0)
    t0 = temperature + speed**2 / (2.0 * cp)
    p0 = pressure * (t0 / temperature) ** power
    head = 0.5 * pressure / (_R * temperature) * speed**2
    p_exit = p0 - loss_share * head
    expanded = 1.0 - (pressure / p_exit) ** (1.0 / power)
    return float(np.sqrt(2.0 * cp * (t0 + temperature_rise) * expanded) / speed)


def stagnation_rise(mach: float, pressure: float) -> float:
    """Return total minus static pressure with isentropic compression [Pa]."""
    power = _GAMMA / (_GAMMA - 1.0)
    return float(pressure * ((1.0 + 0.5 * (_GAMMA - 1.0) * mach**2) ** power - 1.0))
