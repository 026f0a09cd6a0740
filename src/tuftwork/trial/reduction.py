"""Passes to CzSf and CzSr at the ride heights they were driven at, draw by draw.

A spring carries the axle's load less what the suspension links carry. At constant speed on a level
road nothing is accelerated, so the contact patches carry weight and aerodynamic load only: the
drag's moment about the ground, CxS·h_D/L, is inside CzSf and CzSr by their definition (SAE J1594)
and must be neither added nor taken away. Where the car speeds up, slows down or climbs, the mass
shifts load between the axles by m a h/L; that is taken out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Array, Numeric
from tuftwork.trial.passes import PassTable
from tuftwork.trial.setup import Setup

AXLES = ("front", "rear")
_FIELDS = ("front", "rear", "height_front", "height_rear")


@dataclass(frozen=True, slots=True, kw_only=True)
class PassLoads:
    """Aerodynamic axle loads pass by pass, ``(n_pass, n_draw)`` or ``(n_pass,)``. [N], [Pa], [m]"""

    pressure: Array
    front: Array
    rear: Array
    height_front: Array
    height_rear: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedResult:
    """One state at one speed, all passes of it together.

    Attributes
    ----------
    state, speed
        Speed over ground. [m/s]
    passes
        Places in the pass table.
    both_ways
        Whether as much was driven out as back.
    front, rear, height_front, height_rear : (n_draw,)
        CzSf, CzSr [m²]; hf, hr [m].
    standard_error
        Of CzSf and CzSr from the scatter of the passes alone. [m²]
    dof
        Degrees of freedom of that scatter. [-]
    """

    state: str
    speed: float
    passes: tuple[int, ...]
    both_ways: bool
    front: Array
    rear: Array
    height_front: Array
    height_rear: Array
    standard_error: tuple[float, float]
    dof: int

    @property
    def total(self) -> Array:
        """CzS. [m²]"""
        return np.asarray(self.front + self.rear)

    @property
    def share(self) -> Array:
        """Front share. [-]"""
        return np.asarray(self.front / (self.front + self.rear))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduction:
    """All results of a day; ``scatter`` is the deviation of one pass's axle loads. [N]"""

    results: tuple[SpeedResult, ...]
    scatter: tuple[float, float]
    notices: tuple[str, ...]

    def of(self, state: str, speed: float) -> SpeedResult:
        """Return the result of a state nearest to a speed. [m/s]"""
        near = [r for r in self.results if r.state == state]
        if not near:
            raise NotCovered(f"No pass was driven in state '{state}'.")
        return min(near, key=lambda r: abs(r.speed - speed))


def inertia_transfer(
    mass: Numeric, acceleration: Numeric, cg_height: Numeric, wheelbase: Numeric
) -> Array:
    """Return the load that goes from the front axle to the rear under acceleration: m a h/L. [N]

    ``acceleration`` is what an accelerometer along the car reads, slope included. [m/s²]
    """
    return np.asarray(
        np.asarray(mass) * np.asarray(acceleration) * np.asarray(cg_height) / np.asarray(wheelbase)
    )


def drag_moment_share(drag_area: float, height: float, wheelbase: float) -> float:
    """Return what the drag's moment about the ground takes off CzSf and adds to CzSr. [m²]

    For comparing with results stated otherwise (drag applied at the ground); our own CzSf and CzSr
    have it inside.
    """
    return drag_area * height / wheelbase


def pass_loads(table: PassTable, setup: Setup) -> tuple[PassLoads, tuple[str, ...]]:
    """Return the aerodynamic loads of every pass.

    Parameters
    ----------
    table
        Passes of a log with its cures.
    setup
        The car, best values or draws.

    Raises
    ------
    NotCovered
        If an axle has neither a pot nor a laser.
    """
    notices = []
    pressure, said = _pressure(table, setup)
    notices += said
    felt = _felt(table)
    shape = (-1, 1) if np.ndim(setup.density) or np.ndim(setup.wheel_rate_front) else (-1,)
    transfer = inertia_transfer(setup.mass, felt.reshape(shape), setup.cg_height, setup.wheelbase)
    loads, heights = {}, {}
    for axle, sign in (("front", 1.0), ("rear", -1.0)):
        spring, said = _spring_load(table, setup, axle, shape)
        notices += said
        loads[axle] = spring + sign * transfer
        heights[axle] = _height(table, setup, axle, spring, shape)
    return PassLoads(
        pressure=pressure.reshape(shape) * setup.density * setup.pressure_scale
        if shape == (-1, 1)
        else pressure * setup.density * setup.pressure_scale,
        front=loads["front"], rear=loads["rear"],
        height_front=heights["front"], height_rear=heights["rear"],
    ), tuple(dict.fromkeys(notices))  # fmt: skip


