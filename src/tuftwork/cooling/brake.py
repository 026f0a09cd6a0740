"""Brakes by hand: energy of a stop, rises, coefficients, boiling points and windows."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np

from tuftwork.cooling.guard import kelvin, not_negative, positive, within
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric

STEFAN = 5.670374419e-8  # [W/(m² K⁴)]
_G = 9.80665  # [m/s²]
_CP_AIR = 1006.0  # [J/(kg K)]


@dataclass(frozen=True, slots=True, kw_only=True)
class BrakingCar:
    """What decides a stop.

    Attributes
    ----------
    mass
        [kg]
    grip
        Tyre friction used. [-]
    downforce_area, drag_area
        CzS and CxS. [m²]
    front_share
        Of the braking energy. [-]
    density
        Of the air. [kg/m³]
    """

    mass: Numeric
    grip: Numeric = 1.3
    downforce_area: Numeric = 0.0
    drag_area: Numeric = 0.0
    front_share: Numeric = 0.66
    density: float = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One braking from a speed to a lower one. [m/s]."""

    fast: float
    slow: float = 0.0

    def __post_init__(self) -> None:
        if not self.fast > self.slow >= 0:
            raise InputError("slow", self.slow, "m/s", f"must lie between 0 and {self.fast:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class StopEnergy:
    """Energy and time of a stop.

    Attributes
    ----------
    kinetic, by_drag, by_brakes
        What the car loses, what the air takes, what the brakes take. [J]
    front_disc, rear_disc
        Each disc's share. [J]
    duration, distance
        [s], [m]
    """

    kinetic: Numeric
    by_drag: Numeric
    by_brakes: Numeric
    front_disc: Numeric
    rear_disc: Numeric
    duration: Numeric
    distance: Numeric


def stop_energy(car: BrakingCar, stop: Stop) -> StopEnergy:
    """Return energy, time and distance of a stop at the limit of grip.

    dv/dt = -(a + b v²), a = μ g, b = ρ (μ CzS + CxS)/2m; the drag's work is the integral of
    ρ/2 CxS v² over the distance; the rest heats the brakes.

    Raises
    ------
    InputError
        If mass or grip is not above 0, or the front share is not in 0 to 1.

    References
    ----------
    Closed form; [limpert2011] for the split.
    """
    m = positive("mass", car.mass, "kg")
    mu = positive("grip", car.grip, "")
    share = within("front_share", car.front_share, "", (0.0, 1.0))
    a = mu * _G
    half = 0.5 * car.density
    b = half * (mu * car.downforce_area + car.drag_area) / m + 1e-12  # keeps the limit b = 0 usable
    v0, v1 = stop.fast, stop.slow
    root = np.sqrt(b / a)
    duration = (np.arctan(v0 * root) - np.arctan(v1 * root)) / np.sqrt(a * b)
    ratio = b * (v0**2 - v1**2) / (a + b * v1**2)
    log = np.log1p(ratio)
    kinetic = 0.5 * m * (v0**2 - v1**2)
    drag = half * np.asarray(car.drag_area) / (2.0 * b) * (v0**2 - v1**2 - a / b * log)
    brakes = kinetic - np.where(np.asarray(car.drag_area) > 0, drag, 0.0)
    return StopEnergy(
        kinetic=kinetic, by_drag=kinetic - brakes, by_brakes=brakes,
        front_disc=0.5 * share * brakes, rear_disc=0.5 * (1.0 - share) * brakes,
        duration=np.asarray(duration), distance=np.asarray(log / (2.0 * b)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class LapEnergy:
    """Brakes over a lap: energy [J], mean power [W], mean power of one front and rear disc [W]."""

    energy: Numeric
    mean_power: Numeric
    front_disc: Numeric
    rear_disc: Numeric


def lap_energy(car: BrakingCar, stops: tuple[Stop, ...], lap_time: float) -> LapEnergy:
    """Return the brakes' energy and mean power over a lap of entered stops."""
    positive("lap_time", lap_time, "s")
    if not stops:
        raise InputError("stops", 0, "", "needs at least one stop")
    done = [stop_energy(car, stop) for stop in stops]
    total = np.sum([np.asarray(s.by_brakes) for s in done], axis=0)
    share = np.asarray(car.front_share)
    mean = np.asarray(total / lap_time)
    return LapEnergy(
        energy=np.asarray(total), mean_power=mean,
        front_disc=np.asarray(0.5 * share * mean), rear_disc=np.asarray(0.5 * (1 - share) * mean),
    )  # fmt: skip


def bulk_rise(energy: Numeric, mass: Numeric, specific_heat: Numeric) -> Numeric:
    """Return the even temperature rise of a disc, E/(m c) [K]."""
    return np.asarray(
        not_negative("energy", energy, "J")
        / (positive("mass", mass, "kg") * positive("specific_heat", specific_heat, "J/(kg K)"))
    )


def flash_rise(
    flux: Numeric, duration: Numeric, conductivity: float, density: float, specific_heat: float
) -> Numeric:
    """Return the largest surface rise of a thick disc under a flux that falls to 0 [K].

    ΔT = (2√2/3) q0 √ts / √(π k ρ c), reached at ts/2.

    References
    ----------
    [newcomb1959]; semi-infinite solid.
    """
    root = np.sqrt(np.pi * conductivity * density * specific_heat)
    return np.asarray(
        2.0 * 2.0**0.5 / 3.0 * positive("flux", flux, "W/m²") * np.sqrt(duration) / root
    )


def repeated_stops(rise: float, decay: float, ambient: float, n_stop: int | None = None) -> float:
    """Return the peak after the n-th like stop, or the limit of many [K].

    T_n = T_0 + ΔT (1 - e^(-n b))/(1 - e^(-b)), b = h A t_c/(m c).

    Parameters
    ----------
    rise : ()
        Of one stop. [K]
    decay : ()
        b. [-]
    ambient : ()
        [K]
    n_stop
        None: the limit.

    References
    ----------
    [limpert2011] ch. 3, form from memory; exact for a lumped mass.
    """
    positive("decay", decay, "")
    kelvin("ambient", ambient)
    top = 1.0 if n_stop is None else -np.expm1(-n_stop * decay)
    return float(ambient + rise * top / -np.expm1(-decay))


def face_coefficient(
    velocity: Numeric, diameter: float, viscosity: float = 1.75e-5, conductivity: float = 0.0276
) -> Numeric:
    """Return the convection coefficient of a disc's outer faces [W/(m² K)].

    0.70 (k/D) Re^0.55 below Re 2.4e5, 0.04 (k/D) Re^0.8 above; ``viscosity`` is kinematic.

    References
    ----------
    [limpert2011] ch. 3, from memory; ±30 %.
    """
    re = not_negative("velocity", velocity, "m/s") * diameter / viscosity
    low, high = 0.70 * re**0.55, 0.04 * re**0.8
    return np.asarray(conductivity / diameter * np.where(re < 2.4e5, low, high))


def vane_coefficient(
    velocity: Numeric,
    hydraulic_diameter: float,
    length: float,
    viscosity: float = 1.75e-5,
    conductivity: float = 0.0276,
) -> Numeric:
    """Return the convection coefficient inside the vanes of a vented disc [W/(m² K)].

    0.023 [1 + (d/l)^0.67] Re^0.8 Pr^0.33 k/d above Re 1e4, 1.86 (Re Pr)^(1/3) (d/l)^0.33 k/d
    below.

    References
    ----------
    [limpert2011] ch. 3, from memory; ±30 %, and a step at Re 1e4.
    """
    re = not_negative("velocity", velocity, "m/s") * hydraulic_diameter / viscosity
    turbulent, laminar = _vane_branches(re, hydraulic_diameter / length)
    return np.asarray(conductivity / hydraulic_diameter * np.where(re > 1e4, turbulent, laminar))


def _vane_branches(re: Array, d_over_l: float) -> tuple[Array, Array]:
    """Return both branches of the vane Nusselt number."""
    pr = 0.70
    turbulent = 0.023 * (1.0 + d_over_l**0.67) * re**0.8 * pr**0.33
    laminar = 1.86 * (re * pr) ** (1.0 / 3.0) * d_over_l**0.33
    return np.asarray(turbulent), np.asarray(laminar)


def radiated_flux(surface: Numeric, around: Numeric, emissivity: float = 0.85) -> Numeric:
    """Return the radiated flux of a surface to its surroundings [W/m²]."""
    hot, cold = kelvin("surface", surface), kelvin("around", around)
    return np.asarray(emissivity * STEFAN * (hot**4 - cold**4))


@dataclass(frozen=True, slots=True, kw_only=True)
class DuctNeed:
    """Air a disc needs and the duct area that carries it. [kg/s], [m²]."""

    mass_flow: Numeric
    area: Numeric


def needed_duct(
    power: Numeric, air_rise: Numeric, speed: Numeric, *, velocity_share: float = 0.6,
    density: float = 1.2,
) -> DuctNeed:  # fmt: skip
    """Return the cooling air and duct area of a mean brake power.

    ṁ = P/(cp ΔT), A = ṁ/(ρ s V), s the mean duct velocity over the car's.

    Raises
    ------
    InputError
        If an input is not above 0.
    """
    flow = positive("power", power, "W") / (_CP_AIR * positive("air_rise", air_rise, "K"))
    velocity = positive("speed", speed, "m/s") * velocity_share
    return DuctNeed(mass_flow=np.asarray(flow), area=np.asarray(flow / (density * velocity)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Working window of disc, pad or fluid. [K]; ``low`` is None where there is none."""

    part: str
    low: float | None
    high: float
    peak: float


def brake_window(part: str, kind: str, *, is_wet: bool = False, margin: float = 30.0) -> Window:
    """Return the working window of a disc, a pad or a fluid [K].

    Fluids keep ``margin`` below their boiling point, dry or wet (3.7 % water).

    Raises
    ------
    UnknownName
        If the part or the kind is not on the list.

    References
    ----------
    Common practice, ±50 K; boiling points of the fluid grades.
    """
    table = _windows()
    if part not in table:
        raise UnknownName("part", part, table)
    if kind not in table[part]:
        raise UnknownName("kind", kind, table[part])
    row = table[part][kind]
    name = f"{kind} {part}"
    if part == "fluid":
        boiling = (row["wet"] if is_wet else row["dry"]) + 273.15
        return Window(part=name, low=None, high=boiling - margin, peak=boiling)
    low, high = (limit + 273.15 for limit in row["working"])
    return Window(part=name, low=low, high=high, peak=row.get("peak", row["working"][1]) + 273.15)


def disc_material(kind: str) -> tuple[float, float, float]:
    """Return density [kg/m³], heat capacity [J/(kg K)] and conductivity [W/(m K)] of a disc."""
    table = _windows()["disc"]
    if kind not in table:
        raise UnknownName("kind", kind, table)
    row = table[kind]
    return float(row["density"]), float(row["specific_heat"]), float(row["conductivity"])


def _windows() -> dict[str, Any]:
    text = files("tuftwork.cooling").joinpath("data/brake_windows.toml").read_text("utf-8")
    return tomllib.loads(text)
