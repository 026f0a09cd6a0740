"""What the brakes answer: duct flow and need, windows of disc, pad and fluid, effect of a kit."""

from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.brake import (
    BrakingCar,
    Stop,
    Window,
    brake_window,
    lap_energy,
    stop_energy,
)
from tuftwork.cooling.cost import stream_drag
from tuftwork.cooling.disc import BrakeTrace, Disc, DiscHistory, disc_temperature, lap_trace
from tuftwork.cooling.element import Duct, Exit, Inlet
from tuftwork.cooling.net import AirNet
from tuftwork.cooling.network import solve_air
from tuftwork.cooling.notice import BRAKE_CAUTION
from tuftwork.cooling.surroundings import Surroundings
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Array, Numeric


@dataclass(frozen=True, slots=True, kw_only=True)
class BrakeDuct:
    """A duct from an opening to the disc's eye, through hose or a hollow member.

    Attributes
    ----------
    inlet
        Its opening; ``end`` must be ``"mouth"``.
    ducts
        Parts in line; the first starts at ``"mouth"``, the last ends at ``"eye"``.
    outlet_area, outlet_pressure
        Free area into the disc's eye [m²] and pressure coefficient there [-].
    """

    inlet: Inlet
    ducts: tuple[Duct, ...]
    outlet_area: Numeric
    outlet_pressure: Numeric = -0.1


def brake_duct_flow(duct: BrakeDuct, around: Surroundings) -> Array:
    """Return the air a brake duct delivers, ``(n_draw,)`` [kg/s].

    The duct is an air net of its own: recovery, friction and bends, and the disc's eye.
    """
    return solve_air(_net_of(duct), around).of("disc eye")


def brake_duct_drag(duct: BrakeDuct, around: Surroundings, recovery: Numeric = 0.1) -> Array:
    """Return the drag area of one brake duct's air, ``(n_draw,)`` [m²].

    Momentum taken from the stream: the air comes out of disc and wheel with the share ``recovery``
    of its jet's head, which is little. Drag of a scoop's outside is not in it.

    References
    ----------
    [kuchemann1953] ch. 9, from memory.
    """
    net = _net_of(duct, recovery)
    drag = stream_drag(net, solve_air(net, around), "disc eye").momentum_drag
    return np.asarray(drag / np.maximum(np.asarray(around.head), 1e-9))


def _net_of(duct: BrakeDuct, recovery: Numeric | None = None) -> AirNet:
    outlet = Exit(
        name="disc eye", start="eye", net_area=duct.outlet_area, place="wheel-well",
        pressure=duct.outlet_pressure, recovery=recovery,
    )  # fmt: skip
    return AirNet(elements=(duct.inlet, *duct.ducts, outlet))