def _pressure(table: PassTable, setup: Setup) -> tuple[Array, list[str]]:
    """Return q/ρ of every pass. [m²/s²]"""
    air = table.column("air speed")
    if not np.all(np.isfinite(air)):
        speed = np.array([p.speed for p in table.passes])
        said = "No air-speed channel: wind cancels only between the two ways, w²/V² stays."
        return 0.5 * speed**2, [said]
    return 0.5 * air**2, []


def _felt(table: PassTable) -> Array:
    """Return the acceleration each pass felt along the car, slope included. [m/s²]"""
    push = np.array([p.push for p in table.passes])
    read = table.column("acceleration along")
    if not np.all(np.isfinite(read)):
        return push
    way = np.array([p.way for p in table.passes], dtype=float)
    if np.all(way == way[0]):
        return push  # a bias of the sensor cannot be told from a slope on one way
    # what is left after the change of speed is bias plus way times slope
    design = np.column_stack([np.ones_like(way), way])
    bias, _ = np.linalg.lstsq(design, read - push, rcond=None)[0]
    return np.asarray(read - bias)


def _spring_load(
    table: PassTable, setup: Setup, axle: str, shape: tuple[int, ...]
) -> tuple[Array, list[str]]:
    sides = [table.column(f"pot {axle} {side}") for side in ("left", "right")]
    there = [s for s in sides if np.all(np.isfinite(s))]
    zero = setup.zero_front if axle == "front" else setup.zero_rear
    if there:
        travel = np.mean(there, axis=0).reshape(shape)
        said = [] if len(there) == 2 else [f"Only one pot on the {axle} axle: roll is inside."]
        return np.asarray(setup.load_of_travel(axle) * travel - zero), said
    laser = table.column(f"laser {axle}")
    if not np.all(np.isfinite(laser)):
        raise NotCovered(f"The {axle} axle has neither pots nor a laser: no load to reduce.")
    rest = setup.rest_front if axle == "front" else setup.rest_rear
    said = [f"{axle.capitalize()} loads from the laser: tyre growth is inside."]
    return np.asarray(setup.axle_rate(axle) * (rest - laser.reshape(shape)) - zero), said


def _height(
    table: PassTable, setup: Setup, axle: str, spring: Array, shape: tuple[int, ...]
) -> Array:
    laser = table.column(f"laser {axle}")
    if np.all(np.isfinite(laser)):
        zero = setup.laser_front if axle == "front" else setup.laser_rear
        return np.asarray(laser.reshape(shape) - zero + 0.0 * spring)
    rest = setup.rest_front if axle == "front" else setup.rest_rear
    return np.asarray(rest - spring / setup.axle_rate(axle))


def reduce_passes(table: PassTable, setup: Setup, *, seed: int = 20260) -> Reduction:
    """Return CzSf and CzSr of every state and speed, with ranges.

    The scatter of passes is pooled over all speeds in newtons, because a handful of passes each
    say little of it; Student's t carries what few passes leave open.

    Parameters
    ----------
    table
        Passes.
    setup
        The car, with draws along the last axis.
    seed
        Of the draws that stand for the scatter.
    """
    loads, said = pass_loads(table, setup)
    size = loads.front.shape[-1] if loads.front.ndim == 2 else 1
    if size < 2:
        raise InputError("setup", size, "draws", "ranges need draws; see best_results for one")
    noise = np.random.default_rng(seed)
    groups = table.groups()
    spread, dof = _pooled(loads, list(groups.values()))
    results = [
        _result(key, places, table, loads, spread, dof, noise) for key, places in groups.items()
    ]
    notices = [*table.notices, *said]
    single = [r for r in results if not r.both_ways]
    if single:
        names = ", ".join(f"{r.speed * 3.6:.0f}" for r in single)
        notices.append(f"Not driven both ways alike, slope is inside: {names} km/h.")
    return Reduction(results=tuple(results), scatter=spread, notices=tuple(notices))


