"""Temperature by ambient, altitude and circuit; the blanking chart."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.air import standard_air
from tuftwork.cooling.answer import Target, replaced
from tuftwork.cooling.cost import cooling_loads
from tuftwork.cooling.element import Cooler
from tuftwork.cooling.guard import different_names, kelvin, positive, within
from tuftwork.cooling.loop_part import HeatSource
from tuftwork.cooling.notice import TEMPERATURE_CAUTION
from tuftwork.cooling.surroundings import Surroundings
from tuftwork.cooling.system import CoolingSystem, HotStream, solve_cooling
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

_QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the car runs.

    Attributes
    ----------
    name
        Of the circuit.
    speed
        Mean through the cooling's critical part. [m/s]
    altitude
        [m]
    heat_scale
        Heat there over the heat entered. [-]
    """

    name: str
    speed: Numeric
    altitude: float = 0.0
    heat_scale: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A loop's hottest temperature by place and ambient.

    Attributes
    ----------
    places, ambient
        Names ``(n_place,)`` and temperatures ``(n_ambient,)`` [K].
    draws
        ``(n_place, n_ambient, n_draw)`` [K]
    quantiles
        Quantile to ``(n_place, n_ambient)``. [K]
    probability
        Of crossing the limit, ``(n_place, n_ambient)``. [-]
    limit, loop
        [K], name.
    notices
        What to heed.
    """

    places: tuple[str, ...]
    ambient: Array
    draws: Array
    quantiles: Mapping[float, Array]
    probability: Array
    limit: float
    loop: str
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankingChart:
    """A loop's temperature by ambient and blanking.

    Attributes
    ----------
    ambient, blanking
        ``(n_ambient,)`` [K] and ``(n_blanking,)`` [-].
    temperature
        Median, ``(n_ambient, n_blanking)``. [K]
    probability
        Of crossing the limit, same shape. [-]
    drag_area
        Median CxS of the cooling air, same shape. [m²]
    advice
        Largest blanking that keeps the accepted probability, ``(n_ambient,)``; not a number
        where even none is too hot. [-]
    limit, loop
        [K], name.
    notices
        What to heed.
    """

    ambient: Array
    blanking: Array
    temperature: Array
    probability: Array
    drag_area: Array
    advice: Array
    limit: float
    loop: str
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)


def with_heat_scaled(system: CoolingSystem, factor: float) -> CoolingSystem:
    """Return the system with every entered heat multiplied (streams: their flow)."""
    positive("factor", factor, "")
    loops = tuple(
        replace(
            loop,
            parts=tuple(
                replace(p, heat=p.heat * factor) if isinstance(p, HeatSource) else p
                for p in loop.parts
            ),
        )
        for loop in system.loops
    )
    streams = tuple(
        HotStream(cooler=s.cooler, mass_flow=s.mass_flow * factor, temperature=s.temperature)
        for s in system.streams
    )
    fixed = tuple(replace(f, heat=f.heat * factor) for f in system.fixed)
    return replace(system, loops=loops, streams=streams, fixed=fixed)


def forecast_temperature(
    system: CoolingSystem,
    target: Target,
    places: tuple[Place, ...],
    ambients: Array,
) -> Forecast:
    """Return a loop's temperature and the probability of crossing its limit.

    Parameters
    ----------
    system, target
        The car and the limit.
    places
        Circuits with speed and altitude.
    ambients : (n_ambient,)
        Air temperatures. [K]

    Raises
    ------
    InputError
        If two places are alike, or the limit is not above every ambient.
    """
    different_names("places", [place.name for place in places])
    air = np.atleast_1d(kelvin("ambients", ambients))
    _limit_above(target, air)
    rows: list[list[Array]] = []
    for place in places:
        here = with_heat_scaled(system, place.heat_scale)
        pressure = float(standard_air(place.altitude).pressure)
        rows.append([
            solve_cooling(
                here, Surroundings(speed=place.speed, temperature=float(t), pressure=pressure)
            ).hottest(target.loop)
            for t in air
        ])  # fmt: skip
    draws = np.stack([np.stack(np.broadcast_arrays(*row)) for row in rows])
    return Forecast(
        places=tuple(place.name for place in places),
        ambient=air,
        draws=draws,
        quantiles={q: np.asarray(np.quantile(draws, q, axis=2)) for q in _QUANTILES},
        probability=np.asarray(np.mean(draws > target.limit, axis=2)),
        limit=target.limit,
        loop=target.loop,
    )


def blanking_chart(
    system: CoolingSystem,
    around: Surroundings,
    target: Target,
    coolers: tuple[str, ...],
    *,
    ambients: Array,
    blankings: Array,
) -> BlankingChart:
    """Return temperature, risk and drag by ambient and blanking, and the advice.

    Parameters
    ----------
    system, around, target
        The car, its speed and pressure, the limit.
    coolers
        Names of the coolers that are blanked together.
    ambients, blankings : (n,)
        [K], and shares of the face covered [-].

    Raises
    ------
    InputError
        If a name is not a cooler, or the limit is not above every ambient.
    """
    air = kelvin("ambients", ambients)
    shares = within("blankings", blankings, "", (0.0, 0.9))
    _limit_above(target, air)
    shape = (len(air), len(shares))
    middle, risk, drag = np.empty(shape), np.empty(shape), np.empty(shape)
    for j, share in enumerate(shares):
        covered = system
        for name in coolers:
            part = system.air.part(name)
            if not isinstance(part, Cooler):
                raise InputError("coolers", name, "", "is not a cooler")
            core = replace(part.core, blanked=float(share))
            covered = replaced(covered, replace(part, core=core))
        for i, temperature in enumerate(air):
            here = replace(around, temperature=float(temperature))
            state = solve_cooling(covered, here)
            hot = state.hottest(target.loop)
            middle[i, j], risk[i, j] = np.median(hot), np.mean(hot > target.limit)
            drag[i, j] = np.median(cooling_loads(covered.air, state.air, 2.6).CxS)
    fits = risk <= target.probability
    best = np.array([shares[row].max() if row.any() else np.nan for row in fits])
    return BlankingChart(
        ambient=air, blanking=shares, temperature=middle, probability=risk, drag_area=drag,
        advice=best, limit=target.limit, loop=target.loop,
    )  # fmt: skip


def _limit_above(target: Target, air: Array) -> None:
    if not target.limit > float(air.max()):
        raise InputError(
            "limit", target.limit, "K", f"must exceed every ambient, {float(air.max()):g} K",
            "Add 273.15 to °C.",
        )  # fmt: skip