def needed_duct_flow(
    disc: Disc, trace: BrakeTrace, ambient: Numeric, limit: float, *, most: float = 0.6
) -> Array:
    """Return the duct air at which the surface's peak just stays at a limit, per draw [kg/s].

    Bisection on the whole transient; 0 where no air is needed.

    Raises
    ------
    NotCovered
        If ``most`` does not suffice in some draw: the disc is too small for the duty.
    InputError
        If the limit is not above ambient.
    """
    if not np.all(limit > np.asarray(ambient)):
        raise InputError("limit", limit, "K", "must exceed ambient", "Add 273.15 to °C.")
    dry = disc_temperature(disc, trace, ambient).peak_surface
    low, high = np.zeros(dry.shape), np.full(dry.shape, most)
    if np.any(disc_temperature(disc, trace, ambient, duct_flow=high).peak_surface > limit):
        raise NotCovered(
            f"peak stays above {limit - 273.15:.0f} °C with {most:g} kg/s of air: the disc is too "
            "small, or the limit is set by the surface's flash and not by the mean"
        )
    for _ in range(14):
        middle = 0.5 * (low + high)
        hot = disc_temperature(disc, trace, ambient, duct_flow=middle).peak_surface > limit
        low, high = np.where(hot, middle, low), np.where(hot, high, middle)
    return np.where(dry <= limit, 0.0, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowVerdict:
    """A part against its window.

    Attributes
    ----------
    window
        The window.
    working, peak
        Typical and highest temperature, ``(n_draw,)``. [K]
    probability_over, probability_under
        Of the peak being above the window's peak, and of the typical being below its low end.
    verdict
        ``"inside"``, ``"too hot"``, ``"too cold"`` or ``"doubtful"``.
    """

    window: Window
    working: Array
    peak: Array
    probability_over: float
    probability_under: float
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Caliper:
    """Caliper and fluid as one mass beside the pads.

    Attributes
    ----------
    capacity
        [J/K]
    from_disc, to_air
        Conductances through pads and pistons, and to the air. [W/K]. Their ratio decides;
        common practice, no source.
    """

    capacity: float = 4000.0
    from_disc: Numeric = 4.0
    to_air: Numeric = 14.0


def fluid_temperature(history: DiscHistory, ambient: Numeric, caliper: Caliper) -> Array:
    """Return the fluid's temperature over a stint, ``(n_time, n_draw)`` [K].

    C dT/dt = G_d (T_disc - T) - G_a (T - T_a), exact for each step's mean disc temperature.
    """
    step = float(history.time[1] - history.time[0])
    total = caliper.from_disc + caliper.to_air
    keep = np.exp(-step * total / caliper.capacity)
    air = np.broadcast_to(ambient, history.mean.shape[1:])
    now = np.array(air, dtype=float)
    out = np.empty(history.mean.shape)
    for k, disc in enumerate(history.mean):
        aim = (caliper.from_disc * disc + caliper.to_air * air) / total
        now = aim + (now - aim) * keep
        out[k] = now
    return out


def brake_verdicts(
    history: DiscHistory, fluid: Array, *, disc: str = "iron", pad: str = "race",
    grade: str = "DOT 4", is_wet: bool = False,
) -> tuple[WindowVerdict, ...]:  # fmt: skip
    """Return disc, pad and fluid against their windows."""
    return (
        _judged(brake_window("disc", disc), history.lap_mean, history.peak_surface),
        _judged(brake_window("pad", pad), history.lap_mean, history.peak_mean),
        _judged(brake_window("fluid", grade, is_wet=is_wet), fluid.mean(axis=0), fluid.max(axis=0)),
    )


def _judged(window: Window, working: Array, peak: Array) -> WindowVerdict:
    limit = window.high if window.low is None else window.peak
    over = float(np.mean(peak > limit))
    under = 0.0 if window.low is None else float(np.mean(working < window.low))
    verdict = "inside" if over < 0.1 and under < 0.1 else "doubtful"
    if over > 0.5:
        verdict = "too hot"
    elif under > 0.5:
        verdict = "too cold"
    return WindowVerdict(window=window, working=np.asarray(working), peak=np.asarray(peak),
                         probability_over=over, probability_under=under,
                         verdict=verdict)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class KitEffect:
    """What a kit does to the brakes.

    Attributes
    ----------
    energy_change, power_change
        Of a lap's brake energy and of the mean power within stops. [-]
    peak_before, peak_after
        Of the front disc's surface, ``(n_draw,)``. [K]
    notices
        What to heed.
    """

    energy_change: float
    power_change: float
    peak_before: Array
    peak_after: Array
    notices: tuple[str, ...] = (BRAKE_CAUTION,)


def kit_effect(
    disc: Disc,
    before: tuple[BrakingCar, tuple[Stop, ...], float],
    after: tuple[BrakingCar, tuple[Stop, ...], float],
    ambient: Numeric,
    *,
    duct_flow: Numeric = 0.0,
) -> KitEffect:
    """Return how a kit changes brake energy, power and disc temperature.

    Each of ``before`` and ``after`` is car, stops of a lap and lap time [s]. More grip brakes
    later and harder: less drag work, shorter stops, more power.
    """
    energies = [float(np.mean(lap_energy(*case).energy)) for case in (before, after)]
    powers = [
        float(np.mean(lap_energy(*case).energy))
        / sum(float(np.mean(stop_energy(case[0], stop).duration)) for stop in case[1])
        for case in (before, after)
    ]
    peaks = [
        disc_temperature(disc, lap_trace(*case), ambient, duct_flow=duct_flow).peak_surface
        for case in (before, after)
    ]
    return KitEffect(
        energy_change=energies[1] / energies[0] - 1.0,
        power_change=powers[1] / powers[0] - 1.0,
        peak_before=peaks[0],
        peak_after=peaks[1],
    )
