"""The questions a client asks about cooling, each one call."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.cooling.band import Band
from tuftwork.cooling.cost import AxleLoads, WheelWell, cooling_loads
from tuftwork.cooling.cost_change import load_change
from tuftwork.cooling.element import Cooler, Duct, Element, Exit, Inlet, Leak
from tuftwork.cooling.guard import within
from tuftwork.cooling.notice import TEMPERATURE_CAUTION, VENT_CAUTION
from tuftwork.cooling.opening import discharge_band, pressure_band
from tuftwork.cooling.surroundings import OUTSIDE, Surroundings
from tuftwork.cooling.system import CoolingState, CoolingSystem, solve_cooling
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Array, Numeric

_STEP = 1.25  # [-]  enlargement by which a part is tried as the restriction
_MOST, _LEAST = 8.0, 0.125  # [-]  area factors within which an opening is sized
Legality = Callable[[str, float], str]
"""Place and net area [m²] to a verdict in words; the rules room gives it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What must stay below what.

    Attributes
    ----------
    loop
        Name of the loop; its hottest temperature counts. Or the cooler of a hot stream; what
        leaves it counts.
    limit
        [K]
    probability
        Of crossing the limit that is accepted. [-]
    """

    loop: str
    limit: float
    probability: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """An opening sized for a target.

    Attributes
    ----------
    part, place
        Which opening, and where.
    now, needed
        Net area now (mean), and the area that keeps the accepted probability. [m²]
    low, median, high
        10, 50, 90 % of the areas at which each draw just meets the limit. [m²]
    is_reachable
        Whether this opening alone suffices within eight times its area.
    areas
        At which each draw just meets the limit, infinite where none does, ``(n_draw,)``. [m²]
    notices
        What to heed.
    """

    part: str
    place: str
    now: float
    needed: float
    low: float
    median: float
    high: float
    is_reachable: bool
    areas: Array
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Restriction:
    """What holds the air back, named first.

    Attributes
    ----------
    name, kind
        Of the part.
    temperature
        Hottest of the loop now, ``(n_draw,)``. [K]
    probability
        Of crossing the limit now. [-]
    gain
        Part to the median drop in temperature when it grows by a quarter. [K]
    share
        Part to its share of the driving pressure spent. [-]
    sized, elsewhere
        The restricting opening sized where it is, and at other places. None for a core.
    sentence
        The answer in words.
    notices
        What to heed.
    """

    name: str
    kind: str
    temperature: Array
    probability: float
    gain: Mapping[str, float]
    share: Mapping[str, float]
    sized: Sized | None
    elsewhere: tuple[Sized, ...]
    sentence: str
    notices: tuple[str, ...] = (TEMPERATURE_CAUTION, VENT_CAUTION)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExitChoice:
    """One place for an exit.

    Attributes
    ----------
    place
        Where.
    temperature
        With the area as given, ``(n_draw,)``. [K]
    probability
        Of crossing the limit with that area. [-]
    sized
        The area it needs there.
    change
        Of CxS, CzSf and CzSr against the present exit, at the area as given. [m²]
    legality
        In words; ``"not checked"`` without a rule.
    """

    place: str
    temperature: Array
    probability: float
    sized: Sized
    change: AxleLoads
    legality: str


def replaced(system: CoolingSystem, part: Element) -> CoolingSystem:
    """Return the system with the part of that name replaced."""
    system.air.part(part.name)
    parts = tuple(part if p.name == part.name else p for p in system.air.elements)
    return replace(system, air=replace(system.air, elements=parts))


def enlarged(system: CoolingSystem, name: str, factor: float | Array) -> CoolingSystem:
    """Return the system with an opening's area, or a core's face, multiplied."""
    part = system.air.part(name)
    scale = np.asarray(factor)
    if isinstance(part, Inlet):
        return replaced(system, replace(part, area=np.asarray(part.area * scale)))
    if isinstance(part, Exit):
        return replaced(system, replace(part, net_area=np.asarray(part.net_area * scale)))
    if isinstance(part, Cooler):
        core = part.core
        liquid = core.liquid_conductance
        grown = replace(
            core,
            face_area=np.asarray(core.face_area * scale),
            liquid_conductance=None if liquid is None else np.asarray(liquid * scale),
        )
        return replaced(system, replace(part, core=grown))
    if isinstance(part, Duct | Leak):
        return replaced(system, replace(part, area=np.asarray(part.area * scale)))
    raise InputError("name", name, "", "has no area")


def moved(
    system: CoolingSystem, name: str, place: str, *, pressure: Band | None = None, seed: int = 11
) -> CoolingSystem:
    """Return the system with an exit moved: pressure and discharge of the new place, drawn."""
    part = system.air.part(name)
    if not isinstance(part, Exit):
        raise InputError("name", name, "", "is not an exit")
    count = system.n_draw(Surroundings(speed=10.0))
    surface, discharge = (
        pressure_band(place) if pressure is None else pressure,
        discharge_band(place),
    )
    cp: Numeric = surface.best
    cd: Numeric = discharge.best
    if count > 1:
        cp, cd = surface.draws(count, seed), discharge.draws(count, seed + 1)
    at = replace(part, end=OUTSIDE, place=place, pressure=cp, discharge=cd, surface_gain=None,
                 recovery=None)  # fmt: skip
    return replaced(system, at)


def size_opening(system: CoolingSystem, around: Surroundings, target: Target, part: str) -> Sized:
    """Return the area an opening needs for a target, with its range.

    Every draw is brought to the limit by bisection on its own area, all draws at once. The
    temperature falls with area, so the area that keeps the accepted probability is that
    quantile of the draws' areas.

    Raises
    ------
    InputError
        If the limit is not above ambient, or the part is not an opening.
    """
    _checked(system, around, target)
    opening = system.air.part(part)
    if not isinstance(opening, Inlet | Exit):
        raise InputError("part", part, "", "is not an inlet or an exit")
    area = opening.area if isinstance(opening, Inlet) else opening.net_area
    count = system.n_draw(around)
    low, high = np.full(count, np.log(_LEAST)), np.full(count, np.log(_MOST))
    for _ in range(13):
        middle = 0.5 * (low + high)
        hot = _hottest(enlarged(system, part, np.exp(middle)), around, target) > target.limit
        low, high = np.where(hot, middle, low), np.where(hot, high, middle)
    # a draw that stays hot at eight times the area has none that suffices
    factor = np.where(high > np.log(_MOST) - 1e-9, np.inf, np.exp(high))
    each = np.array(np.broadcast_to(area * factor, (count,)))
    areas = np.sort(each)
    needed, ten, half, ninety = (
        float(areas[min(int(np.ceil(q * count)) - 1 if q > 0 else 0, count - 1)])
        for q in (1.0 - target.probability, 0.1, 0.5, 0.9)
    )
    place = opening.place if isinstance(opening, Exit) else opening.kind
    return Sized(
        part=part, place=place, now=float(np.mean(area)), needed=needed,
        low=ten, median=half, high=ninety, is_reachable=bool(np.isfinite(needed)), areas=each,
    )  # fmt: skip


def find_restriction(
    system: CoolingSystem,
    around: Surroundings,
    target: Target,
    *,
    places: tuple[str, ...] = (),
    pressures: Mapping[str, Band] | None = None,
) -> Restriction:
    """Return the part that restricts a loop's cooling, and what size would do.

    Each inlet, core and exit is made a quarter larger by itself; the restriction is the one
    that lowers the loop's median temperature most. An opening is then sized where it is and at
    other places.

    Parameters
    ----------
    system, around, target
        The car, the air, what must stay below what.
    places
        Where else an exit could go.
    pressures
        Place to the surface pressure coefficient known there, over the defaults.

    Raises
    ------
    InputError
        If the limit is not above ambient.
    """
    _checked(system, around, target)
    state = solve_cooling(system, around)
    now = state.hottest(target.loop)
    over = float(np.mean(now > target.limit))
    gain: dict[str, float] = {}
    for part in system.air.elements:
        if isinstance(part, Inlet | Exit | Cooler):
            grown = _hottest(enlarged(system, part.name, _STEP), around, target)
            gain[part.name] = float(np.median(now - grown))
    name = max(gain, key=lambda key: gain[key])
    part = system.air.part(name)
    sized: Sized | None = None
    elsewhere: tuple[Sized, ...] = ()
    if isinstance(part, Inlet | Exit):
        sized = size_opening(system, around, target, name)
    if isinstance(part, Exit):
        elsewhere = tuple(
            size_opening(
                moved(system, name, place, pressure=(pressures or {}).get(place)),
                around,
                target,
                name,
            )
            for place in places
            if place != part.place
        )
    kind = type(part).__name__.lower()
    return Restriction(
        name=name, kind=kind, temperature=now, probability=over, gain=gain,
        share=pressure_shares(system, state), sized=sized, elsewhere=elsewhere,
        sentence=_sentence(kind, name, over, target, sized, elsewhere),
    )  # fmt: skip


def pressure_shares(system: CoolingSystem, state: CoolingState) -> dict[str, float]:
    """Return each part's share of the flow work spent, median of the draws [-]."""
    air = state.air
    work = {name: np.abs(air.of(name)) * air.of(name, "loss") for name in air.names}
    whole = np.maximum(np.sum(list(work.values()), axis=0), 1e-12)
    return {name: float(np.median(value / whole)) for name, value in work.items()}