def best_results(table: PassTable, setup: Setup) -> dict[tuple[str, float], tuple[float, float]]:
    """Return CzSf and CzSr of every state and speed without ranges; quick. [m²]"""
    loads, _ = pass_loads(table, setup.best())
    found = {}
    for key, places in table.groups().items():
        q = np.mean(_by_way(loads.pressure, places, table))
        found[key] = tuple(
            float(np.mean(_by_way(getattr(loads, axle), places, table)) / q) for axle in AXLES
        )
    return found  # type: ignore[return-value]


def _by_way(values: Array, places: Sequence[int], table: PassTable) -> Array:
    """Return the means of each way, so that both weigh the same."""
    ways: dict[int, list[int]] = {}
    for i in places:
        ways.setdefault(table.passes[i].way, []).append(i)
    return np.stack([np.mean(values[rows], axis=0) for rows in ways.values()])


def _pooled(loads: PassLoads, groups: list[list[int]]) -> tuple[tuple[float, float], int]:
    """Return the deviation of one pass's axle loads about its group, pooled, and its freedom."""
    dof = sum(len(g) - 1 for g in groups)
    if dof < 1:
        return (0.0, 0.0), 0
    spreads = []
    pressure = np.mean(loads.pressure, axis=-1)
    for axle in AXLES:
        force = np.mean(getattr(loads, axle), axis=-1)
        total = 0.0
        for g in groups:
            area = np.sum(force[g]) / np.sum(pressure[g])
            total += float(np.sum((force[g] - area * pressure[g]) ** 2))
        spreads.append(float(np.sqrt(total / dof)))
    return (spreads[0], spreads[1]), dof


def _result(
    key: tuple[str, float],
    places: list[int],
    table: PassTable,
    loads: PassLoads,
    spread: tuple[float, float],
    dof: int,
    noise: np.random.Generator,
) -> SpeedResult:
    q = np.mean(_by_way(loads.pressure, places, table), axis=0)
    made, errors = {}, []
    for axle, deviation in zip(AXLES, spread, strict=True):
        force = np.mean(_by_way(getattr(loads, axle), places, table), axis=0)
        error = deviation / np.sqrt(len(places))
        shake = noise.standard_t(dof, q.shape) if dof else np.zeros(q.shape)
        made[axle] = (force + error * shake) / q
        errors.append(float(error / np.mean(q)))
        height = np.mean(_by_way(getattr(loads, f"height_{axle}"), places, table), axis=0)
        made[f"height_{axle}"] = height
    ways = [table.passes[i].way for i in places]
    return SpeedResult(
        state=key[0], speed=key[1], passes=tuple(places), both_ways=sum(ways) == 0,
        standard_error=(errors[0], errors[1]), dof=dof,
        **{name: np.asarray(made[name]) for name in _FIELDS},
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One input's share of a result's uncertainty: standard uncertainty of CzSf and CzSr. [m²]"""

    name: str
    front: float
    rear: float


def uncertainty_budget(table: PassTable, setup: Setup, result: SpeedResult) -> list[BudgetLine]:
    """Return the uncertainty budget of one result, the largest line first (JCGM 100).

    Each input in turn keeps its draws while all others stand at their median.

    References
    ----------
    [jcgm100] section 5.1.
    """
    best = setup.best()
    lines = [BudgetLine(name="scatter of the passes", front=result.standard_error[0],
                        rear=result.standard_error[1])]  # fmt: skip
    for field in fields(Setup):
        draws = np.asarray(getattr(setup, field.name))
        if draws.ndim == 0 or not np.ptp(draws) > 0:
            continue
        alone = replace(_widened(best, draws.size), **{field.name: draws})
        loads, _ = pass_loads(table, alone)
        q = np.mean(_by_way(loads.pressure, result.passes, table), axis=0)
        sizes = [
            float(np.std(np.mean(_by_way(getattr(loads, a), result.passes, table), axis=0) / q))
            for a in AXLES
        ]
        if max(sizes) > 1e-5:
            name = field.name.replace("_", " ")
            lines.append(BudgetLine(name=name, front=sizes[0], rear=sizes[1]))
    return sorted(lines, key=lambda line: -(line.front**2 + line.rear**2))


def _widened(setup: Setup, size: int) -> Setup:
    return Setup(**{f.name: np.full(size, getattr(setup, f.name)) for f in fields(setup)})
