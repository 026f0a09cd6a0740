"""Temperature of a disc over a lap or a stint, and what the ducts do about it."""

from dataclasses import dataclass
from typing import no_type_check

import numpy as np
from numba import njit

from tuftwork.cooling.brake import (
    STEFAN,
    BrakingCar,
    Stop,
    disc_material,
    face_coefficient,
    stop_energy,
    vane_coefficient,
)
from tuftwork.cooling.guard import kelvin, not_negative, positive, within
from tuftwork.cooling.network import n_draw_of
from tuftwork.cooling.notice import BRAKE_CAUTION
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (Source(key="limpert2011", place="ch. 3", status="memory"),)
_PUMPING = 0.20  # [-]  vane velocity over ω sqrt(ro² - ri²), limpert2011, memory, ±40 %
_TYRE_RADIUS = 0.33  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A brake disc; scales may hold one value per draw.

    Attributes
    ----------
    mass
        Of the heated rings. [kg]
    diameter, inner_diameter
        Of the rubbed ring. [m]
    vane_diameter, vane_length, vane_area, vane_flow_area
        Hydraulic diameter [m], length [m], wetted and flow area [m²] of the vanes; areas of 0
        make a solid disc.
    material
        ``"iron"`` or ``"carbon"``.
    emissivity
        [-]
    convection_scale
        On every convection coefficient. [-]
    disc_share
        Of the braking heat that enters the disc, the rest enters the pads. [-]
    tyre_radius
        Rolling. [m]
    """

    mass: Numeric
    diameter: float
    inner_diameter: float
    vane_diameter: float = 0.0142
    vane_length: float = 0.085
    vane_area: float = 0.16
    vane_flow_area: float = 0.0075
    material: str = "iron"
    emissivity: float = 0.85
    convection_scale: Numeric = 1.0
    disc_share: Numeric = 0.95
    tyre_radius: float = _TYRE_RADIUS

    def __post_init__(self) -> None:
        positive("mass", self.mass, "kg")
        disc_material(self.material)
        within("disc_share", self.disc_share, "", (0.5, 1.0))
        if not self.diameter > self.inner_diameter > 0:
            raise InputError("inner_diameter", self.inner_diameter, "m", "must be below diameter")

    @property
    def rubbed_area(self) -> float:
        """Both rubbed faces [m²]."""
        return float(0.5 * np.pi * (self.diameter**2 - self.inner_diameter**2))

    def vane_velocity(self, speed: Numeric, duct_flow: Numeric, density: float = 1.0) -> Numeric:
        """Return the air's velocity in the vanes, pumped and ducted [m/s]."""
        omega = speed / self.tyre_radius
        reach = 0.5 * (self.diameter**2 - self.inner_diameter**2) ** 0.5
        pumped = _PUMPING * omega * reach
        ducted = np.asarray(duct_flow) / (density * max(self.vane_flow_area, 1e-6))
        return np.asarray(np.sqrt(pumped**2 + ducted**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class BrakeTrace:
    """Speed [m/s] and one disc's braking power [W] against time [s], one lap.

    ``power`` is ``(n_time,)``, or ``(n_time, n_draw)`` where the braking is uncertain.
    """

    time: Array
    speed: Array
    power: Array

    def __post_init__(self) -> None:
        if not np.all(np.diff(self.time) > 0):
            raise InputError("time", float(self.time[0]), "s", "must rise strictly")
        not_negative("power", self.power, "W")


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscHistory:
    """A disc over a stint; time runs first, draws last.

    Attributes
    ----------
    time
        [s]
    mean, surface
        ``(n_time, n_draw)`` [K]
    peak_surface, peak_mean, lap_mean
        ``(n_draw,)``; the last over the last lap. [K]
    sources, notices
        What it rests on and what to heed.
    """

    time: Array
    mean: Array
    surface: Array
    peak_surface: Array
    peak_mean: Array
    lap_mean: Array
    sources: tuple[Source, ...] = SOURCES
    notices: tuple[str, ...] = (BRAKE_CAUTION,)


def lap_trace(
    car: BrakingCar, stops: tuple[Stop, ...], lap_time: float, *, is_front: bool = True,
    n_step: int = 2000,
) -> BrakeTrace:  # fmt: skip
    """Return one disc's power over a lap of entered stops, spread evenly over the lap.

    Within a stop the power falls with the speed; between stops the speed rises evenly to the
    next stop's. The lap room's trace replaces this where it is there.

    Raises
    ------
    InputError
        If the stops take longer than the lap.
    """
    done = [stop_energy(car, stop) for stop in stops]
    times = [float(np.mean(s.duration)) for s in done]
    if sum(times) >= lap_time:
        raise InputError("lap_time", lap_time, "s", f"must exceed the stops' {sum(times):.1f} s")
    gap = (lap_time - sum(times)) / len(stops)
    t = np.linspace(0.0, lap_time, n_step + 1)
    each = [np.atleast_1d(s.front_disc if is_front else s.rear_disc) for s in done]
    count = n_draw_of(*each)
    speed, power = np.empty(t.shape), np.zeros((len(t), count))
    begin = 0.0
    for k, stop in enumerate(stops):
        before = stops[k - 1].slow
        run = (t >= begin) & (t <= begin + gap)
        speed[run] = before + (stop.fast - before) * (t[run] - begin) / gap
        at = begin + gap
        here = (t > at) & (t <= at + times[k] + 1e-9)
        speed[here] = stop.fast + (stop.slow - stop.fast) * (t[here] - at) / times[k]
        shape = speed[here] / max(float(np.sum(speed[here])) * (t[1] - t[0]), 1e-9)
        power[here] = shape[:, None] * each[k]
        begin = at + times[k]
    return BrakeTrace(time=t, speed=speed, power=power[:, 0] if count == 1 else power)


@njit(cache=True, nogil=True)
@no_type_check
def _march(flux, h_face, h_vane, face, vane, sky, slab, start, ambient, out_mean, out_surface):
    """Implicit finite volumes through half a disc; flux and coefficients per time and draw.

    slab holds k/dx, rho c dx/dt and emissivity times Stefan-Boltzmann.
    """
    n_time, n_draw = out_mean.shape
    n = start.shape[1]
    lower, diag, upper, rhs = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    for d in range(n_draw):
        t = start[d].copy()
        link, store, radiate = slab[0, d], slab[1, d], slab[2, d]
        ta = ambient[d]
        for step in range(n_time):
            ts = t[0]
            h_rad = radiate * (ts * ts + ta * ta) * (ts + ta) * sky
            for i in range(n):
                diag[i] = store
                rhs[i] = store * t[i]
                lower[i] = 0.0
                upper[i] = 0.0
                if i > 0:
                    lower[i] = -link
                    diag[i] += link
                if i < n - 1:
                    upper[i] = -link
                    diag[i] += link
            half = 2.0 * link
            gain = h_face[step, d] * face + h_rad
            # conduction over half a cell between the cell's centre and its face
            diag[0] += half * gain / (half + gain)
            rhs[0] += half * gain / (half + gain) * ta + flux[step, d] * half / (half + gain)
            loss = h_vane[step, d] * vane
            if loss > 0.0:
                diag[n - 1] += half * loss / (half + loss)
                rhs[n - 1] += half * loss / (half + loss) * ta
            for i in range(1, n):
                w = lower[i] / diag[i - 1]
                diag[i] -= w * upper[i - 1]
                rhs[i] -= w * rhs[i - 1]
            t[n - 1] = rhs[n - 1] / diag[n - 1]
            for i in range(n - 2, -1, -1):
                t[i] = (rhs[i] - upper[i] * t[i + 1]) / diag[i]
            out_mean[step, d] = np.mean(t)
            out_surface[step, d] = (flux[step, d] + half * t[0] + gain * ta) / (half + gain)
        start[d] = t


def disc_temperature(
    disc: Disc, trace: BrakeTrace, ambient: Numeric, *, duct_flow: Numeric = 0.0,
    n_lap: int = 5, n_cell: int = 12, start: Numeric | None = None,
) -> DiscHistory:  # fmt: skip
    """Return mean and surface temperature of a disc over laps, all draws at once.

    One dimension through half the disc (mass spread over the rubbed faces): the flux enters at
    the face, which convects and radiates; the vanes convect at the other side. Implicit finite
    volumes; ``n_cell = 1`` is the lumped mass.

    Parameters
    ----------
    disc, trace
        The disc and one lap.
    ambient : (...)
        Air at the disc. [K]
    duct_flow : (...)
        Air led to the vanes at the lap's mean speed; it follows speed. [kg/s]
    n_lap, n_cell
        Laps and cells.
    start : (...)
        Temperature at the start; None is ambient. [K]

    Raises
    ------
    InputError
        If the ambient is not an absolute temperature, or a count is below 1.

    References
    ----------
    [limpert2011] ch. 3 for the coefficients, from memory, ±30 %.
    """
    if n_lap < 1 or n_cell < 1:
        raise InputError("n_lap, n_cell", min(n_lap, n_cell), "", "must be 1 or more")
    kelvin("ambient", ambient)
    flow = not_negative("duct_flow", duct_flow, "kg/s")
    power = trace.power if trace.power.ndim == 2 else trace.power[:, None]
    count = n_draw_of(power[0], ambient, flow, disc.mass, disc.convection_scale, disc.disc_share,
                      0.0 if start is None else start)  # fmt: skip
    dt = np.diff(trace.time)
    step = float(dt[0])
    if not np.allclose(dt, step, rtol=1e-6):
        raise InputError("time", step, "s", "must be evenly spaced")
    speed = trace.speed[1:, None]
    mean_speed = max(float(np.mean(trace.speed)), 0.1)
    duct = flow * speed / mean_speed
    scale = np.broadcast_to(disc.convection_scale, (count,))
    h_face = face_coefficient(np.maximum(speed, 0.5), disc.diameter) * scale
    velocity = disc.vane_velocity(np.maximum(speed, 0.5), duct)
    h_vane = vane_coefficient(velocity, disc.vane_diameter, disc.vane_length) * scale
    shape = (len(dt), count)
    flux = np.array(np.broadcast_to(power[1:] * disc.disc_share / disc.rubbed_area, shape))
    first = np.broadcast_to(ambient if start is None else start, (count,))
    cells = np.repeat(np.array(first, dtype=float)[:, None], n_cell, axis=1)
    air = np.array(np.broadcast_to(ambient, (count,)), dtype=float)
    slab = _slab(disc, n_cell, step, count)
    h_face = np.array(np.broadcast_to(h_face, shape))
    h_vane = np.array(np.broadcast_to(h_vane, shape))
    vane = disc.vane_area / disc.rubbed_area
    means, surfaces = np.empty((n_lap, *shape)), np.empty((n_lap, *shape))
    for lap in range(n_lap):
        _march(flux, h_face, h_vane, 1.0, vane, 1.0, slab, cells, air, means[lap], surfaces[lap])
    if n_cell == 1:  # a lumped mass has no surface of its own
        surfaces = means
    mean, surface = means.reshape(-1, count), surfaces.reshape(-1, count)
    length = trace.time[-1] - trace.time[0]
    time = np.concatenate([trace.time[1:] + lap * length for lap in range(n_lap)])
    return DiscHistory(
        time=time, mean=mean, surface=surface,
        peak_surface=np.asarray(surface.max(axis=0)), peak_mean=np.asarray(mean.max(axis=0)),
        lap_mean=np.asarray(means[-1].mean(axis=0)),
    )  # fmt: skip


def _slab(disc: Disc, n_cell: int, step: float, count: int) -> Array:
    """Return conduction, storage and radiation constants per draw, per rubbed area."""
    density, heat, conductivity = disc_material(disc.material)
    mass = np.broadcast_to(disc.mass, (count,))
    dx = mass / (density * disc.rubbed_area) / n_cell
    return np.stack([
        conductivity / dx, density * heat * dx / step,
        np.full(count, disc.emissivity * STEFAN),
    ])  # fmt: skip