def compare_exits(
    system: CoolingSystem,
    around: Surroundings,
    target: Target,
    exit_name: str,
    places: tuple[str, ...],
    *,
    wheelbase: float,
    wells: tuple[WheelWell, ...] = (),
    legality: Legality | None = None,
    pressures: Mapping[str, Band] | None = None,
) -> tuple[ExitChoice, ...]:
    """Return what each place for an exit does to temperature, drag, balance and legality.

    The present place comes first. Changes are taken draw by draw.

    Raises
    ------
    InputError
        If the part is not an exit, or the limit is not above ambient.
    """
    part = system.air.part(exit_name)
    if not isinstance(part, Exit):
        raise InputError("exit_name", exit_name, "", "is not an exit")
    _checked(system, around, target)
    base = solve_cooling(system, around)
    before = cooling_loads(system.air, base.air, wheelbase, wells=wells)
    choices: list[ExitChoice] = []
    for place in (part.place, *(p for p in places if p != part.place)):
        other = (
            system
            if place == part.place
            else moved(system, exit_name, place, pressure=(pressures or {}).get(place))
        )
        state = solve_cooling(other, around)
        hot = state.hottest(target.loop)
        loads = cooling_loads(other.air, state.air, wheelbase, wells=wells)
        sized = size_opening(other, around, target, exit_name)
        choices.append(ExitChoice(
            place=place, temperature=hot, probability=float(np.mean(hot > target.limit)),
            sized=sized, change=load_change(loads, before),
            legality="not checked" if legality is None else legality(place, sized.needed),
        ))  # fmt: skip
    return tuple(choices)


def _hottest(system: CoolingSystem, around: Surroundings, target: Target) -> Array:
    return solve_cooling(system, around).hottest(target.loop)


def _checked(system: CoolingSystem, around: Surroundings, target: Target) -> None:
    if target.loop not in {stream.cooler for stream in system.streams}:
        system.loop(target.loop)
    within("probability", target.probability, "", (0.001, 0.999))
    hottest_air = float(np.max(around.temperature))
    if not target.limit > hottest_air:
        raise InputError(
            "limit", target.limit, "K", f"must exceed the ambient {hottest_air:g} K",
            "Add 273.15 to °C.",
        )  # fmt: skip


def _sentence(
    kind: str, name: str, over: float, target: Target, sized: Sized | None,
    elsewhere: tuple[Sized, ...],
) -> str:  # fmt: skip
    """Put the answer into words, restriction first."""
    head = (
        f"{kind} {name} restricts: P({target.loop} > {target.limit - 273.15:.0f} °C) = {over:.2f}"
    )
    if sized is None:
        return f"{head}; a larger core is the first step."
    if sized.is_reachable:
        head += f"; {sized.now:.3f} m² where {sized.needed:.3f} m² is needed"
    else:
        head += f"; {sized.now:.3f} m², and no area there suffices"
    moves = [f"{s.needed:.3f} m² at {s.place}" for s in elsewhere if s.is_reachable]
    return head + (f"; or {', '.join(moves)}." if moves else ".")


def covered(sized: Sized) -> float:
    """Return the needed area, or refuse when no area suffices [m²].

    Raises
    ------
    NotCovered
        If the opening alone cannot reach the target.
    """
    if not sized.is_reachable:
        raise NotCovered(f"{sized.part}: no area at {sized.place} reaches the target by itself")
    return sized.needed
